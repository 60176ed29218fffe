"""A reading to evidence: the one place where fields become a market fact.

Promises an `Evidence` with its parts as stated, or a `Problem` that says what is wrong, where, and how to mend it;
never an exception for a bad field. A date in the future of the setting's day is refused. Not here: where fields come
from, and anything derived (levelling).
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from hangtab.catalogue.model import Site
from hangtab.domain.dates import When
from hangtab.domain.errors import PriceError, Problem
from hangtab.domain.evidence import ASKED, Evidence, Kind, Postage, PostageKind, ReadField, Reading, evidence_id
from hangtab.domain.money import Money
from hangtab.intake.amounts import SHARED_SIGNS, UNDECIDED, Amount, Trouble, currency_of, read_amount
from hangtab.intake.days import AMBIGUOUS, first_day, read_when
from hangtab.intake.kinds import Signs, kind_of, outcome_of, postage_words, standing_of
from hangtab.intake.model import Layout, Setting
from hangtab.intake.venues import listing_in, short_name
from hangtab.intake.words import countries, country_code, currency_habits, plain, statuses

FROM_NAME = "the file's name"  # where a field stands that the file's name gave; it yields to all others
LONGEST_TITLE = 2_000
_LONGEST_TEXT = 20_000
_LONGEST_ID = 200
_MOST_PIECES = 10_000
_DOLLARS = frozenset("USD CAD AUD NZD MXN HKD SGD".split())
_CROWNS = frozenset("SEK NOK DKK".split())
_LABELS = {
    "price": "Price", "ask": "Asked price", "offer": "Accepted offer", "postage": "Postage", "total": "Total",
    "sold": "Date sold", "ended": "End date", "started": "Start date", "seen": "Date seen",
    "quantity": "Number of pieces",
}  # fmt: skip
_STATUS_FIELDS = frozenset({"kind", "outcome", "standing"})  # a source may say in any of them what it was
_NOTHING = frozenset({"", "-", "–", "—", "?", "n/a", "na", "none", "null", "nan", "k.a.", "nc"})


@dataclass(frozen=True, slots=True)
class Forms:
    """How each field's column is written: decimal mark or order of dates by field name, and the table's own."""

    by_field: Mapping[str, str] = field(default_factory=dict)
    decimal: str = ""
    dates: str = ""

    @classmethod
    def of(cls, layout: Layout | None) -> Forms:
        """The forms that a layout found."""
        if layout is None:
            return cls()
        by_field = {c.meaning: c.form for c in layout.columns if c.form}
        return cls(by_field, layout.dialect.decimal, layout.dialect.dates)


class _UnclearError(Exception):
    def __init__(self, trouble: Trouble, at: ReadField) -> None:
        super().__init__(trouble.what)
        self.trouble = trouble
        self.at = at

    def problem(self) -> Problem:
        label = _LABELS.get(self.at.name, self.at.name.capitalize())
        what = self.trouble.what
        if self.trouble in (UNDECIDED, AMBIGUOUS):
            what = f"{what}: {self.at.text.strip()[:40]!r}"
        sentence = what if what[:1].isupper() else f"{label} {what}"
        return Problem(sentence, self.at.where, self.trouble.mend.replace("{}", label.lower()))


@dataclass(frozen=True, slots=True)
class _Row:
    """A reading's fields by name, and what is known of its place."""

    reading: Reading
    fields: Mapping[str, ReadField]
    setting: Setting
    forms: Forms
    venue: str
    country: str
    currency: str
    site: Site | None

    def text(self, name: str) -> str:
        found = self.fields.get(name)
        text = found.text.strip() if found else ""
        return "" if text.lower() in _NOTHING else text

    def decimal(self, name: str, currency: str) -> str:
        stated = self.forms.by_field.get(name) or self.forms.decimal
        if stated:
            return stated
        if self.fields[name].where.startswith(("JSON-LD", "microdata")):
            return "."  # schema.org's price: "use '.' rather than ',' to indicate a decimal point" (from memory)
        place = countries().get(self.country.lower()) or currency_habits().get(currency or self.money_here())
        return place.decimal if place else ""

    def order(self, name: str) -> str:
        stated = self.forms.by_field.get(name) or self.forms.dates
        if stated:
            return stated
        place = countries().get(self.country.lower())
        if place is None and self.currency:
            place = currency_habits().get(self.currency)
        return place.dates if place else ""

    def money_here(self) -> str:
        """The currency of an amount that states none: column, site, country, the setting's."""
        place = countries().get(self.country.lower())
        return (
            (self.currency if self.currency not in SHARED_SIGNS else "")
            or (self.site.currency if self.site else "")
            or (place.currency if place else "")
            or self.setting.default_currency
        )

    def code(self, written: str) -> str:
        """The ISO code meant by what an amount states; "$" alone is the place's dollar, else the US one."""
        here = self.money_here()
        sign = written or (self.currency if self.currency in SHARED_SIGNS else "")
        if sign not in SHARED_SIGNS:
            return sign or here
        family, usual = (_DOLLARS, "USD") if sign == "$" else (_CROWNS, "SEK")
        return here if here in family else usual


