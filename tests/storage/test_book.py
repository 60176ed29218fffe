"""What the book promises to everything above it, in SQLite and in PostgreSQL alike."""

from datetime import date
from itertools import permutations

import pytest

from hangtab.domain.dates import When
from hangtab.domain.errors import BookError, Problem
from hangtab.domain.evidence import Kind, Outcome, Standing
from hangtab.domain.money import Money
from hangtab.storage import create_book, open_book
from hangtab.usecases.ports import FitRecord, SalesFilter, StoredName, StudyRecord
from tests.storage.facts import AT, DIVER, HARBOUR, entry, fact, named, priced, reading, source, unread


def export(book):
    return list(book.evidence())


def ids(page):
    return [row.id for row in page.rows]


# ---- taking in


def test_evidence_comes_back_as_it_went_in(book):
    spring = source("spring.csv")
    full = fact(
        spring,
        1,
        "q1",
        kind=Kind.OFFER,
        title="Überraschung 'glow' \"34\" % _ 灯",
        when=When.month(2026, 2),
        money=Money(123456789012, "JPY"),
        started=When.year(2025),
        seller="seller 12",
        standing=Standing.CONFIRMED,
        outcome=Outcome.PART_REFUNDED,
        description="two\nlines",
        said=(("line", "Tidewardens"), ("grade", "34")),
        quantity=3,
        certificate="N-77",
        converted=True,
        premium_included=True,
        total_only=True,
        language="de",
        photos=("ab" * 32,),
    )
    bare = fact(spring, 2, kind=Kind.ASK, name=None, price=None, problem=Problem("No rate", "GBP", "Drop in rates"))
    book.take_in(spring, [full, bare], entry())
    for taken in (full, bare):
        kept = book.find(taken.evidence.id)
        assert kept.evidence == taken.evidence
        assert kept.name == taken.name
        assert kept.price == taken.price
        assert kept.problem == taken.problem
        assert kept.sources == ((spring.sha256, "spring.csv", taken.reading.locator),)
        assert book.reading(taken.evidence.id) == taken.reading
    assert book.find("quayside/none") is None
    assert book.reading("quayside/none") is None


def test_a_receipt_counts_new_known_and_waiting(book):
    spring = source("spring.csv")
    facts = [
        fact(spring, 1, "q1"),
        fact(spring, 2, "q2", name=named(decided=False, why="two fit")),
        fact(spring, 3, "q1"),
        unread(spring, 4),
    ]
    got = book.take_in(spring, facts, entry())
    assert (got.new, got.known, got.waiting) == (2, 1, 2)
    assert [problem.what for problem in got.problems] == ["The date is not a day: 31 February"]
    (listed,) = book.take_ins()
    assert (listed.id, listed.new, listed.known, listed.waiting) == (got.take_in, 2, 1, 2)
    assert (listed.who, listed.at, listed.source, listed.name) == ("tester", AT, spring.sha256, "spring.csv")
    assert listed.undone is None


def test_taking_the_same_source_in_again_changes_nothing(book):
    spring = source("spring.csv")
    facts = [fact(spring, 1, "q1"), fact(spring, 2), unread(spring, 3)]
    first = book.take_in(spring, facts, entry())
    before, journal = export(book), book.journal()
    assert book.has_source(spring.sha256)
    again = book.take_in(spring, facts, entry(minutes=5))
    assert (again.take_in, again.new, again.known, again.waiting) == (first.take_in, 0, 2, 1)
    assert export(book) == before
    assert book.journal() == journal
    assert len(book.take_ins()) == 1


def test_evidence_in_two_sources_counts_once(book):
    spring, autumn = source("spring.csv"), source("autumn.csv")
    book.take_in(spring, [fact(spring, 1, "q1")], entry())
    got = book.take_in(autumn, [fact(autumn, 9, "q1"), fact(autumn, 10, "q2")], entry())
    assert (got.new, got.known) == (1, 1)
    (first, _) = export(book)
    assert {name for _, name, _ in first.sources} == {"spring.csv", "autumn.csv"}


