"""A user drops files on the book, twice, corrects a column, takes one back, and looks after what is in it."""

import json
import shutil
import sqlite3
from contextlib import closing

import pytest

import hangtab
from tests.journeys.conftest import AT

HEAD = "Date,Title,Price,Postage\n"
GOOD = (
    HEAD + "2025-03-02,Tidewardens Night Diver Beacon card,30.00,5.00\n2025-04-02,Tidewardens Night Diver,25.00,5.00\n"
)
HARBOUR_MASTER = "tw-harbour-master"


def export(made):
    """All that the book holds: evidence with its names and sources as exported, and the all-in prices."""
    rows = hangtab.open(made.book).parts.book.rows()
    return made.run("evidence", "--json"), rows.write_json()


def summary(printed):
    return printed.strip().splitlines()[-1]


@pytest.fixture
def full(empty):
    empty.run("take-in", str(empty.world / "sources"))
    return empty


def test_taking_the_same_folder_in_twice_changes_nothing(full):
    before = export(full)
    printed = full.run("take-in", str(full.world / "sources"))
    assert summary(printed) == "Nothing new."
    assert "Known" in printed
    assert export(full) == before


def test_a_receipt_of_many_files_is_summed_up_by_folder(empty):
    printed = empty.run("take-in", str(empty.world / "sources"))
    lines = printed.splitlines()
    assert lines[0].split() == ["Folder", "Files", "New", "Known", "To", "settle", "Not", "read"]
    folders = [line.split()[0] for line in lines[1:] if line.startswith(("quayside/", "saved/", "harrow", "my-"))]
    assert folders == sorted(set(folders))
    assert printed.count("  where: ") <= 5
    assert "more; they wait to be settled" in printed
    assert max(map(len, lines)) <= 80


@pytest.mark.slow
@pytest.mark.parametrize("which", ["the second", "one that others overlap"])
def test_undoing_a_source_removes_just_what_it_brought(full, tmp_path, which):
    before = export(full)
    taken = hangtab.open(full.book).parts.book.take_ins()
    # Each source tells of the same listing as another: its facts stay, and rest on the other from then on.
    overlapped = {s.sources[0][1] for s in hangtab.open(full.book).evidence() if len({o[0] for o in s.sources}) > 1}
    one = next(t for t in reversed(taken) if (t.id == 2 if which == "the second" else t.name in overlapped))

    assert "Took back" in full.run("undo", str(one.id))

    without = tmp_path / "sources"
    shutil.copytree(full.world / "sources", without)
    (without / one.name).unlink()
    other = type(full)(full.world, tmp_path / "without.hangtab")
    other.run("new", "--catalogue", str(full.world / "catalogue"))
    other.run("take-in", str(without))
    assert export(full) == export(other)
    assert full.run("check").strip() == "The book is sound"

    full.run("take-in", str(full.world / "sources"))
    assert export(full) == before
    assert full.run("check").strip() == "The book is sound"


def test_a_take_in_is_taken_back_once(full):
    full.run("undo", "2")
    assert "was taken back already" in full.run("undo", "2", code=1)
    assert "There is no take-in 9999" in full.run("undo", "9999", code=1)


def test_one_bad_row_never_stops_a_file(empty, tmp_path):
    rows = GOOD.splitlines()
    rows.insert(2, "2025-02-31,Tidewardens Night Diver,12.00,3.00")
    file = tmp_path / "sales.csv"
    file.write_text("\n".join(rows) + "\n")
    printed = empty.run("take-in", str(file))
    assert "No such day: 2025-02-31\n  where: sales.csv, row 3, column Date\n  mend:  " in printed
    assert summary(printed).startswith("In all 2 new")
    assert len(empty.run("evidence", "--json").splitlines()) == 2
    assert [w.id for w in hangtab.open(empty.book).waiting() if w.id.startswith("row:")] == ["row:1"]


def test_columns_are_shown_corrected_and_remembered(empty, tmp_path):
    file = tmp_path / "odd.csv"
    file.write_text(
        "When,What,Gave,Sum\n2025-03-02,Tidewardens Night Diver,9.50,30.00\n2025-03-09,Night Pilot,8.50,25.00\n"
    )
    assert "Gave" in empty.run("columns", str(file))
    shown = empty.run("columns", str(file), "--set", "Gave=ignore", "--set", "Sum=price")
    meanings = {line.split()[0]: line.split()[1] for line in shown.splitlines()[1:]}
    assert meanings["Gave"] == "ignore"
    assert meanings["Sum"] == "price"

    later = tmp_path / "later.csv"
    later.write_text("When,What,Gave,Sum\n2025-05-02,Tidewardens Night Diver,7.50,40.00\n")
    empty.run("take-in", str(later))
    assert json.loads(empty.run("evidence", "--json"))["price"] == {"amount": "40.00", "currency": "EUR"}


@pytest.mark.parametrize("said", ["Nowhere=price", "Sum=colour", "Sum"])
def test_a_correction_that_cannot_be_is_refused(empty, tmp_path, said):
    file = tmp_path / "odd.csv"
    file.write_text("When,What,Sum\n2025-03-02,Tidewardens Night Diver,30.00\n")
    before = empty.run("columns", str(file))
    assert empty.run("columns", str(file), "--set", said, code=1 if "=" in said else 2)
    assert empty.run("columns", str(file)) == before


