"""A saved page to readings: schema.org where the page carries it, labelled lines of its visible text beside it.

Promises that each field says where it stands: "JSON-LD offers.price", "microdata ...", or "visible text 120-131" (the
characters of `visible_text`, end exclusive). A page is data: nothing of it is run or fetched, its words stay words.
That the sum beside "sold for" goes before a structured price is common practice, no source: the latter often stays at
what was asked. Not here: what the fields come to (facts).
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from selectolax.lexbor import LexborHTMLParser

from hangtab.domain.evidence import ReadField, Reading
from hangtab.intake.amounts import Amount, read_amount
from hangtab.intake.labels import labelled_fields
from hangtab.intake.model import Setting, SourceFile
from hangtab.intake.photos import photo_field
from hangtab.intake.rows import FROM_NAME
from hangtab.intake.structured import Item, items
from hangtab.intake.venues import Places
from hangtab.intake.visible import parsed, text_of
from hangtab.intake.words import header_words, plain

# Paths of schema.org properties by field, the first that holds something counts.
_PATHS = {
    "title": ("name", "itemOffered.name", "offers.name"),
    "description": ("description",),
    "listing": ("sku", "productID", "identifier", "offers.sku", "serialNumber"),
    "url": ("url", "offers.url", "@id"),
    "price": ("offers.price", "offers.priceSpecification.price", "offers.lowPrice", "price"),
    "currency": ("offers.priceCurrency", "offers.priceSpecification.priceCurrency", "priceCurrency"),
    "kind": ("offers.availability", "availability"),
    "seller": ("offers.seller.name", "offers.offeredBy.name", "seller.name"),
    "postage": ("offers.shippingDetails.shippingRate.value", "shippingDetails.shippingRate.value"),
    "postage_currency": ("offers.shippingDetails.shippingRate.currency", "shippingDetails.shippingRate.currency"),
    "ended": ("offers.availabilityEnds", "offers.validThrough", "availabilityEnds"),
    "started": ("offers.availabilityStarts", "offers.validFrom", "availabilityStarts"),
    "said:condition": ("offers.itemCondition", "itemCondition"),
    "said:maker": ("brand.name", "brand", "manufacturer.name"),
    "language": ("inLanguage",),
}
_MOST_PHOTOS = 12
_SAVED_FROM = re.compile(r"saved from url=\(\d+\)(\S+)")


def page_readings(source: SourceFile, sha256: str, setting: Setting) -> Iterator[Reading]:
    """The readings of a page: one, or one for each product of a page that lists several."""
    tree = parsed(source.data, source.name)
    text = text_of(tree.root)
    found = items(tree)
    around = _around(tree, source, text, setting.places)
    if len(found) > 1:
        for number, item in enumerate(found, 1):
            yield Reading(sha256, f"page, item {number}", (*_structured(item), *around))
        return
    fields = _joined(labelled_fields(text), _structured(found[0]) if found else [])
    if not any(f.name == "title" for f in fields):
        fields.extend(_heading(tree, text))
    yield Reading(sha256, "page", (*fields, *around, *_photos(tree, source)))


def _structured(item: Item) -> list[ReadField]:
    fields = []
    for name, paths in _PATHS.items():
        path, text = next(((p, t) for p in paths if (t := item.get(p).strip())), ("", ""))
        if name in ("kind", "said:condition"):
            text = text.rpartition("/")[2]
        if text:
            fields.append(ReadField(name, text, f"{item.syntax} {path}"))
    for label, text in item.pairs("additionalProperty"):
        meaning = header_words().get(plain(label))
        if meaning and text:
            fields.append(ReadField(meaning, text, f"{item.syntax} additionalProperty {label}", 0.9))
    return fields


def _joined(seen: list[ReadField], structured: list[ReadField]) -> list[ReadField]:
    """Both sides of a page. What was sold for is read from the text; a structured price that differs was asked."""
    by_name = {f.name: f for f in seen}
    kept = []
    for f in structured:
        if f.name == "price" and "price" in by_name:
            if _sum(f.text) != _sum(by_name["price"].text) and "ask" not in by_name:
                kept.append(ReadField("ask", f.text, f.where, f.sure))
        elif f.name == "kind" and "kind" in by_name:
            continue
        else:
            kept.append(f)
    structured_first = {f.name for f in kept}
    return [*kept, *(f for f in seen if f.name not in structured_first or f.name in ("kind", "price"))]


def _sum(text: str) -> object:
    amount = read_amount(text, ".")
    return amount.number if isinstance(amount, Amount) else text


def _heading(tree: LexborHTMLParser, text: str) -> Iterator[ReadField]:
    """The title of a page without a structured name: its first heading, else the title of the document."""
    for selector in ("h1", "h2", "title"):
        node = tree.css_first(selector)
        title = " ".join((text_of(node) or node.text()).split()) if node is not None else ""
        if title:
            at = text.find(title)
            where = f"visible text {at}-{at + len(title)}" if at >= 0 else "title of the document"
            yield ReadField("title", title, where, 0.9)
            return


def _around(tree: LexborHTMLParser, source: SourceFile, text: str, places: Places) -> list[ReadField]:
    """What the page as a whole says: its address, its language, its venue."""
    fields = []
    address = _address(tree)
    if address:
        fields.append(ReadField("url", *address))
    root = tree.css_first("html")
    language = root.attributes.get("lang") if root is not None else ""
    if language:
        fields.append(ReadField("language", language, "lang of the page"))
    venue, country = places.in_name(source.name)
    named = {i for n, i in places.names.items() if f" {n} " in f" {plain(text)} "}
    if len(named) == 1 and not venue:
        fields.append(ReadField("venue", named.pop(), "visible text", 0.6))
    fields.extend(ReadField(n, t, FROM_NAME, 0.6) for n, t in (("venue", venue), ("country", country)) if t)
    return fields


def _address(tree: LexborHTMLParser) -> tuple[str, str] | None:
    for selector, attribute, where in (
        ('link[rel="canonical"]', "href", "canonical link"),
        ('meta[property="og:url"]', "content", "og:url"),
    ):
        node = tree.css_first(selector)
        if node is not None and (found := node.attributes.get(attribute)):
            return found, where
    saved = _SAVED_FROM.search((tree.html or "")[:5000])
    return (saved[1], "comment of the saved page") if saved else None


def _photos(tree: LexborHTMLParser, source: SourceFile) -> list[ReadField]:
    """The pictures of a page that lie beside it."""
    names = dict.fromkeys(s for n in tree.css("img") if (s := n.attributes.get("src")) and not s.startswith("data:"))
    found = [photo_field(name, "picture of the page", source.beside) for name in names] if source.beside else []
    return [f for f in found if f.sure][:_MOST_PHOTOS]
