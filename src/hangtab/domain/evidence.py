"""Evidence: one observed market fact, as a source stated it.

Promises that every field can be traced: a `Reading` keeps where in its source each field was read, an `Evidence` is
what those fields mean. Not here: which piece it was (naming), what was paid in all (levelling).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from hangtab.domain.dates import When
from hangtab.domain.money import Money


class Kind(StrEnum):
    """What sort of market fact it is. Those of `PRICED` are prices by themselves, an OFFER once it is revealed."""

    SALE = "sale"  # sold at a fixed price
    AUCTION = "auction"  # sold at auction, the hammer
    OFFER = "offer"  # sold by an accepted counter-offer, the price hidden (price None) or revealed later
    ASK = "ask"  # listed now
    UNSOLD = "unsold"  # the listing ended without a buyer
    START = "start"  # an auction ended without a bid at its start price
    LOT = "lot"  # several pieces for one sum
    PRIVATE = "private"  # a sale between two people
    TRADE = "trade"  # pieces exchanged at a value both sides stated
    HEARSAY = "hearsay"  # somebody said so


PRICED = frozenset({Kind.SALE, Kind.AUCTION, Kind.PRIVATE, Kind.TRADE, Kind.HEARSAY})
ASKED = frozenset({Kind.ASK, Kind.UNSOLD, Kind.START})


class Standing(StrEnum):
    """How well the fact itself is known."""

    CONFIRMED = "confirmed"
    REPORTED = "reported"
    HEARSAY = "hearsay"


class Outcome(StrEnum):
    """What became of it."""

    COMPLETED = "completed"
    UNPAID = "unpaid"
    CANCELLED = "cancelled"
    RETURNED = "returned"
    PART_REFUNDED = "part-refunded"


FALLEN_THROUGH = frozenset({Outcome.UNPAID, Outcome.CANCELLED, Outcome.RETURNED})


class PostageKind(StrEnum):
    """What is known about postage."""

    PAID = "paid"
    QUOTED = "quoted"  # shown to the person who looked, perhaps for another destination
    FREE = "free"
    COLLECTED = "collected"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Postage:
    """Postage as stated; `amount` is None when unknown, free or collected."""

    kind: PostageKind = PostageKind.UNKNOWN
    amount: Money | None = None


@dataclass(frozen=True, slots=True)
class ReadField:
    """One field as it was read: its meaning, the characters of the source, where they stand, and how sure.

    `name` is one of `FIELDS`. `where` is the column and row, the XPath-like place or the character span of the source.
    """

    name: str
    text: str
    where: str
    sure: float = 1.0


# What a reading can hold; intake maps columns and page properties to these names. `said:` prefixes free columns
# that describe the piece (said:line, said:character, said:grade, said:condition, said:features ...).
FIELDS = (
    "title", "description", "kind", "venue", "listing", "country", "seller", "sold", "ended", "started", "seen",
    "price", "currency", "ask", "offer", "postage", "postage_kind", "postage_currency", "tax", "premium", "total",
    "quantity", "outcome", "standing", "certificate", "converted", "photo", "language", "url", "bids",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Reading:
    """What was read from one part of one source: a row, a page, a pasted line."""

    source: str  # sha256 of the source's bytes, hex
    locator: str  # "row 17", "sheet Lots, row 17", "line 3", "page"
    fields: tuple[ReadField, ...]

    def get(self, name: str) -> str:
        """Text of a field, empty when it was not read."""
        return next((f.text for f in self.fields if f.name == name), "")


@dataclass(frozen=True, slots=True)
class Evidence:
    """One market fact with its parts as stated, nothing derived.

    `price` is the item price or the hammer (None when hidden); `ask` the asked or start price; `when` the day sold or
    ended, in the venue's zone (for a running ask the day it was seen). `said` are the columns that describe the piece,
    (name, text) pairs. `photos` are hashes of sources. `premium_included`: the shown price already holds the premium.
    `total_only`: the price already holds everything, postage and any premium.
    """

    id: str
    kind: Kind
    title: str
    when: When
    price: Money | None = None
    ask: Money | None = None
    postage: Postage = Postage()
    started: When | None = None
    venue: str = ""
    country: str = ""
    listing: str = ""
    seller: str = ""
    standing: Standing = Standing.REPORTED
    outcome: Outcome = Outcome.COMPLETED
    description: str = ""
    said: tuple[tuple[str, str], ...] = ()
    quantity: int = 1
    certificate: str = ""
    converted: bool = False
    premium_included: bool = False
    total_only: bool = False
    language: str = ""
    photos: tuple[str, ...] = ()

    @property
    def is_price(self) -> bool:
        """Whether it states what a completed purchase of one piece cost."""
        sold = self.kind in PRICED or (self.kind is Kind.OFFER and self.price is not None)
        return sold and self.price is not None and self.outcome not in FALLEN_THROUGH


def evidence_id(*, venue: str, listing: str, source: str, locator: str) -> str:
    """The identity of a fact: venue and listing where there is one, else source hash and locator.

    So that an export downloaded twice does not count twice.

    >>> evidence_id(venue="quayside", listing="q123", source="ab" * 32, locator="row 2")
    'quayside/q123'
    """
    return f"{venue}/{listing}" if venue and listing else f"{source[:16]}/{locator.replace(' ', '-')}"
