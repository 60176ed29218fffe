"""Drop in a newer table of exchange rates, or change the book's currency; either levels every price anew.

Promises that a table is kept in the book with its bytes, that one which ends before the table in use is refused, and
that each price is levelled at its own day's rate. Not here: opening the file (the edge does).
"""

from __future__ import annotations

import hashlib
from dataclasses import replace

from hangtab.domain.errors import PriceError
from hangtab.domain.progress import OnStep
from hangtab.levelling import Rates, read_ecb
from hangtab.usecases.levels import relevel
from hangtab.usecases.parts import Parts
from hangtab.usecases.ports import SourceRecord

SETTING = "rates"
EURO = "EUR"


def keep_rates(parts: Parts, name: str, content: bytes, on_step: OnStep) -> int:
    """Use a newer table of reference rates from now on. Returns how many prices were levelled anew.

    Raises PriceError when it is no such table, or one that ends before the table in use.
    """
    table = read_ecb(content)
    if table.last_day < parts.rates.last_day:
        raise PriceError(
            f"These rates end on {table.last_day}, those in use on {parts.rates.last_day}",
            where=name,
            mend="Give a newer table; the one in use stays",
        )
    sha256 = hashlib.sha256(content).hexdigest()
    record = SourceRecord(sha256, name, SETTING, content)
    parts.book.set_setting_to(SETTING, record, parts.entry("rates", name=name, last_day=table.last_day.isoformat()))
    return relevel(replace(parts, rates=table), on_step, everything=True)


def change_currency(parts: Parts, currency: str, on_step: OnStep) -> int:
    """Level everything to another currency. Returns how many prices were levelled anew.

    Raises PriceError for a currency without reference rates.
    """
    known_currency(parts.rates, currency)
    return relevel(parts, on_step, everything=True, into=currency)


def known_currency(rates: Rates, currency: str) -> None:
    """Refuse a currency that nothing could be levelled to. Raises PriceError."""
    known = (EURO, *rates.columns)
    if currency not in known:
        raise PriceError(
            f"No such currency: {currency}", where="the currency of the book", mend=f"Use one of {', '.join(known)}"
        )