def test_many_facts_of_one_source_with_the_same_listing(book):
    """A listing's story in one file: asked, asked for less, sold; more rows than one batch holds."""
    long = source("long.csv")
    facts = [fact(long, row, f"q{row % 7}", kind=Kind.ASK, day=date(2026, 1, 1 + row % 28)) for row in range(2500)]
    facts[1234] = fact(long, 1234, "q2", day=date(2025, 12, 1))
    got = book.take_in(long, facts, entry())
    assert (got.new, got.known) == (7, 2493)
    kinds = {kept.evidence.id: kept.evidence.kind for kept in book.evidence()}
    assert [kinds[f"quayside/q{n}"] for n in range(7)] == [Kind.ASK] * 2 + [Kind.SALE] + [Kind.ASK] * 4
    assert book.check() == ()


def test_the_order_of_take_in_does_not_matter(where):
    """Whichever source comes first: sold leads ended unsold leads running, then the later date, then the source."""
    one, two, three = source("one.csv"), source("two.csv"), source("three.csv")
    facts = {
        one: [fact(one, 1, "q1", kind=Kind.ASK, day=date(2026, 3, 9)), fact(one, 2, "q2"), fact(one, 3, "q3")],
        two: [fact(two, 1, "q1", kind=Kind.UNSOLD, day=date(2026, 2, 2)), fact(two, 2, "q2", day=date(2026, 11, 4))],
        three: [fact(three, 1, "q1", day=date(2026, 1, 1)), fact(three, 5, "q3", title="The same day")],
    }
    seen = []
    with create_book(where, "EUR", entry()) as book:
        for order in permutations(facts):
            numbers = [book.take_in(record, facts[record], entry()).take_in for record in order]
            seen.append(export(book))
            for number in numbers:
                book.undo_take_in(number, entry("undo"))
            assert export(book) == []
    assert all(one_order == seen[0] for one_order in seen)
    story, later, tie = (kept.evidence for kept in seen[0])
    assert (story.kind, story.when.day) == (Kind.SALE, date(2026, 1, 1))
    assert later.when.day == date(2026, 11, 4)
    assert tie.title == min((one.sha256, "Harbour Master 34"), (three.sha256, "The same day"))[1]


def test_a_revealed_price_leads_over_a_hidden_one(book):
    hidden, told = source("hidden.csv"), source("told.csv")
    book.take_in(told, [fact(told, 1, "q1", kind=Kind.OFFER, day=date(2026, 1, 5))], entry())
    secret = fact(hidden, 1, "q1", kind=Kind.OFFER, day=date(2026, 1, 6), money=None)
    book.take_in(hidden, [secret], entry())
    assert book.find("quayside/q1").evidence.price == Money(4700, "GBP")


def test_a_crash_in_the_middle_leaves_nothing_behind(book):
    spring = source("spring.csv")

    def broken():
        for row in range(1500):
            yield fact(spring, row, f"q{row}")
        raise RuntimeError("the power went")

    before = book.journal()
    with pytest.raises(RuntimeError, match="the power went"):
        book.take_in(spring, broken(), entry())
    assert export(book) == []
    assert book.take_ins() == ()
    assert book.journal() == before
    assert not book.has_source(spring.sha256)
    with pytest.raises(BookError):
        book.source(spring.sha256)
    assert book.take_in(spring, [fact(spring, 1, "q1")], entry()).new == 1
    assert book.check() == ()


def test_a_reading_of_another_source_is_refused(book):
    spring, other = source("spring.csv"), source("other.csv")
    with pytest.raises(ValueError, match="another source"):
        book.take_in(spring, [fact(other, 1, "q1")], entry())


def test_a_price_in_another_currency_is_refused(book):
    spring = source("spring.csv")
    with pytest.raises(BookError, match="kept in EUR"):
        book.take_in(spring, [fact(spring, 1, price=priced(100, "USD"))], entry())


# ---- undoing


def test_undo_takes_back_only_what_no_other_source_states(book):
    spring, autumn = source("spring.csv"), source("autumn.csv")
    book.take_in(spring, [fact(spring, 1, "q1", kind=Kind.ASK, title="Asked")], entry())
    alone = export(book)
    second = book.take_in(autumn, [fact(autumn, 1, "q1", title="Sold"), fact(autumn, 2, "q2")], entry())
    assert book.find("quayside/q1").evidence.title == "Sold"
    assert book.undo_take_in(second.take_in, entry("undo take-in", 7)) == 1
    assert export(book) == alone
    assert not book.has_source(autumn.sha256)
    assert book.source(autumn.sha256) == autumn
    line = book.journal(1)[0]
    assert (line.who, line.verb, line.at) == ("tester", "undo take-in", entry(minutes=7).at)
    assert (line.detail["take_in"], line.detail["gone"]) == (second.take_in, 1)
    assert [row.undone for row in book.take_ins()] == [entry(minutes=7).at, None]
    assert book.check() == ()


