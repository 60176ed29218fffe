"""The canonical sentence of a subject, and its entry as in a dictionary.

Promises one sentence for each subject, no two subjects with the same one, made only of the catalogue's shown names and
the words of `lexicon.SENTENCE_WORDS`, so that it names its subject again. Not here: prices and pictures.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

from hangtab.catalogue.model import Catalogue, Chain, FeatureKind
from hangtab.domain.subject import Feature, FeatureState, Grading, Packaging, PartState, Seal, Subject
from hangtab.naming.text import words
from hangtab.naming.things import implied

_PART_WORDS = {
    PartState.MISSING: "no {}",
    PartState.PRESENT: "with {}",
    PartState.REPRODUCTION: "reproduction {}",
    PartState.UNKNOWN: "{} not known",
}
_FEATURE_WORDS = {
    FeatureState.CLAIMED: "{}",
    FeatureState.SEEN: "{} seen on a photo",
    FeatureState.LABEL: "{} on the label",
    FeatureState.CONFIRMED: "{} confirmed",
    FeatureState.REFUTED: "{} refuted",
}
# The usual state of a packaging goes without saying.
USUAL_SEAL = {Packaging.CARDED: Seal.SEALED}


@dataclass(frozen=True, slots=True)
class Entry:
    """A subject as a reference book prints it: headword, "line, maker, year" and a description in sentences."""

    headword: str
    line: str
    maker: str
    year: int | None
    description: str


class Sentences:
    """Writes sentences and entries from one catalogue."""

    def __init__(self, catalogue: Catalogue) -> None:
        """Count which names do not tell siblings apart, so that the year or the id must be said as well."""
        self._catalogue = catalogue
        self._heads: dict[str, tuple[Chain, tuple[str, ...]]] = {}
        self._promised: dict[str, tuple[str, ...]] = {}
        self._card_names = {c.id: c.names.name for line in catalogue.lines.values() for c in line.cards}
        self._versions = Counter(f.character for f in catalogue.figures.values())
        self._named: Counter[tuple[str, ...]] = Counter()
        for release in catalogue.releases.values():
            character = catalogue.figures[release.figure].character
            names, figure = self._release_names(release.id), self._figure_names(release.figure)
            # A set: a release whose figure has no name of its own would count itself twice.
            for key in {(*names,), (*names, *figure), (*names, *figure, str(release.year))}:
                self._named[character, *key] += 1
            self._promised[release.id] = implied(catalogue, release)
        for change in catalogue.changes.values():
            self._named[change.release, change.names.name] += 1
        for proto in catalogue.prototypes.values():
            self._named[proto.character, *self._prototype_names(proto.id)] += 1

    def sentence(self, subject: Subject) -> str:
        """One line that says everything about a subject and nothing twice.

        Raises KeyError when the catalogue does not have its thing.
        """
        catalogue = self._catalogue
        chain, head = self._head(subject.thing)
        pieces = [*head]
        pieces += [
            _FEATURE_WORDS[f.state].format(name)
            for f, name in sorted(
                ((f, catalogue.features[f.id].names.name) for f in subject.features), key=lambda p: self._rank(p[0].id)
            )
            if not (f.state is FeatureState.CLAIMED and name in pieces)  # the release's own name has said it
        ]
        if not (chain.prototype and subject.packaging is Packaging.PROTOTYPE):
            pieces.append(subject.packaging.value)
        pieces += self._lacking(chain, subject)
        pieces += self._state(subject)
        pieces += [_PART_WORDS[p.state].format(catalogue.parts[p.id].names.name) for p in subject.parts]
        if subject.grading:
            pieces.append(self._grading(subject.grading, subject.packaging))
        pieces += [catalogue.flaws[f].names.name for f in subject.flaws]
        if subject.note:
            pieces.append(catalogue.conditions[subject.note].names.name)
        return ", ".join(p for p in pieces if p)

    def _head(self, thing: str) -> tuple[Chain, tuple[str, ...]]:
        """The path and the names of a thing; remembered, since the same things are written again and again."""
        known = self._heads.get(thing)
        if known is None:
            chain = self._catalogue.chain(thing)
            line, character = self._catalogue.lines[chain.line], self._catalogue.characters[chain.character]
            known = chain, (f"{line.names.name} {character.names.name}", *self._thing(chain))
            self._heads[thing] = known
        return known

    def entry(self, subject: Subject) -> Entry:
        """Headword, line, maker, year, and the description: "Carded figure on the second card. Graded, ..."."""
        catalogue = self._catalogue
        chain = catalogue.chain(subject.thing)
        line = catalogue.lines[chain.line]
        character = catalogue.characters[chain.character]
        release = catalogue.releases.get(chain.release)
        maker = catalogue.makers[line.maker].name if line.maker in catalogue.makers else line.maker
        kind = "figure" if character.kind in {"", "character"} else character.kind
        if chain.prototype:
            head = ", ".join(self._prototype_names(chain.prototype)) or "prototype"
            head = f"Prototype, {head}"
        else:
            head = f"{subject.packaging.value.capitalize()} {kind}"
            card = self._card_names.get(release.card, "") if release else ""
            if card and subject.packaging is not Packaging.LOOSE:
                head += f" on the {card}"
            own = [release.names.name] if release and release.names.name else []
            if chain.change:
                own.append(catalogue.changes[chain.change].names.name)
            head = ", ".join([head, *own])
        head += self._marks(subject.features)
        rest = [self._grading(subject.grading, subject.packaging)] if subject.grading else []
        state = f"Graded, {rest[0]}." if rest else ("Raw." if not chain.prototype else "")
        extra = [*self._state(subject), *(_PART_WORDS[p.state].format(self._part(p.id)) for p in subject.parts)]
        extra += [catalogue.flaws[f].names.name for f in subject.flaws]
        extra += [catalogue.conditions[subject.note].names.name] if subject.note else []
        more = f" {', '.join(extra).capitalize()}." if extra else ""
        return Entry(
            character.names.name,
            line.names.name,
            maker,
            release.year if release else None,
            f"{head}. {state}{more}".strip(),
        )

    def _part(self, part: str) -> str:
        return self._catalogue.parts[part].names.name

    def _rank(self, feature: str) -> tuple[int, str]:
        """Stickers before territories before the rest, as the trade says them; then by name."""
        order = [FeatureKind.STICKER, FeatureKind.TERRITORY]
        definition = self._catalogue.features[feature]
        place = order.index(definition.kind) if definition.kind in order else len(order)
        return place, definition.names.name

    def _figure_names(self, figure: str) -> list[str]:
        """The figure version's name, where its character has several."""
        found = self._catalogue.figures[figure]
        same = words(found.names.name) == words(self._catalogue.characters[found.character].names.name)
        return [found.names.name] if self._versions[found.character] > 1 and not same else []

    def _release_names(self, release: str) -> list[str]:
        found = self._catalogue.releases[release]
        card = self._card_names.get(found.card, "")
        return [n for n in (found.names.name, card) if n]

    def _prototype_names(self, prototype: str) -> list[str]:
        found = self._catalogue.prototypes[prototype]
        stage, finish = found.stage.replace("-", " "), found.finish.replace("-", " ")
        said = words(found.names.name)
        plain = [p for p in (finish, stage) if p and not set(words(p)) <= set(said)]
        return [n for n in (found.names.name, " ".join(plain)) if n]

    def _thing(self, chain: Chain) -> list[str]:
        """What tells this thing from others of its character."""
        catalogue = self._catalogue
        if chain.prototype:
            names = self._prototype_names(chain.prototype)
            twins = self._named[chain.character, *names] > 1
            return [*names, "prototype", *([f"id {chain.prototype}"] if twins else [])]
        if not chain.release:
            return self._figure_names(chain.figure)
        names = self._release_names(chain.release)
        for more in (self._figure_names(chain.figure), [str(catalogue.releases[chain.release].year)]):
            if self._named[chain.character, *names] > 1:
                names = [*names, *more]
        if self._named[chain.character, *names] > 1:
            names.append(f"id {chain.change or chain.release}")
        if chain.change:
            change = catalogue.changes[chain.change].names.name
            names.append(change)
            if self._named[chain.release, change] > 1:
                names.append(f"id {chain.change}")
        return names

    def _lacking(self, chain: Chain, subject: Subject) -> list[str]:
        """Features that the release's own name would make one believe ("mail-away"), where the piece lacks them."""
        named = self._promised.get(chain.release, ())
        if not named:
            return []
        has = {f.id for f in subject.features}
        return [f"no {self._catalogue.features[f].names.name}" for f in named if f not in has]

    @staticmethod
    def _state(subject: Subject) -> list[str]:
        usual = USUAL_SEAL.get(subject.packaging, Seal.UNKNOWN)
        if subject.seal is usual:
            return []
        return ["seal unknown" if subject.seal is Seal.UNKNOWN else subject.seal.value]

    def _marks(self, features: tuple[Feature, ...]) -> str:
        """Features as the entry says them: ", with the glow sticker, signed by the sculptor"."""
        told = [(self._catalogue.features[f.id], _FEATURE_WORDS[f.state]) for f in features]
        there = [words.format(f.names.name) for f, words in told if f.kind is not FeatureKind.SIGNATURE]
        signed = [words.format(f.names.name) for f, words in told if f.kind is FeatureKind.SIGNATURE]
        with_ = [f"with the {there[0]}", *there[1:]] if there else []
        return "".join(f", {one}" for one in (*with_, *signed))

    def _grading(self, grading: Grading, packaging: Packaging) -> str:
        grader = self._catalogue.graders[grading.grader]
        text = f"{grader.names.name} {grading.grade}"
        alike = [s for s in grader.scales if s.position(grading.grade) is not None]
        usual = [s.id for s in alike if not s.forms or packaging in s.forms]
        if usual != [grading.scale] and len(alike) > 1:
            text += f" {grading.scale} scale"
        text += "".join(f" {names.name}" for key, names in grader.generations if key == grading.generation)
        text += "".join(f", {name} {grade}" for name, grade in grading.subgrades)
        marks = {q.id: q.names.name for q in grader.qualifiers}
        return text + "".join(f", {marks.get(q, q)}" for q in grading.qualifiers)
