"""The word lists of intake: headers, statuses, currencies and countries in English, German, French and Dutch.

Read once from the CSV files of this package and kept, since they never change while the program runs. The lists are
written for this project; codes are those of ISO 4217 and ISO 3166. Not here: what is done with a word.
"""

from __future__ import annotations

import csv
import re
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources

LANGUAGES = ("en", "de", "fr", "nl")
# Words that mean something as a whole cell only: "no" in a column of payments, not in "no bids".
_ALONE = frozenset(
    "yes no ja nein oui non nee ok y x j o true vrai waar wahr vu frei vrij open set post retour".split()
)
_NO_WORD = re.compile(r"[^\w]+|_")


@lru_cache(maxsize=1 << 14)
def plain(text: str) -> str:
    """Lower case without accents and punctuation, words parted by one space.

    >>> plain("  Währung (Höhe): N° ")
    'wahrung hohe n'
    """
    split = unicodedata.normalize("NFKD", text.replace("°", " ").casefold())
    bare = "".join(c for c in split if not unicodedata.combining(c))
    return " ".join(_NO_WORD.sub(" ", bare).split())


def _rows(name: str) -> list[dict[str, str]]:
    text = resources.files("hangtab.intake").joinpath(name).read_text(encoding="utf-8")
    return list(csv.DictReader(text.splitlines()))


@dataclass(frozen=True, slots=True)
class CurrencyNames:
    """Signs and names of currencies, and the pattern that finds them in a text."""

    names: Mapping[str, str]
    pattern: re.Pattern[str]

    def search(self, text: str) -> re.Match[str] | None:
        """The first sign or name in a text."""
        return self.pattern.search(text)

    def code(self, text: str) -> str:
        """The code of a sign or name, "" when unknown."""
        return self.names.get(text.casefold(), "")


@lru_cache(maxsize=1)
def currency_codes() -> frozenset[str]:
    """The codes of ISO 4217 that are known here."""
    return frozenset(r["code"] for r in _rows("currencies.csv") if re.fullmatch(r"[A-Z]{3}", r["code"]))


@lru_cache(maxsize=1)
def currency_names() -> CurrencyNames:
    """Signs and names of all currencies."""
    names = {n.casefold(): r["code"] for r in _rows("currencies.csv") for n in r["names"].split(";") if n}
    return CurrencyNames(names, re.compile(_alternatives(names), re.IGNORECASE))


def _alternatives(words: Iterable[str]) -> str:
    """One pattern for all words, the longest first; a word of letters may not touch another letter."""
    parts = []
    for word in sorted(words, key=len, reverse=True):
        before = r"(?<![^\W\d_])" if word[0].isalpha() else ""
        after = r"(?![^\W\d_])" if word[-1].isalpha() else ""
        parts.append(before + re.escape(word) + after)
    return "|".join(parts)


@dataclass(frozen=True, slots=True)
class Country:
    """A country's usual currency, decimal mark and order of day and month ("" when both are in use)."""

    code: str
    currency: str
    decimal: str
    dates: str


@lru_cache(maxsize=1)
def countries() -> Mapping[str, Country]:
    """Countries by plain name and by plain code."""
    found = {}
    for row in _rows("countries.csv"):
        country = Country(row["code"], row["currency"], row["decimal"], row["dates"])
        for name in (row["code"], *row["names"].split(";")):
            found[plain(name)] = country
    return found


@lru_cache(maxsize=1)
def currency_habits() -> Mapping[str, Country]:
    """The first country of each currency, for how its numbers and dates are written."""
    found: dict[str, Country] = {}
    for country in countries().values():
        found.setdefault(country.currency, country)
    return found


def country_code(text: str) -> str:
    """ISO 3166 code of a country's name or code, "" when it is neither.

    >>> country_code("Deutschland"), country_code("uk"), country_code("fr"), country_code("Atlantis")
    ('DE', 'GB', 'FR', '')
    """
    found = countries().get(plain(text))
    if found:
        return found.code
    bare = text.strip()
    return bare.upper() if re.fullmatch(r"[A-Z]{2}", bare) else ""


@lru_cache(maxsize=1)
def header_words() -> Mapping[str, str]:
    """Plain header phrase to meaning, over all languages; the first mention of a phrase counts."""
    found: dict[str, str] = {}
    for row in _rows("headers.csv"):
        for language in LANGUAGES:
            for phrase in row[language].split(";"):
                found.setdefault(plain(phrase), row["meaning"])
    return found


@lru_cache(maxsize=1)
def _status_words() -> Mapping[str, Mapping[str, str]]:
    """Plain phrase to value, by group ("kind", "outcome", "standing", "postage", "converted", "premium")."""
    found: dict[str, dict[str, str]] = {}
    for row in _rows("status.csv"):
        group, _, value = row["value"].partition(":")
        for language in LANGUAGES:
            for phrase in row[language].split(";"):
                found.setdefault(group, {}).setdefault(plain(phrase), value)
    return found


def _phrases_in(group: str, bare: str) -> list[str]:
    """The status phrases in a plain text, the longest at each place."""
    words, longest = _status_words()[group], _longest_phrase(group)
    tokens = bare.split()
    found, at = [], 0
    while at < len(tokens):
        for size in range(min(longest, len(tokens) - at), 0, -1):
            phrase = " ".join(tokens[at : at + size])
            if phrase in words and phrase not in _ALONE and not phrase.isdigit():
                found.append(phrase)
                at += size
                break
        else:
            at += 1
    return found


@lru_cache(maxsize=16)
def _longest_phrase(group: str) -> int:
    return max(len(p.split()) for p in _status_words()[group])


@lru_cache(maxsize=1 << 14)
def statuses(group: str, text: str) -> tuple[str, ...]:
    """What a text says about one group, in its order; a longer phrase hides a shorter one inside it.

    >>> statuses("kind", "Nicht verkauft"), statuses("kind", "sold (best offer accepted)")
    (('unsold',), ('sold', 'offer'))
    """
    words = _status_words()[group]
    bare = plain(text[:400])
    if bare in words:
        return (words[bare],)
    return tuple(dict.fromkeys(words[p] for p in _phrases_in(group, bare)))


@lru_cache(maxsize=1)
def month_names() -> Mapping[str, int]:
    """Plain names and abbreviations of months to their numbers."""
    return {plain(n): int(r["month"]) for r in _rows("months.csv") for n in r["names"].split(";")}


@lru_cache(maxsize=16)
def status_phrases(group: str) -> frozenset[str]:
    """The plain phrases of a group ("kind") or of one value ("kind:lot") that mean something inside a text."""
    name, _, value = group.partition(":")
    words = _status_words()[name].items()
    return frozenset(w for w, v in words if w not in _ALONE and not w.isdigit() and value in ("", v))


@lru_cache(maxsize=1 << 12)
def status_share(text: str) -> float:
    """Share of a text's words that are words of a kind or an outcome, 0 to 1."""
    bare = plain(text)
    count = max(len(bare.split()), 1)
    return max(sum(len(p.split()) for p in _phrases_in(g, bare)) / count for g in ("kind", "outcome"))


@lru_cache(maxsize=64)
def header_phrases(meaning: str) -> frozenset[str]:
    """The plain header phrases of one meaning."""
    return frozenset(p for p, m in header_words().items() if m == meaning)