def test_taking_in_again_after_undo_restores_the_same_export(book):
    spring, autumn = source("spring.csv"), source("autumn.csv")
    autumns = [fact(autumn, 1, "q1"), fact(autumn, 2, "q2"), unread(autumn, 3)]
    book.take_in(spring, [fact(spring, 1, "q1", kind=Kind.ASK)], entry())
    number = book.take_in(autumn, autumns, entry()).take_in
    before, waiting = export(book), book.waiting(10)
    book.undo_take_in(number, entry("undo"))
    assert export(book) != before
    got = book.take_in(autumn, autumns, entry())
    assert export(book) == before
    assert [one.id for one in book.waiting(10)] == [one.id for one in waiting]
    assert got.take_in != number


def test_what_is_undone_cannot_be_undone_again(book):
    spring = source("spring.csv")
    number = book.take_in(spring, [fact(spring, 1)], entry()).take_in
    book.undo_take_in(number, entry("undo"))
    with pytest.raises(BookError, match="taken back already"):
        book.undo_take_in(number, entry("undo"))
    with pytest.raises(BookError, match="no take-in 77"):
        book.undo_take_in(77, entry("undo"))


# ---- answers


def test_a_persons_answer_holds_over_text_and_can_be_undone(book):
    spring = source("spring.csv")
    unsure = fact(spring, 1, "q1", name=named(decided=False, why="two fit"))
    book.take_in(spring, [unsure], entry())
    answer = StoredName(((DIVER.key, "the diver", 1.0),), 0.0, decided=True, by="tester", nodes=("lantern",))
    book.settle("quayside/q1", answer, entry("settle"))
    assert book.find("quayside/q1").name == answer
    assert (book.waiting_count(), book.answered_count()) == (0, 1)
    assert book.rows()["subject"].to_list() == [DIVER.key]
    assert ids(book.sales(SalesFilter(things=("lantern",)))) == ["quayside/q1"]
    book.rename([("quayside/q1", named(HARBOUR))], entry("rename"))
    assert book.find("quayside/q1").name == answer
    assert book.undo_last(entry("undo answer")) == "quayside/q1"
    assert book.find("quayside/q1").name == named(HARBOUR)
    assert book.answered_count() == 0
    assert book.undo_last(entry("undo answer")) == ""


def test_the_answer_before_holds_when_the_last_is_undone(book):
    spring = source("spring.csv")
    book.take_in(spring, [fact(spring, 1, "q1")], entry())
    none_of_these = StoredName((), 1.0, decided=True, by="tester")
    book.settle("quayside/q1", none_of_these, entry("settle"))
    book.settle("quayside/q1", named(DIVER), entry("settle"))
    assert book.find("quayside/q1").name == named(DIVER)
    book.settle("quayside/q1", None, entry("aside"))
    book.undo_last(entry("undo"))
    book.undo_last(entry("undo"))
    assert book.find("quayside/q1").name == none_of_these
    assert book.rows()["subject"].to_list() == [None]


def test_setting_aside_takes_it_off_the_list(book):
    spring = source("spring.csv")
    book.take_in(spring, [fact(spring, 1, "q1", name=named(decided=False)), unread(spring, 2)], entry())
    row = next(one.id for one in book.waiting(10) if one.id.startswith("row:"))
    for id_ in ("quayside/q1", row):
        book.settle(id_, None, entry("aside"))
    assert book.waiting(10) == ()
    assert book.waiting_count() == book.answered_count() == 0
    assert book.undo_last(entry("undo")) == row
    assert [one.id for one in book.waiting(10)] == [row]


def test_an_answer_sleeps_with_its_evidence_and_wakes_with_it(book):
    spring = source("spring.csv")
    facts = [fact(spring, 1, "q1", name=named(decided=False)), unread(spring, 2)]
    number = book.take_in(spring, facts, entry()).take_in
    answer = StoredName(((DIVER.key, "the diver", 1.0),), 0.0, decided=True, by="tester")
    book.settle("quayside/q1", answer, entry("settle"))
    book.settle("row:1", None, entry("aside"))
    before = export(book)
    book.undo_take_in(number, entry("undo"))
    assert book.check() == ()
    book.take_in(spring, facts, entry())
    assert export(book) == before
    assert book.find("quayside/q1").name == answer
    assert book.waiting(10) == ()


