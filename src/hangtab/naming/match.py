"""Which phrases of the lexicon stand in a text, spelling mistakes allowed.

Promises phrases that do not overlap, chosen so that as much of the text as possible is explained. Source of the
distance: optimal string alignment (a swap of neighbours is one mistake), by rapidfuzz. Not here: what follows.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from typing import NamedTuple

from rapidfuzz import process
from rapidfuzz.distance import OSA

from hangtab.naming.lexicon import Lexicon, Node, Sense
from hangtab.naming.text import Token

# One mistake in a word of three letters or more, two from eight. Words of three or four letters are one mistake from
# many others, so they may only be misspelt inside a phrase whose other words are right.
_ONE_MISTAKE, _ALONE, _TWO_MISTAKES = 3, 5, 8
# Letters a phrase needs for one, two, three mistakes: "light river" is not "night diver", though each word is near.
# Common practice of spelling correction, no source.
_LETTERS_FOR = (0, 5, 12, 20)
# Shorter names are too near to each other once their spaces are gone.
_LEAST_LETTERS, _MOST_WORDS = 7, 5
# Readings of one span that are nearly as like as the best stay beside it.
_NEARLY = 0.06
MOST_REMEMBERED = 50_000


class Hit(NamedTuple):
    """A phrase found: tokens `first` to `last` (exclusive), how like (1 is letter for letter), ids by sense."""

    first: int
    last: int
    likeness: float
    senses: Mapping[Sense, tuple[str, ...]]


class Matcher:
    """Finds phrases of one lexicon; remembers how each word was spelt."""

    def __init__(self, lexicon: Lexicon) -> None:
        """Sort the vocabulary by length, since a word is only compared with words of about its length."""
        self._root = lexicon.root
        self.vocabulary = lexicon.vocabulary
        self._lengths: dict[int, list[str]] = defaultdict(list)
        for word in sorted(lexicon.vocabulary):
            if word.isalpha():
                self._lengths[len(word)].append(word)
        self._seen: dict[str, tuple[tuple[str, int], ...]] = {}
        self._sorted = sorted(lexicon.vocabulary)
        self._names = dict(_names(lexicon.root, ""))

    def like(self, word: str) -> tuple[tuple[str, int], ...]:
        """Words of the vocabulary that a written word may mean, with the number of mistakes."""
        known = self._seen.get(word)
        if known is None:
            if len(self._seen) >= MOST_REMEMBERED:
                self._seen.clear()
            known = self._seen[word] = self._search(word)
        return known

    def _search(self, word: str) -> tuple[tuple[str, int], ...]:
        if word in self.vocabulary:
            return ((word, 0),)
        if len(word) < _ONE_MISTAKE or not word.isalpha():
            return ()
        most = 2 if len(word) >= _TWO_MISTAKES else 1
        found = []
        for length in range(max(len(word) - most, _ONE_MISTAKE), len(word) + most + 1):
            for other in self._lengths.get(length, ()):
                mistakes = OSA.distance(word, other, score_cutoff=most)
                if mistakes <= most:
                    found.append((other, mistakes))
        return tuple(sorted(found, key=lambda f: (f[1], f[0])))

    def hits(self, text: Sequence[Token]) -> list[Hit]:
        """Every phrase that starts anywhere in the text, overlapping ones too."""
        spellings = [(*self.like(t.text), *self._longer(t)) for t in text]
        joined = [self._joined(text, i) for i in range(len(text))]
        lengths = [len(t.text) for t in text]
        found: list[Hit] = []
        for first in range(len(text)):
            if not spellings[first] and not joined[first]:
                continue
            ends: dict[int, list[tuple[float, Node]]] = {}
            stack: list[tuple[Node, int, int, int]] = [(self._root, first, 0, 0)]
            while stack:
                node, place, mistakes, letters = stack.pop()
                if node.senses and (not mistakes or _spelt(mistakes, letters, place - first)):
                    ends.setdefault(place, []).append((1.0 - mistakes / letters, node))
                if place == len(text) or not node.follows:
                    continue
                for word, wrong in spellings[place]:
                    follow = node.follows.get(word)
                    if follow is not None and mistakes + wrong < len(_LETTERS_FOR):
                        stack.append((follow, place + 1, mistakes + wrong, letters + lengths[place]))
                for word in joined[place]:
                    follow = node.follows.get(word)
                    if follow is not None:
                        stack.append((follow, place + 2, mistakes, letters + len(word)))
            found += [_hit((first, place), nodes) for place, nodes in ends.items()]
        return found

    def _longer(self, token: Token) -> tuple[tuple[str, int], ...]:
        """Words that an abbreviation can stand for, as one mistake: only a phrase makes it clear which."""
        if not token.cut or len(token.text) < _ONE_MISTAKE:
            return ()
        first = bisect_left(self._sorted, token.text)
        last = bisect_left(self._sorted, token.text + "\uffff")
        return tuple((word, 1) for word in self._sorted[first:last] if word != token.text)

    def _joined(self, text: Sequence[Token], place: int) -> tuple[str, ...]:
        """Two written words that are one word of the vocabulary."""
        if place + 1 >= len(text):
            return ()
        one, two = text[place].text, text[place + 1].text
        if not (one.isalpha() and two.isalpha()):
            return ()
        whole = one + two
        return (whole,) if whole in self.vocabulary else ()

    def find(self, text: Sequence[Token]) -> list[Hit]:
        """The phrases that together explain most of the text, in order, none over another.

        Where no piece is among them, pieces are sought once more, letter by letter.
        """
        hits = self.hits(text)
        found = cover(hits, text)
        if any(Sense.CHARACTER in hit.senses for hit in found):
            return found
        sought = self._letter_by_letter(text)
        return cover([*hits, *sought], text) if sought else found

    def _letter_by_letter(self, text: Sequence[Token]) -> list[Hit]:
        """Names of pieces whose letters stand in the text in whichever words: "navett edu ciel"."""
        found = []
        for first in range(len(text)):
            letters = ""
            for last in range(first + 1, min(first + _MOST_WORDS, len(text)) + 1):
                letters += text[last - 1].text
                if not letters.isalpha():
                    break
                most = sum(len(letters) >= n for n in _LETTERS_FOR[1:3])
                if len(letters) < _LEAST_LETTERS or last - first == 1:
                    continue
                best = process.extractOne(letters, self._names.keys(), scorer=OSA.distance, score_cutoff=most)
                if best:
                    ids = self._names[best[0]]
                    found.append(Hit(first, last, 1.0 - best[1] / len(letters), {Sense.CHARACTER: ids}))
        return found


def _names(node: Node, letters: str) -> Iterator[tuple[str, tuple[str, ...]]]:
    """Every name of a piece in the tree, written together, with what it names."""
    if Sense.CHARACTER in node.senses and len(letters) >= _LEAST_LETTERS:
        yield letters, node.senses[Sense.CHARACTER]
    for word, below in node.follows.items():
        yield from _names(below, letters + word)


def _spelt(mistakes: int, letters: int, words: int) -> bool:
    """Whether a phrase with mistakes is still this phrase."""
    return letters >= _LETTERS_FOR[mistakes] and (words > 1 or letters >= _ALONE)


def _hit(span: tuple[int, int], found: list[tuple[float, Node]]) -> Hit:
    if len(found) == 1:
        return Hit(*span, found[0][0], found[0][1].senses)
    best = max(likeness for likeness, _ in found)
    senses: dict[Sense, tuple[str, ...]] = {}
    for likeness, node in found:
        if likeness >= best - _NEARLY:
            for sense, ids in node.senses.items():
                senses[sense] = tuple(dict.fromkeys((*senses.get(sense, ()), *ids)))
    return Hit(*span, best, senses)


def _weight(hit: Hit, text: Sequence[Token]) -> float:
    """How much a phrase explains: its letters, less for mistakes, more for each word that stands in one phrase."""
    letters = sum(len(t.text) for t in text[hit.first : hit.last])
    return (letters + 1.5 * (hit.last - hit.first)) * hit.likeness**3 + (hit.last - hit.first - 1)


def cover(hits: Sequence[Hit], text: Sequence[Token]) -> list[Hit]:
    """Weighted interval scheduling: the choice without overlaps that weighs most."""
    ending: dict[int, list[Hit]] = defaultdict(list)
    for hit in hits:
        ending[hit.last].append(hit)
    best = [0.0] * (len(text) + 1)
    chosen: list[Hit | None] = [None] * (len(text) + 1)
    for place in range(1, len(text) + 1):
        best[place] = best[place - 1]
        for hit in ending.get(place, ()):
            weight = best[hit.first] + _weight(hit, text)
            if weight > best[place]:
                best[place], chosen[place] = weight, hit
    picked: list[Hit] = []
    place = len(text)
    while place:
        hit_here = chosen[place]
        if hit_here is None:
            place -= 1
        else:
            picked.append(hit_here)
            place = hit_here.first
    return picked[::-1]
