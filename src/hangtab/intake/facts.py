"""A reading to evidence: the one place where fields become a market fact.

Promises an `Evidence` with its parts as stated, or a `Problem` that says what is wrong, where, and how to mend it;
never an exception for a bad field. A date in the future of the setting's day is refused. Not here: where fields come
from, and anything derived (levelling).
"""

from __future__ import annotations

import re
from collections.abc import Iterable

from hangtab.domain.dates import When
from hangtab.domain.errors import Problem
from hangtab.domain.evidence import (
    ASKED,
    FALLEN_THROUGH,
    Evidence,
    Kind,
    Outcome,
    Postage,
    PostageKind,
    ReadField,
    Reading,
    evidence_id,
)
from hangtab.domain.money import Money
from hangtab.intake.amounts import UNDECIDED, Amount, Trouble, read_amount
from hangtab.intake.characters import visible
from hangtab.intake.kinds import Signs, kind_of, outcome_of, pieces_in_title, postage_words, standing_of
from hangtab.intake.model import Layout, Setting
from hangtab.intake.rows import FieldRow, Forms, UnclearError, day, exact, money, placed
from hangtab.intake.venues import listing_in
from hangtab.intake.words import plain, statuses

LONGEST_TITLE = 2_000
_LONGEST_TEXT = 20_000
_LONGEST_ID = 200
_MOST_PIECES = 10_000
_STATUS_FIELDS = frozenset({"kind", "outcome", "standing"})  # a source may say in any of them what it was


def to_evidence(reading: Reading, setting: Setting, layout: Layout | None = None) -> Evidence | Problem:
    """What a reading means. `layout` is that of its table, None for pages and lines."""
    return evidence_from(reading, setting, Forms.of(layout))


def evidence_from(reading: Reading, setting: Setting, forms: Forms) -> Evidence | Problem:
    """As `to_evidence`, with the forms already taken from the layout."""
    try:
        return _assemble(placed(reading, setting, forms))
    except UnclearError as unclear:
        return unclear.problem()


def _assemble(row: FieldRow) -> Evidence:
    price, ask, offer, total = (money(row, name) for name in ("price", "ask", "offer", "total"))
    total_only = price is None and total is not None
    price = price or total
    title, cut = _title(row)
    quantity = _quantity(row, title)
    outcome = outcome_of(row.text("outcome"), "; ".join(f.text for f in row.reading.fields if f.name == "kind"))
    kind = kind_of(_signs(row, quantity, outcome, (price, ask, offer)))
    price, ask = _sides(kind, price, ask, offer)
    _refuse_no_price(row, kind, price, ask)
    postage = _postage(row, kind, price or ask)
    venue = row.venue or (row.setting.places.private() if kind is Kind.PRIVATE else "")
    listing = (row.text("listing").lstrip("#") or listing_in(row.text("url")))[:_LONGEST_ID]
    return Evidence(
        id=evidence_id(venue=venue, listing=listing, source=row.reading.source, locator=row.reading.locator),
        kind=kind,
        title=title,
        when=_when(row, kind),
        price=price,
        ask=ask,
        postage=postage,
        started=day(row, "started"),
        venue=venue,
        country=row.country,
        listing=listing,
        seller=row.text("seller")[:_LONGEST_ID],
        standing=standing_of(row.text("standing"), kind),
        outcome=outcome,
        description=row.text("description")[:_LONGEST_TEXT],
        said=_said(row) + cut,
        quantity=quantity,
        certificate=row.text("certificate")[:_LONGEST_ID],
        converted="yes" in statuses("converted", row.text("converted")),
        premium_included="included" in statuses("premium", row.text("premium")),
        total_only=total_only,
        language=row.text("language").lower()[:2] or (row.site.language if row.site else ""),
        photos=tuple(f.text for f in row.reading.fields if f.name == "photo" and re.fullmatch("[0-9a-f]{64}", f.text)),
    )


def _refuse_no_price(row: FieldRow, kind: Kind, price: Money | None, ask: Money | None) -> None:
    if price is None and kind is not Kind.OFFER and (kind not in ASKED or ask is None):
        raise UnclearError(Trouble("Price is missing", "Give a price, or say that it is hidden"), _anchor(row))
    # With postage on top a price of nothing would count as a sale at the cost of its parcel.
    if any(sum_ is not None and not sum_.minor for sum_ in (price, ask)):
        raise UnclearError(Trouble("Price is nothing", "Give the amount that was paid or asked"), _anchor(row))


def _anchor(row: FieldRow) -> ReadField:
    """A field to hang a problem of the whole row on."""
    return ReadField("price", "", next((f.where for f in row.reading.fields if f.name == "price"), row.reading.locator))


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


