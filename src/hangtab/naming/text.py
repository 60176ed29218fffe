"""A title as comparable words, each with the characters of the original it was read from.

Promises that spelling differences which never carry meaning (case, accents, width, invisible marks, apostrophes) are
gone, and that `Token.start` and `Token.end` still point into the text as it came. Not here: what the words mean.
"""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache
from typing import NamedTuple

# Longer texts are cut: no title of a listing is longer, and a pasted page must not hold the program up.
LONGEST_TEXT = 2_000
MOST_TOKENS = 150

# Letters that Unicode does not take apart into a base letter and a mark.
_LETTERS = {"ø": "o", "ł": "l", "đ": "d", "ı": "i", "æ": "ae", "œ": "oe", "½": ".5", "'": "", "’": "", "`": ""}
# How German is typed without its own letters.
_UMLAUTS = str.maketrans({"ä": "ae", "ö": "oe", "ü": "ue", "Ä": "Ae", "Ö": "Oe", "Ü": "Ue"})
_TOKEN = re.compile(r"\d+(?:[.,]\d+)?(?:\+(?!\d))?|\.5|[^\W\d_]+|\?")


class Token(NamedTuple):
    """One folded word, number ("34+", "9.5") or question mark, with its place in the original text.

    `cut`: the word ends in a full stop, as abbreviations do ("Harb. Master").
    """

    text: str
    start: int
    end: int
    cut: bool = False


class Folded(NamedTuple):
    """A text without its accidental differences; `places[i]` is where character i stood in the original."""

    text: str
    places: range | list[int]


@lru_cache(maxsize=4096)
def _fold_letter(letter: str) -> str:
    """One character folded: none, one or several characters."""
    lower = letter.casefold()
    if lower in _LETTERS:
        return _LETTERS[lower]
    if unicodedata.category(letter) in {"Cf", "Mn", "Cc"}:
        return " " if letter in "\t\n\r" else ""
    plain = "".join(c for c in unicodedata.normalize("NFKD", lower) if not unicodedata.combining(c))
    if unicodedata.category(letter) == "Pd":
        return "-"
    return "".join(str(unicodedata.digit(c, -1)) if c.isdigit() and not c.isascii() else c for c in plain)


def fold(text: str) -> Folded:
    """Lower case without accents, invisible marks, apostrophes and wide forms.

    >>> fold("Maître du Port").text, fold("９½").text
    ('maitre du port', '9.5')
    """
    text = text[:LONGEST_TEXT]
    if text.isascii() and "'" not in text and "`" not in text and text.isprintable():
        return Folded(text.lower(), range(len(text)))
    letters: list[str] = []
    places: list[int] = []
    for place, letter in enumerate(text):
        for folded in _fold_letter(letter):
            letters.append(folded)
            places.append(place)
    return Folded("".join(letters), places)


def tokens(folded: Folded) -> list[Token]:
    """The words and numbers of a folded text, in order; letters and digits part ("NG34" is two tokens).

    >>> [t.text for t in tokens(fold("Harbour-Master, NG34+ (9,5)?"))]
    ['harbour', 'master', 'ng', '34+', '9.5', '?']
    """
    places = folded.places
    found: list[Token] = []
    for match in _TOKEN.finditer(folded.text):
        word = match.group()
        if "," in word:
            word = word.replace(",", ".")
        cut = folded.text.startswith(". ", match.end()) and word.isalpha()
        found.append(Token(word, places[match.start()], places[match.end() - 1] + 1, cut))
        if len(found) == MOST_TOKENS:
            break
    return found


def words(text: str) -> tuple[str, ...]:
    """The folded words of a name.

    >>> words("Keeper's Launch")
    ('keepers', 'launch')
    """
    return tuple(t.text for t in tokens(fold(text)))


def spellings(text: str) -> set[tuple[str, ...]]:
    """A name's folded words, with German letters also written out.

    >>> sorted(spellings("Hängetasche"))
    [('haengetasche',), ('hangetasche',)]
    """
    return {w for w in (words(text), words(text.translate(_UMLAUTS))) if w}