def test_answers_to_nothing_are_refused(book):
    spring = source("spring.csv")
    book.take_in(spring, [unread(spring, 1)], entry())
    with pytest.raises(BookError, match="No evidence quayside/q9"):
        book.settle("quayside/q9", None, entry("aside"))
    with pytest.raises(BookError, match="nothing to name"):
        book.settle("row:1", named(), entry("settle"))
    with pytest.raises(BookError, match="No unreadable row"):
        book.unread("row:2")
    assert book.unread("row:1").what == "The date is not a day: 31 February"
    assert book.reading("row:1") == reading(spring, 1)


def test_the_most_telling_waits_first(book):
    spring = source("spring.csv")
    unsure = [fact(spring, row, f"q{row}", name=named(decided=False, why="two fit")) for row in range(4)]
    number = book.take_in(spring, [*unsure, unread(spring, 9)], entry()).take_in
    book.set_impacts([("quayside/q2", 0.5), ("quayside/q1", 0.1), ("row:1", 0.2)])
    book.set_impacts([("quayside/q1", 0.3)])
    waits = book.waiting(10)
    assert [(one.id, one.impact) for one in waits[:3]] == [("quayside/q2", 0.5), ("quayside/q1", 0.3), ("row:1", 0.2)]
    assert (waits[0].why, waits[0].take_in) == ("two fit", number)
    assert book.waiting(2, 3) == waits[3:]
    assert book.waiting_count() == len(waits) == 5


# ---- names and prices made anew


def test_rename_replaces_what_text_said(book):
    spring = source("spring.csv")
    book.take_in(spring, [fact(spring, row, f"q{row}") for row in range(3)], entry())
    book.rename([("quayside/q1", named(DIVER)), ("quayside/gone", named())], entry("rename"))
    assert book.find("quayside/q1").name == named(DIVER)
    assert ids(book.sales(SalesFilter(text="night-diver"))) == ["quayside/q1"]
    assert book.journal(1)[0].detail["renamed"] == 1
    assert book.check() == ()


def test_a_change_of_currency_drops_what_is_not_levelled_anew(book):
    spring = source("spring.csv")
    book.take_in(spring, [fact(spring, row, f"q{row}") for row in range(2)], entry())
    with pytest.raises(BookError, match="kept in USD"):
        book.reprice([("quayside/q0", priced(7000, "EUR"))], "USD", entry("level"))
    assert book.currency == "EUR"
    book.reprice([("quayside/q0", priced(7000, "USD"))], "USD", entry("level"))
    assert book.currency == "USD"
    assert book.find("quayside/q0").price == priced(7000, "USD")
    assert book.rows()["all_in"].to_list() == [7000, None]
    assert book.find("quayside/q1").price is None


def test_a_price_found_later_clears_the_problem(book):
    spring = source("spring.csv")
    book.take_in(spring, [fact(spring, 1, "q1", price=None, problem=Problem("No rate", "GBP", "Wait"))], entry())
    book.reprice([("quayside/q1", None)], "EUR", entry("level"))
    assert book.find("quayside/q1").problem is not None
    book.reprice([("quayside/q1", priced())], "EUR", entry("level"))
    assert book.find("quayside/q1").problem is None


def test_evidence_that_falls_back_on_an_old_name_is_told(book):
    spring, autumn = source("spring.csv"), source("autumn.csv")
    book.take_in(spring, [fact(spring, 1, "q1", kind=Kind.ASK)], entry())
    number = book.take_in(autumn, [fact(autumn, 1, "q1")], entry()).take_in
    book.rename([("quayside/q1", named(DIVER))], entry("rename"))
    assert book.outdated() == ()
    book.undo_take_in(number, entry("undo"))
    assert book.outdated() == ("quayside/q1",)
    book.rename([("quayside/q1", named(DIVER))], entry("rename"))
    assert book.outdated() == ()


# ---- lists


