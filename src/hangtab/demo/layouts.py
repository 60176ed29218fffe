"""How exports write numbers, dates and words: the columns of each venue, country and year.

Promises plain invented headers. A layout is a list of columns, each a header and how its cell is made. Not here: which
entries go where (`sources`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

from hangtab.demo.entries import Entry
from hangtab.domain.evidence import Kind, Outcome

Cell = Callable[[Entry], str]
SHIPPING_SINCE = 2022  # the year from which exports of Quayside US show postage
_MONTHS = "Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec".split()


@dataclass(frozen=True, slots=True)
class Layout:
    """One kind of export: file encoding, separator, and columns in order."""

    encoding: str
    separator: str
    columns: tuple[tuple[str, Cell], ...]


def plain(amount: float | None) -> str:
    """1234.50."""
    return "" if amount is None else f"{amount:.2f}"


def american(sign: str) -> Callable[[float | None], str]:
    """$1,234.50."""
    return lambda amount: "" if amount is None else f"{sign}{amount:,.2f}"


def german(amount: float | None) -> str:
    """1.234,50 €."""
    return "" if amount is None else f"{amount:,.2f} €".translate(str.maketrans(",.", ".,"))


def french(amount: float | None) -> str:
    """1 234,50 with a no-break space."""
    return "" if amount is None else f"{amount:,.2f}".replace(",", "\u00a0").replace(".", ",")


def us_date(day: date) -> str:
    """11/03/2024 for 3 November."""
    return f"{day:%m/%d/%Y}"


def dotted(day: date) -> str:
    """03.11.2024."""
    return f"{day:%d.%m.%Y}"


def slashed(day: date) -> str:
    """03/11/2024, day first."""
    return f"{day:%d/%m/%Y}"


def worded(day: date) -> str:
    """3 Nov 2024."""
    return f"{day.day} {_MONTHS[day.month - 1]} {day.year}"


def iso(day: date) -> str:
    """2024-11-03."""
    return day.isoformat()


STATUS: dict[str, dict[str, str]] = {
    "en": {"sale": "sold", "auction": "sold", "offer": "offer accepted, price hidden", "unsold": "ended unsold",
           "start": "no bids", "ask": "running", "lot": "sold", "unpaid": "sold, unpaid", "cancelled": "sale cancelled",
           "returned": "sold, returned", "part-refunded": "sold, partly refunded"},
    "de": {"sale": "verkauft", "auction": "verkauft", "offer": "Gegenangebot angenommen", "unsold": "nicht verkauft",
           "start": "ohne Gebot beendet", "ask": "läuft noch", "lot": "verkauft", "unpaid": "nicht bezahlt",
           "cancelled": "storniert", "returned": "zurückgegeben",
           "part-refunded": "verkauft, teilweise erstattet"},
    "fr": {"sale": "vendu", "auction": "vendu", "offer": "offre acceptée", "unsold": "invendu",
           "start": "terminé sans enchère", "ask": "en cours", "lot": "vendu", "unpaid": "impayé",
           "cancelled": "annulé", "returned": "retourné", "part-refunded": "vendu, remboursement partiel"},
}  # fmt: skip
FORMAT = {
    "en": ("auction", "fixed price"), "de": ("Auktion", "Festpreis"), "fr": ("enchère", "prix fixe"),
}  # fmt: skip
FREE = {"en": "free", "de": "kostenlos", "fr": "gratuit"}


def status(language: str) -> Cell:
    """What became of the listing, in words."""

    def cell(e: Entry) -> str:
        words = STATUS[language]
        return words[e.fact.kind.value if e.fact.outcome is Outcome.COMPLETED else e.fact.outcome.value]

    return cell


def selling_format(language: str) -> Cell:
    """Auction or fixed price."""
    return lambda e: FORMAT[language][0 if e.fact.kind in (Kind.AUCTION, Kind.START) else 1]


def price(write: Callable[[float | None], str]) -> Cell:
    """The price of what sold; hidden for an accepted offer."""
    return lambda e: "" if e.fact.kind is Kind.OFFER else write(e.price_shown)


def ask(write: Callable[[float | None], str]) -> Cell:
    """The ask or the start price."""
    return lambda e: write(e.fact.ask)


def postage(write: Callable[[float | None], str], language: str) -> Cell:
    """Postage, or the word for free."""
    return lambda e: FREE[language] if e.quoted == 0 else write(e.quoted)


def _text(name: str) -> Cell:
    found: dict[str, Cell] = {
        "title": lambda e: e.title,
        "listing": lambda e: e.fact.listing,
        "seller": lambda e: f"seller {e.fact.seller.number}",
        "bids": lambda e: str(e.fact.bids) if e.fact.kind in (Kind.AUCTION, Kind.START) else "",
        "site": lambda e: f"Quayside {e.fact.country}",
        "link": lambda e: f"https://{e.fact.country.lower()}.quayside.example/listing/{e.fact.listing}",
        "currency": lambda e: e.currency,
        "count": lambda e: str(len(e.fact.pieces)),
    }
    return found[name]


def _day(write: Callable[[date], str], which: str) -> Cell:
    return lambda e: write(e.ended if which == "ended" else e.started)


def us_layout(year: int, *, sold: bool) -> Layout:
    """Quayside US: dollars, month first; postage as shown to the person who looked; before 2022 none at all."""
    money = american("$")
    shipping = (("Shipping shown", postage(money, "en")),) if year >= SHIPPING_SINCE else ()
    amounts = (("Sold for", price(money)), ("Asked", ask(money))) if sold else (("Asked", ask(money)),)
    return Layout("utf-8", ",", (
        ("Listing", _text("listing")), ("Title", _text("title")), ("What happened", status("en")),
        ("Way of selling", selling_format("en")), *amounts, *shipping, ("Started", _day(us_date, "started")),
        ("Ended", _day(us_date, "ended")), ("Bids", _text("bids")), ("Seller", _text("seller")),
        ("Link", _text("link")),
    ))  # fmt: skip


def gb_layout(year: int) -> Layout:
    """Quayside GB: pounds; dates in words until 2022, ISO later."""
    money = american("£")
    day = worded if year < 2023 else iso
    return Layout("utf-8-sig" if year % 2 else "utf-8", ",", (
        ("Venue", _text("site")), ("Listing no", _text("listing")), ("Description", _text("title")),
        ("Result", status("en")), ("Format", selling_format("en")), ("Price", price(money)),
        ("Asking or start price", ask(money)), ("Postage paid", postage(money, "en")),
        ("Listed on", _day(day, "started")),
        ("End date", _day(day, "ended")), ("Seller", _text("seller")),
    ))  # fmt: skip


def ca_layout(year: int) -> Layout:
    """Quayside CA: French exports in odd years, English ones in even."""
    if year % 2:
        return Layout("utf-8", ";", (
            ("Annonce", _text("listing")), ("Site", _text("site")), ("Titre", _text("title")),
            ("Résultat", status("fr")),
            ("Type de vente", selling_format("fr")), ("Prix de vente", price(french)), ("Prix demandé", ask(french)),
            ("Frais de port", postage(french, "fr")), ("Devise", _text("currency")),
            ("Début", _day(slashed, "started")),
            ("Fin", _day(slashed, "ended")), ("Vendeur", _text("seller")),
        ))  # fmt: skip
    return Layout("utf-8", ",", (
        ("Listing", _text("listing")), ("Site", _text("site")), ("Item", _text("title")), ("Outcome", status("en")),
        ("Type", selling_format("en")), ("Sale price", price(plain)), ("List price", ask(plain)),
        ("Postage quoted", postage(plain, "en")), ("Currency", _text("currency")),
        ("Listing date", _day(iso, "started")),
        ("Date ended", _day(iso, "ended")), ("Seller handle", _text("seller")),
    ))  # fmt: skip


def de_layout(year: int) -> Layout:
    """Quayside DE: semicolons, decimal commas, dotted dates; an old code page until 2021."""
    encoding = "cp1252" if year < 2022 else "utf-8-sig" if year < 2025 else "utf-8"
    return Layout(encoding, ";", (
        ("Angebotsnummer", _text("listing")), ("Plattform", _text("site")), ("Artikel", _text("title")),
        ("Ausgang", status("de")), ("Verkaufsart", selling_format("de")), ("Verkaufspreis", price(german)),
        ("Preisvorstellung", ask(german)), ("Versand bezahlt", postage(german, "de")), ("Gebote", _text("bids")),
        ("Eingestellt am", _day(dotted, "started")), ("Beendet am", _day(dotted, "ended")),
        ("Verkäufer", _text("seller")),
    ))  # fmt: skip
