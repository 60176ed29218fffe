"""schema.org products of a page, from JSON-LD and microdata, as nested values.

Promises bounds on size and depth, and no network: a context is never fetched. Source: the schema.org types Product,
Offer and OfferShippingDetails; JSON-LD 1.1; HTML microdata (property values by element). Not here: what the properties
mean for a sale (page).
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from selectolax.lexbor import LexborHTMLParser, LexborNode

from hangtab.intake.visible import text_of

Value = str | float | int | bool | None | list["Value"] | dict[str, "Value"]
_DEEPEST = 12
_MOST_ITEMS = 500
_LARGEST_SCRIPT = 2_000_000  # characters
_PRODUCTS = frozenset({"product", "individualproduct", "productmodel", "someproducts", "vehicle", "offer"})
_BY_ATTRIBUTE = {
    "meta": "content", "a": "href", "area": "href", "link": "href", "img": "src", "source": "src", "embed": "src",
    "audio": "src", "video": "src", "iframe": "src", "object": "data", "data": "value", "meter": "value",
}  # fmt: skip


@dataclass(frozen=True)
class Item:
    """One product; `syntax` is "JSON-LD" or "microdata", the first word of where its fields were read."""

    syntax: str
    values: Mapping[str, Value]

    def get(self, path: str) -> str:
        """Text at a path of properties, through the first of each list; "" when there is none.

        >>> Item("JSON-LD", {"offers": [{"price": 119.99}]}).get("offers.price")
        '119.99'
        """
        value: Value = dict(self.values)
        for name in path.split("."):
            value = _first(value)
            value = value.get(name) if isinstance(value, dict) else None
        value = _first(value)
        if isinstance(value, dict):
            value = next((value[n] for n in ("@value", "name", "url", "@id", "value") if n in value), None)
        # JSON can escape half a surrogate pair, which no file or database takes.
        return "" if value is None or isinstance(value, dict | list) else str(value).encode("utf-8", "replace").decode()

    def pairs(self, path: str) -> Iterator[tuple[str, str]]:
        """Names and values of a list of PropertyValue."""
        found = self.values.get(path)
        for entry in found if isinstance(found, list) else [found]:
            if isinstance(entry, dict):
                one = Item(self.syntax, entry)
                yield one.get("name"), one.get("value")


def _first(value: Value) -> Value:
    return (value[0] if value else None) if isinstance(value, list) else value


def items(tree: LexborHTMLParser) -> list[Item]:
    """The products of a page, those of JSON-LD first; microdata only when there is no JSON-LD."""
    found = [Item("JSON-LD", v) for v in _json_ld(tree)]
    return (found or [Item("microdata", v) for v in _microdata(tree)])[:_MOST_ITEMS]


def _json_ld(tree: LexborHTMLParser) -> Iterator[dict[str, Value]]:
    for script in tree.css('script[type="application/ld+json"]'):
        text = script.text()
        if len(text) > _LARGEST_SCRIPT:
            continue
        try:
            yield from _products(json.loads(text, strict=False), 0)
        except (ValueError, RecursionError):
            continue


def _products(value: Value, depth: int) -> Iterator[dict[str, Value]]:
    if depth > _DEEPEST:
        return
    if isinstance(value, list):
        for entry in value[:_MOST_ITEMS]:
            yield from _products(entry, depth + 1)
    elif isinstance(value, dict):
        if _types(value) & _PRODUCTS:
            yield value
            return
        for name in ("@graph", "mainEntity", "itemListElement", "item", "itemOffered", "about"):
            if name in value:
                yield from _products(value[name], depth + 1)


def _types(value: Mapping[str, Value]) -> set[str]:
    stated = value.get("@type")
    names = stated if isinstance(stated, list) else [stated]
    return {n.rpartition("/")[2].lower() for n in names if isinstance(n, str)}


def _microdata(tree: LexborHTMLParser) -> Iterator[dict[str, Value]]:
    for node in tree.css("[itemscope]"):
        kind = (node.attributes.get("itemtype") or "").rpartition("/")[2].lower()
        if kind in _PRODUCTS and "itemprop" not in node.attributes:
            yield _scope(node, 0)


def _scope(node: LexborNode, depth: int) -> dict[str, Value]:
    """Properties of one scope; a nested scope is the value of its own property."""
    found: dict[str, Value] = {}
    waiting = _elements(node)
    while waiting:
        child = waiting.pop()
        attributes = child.attributes
        nested = "itemscope" in attributes
        for name in (attributes.get("itemprop") or "").split():
            if depth < _DEEPEST:
                value: Value = _scope(child, depth + 1) if nested else _property(child)
                held = found.setdefault(name, [])
                if isinstance(held, list):
                    held.append(value)
        if not nested:
            waiting.extend(_elements(child))
    return found


def _elements(node: LexborNode) -> list[LexborNode]:
    """Child elements, last first, for a stack."""
    found = []
    child = node.last_child
    while child is not None:
        if child.is_element_node:
            found.append(child)
        child = child.prev
    return found


def _property(node: LexborNode) -> str:
    attributes = node.attributes
    tag = node.tag or ""
    if tag == "time" and attributes.get("datetime"):
        return attributes["datetime"] or ""
    if "content" in attributes:
        return attributes["content"] or ""
    if tag in _BY_ATTRIBUTE:
        return attributes.get(_BY_ATTRIBUTE[tag]) or ""
    return text_of(node)
