"""From a stated price to the all-in price, step by step.

Promises that the shown steps add up exactly. A venue bills in minor units: each billed step (item, each tier of the
premium, tax, postage) is rounded half up to the minor unit of the sale's currency, their sum is exact, and the
exchange rounds once at the end. So item + premium + tax + postage = paid, and paid x rate, rounded, = all-in.
A step without an amount tells something inside another step (tax in the price) and adds nothing.
Before the buyer's own sales tax and duty. A lot's or several pieces' sum is levelled as the one sum it was.
Not here: which facts are prices (domain), and what to do with a bound (valuing).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from hangtab.catalogue.model import Premium, Site, TaxRule, Tier, Venue, tax_rate
from hangtab.domain.errors import PriceError
from hangtab.domain.evidence import Evidence, Kind, PostageKind
from hangtab.domain.money import Money
from hangtab.domain.price import AllInPrice, PriceStep, StepKind
from hangtab.levelling.postage import PostageGuess
from hangtab.levelling.rates import Rates

_HAMMERS = frozenset({Kind.AUCTION, Kind.START})


@dataclass(frozen=True, slots=True)
class Terms:
    """What levelling needs besides the fact: its venue, the tax rules, rates, the target currency, usual postage."""

    venue: Venue | None
    taxes: tuple[TaxRule, ...]
    rates: Rates
    into: str
    postage: PostageGuess


def level(
    evidence: Evidence,
    *,
    venue: Venue | None,
    taxes: tuple[TaxRule, ...],
    rates: Rates,
    into: str,
    postage: PostageGuess,
) -> AllInPrice:
    """What the buyer paid to have the piece in hand.

    Raises:
        PriceError: No price is stated, or there is no rate for its currency.
    """
    if evidence.price is None:
        mend = "Level its ask instead, or wait until the price is revealed"
        raise PriceError("No price is stated", where=evidence.id, mend=mend)
    return _all_in(evidence, evidence.price, Terms(venue, taxes, rates, into, postage))


def level_ask(
    evidence: Evidence,
    *,
    venue: Venue | None,
    taxes: tuple[TaxRule, ...],
    rates: Rates,
    into: str,
    postage: PostageGuess,
) -> AllInPrice:
    """What it would have cost at its asked or start price: the same steps. A bound, never a price.

    Raises:
        PriceError: Nothing was asked, or there is no rate for its currency.
    """
    ask = evidence.ask if evidence.ask is not None else evidence.price
    if ask is None:
        raise PriceError("No asked price is stated", where=evidence.id, mend="Say what was asked")
    return _all_in(evidence, ask, Terms(venue, taxes, rates, into, postage), asked=True)


def _all_in(evidence: Evidence, price: Money, terms: Terms, *, asked: bool = False) -> AllInPrice:
    item_steps = [PriceStep(StepKind.ITEM, _item_label(evidence, asked=asked), price)]
    if terms.venue is not None:
        site = terms.venue.site(evidence.country)
        if not (evidence.premium_included or evidence.total_only):
            item_steps += _on_top(price, terms.venue, site, evidence.when.day, terms)
        item_steps += _tax_inside(price, terms.venue, site, evidence.when.day, terms.taxes)
    item = _sum(item_steps, price.currency)
    parcel = _parcel(evidence, price, terms)
    paid = item + _sum([parcel], price.currency)
    if evidence.total_only:
        inside = terms.postage.amount(price, evidence.venue, evidence.country)
        item = Money(max(0, item.minor - inside.minor), price.currency)
    return _exchanged([*item_steps, parcel], item, paid, terms, evidence.when.day)


def _sum(steps: list[PriceStep], currency: str) -> Money:
    return Money(sum(step.amount.minor for step in steps if step.amount is not None), currency)


def _item_label(evidence: Evidence, *, asked: bool) -> str:
    if asked:
        label = "Start price" if evidence.kind is Kind.START else "Asked price"
    else:
        label = "Hammer" if evidence.kind in _HAMMERS else "Item price"
    if evidence.premium_included:
        label += ", premium included"
    if evidence.total_only:
        label += ", postage included"
    return label + (", converted by the venue" if evidence.converted else "")


def _on_top(price: Money, venue: Venue, site: Site, on: date, terms: Terms) -> Iterator[PriceStep]:
    """The tiers of the buyer's premium, each a step, and the tax on their sum."""
    schedule = premium_on(venue, on)
    if schedule is None:
        return
    premium = Money(0, price.currency)
    # Tiers are in the site's currency; for a price shown in another one their ends are brought to that.
    rate = terms.rates.rate(site.currency, price.currency, on)
    for label, share, part in _parts(schedule.tiers, price.amount, rate.convert):
        billed = Money.of(share * part, price.currency)
        premium += billed
        yield PriceStep(StepKind.PREMIUM, label, billed)
    tax = tax_rate(terms.taxes, site.country, on) if venue.tax_on_premium else Decimal(0)
    if tax:
        amount = Money.of(premium.amount * tax, price.currency)
        yield PriceStep(StepKind.TAX, f"Tax on the premium, {per_cent(tax)}", amount)


