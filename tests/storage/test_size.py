"""The book at the size of seven years of a specialist's evidence: 30,000 facts.

Times are of the processor, not of the clock, since the machine that runs the tests may be busy with other things.
"""

import time
from datetime import date, timedelta

import numpy as np
import pytest

from hangtab.domain.evidence import Kind
from hangtab.domain.subject import Grading, Packaging, Subject
from hangtab.storage import create_book
from hangtab.usecases.ports import SalesFilter, StoredName
from tests.storage.facts import entry, fact, source

SIZE = 30_000
KINDS = (Kind.SALE, Kind.AUCTION, Kind.ASK)


def spent(work):
    """Seconds of processor time, and what came of it."""
    start = time.process_time()
    result = work()
    return time.process_time() - start, result


def one_name(rng):
    thing = f"tw-thing-{int(1200 * rng.random() ** 3)}"
    graded = [Grading("northgate", "forty", str(2 * grade)) for grade in rng.integers(10, 20, 5)]
    subjects = [Subject(thing, Packaging.CARDED, grading=grading) for grading in graded]
    candidates = tuple((one.key, f"{thing}, carded, Northgate {one.grading.grade}", 0.2) for one in subjects)
    return StoredName(candidates, 0.0, decided=bool(rng.random() < 0.8), nodes=("tidewardens", thing))


@pytest.fixture(scope="module")
def large(tmp_path_factory):
    rng = np.random.default_rng(20261103)
    record = source("all.csv", b"listing;price\n" * 200_000)
    facts = [
        fact(
            record,
            row,
            f"q{row}",
            name=one_name(rng),
            kind=KINDS[rng.integers(3)],
            day=date(2020, 1, 1) + timedelta(days=int(rng.integers(2500))),
            title=f"Harbour Master {row} glow sticker carded 34",
        )
        for row in range(SIZE)
    ]
    with create_book(tmp_path_factory.mktemp("large") / "my.hangtab", "EUR", entry()) as book:
        seconds, receipt = spent(lambda: book.take_in(record, facts, entry()))
        assert receipt.new == SIZE
        yield book, seconds


@pytest.mark.slow
def test_thirty_thousand_facts_are_written_in_seconds(large):
    _, seconds = large
    assert seconds < 6  # 3.2 s when written, with five candidates and four steps each


@pytest.mark.slow
def test_rows_come_fast_enough_for_a_refit(large):
    book, _ = large
    book.rows()
    seconds, rows = spent(book.rows)
    assert rows.height == SIZE
    assert seconds < 0.6  # 0.14 s on the clock of an idle machine; polars adds its threads' time


@pytest.mark.slow
@pytest.mark.parametrize(
    "wanted",
    [
        SalesFilter(),
        SalesFilter(text="master 9", order="title"),
        SalesFilter(text="no such words"),
        SalesFilter(things=("tidewardens",), order="-all_in"),
        SalesFilter(things=("tidewardens", "tw-thing-6")),
        SalesFilter(kinds=("sale", "auction"), since=date(2024, 1, 1), graded=True, packaging="carded", order="text"),
        SalesFilter(order="text", offset=29_000),
    ],
)
def test_any_filter_answers_within_a_tenth_of_a_second(large, wanted):
    book, _ = large
    book.sales(wanted)
    seconds, _ = spent(lambda: book.sales(wanted))
    assert seconds < 0.1
