"""A book of many facts: every filter of the list of sales gives just what it says.

How long it takes is measured by `make bench`.
"""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from hangtab.domain.evidence import Kind
from hangtab.domain.subject import Grading, Packaging, Subject
from hangtab.storage import create_book
from hangtab.usecases.ports import SalesFilter, StoredName
from tests.storage.facts import entry, fact, source

SIZE = 3_000
KINDS = (Kind.SALE, Kind.AUCTION, Kind.ASK)


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
        assert book.take_in(record, facts, entry()).new == SIZE
        yield book, facts


def subject_of(one):
    return Subject.parse(one.name.candidates[0][0])


def test_each_fact_is_a_row_for_valuing(large):
    book, _ = large
    assert book.rows().height == SIZE


@pytest.mark.parametrize(
    ("wanted", "keeps"),
    [
        (SalesFilter(), lambda _: True),
        (SalesFilter(text="master 9", order="title"), lambda f: "master 9" in f.evidence.title.lower()),
        (SalesFilter(text="no such words"), lambda _: False),
        (SalesFilter(text="%"), lambda _: False),
        (SalesFilter(things=("tidewardens", "tw-thing-6")), lambda f: subject_of(f).thing == "tw-thing-6"),
        (
            SalesFilter(kinds=("sale", "auction"), since=date(2024, 1, 1), graded=True, packaging="carded"),
            lambda f: f.evidence.kind is not Kind.ASK and f.evidence.when.day >= date(2024, 1, 1),
        ),
        (SalesFilter(until=date(2021, 5, 1), order="text"), lambda f: f.evidence.when.day <= date(2021, 5, 1)),
        (SalesFilter(graded=False), lambda _: False),
    ],
)
def test_a_filter_keeps_what_it_says(large, wanted, keeps):
    book, facts = large
    expected = {one.evidence.id for one in facts if keeps(one)}
    page = book.sales(replace(wanted, limit=SIZE))
    assert {row.id for row in page.rows} == expected
    assert page.total == len(expected)


def test_pages_follow_each_other_without_gap_or_repeat(large):
    book, _ = large
    pages = [book.sales(SalesFilter(order="text", offset=at, limit=700)).rows for at in range(0, SIZE, 700)]
    assert len({row.id for page in pages for row in page}) == SIZE


def test_what_was_asked_is_told_from_what_was_paid(large):
    book, facts = large
    kinds = {one.evidence.id: one.evidence.kind for one in facts}
    rows = book.sales(SalesFilter(limit=SIZE)).rows
    assert {row.asked for row in rows if kinds[row.id] is Kind.ASK} == {True}
    assert {row.asked for row in rows if kinds[row.id] is not Kind.ASK} == {False}