def test_the_journal_says_who_did_what_and_when(empty, tmp_path):
    file = tmp_path / "sales.csv"
    file.write_text(GOOD)
    empty.run("take-in", str(file), "--who", "seller 12")
    empty.run("undo", "1", "--who", "seller 13")
    printed = empty.run("journal")
    lines = {(e.who, e.verb): e for e in hangtab.open(empty.book).parts.book.journal()}
    assert lines["seller 12", "take in"].detail["name"] == "sales.csv"
    assert lines["seller 12", "take in"].at < lines["seller 13", "undo take-in"].at
    assert "seller 12" in printed
    assert "undo take-in" in printed
    assert "{" not in printed
    assert "'" not in printed


def damaged(made, *statements):
    with closing(sqlite3.connect(made.book)) as book:
        for statement in statements:
            book.execute(statement)
        book.commit()


def test_a_damaged_book_is_named_for_what_is_wrong_with_it(small_copy):
    assert small_copy.run("check").strip() == "The book is sound"
    damaged(
        small_copy,
        "UPDATE source SET data = CAST(x'00' || substr(data, 2) AS BLOB) WHERE name = 'my-lists/notes.xlsx'",
        "UPDATE evidence SET title = 'something else' WHERE id = (SELECT min(id) FROM evidence)",
    )
    with closing(sqlite3.connect(small_copy.book)) as book:
        (first,) = book.execute("SELECT min(id) FROM evidence").fetchone()
    small_copy.run("check", code=1)
    found = hangtab.open(small_copy.book).parts.book.check()
    assert {(p.what, p.where.split()[0]) for p in found} == {
        ("The bytes of my-lists/notes.xlsx do not fit their hash", "source"),
        ("Evidence that says another thing than its source", "evidence"),
    }
    assert any(p.where == f"evidence {first}" for p in found)
    assert all(p.mend for p in found)


@pytest.mark.slow
def test_a_replaced_catalogue_names_anew_but_not_what_a_person_settled(full, tmp_path):
    before = export(full)
    book = hangtab.open(full.book)
    named = [s for s in book.evidence() if s.name and s.name.decided and "harbour master" in s.evidence.title.lower()]
    settled, left = named[0].evidence.id, named[1].evidence.id
    answer = "tw-night-diver-1|carded||||||"
    book.settle(settled, answer)

    folder = tmp_path / "catalogue"
    shutil.copytree(full.world / "catalogue", folder)
    characters = folder / "lines" / "tidewardens" / "characters.csv"
    rows = characters.read_text().splitlines()
    kept = [f"{HARBOUR_MASTER},Port Captain,character," if r.startswith(f"{HARBOUR_MASTER},") else r for r in rows]
    characters.write_text("\n".join(kept) + "\n")
    assert "names changed" in full.run("catalogue", str(folder))

    changed = hangtab.open(full.book).parts.book
    assert changed.find(settled).name.candidates[0][0] == answer
    assert changed.find(left).name != named[1].name
    assert full.run("check").strip() == "The book is sound"

    full.run("catalogue", str(full.world / "catalogue"))
    back = hangtab.open(full.book).parts.book
    assert back.find(settled).name.candidates[0][0] == answer
    assert back.undo_last(book.parts.entry("undo answer")) == settled
    assert export(full) == before


def test_an_answer_sleeps_while_its_source_is_gone_and_wakes_with_it(empty, tmp_path):
    file = tmp_path / "sales.csv"
    file.write_text(GOOD)
    empty.run("take-in", str(file))
    book = hangtab.open(empty.book)
    (first, *_) = [s.evidence.id for s in book.evidence()]
    book.settle(first, "tw-night-diver-1|carded||||||")
    before = export(empty)
    empty.run("undo", "1")
    assert empty.run("evidence", "--json") == ""
    empty.run("take-in", str(file))
    assert export(empty) == before
    assert empty.run("check").strip() == "The book is sound"


def test_a_book_that_was_never_fitted_says_so_and_a_fit_of_nothing_is_refused(empty):
    assert "never fitted" in empty.run("worth", "harbour master", code=1)
    assert "nothing to fit yet" in empty.run("fit", "--at", AT, code=1)


def test_what_is_taken_back_stays_in_the_answer_until_the_next_fit(small_copy):
    asked = ("worth", "harbour master", "--at", AT, "--json")
    before = json.loads(small_copy.run(*asked))
    for source in hangtab.open(small_copy.book).parts.book.take_ins():
        small_copy.run("undo", str(source.id))
        gone = {c["id"] for c in before["comparables"]} - {
            s.evidence.id for s in hangtab.open(small_copy.book).evidence()
        }
        if gone:
            break
    assert gone
    assert json.loads(small_copy.run(*asked)) == before
    assert "Estimate" in small_copy.run("worth", "harbour master", "--at", AT)
    small_copy.run("fit", "--at", AT)
    assert gone.isdisjoint(c["id"] for c in json.loads(small_copy.run(*asked))["comparables"])


def test_a_fit_in_another_currency_is_never_shown_as_this_one(small_copy):
    asked = ("worth", "harbour master", "--at", AT, "--json")
    euros = json.loads(small_copy.run(*asked))
    small_copy.run("currency", "JPY")
    assert "not fitted in JPY" in small_copy.run("worth", "harbour master", code=1)
    small_copy.run("fit", "--at", AT)
    yen = json.loads(small_copy.run(*asked))
    assert yen["currency"] == "JPY"
    # A euro was 114 to 186 yen in the years of the demo (European Central Bank).
    assert 100 < yen["middle"]["median"] / euros["middle"]["median"] < 200