def to_evidence(reading: Reading, setting: Setting, layout: Layout | None = None) -> Evidence | Problem:
    """What a reading means. `layout` is that of its table, None for pages and lines."""
    return evidence_from(reading, setting, Forms.of(layout))


def evidence_from(reading: Reading, setting: Setting, forms: Forms) -> Evidence | Problem:
    """As `to_evidence`, with the forms already taken from the layout."""
    try:
        return _assemble(_placed(reading, setting, forms))
    except _UnclearError as unclear:
        return unclear.problem()


def _placed(reading: Reading, setting: Setting, forms: Forms) -> _Row:
    fields: dict[str, ReadField] = {}
    for f in reading.fields:
        fields.setdefault(f.name, f)
    stated = fields["venue"].text.strip() if "venue" in fields else ""
    host_venue, host_country = setting.places.at(fields["url"].text) if "url" in fields else ("", "")
    venue = setting.places.venue(stated) or host_venue or short_name(stated)
    country = country_code(fields["country"].text) if "country" in fields else ""
    if not country or fields["country"].where == FROM_NAME:
        country = host_country or setting.places.in_name(stated)[1] or country
    currency = ""
    if "currency" in fields and fields["currency"].text.strip():
        currency = currency_of(fields["currency"].text)
        if not currency:
            trouble = f"No such currency: {fields['currency'].text.strip()[:20]!r}"
            raise _UnclearError(Trouble(trouble, "Use the three letters of ISO 4217, such as EUR"), fields["currency"])
    site = setting.places.site(venue, country, currency)
    return _Row(reading, fields, setting, forms, venue, country or (site.country if site else ""), currency, site)


def _assemble(row: _Row) -> Evidence:
    price, ask, offer, total = (_money(row, name) for name in ("price", "ask", "offer", "total"))
    total_only = price is None and total is not None
    price = price or total
    kind = _kind(row, price=price is not None, ask=ask is not None, offer=offer is not None)
    price, ask = _sides(kind, price, ask, offer)
    if price is None and kind is not Kind.OFFER and (kind not in ASKED or ask is None):
        raise _UnclearError(Trouble("Price is missing", "Give a price, or say that it is hidden"), _anchor(row))
    postage = _postage(row, kind, price or ask)
    title, cut = _title(row)
    listing = (row.text("listing").lstrip("#") or listing_in(row.text("url")))[:_LONGEST_ID]
    return Evidence(
        id=evidence_id(venue=row.venue, listing=listing, source=row.reading.source, locator=row.reading.locator),
        kind=kind,
        title=title,
        when=_when(row, kind),
        price=price,
        ask=ask,
        postage=postage,
        started=_day(row, "started"),
        venue=row.venue,
        country=row.country,
        listing=listing,
        seller=row.text("seller")[:_LONGEST_ID],
        standing=standing_of(row.text("standing"), kind),
        outcome=outcome_of(row.text("outcome"), "; ".join(f.text for f in row.reading.fields if f.name == "kind")),
        description=row.text("description")[:_LONGEST_TEXT],
        said=_said(row) + cut,
        quantity=_quantity(row),
        certificate=row.text("certificate")[:_LONGEST_ID],
        converted="yes" in statuses("converted", row.text("converted")),
        premium_included="included" in statuses("premium", row.text("premium")),
        total_only=total_only,
        language=row.text("language").lower()[:2] or (row.site.language if row.site else ""),
        photos=tuple(f.text for f in row.reading.fields if f.name == "photo" and re.fullmatch("[0-9a-f]{64}", f.text)),
    )


def _anchor(row: _Row) -> ReadField:
    """A field to hang a problem of the whole row on."""
    return ReadField("price", "", next((f.where for f in row.reading.fields if f.name == "price"), row.reading.locator))


def _money(row: _Row, name: str) -> Money | None:
    text = row.text(name)
    if not text:
        return None
    amount = read_amount(text)
    if amount is UNDECIDED:
        amount = read_amount(text, row.decimal(name, row.currency))
    if isinstance(amount, Trouble):
        raise _UnclearError(amount, row.fields[name])
    return _exact(amount, row, name)


def _exact(amount: Amount, row: _Row, name: str) -> Money:
    written = amount.currency
    if not written and name == "postage" and row.text("postage_currency"):
        written = currency_of(row.text("postage_currency"))
    try:
        return Money.of(amount.number, row.code(written))
    except PriceError as error:
        raise _UnclearError(Trouble(error.what, error.mend), row.fields[name]) from error


def _sides(
    kind: Kind, price: Money | None, ask: Money | None, offer: Money | None
) -> tuple[Money | None, Money | None]:
    """What was paid and what was asked, by kind."""
    if kind in ASKED:
        return None, ask or price
    if kind is Kind.OFFER:
        if offer is not None:
            return offer, ask or price
        revealed = price if ask is not None and price != ask else None
        return revealed, ask or price
    return price or offer, ask


