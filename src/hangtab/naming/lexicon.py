"""Every word and phrase that means something, as one tree of folded words.

Promises that all names and aliases of the catalogue in all languages are in the tree, also written together
("harbourmaster"), each with its sense. Reads a `Catalogue`. Not here: spelling tolerance (`match`).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from enum import StrEnum
from typing import NamedTuple

from hangtab.catalogue.model import Catalogue, Names
from hangtab.domain.subject import Packaging
from hangtab.naming.text import spellings, words


class Sense(StrEnum):
    """What a phrase stands for."""

    MAKER = "maker"
    LINE = "line"
    CARD = "card"
    CHARACTER = "character"
    FIGURE = "figure"
    RELEASE = "release"
    CHANGE = "change"
    PROTOTYPE = "prototype"
    STAGE = "stage"
    FINISH = "finish"
    PART = "part"
    FEATURE = "feature"
    FLAW = "flaw"
    CONDITION = "condition"
    GRADER = "grader"
    SCALE = "scale"
    QUALIFIER = "qualifier"
    GENERATION = "generation"
    SUBGRADE = "subgrade"
    ROLE = "role"
    STATE = "state"  # how far a feature is verified, or a seal that is unknown; only our own sentences say it


class Meaning(NamedTuple):
    """One thing a phrase can stand for; `own` says it is the shown name, not an alias."""

    sense: Sense
    id: str
    own: bool = False


@dataclass(slots=True)
class Node:
    """A place in the tree: what follows, and what the words up to here mean, ids by sense.

    Where a phrase is the shown name of something, what it is only an alias of is left out.
    """

    follows: dict[str, Node] = field(default_factory=dict)
    senses: dict[Sense, tuple[str, ...]] = field(default_factory=dict)
    own: set[Sense] = field(default_factory=set)

    def learn(self, meaning: Meaning) -> None:
        """Add a meaning to the phrase that ends here."""
        known = self.senses.get(meaning.sense, ())
        if meaning.id in known and not meaning.own:
            return
        if meaning.own and meaning.sense not in self.own:
            self.own.add(meaning.sense)
            known = ()
        if meaning.own or meaning.sense not in self.own:
            self.senses[meaning.sense] = (*(k for k in known if k != meaning.id), meaning.id)


# The words that canonical sentences are made of, so that they are understood whatever the catalogue's own word list.
SENTENCE_WORDS = {
    "carded": ("carded", "on card", "moc"),
    "boxed": ("boxed", "in box", "mib"),
    "loose": ("loose",),
    "prototype": ("prototype",),
    "sealed": ("sealed",),
    "opened": ("opened",),
    "resealed": ("resealed",),
    "raw": ("raw", "ungraded", "not graded"),
    "graded": ("graded",),
    "missing": ("missing", "no", "without"),
    "present": ("with",),
    "reproduction": ("reproduction",),
    "not": ("not the",),
    "lot": ("lot",),
    "query": ("?", "maybe"),
    "label": ("on the label", "on label", "on the case label", "on case label", "label says", "named on the label"),
}
_TELLING = 6
_CARDS, _BOXES = ("card", "cardback", "card back"), ("box",)
_ORDINALS = "first second third fourth fifth sixth".split()
STATE_WORDS = {
    "seen": ("seen on a photo",),
    "confirmed": ("confirmed",),
    "refuted": ("refuted",),
    "seal-unknown": ("seal unknown",),
    "part-unknown": ("not known",),
}


@dataclass(frozen=True)
class Lexicon:
    """The tree and the set of all words in it."""

    root: Node
    vocabulary: frozenset[str]


def lexicon(catalogue: Catalogue) -> Lexicon:
    """Build the tree from a catalogue; under a tenth of a second for a thousand pieces."""
    root = Node()
    vocabulary: set[str] = set()
    for text, meaning in _phrases(catalogue):
        for phrase in spellings(text):
            _add(root, vocabulary, phrase, meaning)
            if len(phrase) in {2, 3} and all(len(w) > 1 and w.isalpha() for w in phrase):
                _add(root, vocabulary, ("".join(phrase),), meaning)
    for word, feature in _telling_words(catalogue, vocabulary):
        _add(root, vocabulary, (word,), Meaning(Sense.FEATURE, feature))
    return Lexicon(root, frozenset(vocabulary))


def _telling_words(catalogue: Catalogue, vocabulary: set[str]) -> list[tuple[str, str]]:
    """Long words that stand in the shown name of one feature and nowhere else: "bilingual" for "bilingual card"."""
    uses: dict[str, set[tuple[Sense, str]]] = {word: set() for word in vocabulary}
    for text, meaning in _phrases(catalogue):
        for word in words(text):
            uses.setdefault(word, set()).add(meaning[:2])
    return [
        (word, feature.id)
        for feature in catalogue.features.values()
        for word in words(feature.names.name)
        if len(word) >= _TELLING and uses.get(word) == {(Sense.FEATURE, feature.id)}
    ]


def _add(root: Node, vocabulary: set[str], phrase: tuple[str, ...], meaning: Meaning) -> None:
    node = root
    for word in phrase:
        vocabulary.add(word)
        node = node.follows.setdefault(word, Node())
    node.learn(meaning)


def _named(names: Names, sense: Sense, key: str) -> Iterator[tuple[str, Meaning]]:
    if names.name:
        yield names.name, Meaning(sense, key, own=True)
    for alias in names.aliases:
        yield alias.text, Meaning(sense, key)


def _phrases(catalogue: Catalogue) -> Iterator[tuple[str, Meaning]]:
    named: list[tuple[Sense, Iterable[tuple[str, Names]]]] = [
        (Sense.MAKER, catalogue.makers.items()),
        (Sense.LINE, ((x.id, x.names) for x in catalogue.lines.values())),
        (Sense.CARD, ((c.id, c.names) for x in catalogue.lines.values() for c in x.cards)),
        (Sense.CHARACTER, ((c.id, c.names) for c in catalogue.characters.values())),
        (Sense.PART, ((p.id, p.names) for p in catalogue.parts.values())),
        (Sense.FEATURE, ((f.id, f.names) for f in catalogue.features.values())),
        (Sense.FLAW, ((f.id, f.names) for f in catalogue.flaws.values())),
        (Sense.CONDITION, ((c.id, c.names) for c in catalogue.conditions.values())),
    ]
    for sense, entries in named:
        for key, names in entries:
            yield from _named(names, sense, key)
    yield from _versions(catalogue)
    yield from _graders(catalogue)
    yield from _words(catalogue)


def _words(catalogue: Catalogue) -> Iterator[tuple[str, Meaning]]:
    """Cards by their number, the catalogue's word list, and the words of our own sentences."""
    for line in catalogue.lines.values():
        for card in line.cards:
            kinds = _BOXES if line.packaging is Packaging.BOXED else _CARDS
            yield from ((text, Meaning(Sense.CARD, card.id)) for text in _counted(card.order, kinds))
    yield from ((word.text, Meaning(Sense.ROLE, word.role)) for word in catalogue.words)
    for sense, table in ((Sense.ROLE, SENTENCE_WORDS), (Sense.STATE, STATE_WORDS)):
        for key, texts in table.items():
            yield from ((text, Meaning(sense, key)) for text in texts)


