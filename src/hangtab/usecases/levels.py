"""Level the book's evidence: at take-in each fact by itself, afterwards the ones whose postage had to be guessed."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from hangtab.domain.errors import PriceError, Problem
from hangtab.domain.evidence import Evidence, PostageKind
from hangtab.domain.price import AllInPrice
from hangtab.domain.progress import OnStep, Step
from hangtab.levelling import PostageGuess, learn_postage, level, level_ask
from hangtab.usecases.parts import Parts


def level_one(parts: Parts, evidence: Evidence, guess: PostageGuess, into: str = "") -> AllInPrice | Problem | None:
    """The all-in price of a sale, or of the ask of what was not sold; None where no amount was stated.

    `into` is the currency, the book's when empty.
    """
    amount = evidence.price if evidence.price is not None else evidence.ask
    if amount is None:
        return None
    venue = parts.catalogue.venues.get(evidence.venue)
    levelled = level if evidence.price is not None else level_ask
    try:
        return levelled(
            evidence,
            venue=venue,
            taxes=parts.catalogue.taxes,
            rates=parts.rates,
            into=into or parts.book.currency,
            postage=guess,
        )
    except PriceError as error:
        return Problem(error.what, error.where, error.mend)


def book_guess(parts: Parts) -> PostageGuess:
    """Usual postage, learned from all evidence of the book that states it."""
    return learn_postage(parts.book.facts())


def relevel(parts: Parts, on_step: OnStep, *, everything: bool = False, into: str = "") -> int:
    """Level anew what had its postage estimated, or everything after a change of currency, rates or fees.

    Args:
        parts: the book and what goes with it.
        on_step: progress in prices.
        everything: each price, at its own day's rate.
        into: the book's new currency; empty keeps the one it has. Needs `everything`.

    Returns: how many prices were levelled; one that cannot be any more (no rate) is left without.
    """
    currency = into or parts.book.currency
    chosen: list[Evidence] = []

    def choosing(facts: Iterable[Evidence]) -> Iterator[Evidence]:
        for fact in facts:
            if everything or fact.postage.kind is PostageKind.UNKNOWN:
                chosen.append(fact)
            yield fact

    guess = learn_postage(choosing(parts.book.facts()))
    prices: list[tuple[str, AllInPrice | None]] = []
    for done, evidence in enumerate(chosen):
        if done % 2000 == 0:
            on_step(Step("Levelling prices", done, len(chosen)))
        price = level_one(parts, evidence, guess, currency)
        prices.append((evidence.id, None if isinstance(price, Problem) else price))
    parts.book.reprice(prices, currency, parts.entry("level", count=len(prices), currency=currency))
    return sum(price is not None for _, price in prices)
