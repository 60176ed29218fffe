"""What the effects of a fit are called: the engine's terms and values in the words of the catalogue.

Promises: every term and value has a name; one that the catalogue does not know keeps its own. Reads the catalogue.
Not here: what an effect does (explaining).
"""

from __future__ import annotations

import re
from collections.abc import Mapping

from hangtab.catalogue.model import Catalogue
from hangtab.valuing.columns import CHAIN

COMPONENTS = {
    **dict(zip(CHAIN, ("Line", "Character", "Figure version", "Release", "Running change", "Variant", "Its packaging"),
               strict=True)),
    "market walk": "The market over time",
    "line walk": "Each line over time",
    "state": "Packaging and grader",
    "card": "Card",
    "generation": "Case generation",
    "premium": "Grading of each character",
    "note": "Condition word",
    "attribute": "Kind of running change",
    "stage": "Stage of a prototype",
    "marks": "Flaws and missing parts",
    "features": "Features",
    "site": "Venue and country",
    "mechanism": "Way of selling",
    "season": "Month of the year",
    "position": "Grade",
    "intercept": "Level of all prices",
    "residual": "Not explained",
}  # fmt: skip
MONTHS = "January February March April May June July August September October November December".split()
# Names of a chain's nodes that tell nothing beside the others.
BARE = {"common", "plain", "any", "?"}
_TOKEN = re.compile(r"[^ /:,]+")
_SPAN = re.compile(r" (\S+) to (\S+)$")


def component_name(component: str) -> str:
    """A component of the fit in words."""
    last = component.rpartition("/")[2]
    kind, _, rest = last.partition(": ")
    if rest:
        return f"{COMPONENTS.get(kind, kind)}: {rest}"
    return COMPONENTS.get(last, last.replace("_", " ").capitalize())


def value_name(catalogue: Catalogue, component: str, value: str) -> str:
    """A value of a component in words."""
    if "/" in component or component == CHAIN[0]:
        return _node(catalogue, value.split(" / "))
    if component == "season" and value.isdigit():
        return MONTHS[int(value) - 1]
    if component == "site":
        return ", ".join(_said(catalogue, part) for part in value.split("/"))
    if component == "card":
        return _said(catalogue, value.rpartition(" ")[2])
    if component == "position":
        return _curve(catalogue, value)
    return _said(catalogue, value)


def effect_name(catalogue: Catalogue, component: str, value: str) -> str:
    """An effect as a sentence names it: way of selling “auction”."""
    name = component_name(component)
    name = name[0].lower() + name[1:]
    return f"{name} “{value_name(catalogue, component, value)}”" if value else name


def _node(catalogue: Catalogue, path: list[str]) -> str:
    """A part of the chain by what tells it: line, or character with figure, card, change and features."""
    said = [_said(catalogue, path[0])] if len(path) == 1 else []
    for level, own in zip(CHAIN[1:], path[1:], strict=False):
        if own not in BARE:
            said.append(_release(catalogue, own) if level == "release" else _said(catalogue, own))
    return ", ".join(dict.fromkeys(part for part in said if part))


def _release(catalogue: Catalogue, own: str) -> str:
    """A release by its own name, else by its card and year."""
    known = catalogue.releases.get(own)
    if known is None:
        return _said(catalogue, own)
    return known.names.name or f"{_said(catalogue, known.card)} {known.year}".strip()


def _curve(catalogue: Catalogue, value: str) -> str:
    """The whole rise of a grader's curve: "Northgate, carded, 14 to 100"."""
    span = _SPAN.search(value)
    scale, _, form = (value[: span.start()] if span else value).partition(" ")
    grader = scale.partition(":")[0]
    ends = f", {float(span[1]):.0f} to {float(span[2]):.0f}" if span else ""
    return f"{_said(catalogue, grader)}, {form}{ends}"


def _said(catalogue: Catalogue, text: str) -> str:
    """A text with each catalogue id in it called by its name."""
    names = _names(catalogue)
    return _TOKEN.sub(lambda found: names.get(found[0], found[0].replace("-", " ")), text.replace(",", ", "))


def _names(catalogue: Catalogue) -> Mapping[str, str]:
    kinds = (
        catalogue.venues, catalogue.graders, catalogue.conditions, catalogue.flaws, catalogue.features,
        catalogue.prototypes, catalogue.changes, catalogue.releases, catalogue.figures, catalogue.characters,
        catalogue.lines,
    )  # fmt: skip
    found = {card.id: card.names.name for line in catalogue.lines.values() for card in line.cards}
    for kind in kinds:
        found |= {id_: one.names.name for id_, one in kind.items()}
    return found