def _counted(order: int, kinds: Iterable[str]) -> Iterator[str]:
    """How a card is called by its number."""
    number = {1: "st", 2: "nd", 3: "rd"}.get(order, "th")
    spelt = [_ORDINALS[order - 1]] if order <= len(_ORDINALS) else []
    for kind in kinds:
        yield f"{kind} {order}"
        yield f"{order}{number} {kind}"
        yield from (f"{word} {kind}" for word in spelt)


def _versions(catalogue: Catalogue) -> Iterator[tuple[str, Meaning]]:
    """Figure versions, releases, changes and prototypes, where they have a name of their own."""
    for figure in catalogue.figures.values():
        whole = words(catalogue.characters[figure.character].names.name)
        yield from (p for p in _named(figure.names, Sense.FIGURE, figure.id) if words(p[0]) != whole)
    for release in catalogue.releases.values():
        yield from _named(release.names, Sense.RELEASE, release.id)
    for change in catalogue.changes.values():
        yield from _named(change.names, Sense.CHANGE, change.id)
    for prototype in catalogue.prototypes.values():
        yield from _named(prototype.names, Sense.PROTOTYPE, prototype.id)
        yield prototype.stage.replace("-", " "), Meaning(Sense.STAGE, prototype.stage)
        yield prototype.finish.replace("-", " "), Meaning(Sense.FINISH, prototype.finish)


def _graders(catalogue: Catalogue) -> Iterator[tuple[str, Meaning]]:
    for grader in catalogue.graders.values():
        yield from _named(grader.names, Sense.GRADER, grader.id)
        for qualifier in grader.qualifiers:
            yield from _named(qualifier.names, Sense.QUALIFIER, f"{grader.id}/{qualifier.id}")
        for generation, names in grader.generations:
            yield from _named(names, Sense.GENERATION, f"{grader.id}/{generation}")
        for scale in grader.scales:
            yield f"{scale.id} scale", Meaning(Sense.SCALE, f"{grader.id}/{scale.id}")
            for names in scale.subgrades:
                yield from _named(names, Sense.SUBGRADE, f"{grader.id}/{scale.id}/{names.name}")
