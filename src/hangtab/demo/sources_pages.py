"""Saved listing pages with a drawn photo beside each: JSON-LD, microdata, or visible text only; English and German.

Promises plain invented pages. Reads entries, writes `saved/<site>/<listing>.html` and `<listing>_files/photo.png`, sets
each entry's place.
"""

from __future__ import annotations

import html
import json
from pathlib import Path
from string import Template

from hangtab.demo.entries import Entry
from hangtab.demo.layouts import american, dotted, german, worded
from hangtab.demo.photos import draw_photo
from hangtab.demo.said import Lookup
from hangtab.demo.variants import Variants
from hangtab.domain.evidence import Kind, Outcome

_PAGE = Template("""<!DOCTYPE html>
<html lang="$language">
<head>
<meta charset="utf-8">
<title>$title | Quayside $country</title>
<link rel="canonical" href="$link">
$data
</head>
<body>
<nav><a href="https://$host/">Quayside $country</a></nav>
<main$scope>
<h1$name>$title</h1>
<p><img src="$photo" alt="$alt"$image></p>
$facts
<p class="words"$about>$words</p>
</main>
<footer>$foot</footer>
</body>
</html>
""")
_LABELS = {
    "en": {
        "sold": "Sold on", "price": "Price", "ask": "Asked", "post": "Postage", "free": "free",
        "number": "Listing number",
        "seller": "Seller", "running": "Still on offer, seen on", "unsold": "Ended without a buyer on",
        "start": "Ended without a bid on", "offer": "Sold by an accepted offer, price hidden, on",
        "photo": "photo of the piece",
        "unpaid": "Sold but not paid, ended on", "cancelled": "Sale cancelled on",
        "returned": "Sold and returned, ended on",
        "part-refunded": "Sold, partly refunded, on",
        "since": "Listed on", "foot": "Invented page of an invented marketplace.", "auction": "Hammer price",
    },
    "de": {
        "sold": "Verkauft am", "price": "Preis", "ask": "Preisvorstellung", "post": "Versand", "free": "kostenlos",
        "number": "Angebotsnummer", "seller": "Verkäufer", "running": "Noch im Angebot, gesehen am",
        "unsold": "Ohne Käufer beendet am", "start": "Ohne Gebot beendet am",
        "offer": "Gegenangebot angenommen, Preis verborgen, am", "photo": "Foto des Stücks",
        "unpaid": "Verkauft, aber nicht bezahlt, beendet am", "cancelled": "Verkauf storniert am",
        "returned": "Verkauft und zurückgegeben, beendet am",
        "part-refunded": "Verkauft, teilweise erstattet, am", "since": "Eingestellt am",
        "foot": "Erfundene Seite eines erfundenen Marktplatzes.", "auction": "Zuschlag",
    },
}  # fmt: skip
_WORDS = {
    "en": ("From a smoke-free home. Please look at the photo.", "Bought as a child, kept in a drawer.",
           "Sold as seen, questions welcome.", "Posted within two days, well packed."),
    "de": ("Aus Nichtraucherhaushalt. Bitte Foto ansehen.", "Als Kind gekauft, in der Schublade aufbewahrt.",
           "Privatverkauf, keine Rücknahme.", "Versand innerhalb von zwei Tagen, gut verpackt."),
}  # fmt: skip
STYLES = ("json", "microdata", "text")


def write_pages(folder: Path, entries: list[Entry], world: tuple[Variants, Lookup]) -> None:
    """Write one page and photo for each entry."""
    variants, lookup = world
    for number, entry in enumerate(entries):
        country = entry.fact.country.lower()
        name = f"saved/quayside-{country}/{entry.fact.listing}.html"
        path = folder / name
        picture = f"photo.{'jpg' if number % 4 == 0 else 'png'}"
        files = path.with_name(f"{entry.fact.listing}_files")
        files.mkdir(parents=True, exist_ok=True)
        piece = entry.fact.piece
        variant = variants.rows[piece.claimed]
        draw_photo(piece, variant, lookup.cast[variant.character], files / picture)
        path.write_text(_page(entry, STYLES[number % 3], f"{files.name}/{picture}"), encoding="utf-8")
        if not entry.file:
            entry.file, entry.locator = name, "page"