def test_rows_are_what_valuing_asks_for(book):
    spring = source("spring.csv")
    assert book.rows().height == 0
    types = book.rows().schema
    book.take_in(
        spring,
        [
            fact(spring, 1, "a", when=When.month(2026, 2)),
            fact(spring, 2, "b", kind=Kind.ASK, name=named(decided=False)),
            fact(spring, 3, "c", kind=Kind.OFFER, money=None, name=None, price=None),
            fact(spring, 4, "d", kind=Kind.LOT),
        ],
        entry(),
    )
    rows = book.rows()
    assert rows.schema == types
    names = "id kind outcome standing sold precision venue country listing all_in item is_ask subject probability lot"
    assert rows.columns == names.split()
    assert rows["sold"].to_list()[0] == date(2026, 2, 15)
    assert rows["precision"].to_list()[0] == "month"
    assert rows["subject"].to_list() == [HARBOUR.key, None, None, HARBOUR.key]
    assert rows["probability"].to_list() == [0.9, 0.9, None, 0.9]
    assert rows["is_ask"].to_list() == [False, True, True, False]
    assert rows["all_in"].to_list() == [6500, 6500, None, 6500]
    assert rows["lot"].to_list() == [False, False, False, True]


def test_sold_subjects_counts_what_is_a_price(book):
    spring = source("spring.csv")
    facts = [
        fact(spring, 1, "a"),
        fact(spring, 2, "b", kind=Kind.OFFER),
        fact(spring, 3, "c", kind=Kind.OFFER, money=None),
        fact(spring, 4, "d", kind=Kind.ASK),
        fact(spring, 5, "e", outcome=Outcome.RETURNED),
        fact(spring, 6, "f", name=named(decided=False)),
        fact(spring, 7, "g", kind=Kind.LOT),
        fact(spring, 8, "h", kind=Kind.HEARSAY, name=named(DIVER)),
        fact(spring, 9, "i", name=StoredName((), 1.0, decided=True)),
    ]
    book.take_in(spring, facts, entry())
    counted = {
        kept.name.candidates[0][0] for kept in book.evidence() if kept.evidence.is_price and kept.name.candidates
    }
    assert book.sold_subjects() == {HARBOUR.key: 2, DIVER.key: 1}
    assert set(book.sold_subjects()) == counted
    assert book.evidence_count() == 9


@pytest.fixture
def filled(book):
    spring = source("spring.csv")
    book.take_in(
        spring,
        [
            fact(spring, 1, "a", title="ÉCLAT 100% au large", day=date(2025, 5, 1), price=priced(900)),
            fact(spring, 2, "b", name=named(DIVER), day=date(2026, 5, 1), price=priced(100)),
            fact(spring, 3, "c", kind=Kind.ASK, name=None, price=None, when=When.year(2024)),
            fact(spring, 4, "d", kind=Kind.AUCTION, day=date(2026, 9, 9), price=priced(500), title="snake_case"),
        ],
        entry(),
    )
    return book


@pytest.mark.parametrize(
    ("wanted", "expected"),
    [
        (SalesFilter(), "d b a c"),
        (SalesFilter(order="sold"), "c a b d"),
        (SalesFilter(order="-all_in"), "a d b c"),
        (SalesFilter(order="all_in"), "b d a c"),
        (SalesFilter(text="éclat"), "a"),
        (SalesFilter(text="100%"), "a"),
        (SalesFilter(text="1%0"), ""),
        (SalesFilter(text="E_C"), "d"),
        (SalesFilter(text="NIGHT-diver"), "b"),
        (SalesFilter(things=("harbour-master",)), "d a"),
        (SalesFilter(things=("tidewardens",)), "d b a"),
        (SalesFilter(things=("harbour-master", "tidewardens")), "d a"),
        (SalesFilter(things=("harbour-master", "tw-night-diver-1")), ""),
        (SalesFilter(kinds=("ask", "auction")), "d c"),
        (SalesFilter(venue="quayside", since=date(2026, 1, 1)), "d b"),
        (SalesFilter(venue="harrow-lane"), ""),
        (SalesFilter(until=date(2026, 5, 1)), "b a c"),
        (SalesFilter(packaging="loose"), "b"),
        (SalesFilter(graded=True), "d a"),
        (SalesFilter(graded=False), "b"),
    ],
)
def test_sales_are_filtered_and_ordered(filled, wanted, expected):
    page = filled.sales(wanted)
    assert [id_.removeprefix("quayside/") for id_ in ids(page)] == expected.split()
    assert page.total == len(expected.split())


