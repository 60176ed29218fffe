"""What the columns of a table mean: guessed from header words and cells, said with a reason, open to correction.

Promises one column per meaning (status columns excepted), and the same guess for the same headers and cells. The words
are in headers.csv. Not here: reading the cells (facts).
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from rapidfuzz import fuzz, process

from hangtab.intake.amounts import UNDECIDED, Amount, currency_of, decimal_mark, read_amount
from hangtab.intake.days import AMBIGUOUS, day_order, read_when
from hangtab.intake.model import IGNORE, ColumnGuess, ColumnMap
from hangtab.intake.words import countries, header_words, plain, statuses

MONEY = frozenset({"price", "ask", "offer", "postage", "total", "tax"})
DAYS = frozenset({"sold", "ended", "started", "seen"})
_REPEATABLE = frozenset({"kind", "photo"})
_TOP_ROWS = 25
_CONTENT_ROWS = 100
_FUZZY = 86.0
_PARENS = re.compile(r"[(\[](.*?)[)\]]")
_FILLERS = frozenset("in the of a an der die das de la le du des het van my our your total".split()) - {"total"}


@dataclass(frozen=True, slots=True)
class _Idea:
    meaning: str
    confidence: float
    why: str


def fingerprint(headers: Sequence[str]) -> str:
    """Hash of the normalised headers: the same kind of export has the same one."""
    return hashlib.sha256("\n".join(plain(h) for h in headers).encode()).hexdigest()[:16]


def header_row(rows: Sequence[Sequence[str] | None]) -> int:
    """Row of the header, counted from 1; 0 when the table starts with its data.

    >>> header_row([["My sales"], [], ["Title", "Price"], ["lamp", "3"]])
    3
    """
    top = [r or [] for r in rows[:_TOP_ROWS]]
    hits = [sum(_is_header_word(c) for c in row) for row in top]
    if max(hits, default=0) > 1:
        return hits.index(max(hits)) + 1
    widest = max((sum(map(bool, r)) for r in top), default=0)
    for number, row in enumerate(top, 1):
        filled = [c for c in row if c.strip()]
        if filled and len(filled) * 2 >= widest:
            return number if any(map(_is_header_word, filled)) or not any(_is_value(c) for c in filled) else 0
    return 0


def _is_header_word(cell: str) -> bool:
    return plain(_PARENS.sub(" ", cell)) in header_words()


def _is_value(cell: str) -> bool:
    return isinstance(read_amount(cell), Amount) or not hasattr(read_when(cell), "what")


def guess_columns(headers: Sequence[str], sample_rows: Sequence[Sequence[str]]) -> ColumnMap:
    """The likeliest meaning of each column.

    >>> [c.meaning for c in guess_columns(["Titel", "Preis (EUR)"], [["lamp", "3,50"]]).columns]
    ['title', 'price']
    """
    cells = [[r[i] for r in sample_rows if i < len(r) and r[i].strip()] for i in range(len(headers))]
    ideas = [_ideas(h, cells[i]) for i, h in enumerate(headers)]
    chosen = _with_title(_one_each(headers, ideas))
    columns = [
        ColumnGuess(i, h, idea.meaning, round(idea.confidence, 2), idea.why)
        for i, (h, idea) in enumerate(zip(headers, chosen, strict=True))
    ]
    return ColumnMap(tuple(with_form(c, cells[c.index]) for c in columns))


def _with_title(chosen: list[_Idea]) -> list[_Idea]:
    """Where no column is the title, the description is what was sold."""
    if any(i.meaning == "title" for i in chosen):
        return chosen
    why = "no other column says what was sold"
    return [replace(i, meaning="title", why=f"{i.why}; {why}") if i.meaning == "description" else i for i in chosen]


def with_form(column: ColumnGuess, cells: Sequence[str]) -> ColumnGuess:
    """The column with what its own header states, and the decimal mark or the order of dates that its cells show."""
    form = ""
    if column.meaning in MONEY:
        form = decimal_mark(cells)
    elif column.meaning in DAYS:
        form = day_order(cells)
    return replace(column, form=form, constants=_constants(column.header, column.meaning))


def _ideas(header: str, cells: Sequence[str]) -> list[_Idea]:
    """Meanings a column may have, likeliest first; the last one is always to ignore it."""
    from_words = _by_words(header)
    content = _content(cells[:_CONTENT_ROWS])
    ideas = [_weighed(idea, content) for idea in from_words]
    if not any(i.confidence >= 0.5 for i in ideas):  # noqa: PLR2004 - as likely as not
        ideas.extend(_by_content(content))
    ideas.sort(key=lambda i: -i.confidence)
    return [*ideas, _Idea(IGNORE, 0.3, "no word of the header is known")]


@lru_cache(maxsize=4096)
def _by_words(header: str) -> tuple[_Idea, ...]:
    words = header_words()
    inside = " ".join(_PARENS.findall(header))
    bare = plain(_PARENS.sub(" ", header)) or plain(header)
    if "postage" in {words.get(w) for w in plain(inside).split()} and words.get(bare) == "price":
        return (_Idea("total", 0.9, f"a price with postage: “{header}”"),)
    tokens = [w for w in bare.split() if w not in _FILLERS and not (len(w) == 3 and currency_of(w))]  # noqa: PLR2004
    for text in (bare, " ".join(tokens)):
        if text in words:
            return (_Idea(words[text], 0.95, f"header “{header}”"),)
    found = []
    for size in range(len(tokens) - 1, 0, -1):
        for start in range(len(tokens) - size + 1):
            phrase = " ".join(tokens[start : start + size])
            if phrase in words:
                found.append(_Idea(words[phrase], 0.5 + 0.35 * size / len(tokens), f"“{phrase}” in the header"))
    if found:
        return tuple(dict.fromkeys(found))
    near = process.extractOne(bare, words.keys(), scorer=fuzz.ratio, score_cutoff=_FUZZY) if len(bare) > 3 else None  # noqa: PLR2004
    return (_Idea(words[near[0]], 0.6, f"header “{header}” is close to “{near[0]}”"),) if near else ()


def _constants(header: str, meaning: str) -> tuple[tuple[str, str], ...]:
    """What a header itself states: the currency of "Price (EUR)", the premium, an auction where it says "Hammer"."""
    if meaning not in MONEY:
        return ()
    found = []
    codes = [w for w in re.findall(r"[A-Z]{3}|[€£]|US\$|C\$", header) if currency_of(w)]
    if codes:
        found.append(("postage_currency" if meaning == "postage" else "currency", currency_of(codes[0])))
    if meaning == "postage" and statuses("postage", header):
        found.append(("postage_kind", header))
    if meaning == "price" and "included" in statuses("premium", header):
        found.append(("premium", "included"))
    if meaning == "price" and statuses("kind", header) == ("auction",):
        found.append(("kind", header))
    return tuple(found)


_TESTS: Mapping[str, Callable[[str], bool]] = {
    "money": lambda c: (a := read_amount(c)) is UNDECIDED or isinstance(a, Amount),
    "day": lambda c: (d := read_when(c)) is AMBIGUOUS or not hasattr(d, "what"),
    "whole": lambda c: c.strip().isdigit(),
    "address": lambda c: bool(re.match(r"\s*(https?://|www\.)", c)),
    "currency": lambda c: len(c.strip()) <= 3 and bool(currency_of(c)),  # noqa: PLR2004 - a code or sign
    "country": lambda c: plain(c) in countries(),
    "status": lambda c: len(c) < 50 and bool(statuses("kind", c) or statuses("outcome", c)),  # noqa: PLR2004 - no title
    "signed": lambda c: bool(re.search(r"[€£$]", c)) and isinstance(read_amount(c), Amount),
    "words": lambda c: len(c.split()) > 2,  # noqa: PLR2004 - a phrase
    "picture": lambda c: bool(re.search(r"\.(png|jpe?g|webp|gif)\s*$", c, re.IGNORECASE)),
}
_EXPECTED = {
    **dict.fromkeys(MONEY, "money"),
    **dict.fromkeys(DAYS, "day"),
    "currency": "currency",
    "postage_currency": "currency",
    "url": "address",
    "bids": "whole",
    "quantity": "whole",
}


def _content(cells: Sequence[str]) -> dict[str, float]:
    """Share of the cells that look like each sort of content; empty for an empty column."""
    return {name: sum(map(test, cells)) / len(cells) for name, test in _TESTS.items()} if cells else {}


def _weighed(idea: _Idea, content: Mapping[str, float]) -> _Idea:
    """An idea from the header, believed less when the cells do not look like it."""
    expected = _EXPECTED.get(idea.meaning)
    if idea.meaning == "title" and content.get("whole", 0) > 0.8:  # noqa: PLR2004 - a column of numbers
        return _Idea("listing", 0.6, f"{idea.why}, its cells are numbers")
    if idea.meaning in ("kind", "outcome", "standing") and content.get("money", 0) > 0.8 and not content["status"]:  # noqa: PLR2004
        return _Idea("price", 0.8, f"{idea.why}, its cells are amounts")
    if expected is None or not content:
        return idea
    share = content[expected]
    if idea.meaning == "postage" and content["status"] + share == 0 and content["words"] > share:
        return replace(idea, confidence=idea.confidence * 0.5)
    if share == 0 and idea.meaning != "postage":
        return replace(idea, confidence=idea.confidence * 0.45, why=f"{idea.why}, though no cell looks like it")
    return replace(idea, confidence=min(0.99, idea.confidence + 0.04 * share))


def _by_content(content: Mapping[str, float]) -> list[_Idea]:
    """Meanings from the cells alone."""
    sorts = (
        ("address", "url", 0.7, "its cells are web addresses"),
        ("picture", "photo", 0.6, "its cells are names of pictures"),
        ("currency", "currency", 0.7, "its cells are currencies"),
        ("signed", "price", 0.55, "its cells are amounts of money"),
        ("day", "sold", 0.55, "its cells are dates"),
        ("status", "kind", 0.5, "its cells say what became of a listing"),
        ("country", "country", 0.5, "its cells are countries"),
        ("words", "title", 0.45, "its cells are phrases"),
        ("money", "price", 0.4, "its cells are numbers"),
    )
    return [_Idea(m, c * content[s], why) for s, m, c, why in sorts if content.get(s, 0) >= 0.8]  # noqa: PLR2004 - most


def _one_each(headers: Sequence[str], ideas: Sequence[list[_Idea]]) -> list[_Idea]:
    """The surest column keeps a meaning; the others take their next best, a second currency is that of postage."""
    chosen: dict[int, _Idea] = {}
    holder: dict[str, int] = {}
    queue = sorted(
        ((i, n) for n, own in enumerate(ideas) for i in own), key=lambda pair: (-pair[0].confidence, pair[1])
    )
    for idea, column in queue:
        if column in chosen:
            continue
        taken = holder.get(idea.meaning)
        if taken is None or idea.meaning in _REPEATABLE or idea.meaning == IGNORE:
            why = idea.why if ideas[column][0] is idea else f"{ideas[column][0].meaning} is held by another column"
            chosen[column] = replace(idea, why=why)
            holder.setdefault(idea.meaning, column)
        elif idea.meaning == "currency" and "postage_currency" not in holder:
            chosen[column] = _Idea(
                "postage_currency", idea.confidence * 0.8, f"a second currency after {headers[taken]}"
            )
            holder["postage_currency"] = column
    return [chosen[n] for n in range(len(headers))]
