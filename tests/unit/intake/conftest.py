"""The venues of the invented world, and a setting with a fixed day."""

from datetime import date

import pytest

from hangtab.catalogue.model import Alias, Names, Site, Venue
from hangtab.intake import Setting, SourceFile, read_source

QUAYSIDE = Venue(
    "quayside",
    Names("Quayside"),
    "marketplace",
    (
        Site("US", "USD", "America/New_York", "en", "quayside.example"),
        Site("GB", "GBP", "Europe/London", "en", "gb.quayside.example"),
        Site("CA", "CAD", "America/Toronto", "en", "ca.quayside.example"),
        Site("DE", "EUR", "Europe/Berlin", "de", "de.quayside.example"),
    ),
)
HARROW_LANE = Venue(
    "harrow-lane",
    Names("Harrow Lane"),
    "auction house",
    (Site("GB", "GBP", "Europe/London", "en", "harrowlane.example"),),
)
SWAP_SHED = Venue(
    "swap-shed",
    Names("The Swap Shed", (Alias("Swap Shed"),)),
    "forum",
    (Site("US", "USD", "America/New_York", "en", "swapshed.example"),),
)


@pytest.fixture
def setting():
    venues = {v.id: v for v in (QUAYSIDE, HARROW_LANE, SWAP_SHED)}
    return Setting(venues, {}, "USD", date(2025, 12, 1))


@pytest.fixture
def take(setting):
    """Read a source given as text or bytes; the facts as a list."""

    def read(name, data, beside=None):
        raw = data.encode() if isinstance(data, str) else data
        return list(read_source(SourceFile(name, raw, beside or {}), setting).facts)

    return read
