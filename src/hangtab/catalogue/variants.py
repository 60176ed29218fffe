"""Which packed variants exist: every release and change, with each combination of territory and feature.

Promises a stable order (the catalogue's own) and no variant twice. Not here: conditions, which are without number.
"""

from __future__ import annotations

from collections.abc import Iterator

from hangtab.catalogue.model import Catalogue, FeatureKind, Release
from hangtab.domain.subject import Packaging

Variant = tuple[str, Packaging, tuple[str, ...]]


def variants(catalogue: Catalogue) -> Iterator[Variant]:
    """Thing, packaging and sorted feature ids of each variant that can exist.

    A release and each of its running changes come without a territory or with one, and with at most one other feature
    (two promotions on one piece are not made); a figure version comes loose; a prototype is itself.
    """
    changes: dict[str, list[str]] = {}
    for change in catalogue.changes.values():
        changes.setdefault(change.release, []).append(change.id)
    for release in catalogue.releases.values():
        features = list(feature_sets(catalogue, release))
        for thing in (release.id, *changes.get(release.id, ())):
            yield from ((thing, release.packaging, chosen) for chosen in features)
    yield from ((figure, Packaging.LOOSE, ()) for figure in catalogue.figures)
    yield from ((prototype, Packaging.PROTOTYPE, ()) for prototype in catalogue.prototypes)


def feature_sets(catalogue: Catalogue, release: Release) -> Iterator[tuple[str, ...]]:
    """The sets of features a release can carry, the empty one first."""
    kinds = {name: catalogue.features[name].kind for name in release.features}
    territories = [name for name, kind in kinds.items() if kind is FeatureKind.TERRITORY]
    others = [name for name, kind in kinds.items() if kind is not FeatureKind.TERRITORY]
    for territory in ("", *territories):
        for other in ("", *others):
            yield tuple(sorted(name for name in (territory, other) if name))