def test_a_page_of_sales_says_how_many_there_are(filled):
    page = filled.sales(SalesFilter(order="id", offset=1, limit=2))
    assert ids(page) == ["quayside/b", "quayside/c"]
    assert page.total == 4
    unnamed = page.rows[1]
    assert (unnamed.sold, unnamed.subject, unnamed.text, unnamed.all_in, unnamed.decided) == (
        "2024",
        "",
        "",
        None,
        False,
    )


def test_sales_cannot_be_ordered_by_what_is_no_column(filled):
    with pytest.raises(BookError, match="ordered by"):
        filled.sales(SalesFilter(order="id; DROP TABLE evidence"))


# ---- what is kept as it is


def test_sources_are_kept_as_they_came(book):
    photo, text = source("photo.jpg", bytes(range(256)) * 3), source("text.txt", b"a" * 10_000)
    empty = source("empty.txt", b"")
    page = source("page.html")
    book.take_in(page, [fact(page, 1)], entry(), [photo, text, empty, photo])
    for record in (photo, text, empty):
        assert book.source(record.sha256) == record
    assert not book.has_source(photo.sha256)
    with pytest.raises(BookError, match="No source"):
        book.source("0" * 64)


def test_settings_layouts_and_catalogue_are_kept_and_replaced(book):
    assert (book.setting("postage"), book.layout("f1"), dict(book.catalogue_files())) == ("", "", {})
    for value in ("one", "two"):
        book.set_setting("postage", value, entry("set"))
        book.remember_layout("f1", f'{{"price": "{value}"}}', entry("layout"))
        book.put_catalogue({f"{value}.toml": value.encode()}, entry("catalogue"))
    assert book.setting("postage") == "two"
    assert dict(book.layouts()) == {"f1": '{"price": "two"}'}
    assert dict(book.catalogue_files()) == {"two.toml": b"two"}
    with pytest.raises(BookError, match="currency"):
        book.set_setting("currency", "USD", entry("set"))


def test_the_last_three_fits_are_kept(book):
    assert (book.latest_fit(), book.latest_fit_key()) == (None, "")
    fits = [FitRecord(f"k{n}", AT, bytes([n]) * 9, {"seed": n, "report": {"a": [1.5]}}) for n in range(5)]
    for one in fits:
        book.save_fit(one, entry("fit"))
        assert (book.latest_fit(), book.latest_fit_key()) == (one, one.key)
    book.save_fit(fits[3], entry("fit"))
    assert book.latest_fit() == fits[3]
    assert len([line for line in book.journal() if line.verb == "fit"]) == 6


def test_the_last_three_back_tests_are_kept_with_their_rows(book):
    assert (book.latest_study(), book.study_rows("s0")) == (None, None)
    studies = [StudyRecord(f"s{n}", AT, {"as_of": "2026-10-30", "n": n, "none": None, "held": [0.5]}) for n in range(5)]
    for n, one in enumerate(studies):
        book.save_study(one, bytes([n]) * 9, entry("backtest"))
        assert book.latest_study() == one
    assert [book.study_rows(one.key) for one in studies] == [None, None, b"\2" * 9, b"\3" * 9, b"\4" * 9]
    book.save_study(studies[2], b"anew", entry("backtest"))
    assert (book.latest_study(), book.study_rows("s2"), book.study_rows("s4")) == (studies[2], b"anew", b"\4" * 9)
    assert next(line.detail["study"] for line in book.journal() if line.verb == "backtest") == "s2"


def test_the_journal_says_who_when_and_what_newest_first(book):
    book.set_setting("postage", "5", entry("set", 3, reason="spring"))
    newest, first = book.journal()
    assert (newest.who, newest.at, newest.verb) == ("tester", entry(minutes=3).at, "set")
    assert newest.detail == {"reason": "spring", "setting": "postage", "value": "5"}
    assert first.verb == "new book"
    assert book.journal(1) == (newest,)
    assert book.version() == 2


def test_a_book_is_found_again(where):
    spring = source("spring.csv")
    with create_book(where, "GBP", entry()) as made:
        made.take_in(spring, [fact(spring, 1, "q1", price=None)], entry())
        kept = export(made)
    with open_book(where) as again:
        assert again.currency == "GBP"
        assert export(again) == kept


def test_a_second_book_in_the_same_place_is_refused(book, where):
    with pytest.raises(BookError, match="already"):
        create_book(where, "USD", entry())
    assert book.currency == "EUR"
    assert len(book.journal()) == 1
