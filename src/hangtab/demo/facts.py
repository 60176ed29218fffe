"""One market fact with its truth, before it is written down as somebody would write it."""

from __future__ import annotations

from dataclasses import dataclass, field

from hangtab.demo.agents import Seller
from hangtab.demo.pieces import Piece
from hangtab.domain.evidence import Kind, Outcome, PostageKind


@dataclass(slots=True)
class Fact:
    """A market fact. Days count from the start of the world; money is in EUR and becomes the site's currency when it
    is written. `price` is the true item price or hammer (None: not sold); `ask` the ask or start price; `value` the
    middle of honest bids on that day, all in. `wrong` names what is wrong with it.
    """

    number: int
    kind: Kind
    pieces: tuple[Piece, ...]
    seller: Seller
    venue: str
    country: str
    start: float
    end: float
    price: float | None
    ask: float | None
    postage: float
    shown: PostageKind
    value: float
    bids: int = 0
    outcome: Outcome = Outcome.COMPLETED
    buyer: str = ""
    wrong: list[str] = field(default_factory=list)
    listing: str = ""

    @property
    def piece(self) -> Piece:
        """The first piece, the only one unless it is a lot."""
        return self.pieces[0]