def _signs(row: FieldRow, quantity: int, outcome: Outcome, sums: tuple[Money | None, ...]) -> Signs:
    """What the row shows of its kind. `sums` are price, ask and accepted offer."""
    price, ask, offer = sums
    words = [w for f in row.reading.fields if f.name in _STATUS_FIELDS for w in statuses("kind", f.text)]
    bids = row.text("bids")
    found = re.search(r"\d+", bids) if bids else None
    return Signs(
        words=frozenset(words),
        price=price is not None,
        ask=ask is not None,
        offer=offer is not None,
        bids=int(found[0][:6]) if found else None,
        quantity=quantity,
        over=bool(row.text("sold") or row.text("ended")),
        venue_kind=row.setting.venues[row.venue].kind if row.venue in row.setting.venues else "",
        fallen=outcome in FALLEN_THROUGH,
        above_ask=price is not None and ask is not None and price.minor > ask.minor and price.currency == ask.currency,
    )


def _quantity(row: FieldRow, title: str) -> int:
    text = row.text("quantity")
    if not text:
        return pieces_in_title(title)
    found = re.fullmatch(r"[x×]?\s*(\d{1,6})(?:[.,]0+)?\s*[^\W\d]*\.?", text, re.IGNORECASE)
    if not found or not 1 <= int(found[1]) <= _MOST_PIECES:
        mend = "Give a whole number of pieces, 1 or more"
        raise UnclearError(Trouble(f"is not a count: {text[:40]!r}", mend), row.fields["quantity"])
    return int(found[1])


def _postage(row: FieldRow, kind: Kind, price: Money | None) -> Postage:
    text, how = row.text("postage"), row.text("postage_kind")
    stated = postage_words(text, how)
    if stated in (PostageKind.FREE, PostageKind.COLLECTED):
        return Postage(stated)
    if not re.search(r"\d", text):
        if text and stated is None:
            raise UnclearError(
                Trouble(f"is not a number: {text[:40]!r}", "Write the amount in figures, or leave the cell empty"),
                row.fields["postage"],
            )
        return Postage(PostageKind.UNKNOWN)
    amount = read_amount(text.strip("+ "), "")
    if amount is UNDECIDED:
        amount = read_amount(text.strip("+ "), row.decimal("postage", price.currency if price else ""))
    if isinstance(amount, Trouble):
        raise UnclearError(amount, row.fields["postage"])
    if not amount.number:
        return Postage(PostageKind.FREE)
    if not amount.currency and price and not row.text("postage_currency"):
        amount = Amount(amount.number, price.currency)
    shown = stated is PostageKind.QUOTED or (stated is None and kind in ASKED)
    return Postage(PostageKind.QUOTED if shown else PostageKind.PAID, exact(amount, row, "postage"))


def _when(row: FieldRow, kind: Kind) -> When:
    # The end of what still runs lies ahead, so it is not the day of an ask.
    if kind is Kind.ASK:
        names = ("seen", "sold", *(("ended",) if _is_past(row, "ended") else ()))
    else:
        names = ("sold", "ended", "seen")
    for name in names:
        if when := day(row, name):
            return when
    if kind is Kind.ASK:
        return When(row.setting.today)
    raise UnclearError(
        Trouble("Date is missing", "Give the day or month it was sold or ended"),
        row.fields.get("sold") or ReadField("sold", "", row.reading.locator),
    )


def _is_past(row: FieldRow, name: str) -> bool:
    try:
        return day(row, name) is not None
    except UnclearError as unclear:
        if "future" in unclear.trouble.what:
            return False
        raise


def _said(row: FieldRow) -> tuple[tuple[str, str], ...]:
    return tuple(
        (f.name[5:], text[:_LONGEST_TEXT])
        for f in row.reading.fields
        if f.name.startswith("said:") and (text := visible(f.text).strip())
    )


def _title(row: FieldRow) -> tuple[str, tuple[tuple[str, str], ...]]:
    """The title, and the mark of one that was cut."""
    text = " ".join(row.text("title").split()) or _spoken(t for _, t in _said(row))
    if not plain(text):
        where = row.fields["title"] if "title" in row.fields else ReadField("title", "", row.reading.locator)
        raise UnclearError(Trouble("Title is missing", "Say what was sold, or choose another title column"), where)
    if len(text) <= LONGEST_TITLE:
        return text, ()
    return text[:LONGEST_TITLE], (("cut", f"title of {len(text):,} characters, the first {LONGEST_TITLE:,} kept"),)


def _spoken(texts: Iterable[str]) -> str:
    return " ".join(texts)
