"""Sellers' titles in four languages: vague, misspelt, sometimes wrong; and, exactly, what each of them says.

Promises that `Said` holds just what the words say. Reads a piece and its seller, gives the title and its `Said`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from hangtab.catalogue.model import Names
from hangtab.demo.agents import Seller
from hangtab.demo.general import CONDITIONS, FEATURES, FLAWS, GRADERS, WORDS
from hangtab.demo.pieces import Piece
from hangtab.demo.said import Lookup, Said, missing, present
from hangtab.demo.slips import CHATTER, dressed, shortened, typo, without_accents
from hangtab.demo.variants import Variant, Variants
from hangtab.domain.subject import FeatureState, Grading, Packaging, Seal

_FEATURES = {f.id: f for f in FEATURES}
_FLAWS = {f.id: f for f in FLAWS}
_STAGES = {
    "hardcopy": {"de": "Hardcopy", "fr": "hardcopy", "nl": "hardcopy", "en": "hardcopy"},
    "first shot": {"de": "first shot", "fr": "first shot", "nl": "first shot", "en": "first shot"},
    "proof card": {"de": "proof card", "fr": "proof card", "nl": "proof card", "en": "proof card"},
}


@dataclass(frozen=True, slots=True)
class Writer:
    """Who writes: language, care (0 sloppy to 1 precise), the day in days since the start."""

    language: str
    care: float
    day: float
    year_off: int = 0  # a year remembered wrongly


def word(names: Names, language: str, rng: np.random.Generator) -> str:
    """A way to write a name in a language."""
    same = [a.text for a in names.aliases if a.language == (language if language != "en" else "")]
    if language == "en":
        return names.name if not same or rng.random() < 0.75 else str(rng.choice(same))
    return str(rng.choice(same)) if same and rng.random() < 0.85 else names.name


def phrase(role: str, language: str, rng: np.random.Generator) -> str:
    """A phrase of a role in a language, mostly the first."""
    texts = WORDS[role].get(language) or WORDS[role]["en"]
    first = 0.15 if role == "noise" else 0.6
    return texts[0] if rng.random() < first else str(rng.choice(texts))


def _rivals(lookup: Lookup) -> dict[str, str]:
    """For each character the name of one of its line that is easily taken for it, where there is one."""
    found: dict[str, str] = {}
    for own, cast in lookup.cast.items():
        for other, rival in lookup.cast.items():
            alike = (
                cast.names.name.split()[0] == rival.names.name.split()[0]
                and lookup.line_of[own] == lookup.line_of[other]
            )
            if own != other and alike:
                found.setdefault(own, rival.names.name)
    return found


class Titles:
    """Writes titles. One instance for a world; every call draws from its generator."""

    def __init__(
        self, variants: Variants, lookup: Lookup, discovered: dict[str, float], rng: np.random.Generator
    ) -> None:
        """`discovered` maps change ids to the day from which anybody knew of them."""
        self._variants, self._lookup, self._discovered, self._rng = variants, lookup, discovered, rng
        self._rivals = _rivals(lookup)

    def writer(self, seller: Seller, day: float) -> Writer:
        """How a seller writes this time."""
        language = seller.language if self._rng.random() < 0.92 else "en"
        return Writer(language, seller.care, day)

    def title(self, piece: Piece, variant: int, who: Writer) -> tuple[str, Said]:
        """A title for a piece, written as if it were `variant`, and what it says."""
        said, v = Said(), self._variants.rows[variant]
        head = self._head(v, who, said)
        tail = self._features(v, piece, who, said) + self._form(v, piece, who, said)
        tail += self._grading(piece.grading, who, said) + self._state(v, piece, who, said)
        return self._join(head, tail, who), said

    def _maybe(self, chance: float) -> bool:
        return bool(self._rng.random() < chance)

    def _head(self, v: Variant, who: Writer, said: Said) -> list[str]:
        rng, lookup = self._rng, self._lookup
        cast = lookup.cast[v.character]
        said.character = cast.names.name
        name = cast.in_language(who.language) if who.language != "en" and self._maybe(0.7) else cast.names.name
        if name == cast.names.name and self._maybe(0.06):
            name = str(rng.choice(cast.slips()))
        elif self._maybe(0.03 + 0.05 * (1 - who.care)):
            name = typo(name, rng)
        elif self._maybe(0.012):
            name = shortened(name)
        shared = len(lookup.names[cast.names.name]) > 1
        words = [name]
        rival = self._rivals.get(v.character, "")
        if rival and self._maybe(0.012):
            words.append(f"{phrase('not', who.language, rng)} {rival}")
        if self._maybe(0.97 if shared else 0.8):
            said.line = v.line
            line = lookup.lines[v.line].names
            called = str(rng.choice([a.text for a in line.aliases])) if self._maybe(0.12) else line.name
            words = [*words, called] if self._maybe(0.15) else [called, *words]
        if v.figure and lookup.many_looks(v.figure) and self._maybe(self._look_chance(v, who)):
            figure = lookup.figures[v.figure]
            said.figure = figure.names.name
            words.append(word(figure.names, who.language, rng))
        return words + self._card(v, who, said)

    def _look_chance(self, v: Variant, who: Writer) -> float:
        if v.packaging is Packaging.LOOSE:
            return 0.87 + 0.1 * who.care
        twins = [r for r in self._lookup.releases_of(v.character) if r.card == v.card]
        return 0.86 + 0.1 * who.care if len(twins) > 1 else 0.3

    def _card(self, v: Variant, who: Writer, said: Said) -> list[str]:
        words: list[str] = []
        if not v.card:
            return words
        many = len(self._lookup.releases_of(v.character)) > 1
        if self._maybe(0.82 + 0.14 * who.care if many else 0.25):
            said.card = v.card
            words.append(word(self._lookup.cards[v.card].names, who.language, self._rng))
        if self._maybe(0.22):
            said.year = v.year + who.year_off
            words.append(str(said.year))
        return words

    def _features(self, v: Variant, piece: Piece, who: Writer, said: Said) -> list[str]:
        words: list[str] = []
        for feature in v.features:
            if not self._maybe(0.9 if feature.startswith("territory") else 0.985):
                continue
            text = word(_FEATURES[feature].names, who.language, self._rng)
            said.features[feature] = FeatureState.CLAIMED
            if piece.grading and not feature.startswith("territory") and self._maybe(0.8):
                said.features[feature] = FeatureState.LABEL
                text += " " + phrase("verified", who.language, self._rng)
            words.append(text)
        release = self._lookup.releases.get(v.release)
        if release and "glow-sticker" in release.features and "glow-sticker" not in v.features and self._maybe(0.03):
            lacking = phrase("missing" if self._maybe(0.5) else "not", who.language, self._rng)
            words.append(f"{lacking} {word(_FEATURES['glow-sticker'].names, who.language, self._rng)}")
        if v.change and who.day >= self._discovered.get(v.change, 0.0) and self._maybe(0.93):
            change = self._lookup.changes[v.change]
            said.attribute = change.names.name
            words.append(word(change.names, who.language, self._rng))
        return words

    def _form(self, v: Variant, piece: Piece, who: Writer, said: Said) -> list[str]:
        if v.packaging is Packaging.PROTOTYPE:
            proto = self._lookup.prototypes[v.thing]
            said.packaging, said.stage = v.packaging, proto.stage
            words = [_STAGES[proto.stage][who.language]]
            if proto.finish and self._maybe(0.95):
                said.finish = proto.finish
                words.insert(0, proto.finish)
            return words
        words = []
        if v.packaging is Packaging.LOOSE or self._maybe(0.72):
            said.packaging = v.packaging
            words.append(phrase(v.packaging.value, who.language, self._rng))
        seal = Seal.OPENED if piece.seal is Seal.OPENED else Seal.SEALED
        packed = piece.seal is not Seal.UNKNOWN and v.packaging is not Packaging.LOOSE
        if packed and self._maybe(0.8 if seal is Seal.OPENED else 0.22):
            said.seal = seal
            words.append(phrase(seal.value, who.language, self._rng))
        return words

    def _grading(self, grading: Grading | None, who: Writer, said: Said) -> list[str]:
        if grading is None:
            return [phrase("raw", who.language, self._rng)] if self._maybe(0.07) else []
        if not self._maybe(0.975):
            return []
        rng = self._rng
        grader = next(g for g in GRADERS if g.id == grading.grader)
        shown = replace(grading, subgrades=(), generation="", qualifiers=())
        name = word(grader.names, "en", rng)
        bare = phrase("graded", who.language, rng)
        form = rng.random()
        text = f"{name} {grading.grade}" if form < 0.6 else f"{name}{grading.grade}" if form < 0.68 else ""
        text = text or (f"{grading.grade} {name}" if form < 0.78 else f"{bare} {grading.grade}" if form < 0.9 else "")
        text = text or (f"{name} graded {grading.grade}" if who.language == "en" else f"{name} {grading.grade}")
        if grading.subgrades and text.endswith(grading.grade) and name in text and self._maybe(0.45):
            subs = "/".join(g for _, g in grading.subgrades)
            text += f" ({subs})" if self._maybe(0.6) else f" {subs}"
            shown = replace(shown, subgrades=grading.subgrades)
        words = [text]
        for mark in grading.qualifiers:
            qualifier = next(q for q in grader.qualifiers if q.id == mark)
            words.append(word(qualifier.names, who.language, rng))
            shown = replace(shown, qualifiers=(*shown.qualifiers, mark))
        if grading.generation and self._maybe(0.1):
            words.append(word(dict(grader.generations)[grading.generation], who.language, rng))
            shown = replace(shown, generation=grading.generation)
        said.grading = shown
        return words

    def _state(self, v: Variant, piece: Piece, who: Writer, said: Said) -> list[str]:
        words: list[str] = []
        if piece.grading is None and v.packaging is not Packaging.PROTOTYPE and self._maybe(0.38):
            seen = piece.condition + 7.0
            note = min(CONDITIONS, key=lambda c: abs(c.position - seen))
            said.note = note.id
            words.append(word(note.names, who.language, self._rng))
        for flaw in piece.flaws:
            if piece.grading is None and self._maybe(0.3 + 0.4 * who.care):
                said.flaws.append(flaw)
                words.append(word(_FLAWS[flaw].names, who.language, self._rng))
        for part in piece.missing:
            if self._maybe(0.8):
                said.parts.append(missing(part))
                text = word(self._lookup.parts[part].names, who.language, self._rng)
                words.append(f"{phrase('missing', who.language, self._rng)} {text}")
        if v.packaging is Packaging.LOOSE and not piece.missing and self._maybe(0.4):
            own = [p.id for p in self._lookup.parts.values() if p.of == v.figure]
            said.parts += [present(p) for p in own]
            words.append(phrase("complete", who.language, self._rng))
        return words

    def _join(self, head: list[str], tail: list[str], who: Writer) -> str:
        rng, sloppy = self._rng, 1 - who.care
        if tail and self._maybe(0.3):
            rng.shuffle(tail)
        tail = [typo(w, rng) if w[-1].isalpha() and self._maybe(0.01 + 0.04 * sloppy) else w for w in tail]
        words = head + tail
        if self._maybe(0.05):  # the grade or the form first
            words = tail + head
        if self._maybe(0.25 + 0.2 * sloppy):
            words.insert(0 if self._maybe(0.5) else len(words), phrase("noise", who.language, rng))
        if self._maybe(0.07 + 0.05 * sloppy):
            words.append(str(rng.choice(CHATTER[who.language])))
        text = dressed(words, rng)
        if who.language != "en" and self._maybe(0.05 + 0.3 * sloppy):
            text = without_accents(text, who.language)
        shape = rng.random()
        text = text.upper() if shape < 0.06 else text.lower() if shape < 0.16 else text
        return text + ("!" if self._maybe(0.04) else "")