def _page(e: Entry, style: str, photo: str) -> str:
    language = "de" if e.fact.country == "DE" else "en"
    host = f"{e.fact.country.lower()}.quayside.example"
    micro = style == "microdata"
    labels = _LABELS[language]
    return _PAGE.substitute(
        language=language, title=html.escape(e.title), country=e.fact.country, host=host,
        link=f"https://{host}/listing/{e.fact.listing}", photo=photo, alt=labels["photo"],
        data=_json(e, photo) if style == "json" else "",
        scope=' itemscope itemtype="https://schema.org/Product"' if micro else "",
        name=' itemprop="name"' if micro else "", image=' itemprop="image"' if micro else "",
        about=' itemprop="description"' if micro else "", facts=_facts(e, labels, language, micro=micro),
        words=_WORDS[language][e.fact.number % 4], foot=labels["foot"],
    )  # fmt: skip


def _shown(e: Entry) -> float | None:
    return e.price_shown if e.fact.price is not None and e.fact.kind is not Kind.OFFER else e.fact.ask


def _json(e: Entry, photo: str) -> str:
    running = e.fact.kind is Kind.ASK
    offer: dict[str, object] = {
        "@type": "Offer",
        "price": f"{_shown(e) or 0:.2f}",
        "priceCurrency": e.currency,
        "availability": "https://schema.org/"
        + ("InStock" if running else "SoldOut" if e.fact.price else "Discontinued"),
        "seller": {"@type": "Person", "name": f"seller {e.fact.seller.number}"},
        "availabilityStarts": e.started.isoformat(),
        "availabilityEnds": e.ended.isoformat(),
    }
    if e.quoted is not None:
        rate = {"@type": "MonetaryAmount", "value": f"{e.quoted:.2f}", "currency": e.currency}
        offer["shippingDetails"] = {"@type": "OfferShippingDetails", "shippingRate": rate}
    product = {"@context": "https://schema.org", "@type": "Product", "name": e.title, "sku": e.fact.listing,
               "image": photo, "offers": offer}  # fmt: skip
    text = json.dumps(product, ensure_ascii=False, indent=1).replace("</", "<\\/")
    return f'<script type="application/ld+json">\n{text}\n</script>'


def _facts(e: Entry, labels: dict[str, str], language: str, *, micro: bool) -> str:
    sign = {"USD": "$", "GBP": "£", "CAD": "C$", "EUR": "€"}[e.currency]
    money = german if language == "de" else american(sign)
    day = dotted if language == "de" else worded
    rows = [(labels["number"], html.escape(e.fact.listing), "sku")]
    if e.fact.kind is Kind.AUCTION:
        rows.append((labels["auction"], money(_shown(e)), ""))
    elif e.fact.price is not None and e.fact.kind is not Kind.OFFER:
        rows.append((labels["price"], money(_shown(e)), ""))
    else:
        rows.append((labels["ask"], money(e.fact.ask), ""))
    post = labels["free"] if e.quoted == 0 else money(e.quoted)
    if e.quoted is not None:
        rows.append((labels["post"], post, ""))
    rows += [(labels["since"], day(e.started), ""), (labels[_end(e)], day(e.ended), "")]
    rows.append((labels["seller"], f"seller {e.fact.seller.number}", ""))
    lines = [f"<dt>{k}</dt><dd{_prop(p, micro=micro)}>{v}</dd>" for k, v, p in rows]
    hidden = ""
    if micro:
        hidden = (
            '\n<div itemprop="offers" itemscope itemtype="https://schema.org/Offer">'
            f'<meta itemprop="price" content="{_shown(e) or 0:.2f}">'
            f'<meta itemprop="priceCurrency" content="{e.currency}"></div>'
        )
    return "<dl>\n" + "\n".join(lines) + "\n</dl>" + hidden


def _prop(name: str, *, micro: bool) -> str:
    return f' itemprop="{name}"' if micro and name else ""


def _end(e: Entry) -> str:
    if e.fact.outcome is not Outcome.COMPLETED:
        return e.fact.outcome.value
    return {Kind.ASK: "running", Kind.UNSOLD: "unsold", Kind.START: "start", Kind.OFFER: "offer"}.get(
        e.fact.kind, "sold"
    )