def premium_on(venue: Venue, on: date) -> Premium | None:
    """The buyer's premium in force on a day, None when there is none."""
    valid = [p for p in venue.premiums if p.valid_from <= on]
    return max(valid, key=lambda p: p.valid_from) if valid else None


def _parts(
    tiers: tuple[Tier, ...], amount: Decimal, scale: Callable[[Decimal], Decimal]
) -> Iterator[tuple[str, Decimal, Decimal]]:
    """Label, share and part of the amount for each tier that the amount reaches."""
    low, low_text = Decimal(0), ""
    for tier in tiers:
        high = amount if tier.up_to is None else scale(tier.up_to)
        if amount > low or not low_text:
            to = "" if tier.up_to is None else f" to {plain(tier.up_to)}"
            start = f" from {low_text}" if low_text else ""
            yield f"Premium, {per_cent(tier.share)}{start}{to}", tier.share, max(min(amount, high) - low, Decimal(0))
        if tier.up_to is None:
            return
        low, low_text = high, plain(tier.up_to)


def _tax_inside(price: Money, venue: Venue, site: Site, on: date, taxes: tuple[TaxRule, ...]) -> Iterator[PriceStep]:
    rate = tax_rate(taxes, site.country, on) if venue.tax_in_price else Decimal(0)
    if rate:
        part = Money.of(price.amount * rate / (1 + rate), price.currency)
        yield PriceStep(StepKind.TAX, f"Tax inside the price, {per_cent(rate)}: {part.amount} {part.currency}")


def _parcel(evidence: Evidence, price: Money, terms: Terms) -> PriceStep:
    """The postage step, in the currency of the price."""
    stated = evidence.postage
    if evidence.total_only:
        usual = terms.postage.amount(price, evidence.venue, evidence.country)
        label = f"Postage inside the price, usually {usual.amount} {usual.currency}"
        return PriceStep(StepKind.POSTAGE, label, estimated=True)
    if stated.kind is PostageKind.FREE:
        return PriceStep(StepKind.POSTAGE, "Postage, free", Money(0, price.currency))
    if stated.kind is PostageKind.COLLECTED:
        return PriceStep(StepKind.POSTAGE, "Collected, no postage", Money(0, price.currency))
    if stated.amount is None:
        usual = terms.postage.amount(price, evidence.venue, evidence.country)
        return PriceStep(StepKind.POSTAGE, "Postage not stated, the usual", usual, estimated=True)
    label = "Postage, as quoted" if stated.kind is PostageKind.QUOTED else "Postage"
    amount = stated.amount
    if amount.currency != price.currency:
        label += f", {amount.amount} {amount.currency}"
        rate = terms.rates.rate(amount.currency, price.currency, evidence.when.day)
        amount = Money.of(rate.convert(amount.amount), price.currency)
    return PriceStep(StepKind.POSTAGE, label, amount)


def _exchanged(steps: list[PriceStep], item: Money, paid: Money, terms: Terms, on: date) -> AllInPrice:
    """The last steps: the sum paid, the rate, the total."""
    guessed = any(step.estimated and step.amount is not None for step in steps)
    if paid.currency == terms.into:
        final = [*steps, PriceStep(StepKind.ALL_IN, "All-in price", paid, estimated=guessed)]
        return AllInPrice(paid, item, tuple(final), estimated=guessed)
    rate = terms.rates.rate(paid.currency, terms.into, on)
    total = Money.of(rate.convert(paid.amount), terms.into)
    label = f"Reference rate of {rate.day.day} {rate.day:%b %Y}" + (", the last known" if rate.old else "")
    final = [
        *steps,
        PriceStep(StepKind.PAID, "Paid", paid, estimated=guessed),
        PriceStep(StepKind.RATE, label, rate=rate.value),
        PriceStep(StepKind.ALL_IN, "All-in price", total, estimated=guessed),
    ]
    return AllInPrice(total, Money.of(rate.convert(item.amount), terms.into), tuple(final), rate.day, estimated=guessed)


def plain(number: Decimal) -> str:
    """A number without needless zeros.

    >>> plain(Decimal("100.00")), plain(Decimal("0.50"))
    ('100', '0.5')
    """
    return f"{number.normalize():f}"


def per_cent(share: Decimal) -> str:
    """A share as per cent.

    >>> per_cent(Decimal("0.255"))
    '25.5 %'
    """
    return f"{plain(share * 100)} %"
