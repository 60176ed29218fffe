"""The visible text of a saved page: what a reader would see, with blocks as lines and cells parted by tabs.

Promises that the same bytes give the same text, so that a span in it stays true; scripts, styles and comments are not
part of it. Nothing is run or fetched. Not here: what the text means (page).
"""

from __future__ import annotations

import re

from selectolax.lexbor import LexborHTMLParser, LexborNode

from hangtab.domain.errors import SourceError
from hangtab.intake.tables import decoded

LARGEST_PAGE = 20_000_000  # bytes
DEEPEST_PAGE = 2_000  # elements
_TAG = re.compile(r"<(/?)([A-Za-z][A-Za-z0-9]*)")
_SELF_CLOSING = frozenset(
    "area base br col embed hr img input link meta param source track wbr "
    "p li dt dd td th tr tbody thead tfoot option".split()
)
_UNSEEN = frozenset("script style template noscript head iframe object svg select option textarea".split())
_INLINE = frozenset(
    "a abbr b bdi bdo cite code data del dfn em font i img ins kbd label mark meter output q s samp small span strong "
    "sub sup time tt u var wbr".split()
)
_CELLS = frozenset("td th".split())
_STRENGTH = {"": 0, " ": 1, "\t": 2, "\n": 3}


def parsed(data: bytes, name: str = "page") -> LexborHTMLParser:
    """The tree of a page. Raises SourceError when it is larger than 20 MB or nested beyond reason."""
    mend = "Save the page again without its scripts and frames, or paste the sale as text"
    if len(data) > LARGEST_PAGE:
        raise SourceError(f"The page is larger than {LARGEST_PAGE // 1_000_000} MB", where=name, mend=mend)
    text = decoded(data)
    # The parser's time grows with the square of the depth: 100,000 unclosed elements took it a minute.
    if text.count("<") > DEEPEST_PAGE and _depth(text) > DEEPEST_PAGE:
        raise SourceError(f"The page is nested more than {DEEPEST_PAGE:,} elements deep", where=name, mend=mend)
    return LexborHTMLParser(text)


def _depth(text: str) -> int:
    """The deepest nesting of a page, elements that close by themselves left out."""
    depth = deepest = 0
    for closing, tag in _TAG.findall(text):
        if tag.lower() not in _SELF_CLOSING:
            depth = max(depth - 1, 0) if closing else depth + 1
            deepest = max(deepest, depth)
    return deepest


def visible_text(data: bytes) -> str:
    r"""The visible text of a page.

    >>> visible_text(b"<h1>Night  diver</h1><p>Sold for <b>&pound;47</b></p><script>x()</script>")
    'Night diver\nSold for £47'
    """
    return text_of(parsed(data).root)


def text_of(node: LexborNode | None) -> str:
    """The visible text of one element."""
    parts: list[str] = []
    gap = ""
    # A stack, not recursion: a page may nest deeper than Python's own stack.
    stack: list[LexborNode | str] = [node] if node is not None else []
    while stack:
        item = stack.pop()
        if isinstance(item, str):
            gap = _wider(gap, item)
        elif item.is_text_node:
            gap = _add(item.text_content or "", gap, parts)
        elif (item.is_element_node or item is node) and (tag := item.tag or "") not in _UNSEEN:
            edge = _edge(tag)
            gap = _wider(gap, edge)
            stack.append(edge)
            stack.extend(reversed(_children(item)))
    return "".join(parts)


def _children(node: LexborNode) -> list[LexborNode]:
    found = []
    child = node.first_child
    while child is not None:
        found.append(child)
        child = child.next
    return found


def _edge(tag: str) -> str:
    if tag in _CELLS:
        return "\t"
    return "" if tag in _INLINE else "\n"


def _wider(one: str, other: str) -> str:
    return one if _STRENGTH[one] >= _STRENGTH[other] else other


def _add(text: str, gap: str, parts: list[str]) -> str:
    """Append a text after its gap; gives the gap that follows it."""
    words = " ".join(text.split())
    if not words:
        return _wider(gap, " ") if text else gap
    if text[0].isspace():
        gap = _wider(gap, " ")
    if parts and gap:
        parts.append(gap)
    parts.append(words)
    return " " if text[-1].isspace() else ""