def _kind(row: _Row, *, price: bool, ask: bool, offer: bool) -> Kind:
    words = [w for f in row.reading.fields if f.name in _STATUS_FIELDS for w in statuses("kind", f.text)]
    bids = row.text("bids")
    found = re.search(r"\d+", bids) if bids else None
    return kind_of(
        Signs(
            words=frozenset(words),
            price=price,
            ask=ask,
            offer=offer,
            bids=int(found[0][:6]) if found else None,
            quantity=_quantity(row),
            over=bool(row.text("sold") or row.text("ended")),
            venue_kind=row.setting.venues[row.venue].kind if row.venue in row.setting.venues else "",
        )
    )


def _quantity(row: _Row) -> int:
    text = row.text("quantity")
    if not text:
        return 1
    found = re.fullmatch(r"[x×]?\s*(\d{1,6})(?:[.,]0+)?\s*[^\W\d]*\.?", text, re.IGNORECASE)
    if not found or not 1 <= int(found[1]) <= _MOST_PIECES:
        mend = "Give a whole number of pieces, 1 or more"
        raise _UnclearError(Trouble(f"is not a count: {text[:40]!r}", mend), row.fields["quantity"])
    return int(found[1])


def _postage(row: _Row, kind: Kind, price: Money | None) -> Postage:
    text, how = row.text("postage"), row.text("postage_kind")
    stated = postage_words(text, how)
    if stated in (PostageKind.FREE, PostageKind.COLLECTED):
        return Postage(stated)
    if not re.search(r"\d", text):
        if text and stated is None:
            raise _UnclearError(
                Trouble(f"is not a number: {text[:40]!r}", "Write the amount in figures, or leave the cell empty"),
                row.fields["postage"],
            )
        return Postage(PostageKind.UNKNOWN)
    amount = read_amount(text.strip("+ "), "")
    if amount is UNDECIDED:
        amount = read_amount(text.strip("+ "), row.decimal("postage", price.currency if price else ""))
    if isinstance(amount, Trouble):
        raise _UnclearError(amount, row.fields["postage"])
    if not amount.number:
        return Postage(PostageKind.FREE)
    if not amount.currency and price and not row.text("postage_currency"):
        amount = Amount(amount.number, price.currency)
    shown = stated is PostageKind.QUOTED or (stated is None and kind in ASKED)
    return Postage(PostageKind.QUOTED if shown else PostageKind.PAID, _exact(amount, row, "postage"))


def _when(row: _Row, kind: Kind) -> When:
    # The end of what still runs lies ahead, so it is not the day of an ask.
    if kind is Kind.ASK:
        names = ("seen", "sold", *(("ended",) if _is_past(row, "ended") else ()))
    else:
        names = ("sold", "ended", "seen")
    for name in names:
        if when := _day(row, name):
            return when
    if kind is Kind.ASK:
        return When(row.setting.today)
    raise _UnclearError(
        Trouble("Date is missing", "Give the day or month it was sold or ended"),
        row.fields.get("sold") or ReadField("sold", "", row.reading.locator),
    )


def _day(row: _Row, name: str) -> When | None:
    text = row.text(name)
    if not text:
        return None
    when = read_when(text, row.order(name), row.site.zone if row.site else "")
    if isinstance(when, Trouble):
        raise _UnclearError(when, row.fields[name])
    if first_day(when) > row.setting.today:
        mend = f"Correct the date; today is {row.setting.today}"
        raise _UnclearError(Trouble(f"lies in the future: {text[:40]}", mend), row.fields[name])
    return when


def _is_past(row: _Row, name: str) -> bool:
    try:
        return _day(row, name) is not None
    except _UnclearError as unclear:
        if "future" in unclear.trouble.what:
            return False
        raise


def _said(row: _Row) -> tuple[tuple[str, str], ...]:
    return tuple(
        (f.name[5:], f.text.strip()[:_LONGEST_TEXT])
        for f in row.reading.fields
        if f.name.startswith("said:") and f.text.strip()
    )


def _title(row: _Row) -> tuple[str, tuple[tuple[str, str], ...]]:
    """The title, and the mark of one that was cut."""
    text = " ".join(row.text("title").split()) or _spoken(t for _, t in _said(row))
    if not plain(text):
        where = row.fields["title"] if "title" in row.fields else ReadField("title", "", row.reading.locator)
        raise _UnclearError(Trouble("Title is missing", "Say what was sold, or choose another title column"), where)
    if len(text) <= LONGEST_TITLE:
        return text, ()
    return text[:LONGEST_TITLE], (("cut", f"title of {len(text):,} characters, the first {LONGEST_TITLE:,} kept"),)


def _spoken(texts: Iterable[str]) -> str:
    return " ".join(texts)
