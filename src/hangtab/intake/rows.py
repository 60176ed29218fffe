"""The fields of one reading with what is known of their place: venue, site, country, currency, forms.

Promises that every text is read the same way wherever it stands: an amount with its currency, a date in its order. What
cannot be read raises `UnclearError`, which carries the words for a person. Not here: what the fields come to (facts).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from hangtab.catalogue.model import Site
from hangtab.domain.dates import When
from hangtab.domain.errors import PriceError, Problem
from hangtab.domain.evidence import ReadField, Reading
from hangtab.domain.money import Money
from hangtab.intake.amounts import SHARED_SIGNS, UNDECIDED, Amount, Trouble, currency_of, read_amount
from hangtab.intake.characters import visible
from hangtab.intake.days import AMBIGUOUS, first_day, read_when
from hangtab.intake.model import Layout, Setting
from hangtab.intake.venues import short_name
from hangtab.intake.words import countries, country_code, currency_habits

FROM_NAME = "the file's name"  # where a field stands that the file's name gave; it yields to all others
# Currencies that share a sign, and the one that is meant where nothing else tells (common practice, no source).
_FAMILIES = {
    "$": (frozenset("USD CAD AUD NZD MXN HKD SGD".split()), "USD"),
    "kr": (frozenset("SEK NOK DKK".split()), "SEK"),
}
_LABELS = {
    "price": "Price", "ask": "Asked price", "offer": "Accepted offer", "postage": "Postage", "total": "Total",
    "sold": "Date sold", "ended": "End date", "started": "Start date", "seen": "Date seen",
    "quantity": "Number of pieces",
}  # fmt: skip
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


class UnclearError(Exception):
    """A field that cannot be read; caught in `facts` and made a `Problem`."""

    def __init__(self, trouble: Trouble, at: ReadField) -> None:
        """Keep what is wrong and the field."""
        super().__init__(trouble.what)
        self.trouble = trouble
        self.at = at

    def problem(self) -> Problem:
        """The words for a person."""
        label = _LABELS.get(self.at.name, self.at.name.capitalize())
        what = self.trouble.what
        if self.trouble in (UNDECIDED, AMBIGUOUS):
            what = f"{what}: {self.at.text.strip()[:40]!r}"
        sentence = what if what[:1].isupper() else f"{label} {what}"
        return Problem(sentence, self.at.where, self.trouble.mend.replace("{}", label.lower()))


@dataclass(frozen=True, slots=True)
class FieldRow:
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
        """Text of a field, empty when it is missing or says that there is nothing."""
        found = self.fields.get(name)
        text = visible(found.text).strip() if found else ""
        return "" if text.lower() in _NOTHING else text

    def decimal(self, name: str, currency: str) -> str:
        """The decimal mark of a field: its column's, its table's, its country's, its currency's."""
        stated = self.forms.by_field.get(name) or self.forms.decimal
        if stated:
            return stated
        if self.fields[name].where.startswith(("JSON-LD", "microdata")):
            return "."  # schema.org's price: "use '.' rather than ',' to indicate a decimal point" (from memory)
        place = countries().get(self.country.lower()) or currency_habits().get(currency or self.money_here())
        return place.decimal if place else ""

    def order(self, name: str) -> str:
        """The order of day and month of a field, found as `decimal` is; empty when nothing tells."""
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

    def several_currencies(self) -> bool:
        """Whether nothing singles out one of a venue's sites, and these differ in currency."""
        venue = self.setting.venues.get(self.venue)
        return bool(
            venue
            and not self.site
            and not self.country
            and not self.currency
            and len({s.currency for s in venue.sites}) > 1
        )

    def code(self, written: str) -> str:
        """The ISO code meant by what an amount states; "$" alone is the place's dollar, else the US one."""
        here = self.money_here()
        sign = written or (self.currency if self.currency in SHARED_SIGNS else "")
        if sign not in SHARED_SIGNS:
            return sign or here
        family, usual = _FAMILIES[sign]
        return here if here in family else usual


def placed(reading: Reading, setting: Setting, forms: Forms) -> FieldRow:
    """Find the place of a reading. Raises UnclearError on a currency that does not exist."""
    fields: dict[str, ReadField] = {}
    for f in reading.fields:
        fields.setdefault(f.name, f)
    stated = fields["venue"].text.strip() if "venue" in fields else ""
    host_venue, host_country = setting.places.at(fields["url"].text) if "url" in fields else ("", "")
    named_venue, named_country = setting.places.named(stated) if stated else ("", "")
    venue = named_venue or host_venue or short_name(stated)
    country = country_code(fields["country"].text) if "country" in fields else ""
    if not country or fields["country"].where == FROM_NAME:
        country = host_country or named_country or country
    currency = ""
    if "currency" in fields and fields["currency"].text.strip():
        currency = currency_of(fields["currency"].text)
        if not currency:
            trouble = f"No such currency: {fields['currency'].text.strip()[:20]!r}"
            raise UnclearError(Trouble(trouble, "Use the three letters of ISO 4217, such as EUR"), fields["currency"])
    site = setting.places.site(venue, country, _code_at(venue, setting, currency or _written(fields)))
    return FieldRow(reading, fields, setting, forms, venue, country or (site.country if site else ""), currency, site)


def _written(fields: Mapping[str, ReadField]) -> str:
    """The code or shared sign that an amount itself states, "" when none does."""
    for name in ("price", "ask", "offer"):
        amount = read_amount(fields[name].text, ".") if name in fields else None
        if isinstance(amount, Amount):
            return amount.currency
    return ""


def _code_at(venue: str, setting: Setting, written: str) -> str:
    """A code as it is; a shared sign becomes the currency of the venue's sites that is written so, of two the usual."""
    if written not in SHARED_SIGNS or venue not in setting.venues:
        return written
    family, usual = _FAMILIES[written]
    found = {s.currency for s in setting.venues[venue].sites} & family
    return usual if usual in found else next(iter(found)) if len(found) == 1 else ""


def money(row: FieldRow, name: str) -> Money | None:
    """An amount, None when the field is empty."""
    text = row.text(name)
    if not text:
        return None
    amount = read_amount(text)
    if amount is UNDECIDED:
        amount = read_amount(text, row.decimal(name, row.currency))
    if isinstance(amount, Trouble):
        raise UnclearError(amount, row.fields[name])
    return exact(amount, row, name)


def exact(amount: Amount, row: FieldRow, name: str) -> Money:
    """The amount in its currency."""
    written = amount.currency
    if not written and name == "postage" and row.text("postage_currency"):
        written = currency_of(row.text("postage_currency"))
    if not written and row.several_currencies():
        mend = "Add the currency to the amount, or the country to the venue"
        raise UnclearError(Trouble(f"has no currency: {row.text(name)[:40]!r}", mend), row.fields[name])
    try:
        return Money.of(amount.number, row.code(written))
    except PriceError as error:
        raise UnclearError(Trouble(error.what, error.mend), row.fields[name]) from error


def day(row: FieldRow, name: str) -> When | None:
    """A date, None when the field is empty; one in the future of the setting's day is refused."""
    text = row.text(name)
    if not text:
        return None
    when = read_when(text, row.order(name), row.site.zone if row.site else "")
    if isinstance(when, Trouble):
        raise UnclearError(when, row.fields[name])
    if first_day(when) > row.setting.today:
        mend = f"Correct the date; today is {row.setting.today}"
        raise UnclearError(Trouble(f"lies in the future: {text[:40]}", mend), row.fields[name])
    return when
