"""A new book with a small catalogue."""

from datetime import UTC, datetime

import pytest

from hangtab import wiring
from hangtab.catalogue.reading import read_catalogue
from hangtab.naming import Namer
from hangtab.storage import create_book
from hangtab.usecases.parts import Parts
from hangtab.usecases.ports import Entry
from tests.unit.catalogue.files import FILES

NOON = datetime(2026, 11, 3, 12, tzinfo=UTC)


@pytest.fixture
def parts(tmp_path):
    catalogue = read_catalogue({path: text.encode() for path, text in FILES.items()})
    with create_book(tmp_path / "my.hangtab", "EUR", Entry("tester", NOON, "new book", {})) as book:
        yield Parts(book, catalogue, Namer(catalogue), wiring.bundled_rates(), lambda: NOON, "tester")
