"""One market fact with its truth, before it is written down as somebody would write it."""

from __future__ import annotations

from dataclasses import dataclass, field

from hangtab.demo.agents import Seller
from hangtab.demo.pieces import Piece
from hangtab.domain.evidence import Kind, Outcome, PostageKind


@dataclass(slots=True)
class Fact:
    """A market fact.

    Days count from the start of the world; money is in the site's currency. `price` is the true item price or hammer
    (None: not sold); `ask` the ask or start price; `crowd` the log of what the crowd gives to what it can see that day,
    all in EUR, and `mood` the market's part of it. `wrong` names what is wrong with it.
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
    crowd: float
    mood: float
    bids: int = 0
    outcome: Outcome = Outcome.COMPLETED
    buyer: str = ""
    wrong: list[str] = field(default_factory=list)
    listing: str = ""

    @property
    def piece(self) -> Piece:
        """The first piece, the only one unless it is a lot."""
        return self.pieces[0]
