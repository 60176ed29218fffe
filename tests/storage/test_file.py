"""The book as a file: what can be wrong with it, who may use it at once, and how it is copied."""

import sqlite3
import subprocess
import sys
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing

import pytest
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy.exc import DBAPIError

from hangtab import __version__
from hangtab.domain.errors import BookError, PriceError
from hangtab.storage import create_book, open_book, opening
from hangtab.storage.engines import APPLICATION_ID, reading, writing
from hangtab.storage.opening import LAYOUTS
from hangtab.storage.tables import METADATA
from hangtab.usecases.ports import FitRecord, SalesFilter, StudyRecord
from tests.storage.facts import AT, entry, fact, named, source, unread

MIGRATIONS = "src/hangtab/storage/migrations"


def by_hand(path, *statements):
    """Change a book behind the program's back."""
    with closing(sqlite3.connect(path)) as file, file:
        for statement in statements:
            file.execute(statement)


def said_of(problems):
    return [problem.what for problem in problems]


# ---- opening


def test_a_missing_book_says_how_to_make_one(path):
    with pytest.raises(BookError) as caught:
        open_book(path)
    assert caught.value.what == f"No book at {path}"
    assert f"hangtab new --book {path}" in caught.value.mend
    assert not path.exists()


@pytest.mark.parametrize("content", [b"", b"title;price\n" * 50, b"SQLite format 3\x00" + bytes(84)])
def test_a_file_that_is_no_book_is_refused_and_left_alone(path, content):
    path.write_bytes(content)
    with pytest.raises(BookError, match="is not a book"):
        open_book(path)
    assert path.read_bytes() == content


def test_another_programs_database_is_refused(path):
    by_hand(path, "CREATE TABLE alembic_version (version_num TEXT)", "INSERT INTO alembic_version VALUES ('0001')")
    with pytest.raises(BookError, match="is not a book"):
        open_book(path)


def test_a_book_without_a_layout_is_refused(path):
    by_hand(path, f"PRAGMA application_id = {APPLICATION_ID}", "CREATE TABLE setting (a)")
    with pytest.raises(BookError, match="not a book"):
        open_book(path)


def test_a_book_of_a_newer_version_says_which_one_is_needed_and_is_left_alone(path):
    create_book(path, "EUR", entry()).close()
    by_hand(
        path,
        "UPDATE alembic_version SET version_num = '0007'",
        "UPDATE setting SET value = '3.2.0' WHERE name = 'written by'",
    )
    before = path.read_bytes()
    with pytest.raises(BookError) as caught:
        open_book(path)
    assert "0007" in caught.value.what
    assert __version__ in caught.value.what
    assert "3.2.0" in caught.value.mend
    assert path.read_bytes() == before


def test_a_torn_book_is_called_damaged(path):
    with create_book(path, "EUR", entry()) as book:
        spring = source("spring.csv")
        book.take_in(spring, [fact(spring, row, f"q{row}") for row in range(300)], entry())
    content = bytearray(path.read_bytes())
    content[4096 * 3 : 4096 * 60] = b"\xa5" * (4096 * 57)
    path.write_bytes(bytes(content))
    try:
        with open_book(path) as book:
            found = said_of(book.check())
    except BookError as error:
        found = [error.what]
    assert found != []
    assert any("damaged" in what or "database says" in what for what in found)


def test_a_currency_must_be_one(path):
    with pytest.raises(PriceError):
        create_book(path, "euro", entry())
    assert not path.exists()


def test_a_book_needs_a_folder(tmp_path):
    with pytest.raises(BookError, match="No book can be made"):
        create_book(tmp_path / "nowhere" / "my.hangtab", "EUR", entry())


def test_a_book_that_could_not_be_finished_is_taken_away(path, monkeypatch):
    def fail(*_args, **_more):
        raise RuntimeError("the power went")

    monkeypatch.setattr(opening, "write_journal", fail)
    with pytest.raises(RuntimeError):
        create_book(path, "EUR", entry())
    assert list(path.parent.iterdir()) == []


def test_after_the_last_one_has_closed_it_is_one_file(path):
    with create_book(path, "EUR", entry()):
        assert path.with_name(path.name + "-wal").exists()
    assert [file.name for file in path.parent.iterdir()] == [path.name]


# ---- several users at once


def test_readers_are_never_blocked_by_a_take_in(file_book, path):
    spring = source("spring.csv")
    seen = []

    def facts():
        for row in range(1200):
            if row == 1100:  # a batch is written, the transaction is open
                with open_book(path, wait=0.0) as reader:
                    seen.append((reader.rows().height, reader.sales(SalesFilter()).total, len(reader.take_ins())))
            yield fact(spring, row, f"q{row}")

    file_book.take_in(spring, facts(), entry())
    # The reader waits for nothing (wait=0.0): were it blocked, it would have failed.
    assert seen == [(0, 0, 0)]
    with open_book(path) as reader:
        assert reader.rows().height == 1200


def test_opening_a_book_again_leaves_the_first_one_its_locks(file_book, path):
    """Else another process takes the log for its own and clears it away: the first one then reads a damaged book."""
    with open_book(path):
        pass
    script = f"from hangtab.storage import open_book\nwith open_book({str(path)!r}) as book: book.take_ins()"
    subprocess.run([sys.executable, "-c", script], check=True)
    assert path.with_name(path.name + "-wal").exists()
    record = source("a.csv")
    file_book.take_in(record, [fact(record, 1)], entry())
    assert file_book.check() == ()


def test_a_second_writer_is_told_that_the_book_is_in_use(file_book, path):
    with open_book(path, wait=0.05) as second, writing(file_book._engine, "first"):
        with pytest.raises(BookError, match="in use by another program"):
            second.set_setting("a", "b", entry())
        assert second.setting("a") == ""
    with open_book(path, wait=0.05) as second:
        second.set_setting("a", "b", entry())
    assert file_book.setting("a") == "b"


def test_a_second_writer_waits_for_the_first(file_book, path):
    held, done = threading.Event(), []

    def hold():
        with writing(file_book._engine, "first"):
            held.set()
            time.sleep(0.3)
            done.append("first")

    thread = threading.Thread(target=hold)
    thread.start()
    held.wait()
    with open_book(path, wait=10.0) as second:
        second.set_setting("a", "b", entry())
        done.append("second")
    thread.join()
    assert done == ["first", "second"]


def test_an_export_sees_one_moment_while_others_write(file_book):
    spring, autumn = source("spring.csv"), source("autumn.csv")
    number = file_book.take_in(spring, [fact(spring, row, f"q{row}") for row in range(1500)], entry()).take_in
    streaming = file_book.evidence()
    first = next(streaming)
    file_book.undo_take_in(number, entry("undo"))
    file_book.take_in(autumn, [fact(autumn, 1, "zz")], entry())
    ids = [first.evidence.id, *(kept.evidence.id for kept in streaming)]
    assert len(ids) == 1500
    assert ids == sorted(ids)
    assert [kept.evidence.id for kept in file_book.evidence()] == ["quayside/zz"]


def test_threads_share_one_book(file_book):
    records = [source(f"{n}.csv") for n in range(12)]

    def work(record):
        got = file_book.take_in(record, [fact(record, row, f"{record.name}-{row}") for row in range(50)], entry())
        return got.new, file_book.find(f"quayside/{record.name}-7").evidence.listing, file_book.rows().height

    with ThreadPoolExecutor(12) as threads:
        results = list(threads.map(work, records))
    assert [(new, listing) for new, listing, _ in results] == [(50, f"{record.name}-7") for record in records]
    assert max(height for _, _, height in results) == 600
    assert file_book.check() == ()
    assert sorted(line.detail["take_in"] for line in file_book.journal() if "take_in" in line.detail) == [*range(1, 13)]


def test_older_fits_are_let_go(file_book):
    for number in range(5):
        file_book.save_fit(FitRecord(f"k{number}", AT, b"fit", {}), entry("fit"))
    with reading(file_book._engine, "here") as connection:
        assert connection.exec_driver_sql("SELECT key FROM fit ORDER BY id").scalars().all() == ["k2", "k3", "k4"]


# ---- an older layout


def test_a_book_of_the_first_layout_is_brought_up_with_all_that_is_in_it(path):
    spring = source("spring.csv")
    with create_book(path, "EUR", entry()) as book:
        book.take_in(spring, [fact(spring, 1, "q1"), unread(spring, 2)], entry())
        before, journal = list(book.evidence()), book.journal()
    by_hand(path, "DROP TABLE study", "UPDATE alembic_version SET version_num = '0001'")
    with open_book(path) as again:
        assert list(again.evidence()) == before
        assert again.journal() == journal
        assert again.latest_study() is None
        again.save_study(StudyRecord("s1", AT, {"n": 1}), b"rows", entry("backtest"))
        assert again.check() == ()
        with reading(again._engine, "here") as connection:
            assert compare_metadata(MigrationContext.configure(connection), METADATA) == []
            listed = connection.exec_driver_sql("PRAGMA table_list").mappings().all()
        assert {row["strict"] for row in listed if row["name"] == "study"} == {1}


# ---- backup


def test_a_live_book_is_copied_whole(file_book, tmp_path):
    spring = source("spring.csv")
    file_book.take_in(spring, [fact(spring, 1, "q1"), unread(spring, 2)], entry())
    copy = tmp_path / "copy.hangtab"
    file_book.backup(copy)
    assert sorted(file.name for file in tmp_path.iterdir() if "copy" in file.name) == ["copy.hangtab"]
    with open_book(copy) as again:
        assert list(again.evidence()) == list(file_book.evidence())
        assert again.check() == ()
        with reading(again._engine, "copy") as connection:
            assert connection.exec_driver_sql("PRAGMA journal_mode").scalar() == "wal"
    with pytest.raises(BookError, match="No backup can be made"):
        file_book.backup(copy)


# ---- the shape of the tables


def test_the_migrations_make_the_tables_that_the_program_uses(file_book):
    with reading(file_book._engine, "here") as connection:
        assert compare_metadata(MigrationContext.configure(connection), METADATA) == []
        listed = connection.exec_driver_sql("PRAGMA table_list").mappings().all()
    strict = {row["name"]: row["strict"] for row in listed if row["type"] == "table" and "sqlite_" not in row["name"]}
    strict.pop("alembic_version")  # Alembic's own
    assert set(strict) == set(METADATA.tables)
    assert all(strict.values())


def test_the_newest_layout_is_the_newest_migration(request):
    config = Config()
    config.set_main_option("script_location", str(request.config.rootpath / MIGRATIONS))
    scripts = ScriptDirectory.from_config(config)
    assert tuple(script.revision for script in scripts.walk_revisions())[::-1] == LAYOUTS


@pytest.mark.parametrize("statement", ["UPDATE journal SET who = 'nobody'", "DELETE FROM journal"])
def test_the_journal_can_only_grow(file_book, path, statement):
    with pytest.raises(sqlite3.IntegrityError, match="append-only"):
        by_hand(path, statement)
    with pytest.raises(DBAPIError, match="append-only"), writing(file_book._engine, "here") as connection:
        connection.exec_driver_sql(statement)
    assert len(file_book.journal()) == 1


def test_a_missing_parent_is_refused(file_book):
    with pytest.raises(DBAPIError, match="FOREIGN KEY"), writing(file_book._engine, "here") as connection:
        connection.exec_driver_sql("INSERT INTO price VALUES (77, 1, 1, 'EUR', NULL, 0)")


# ---- check


@pytest.fixture
def checked(path):
    """A sound book with three facts, an unreadable row and an answer, closed."""
    spring = source("spring.csv")
    with create_book(path, "EUR", entry()) as book:
        facts = [fact(spring, row, f"q{row}") for row in range(3)]
        book.take_in(spring, [*facts, unread(spring, 3)], entry())
        book.settle("quayside/q2", named(), entry("settle"))
        assert book.check() == ()
    return path


@pytest.mark.parametrize(
    ("statement", "what"),
    [
        ("UPDATE source SET data = zeroblob(9)", "do not fit their hash"),
        ("UPDATE source SET packing = 'plain'", "do not fit their hash"),
        ("UPDATE assertion SET active = 0 WHERE evidence_id = 'quayside/q1'", "no source states"),
        ("DELETE FROM evidence WHERE id = 'quayside/q1'", "is not in the evidence"),
        ("UPDATE evidence SET assertion = 1 WHERE id = 'quayside/q1'", "not rest on its leading source"),
        ("UPDATE evidence SET price = 1 WHERE id = 'quayside/q1'", "another thing than its source"),
        ("UPDATE evidence SET photos = '[\"abc\"]' WHERE id = 'quayside/q1'", "A photo is missing"),
        ("UPDATE answer SET target = 'quayside/q9'", "points at evidence the book has never seen"),
        ("UPDATE answer SET target = 'row:9'", "points at evidence the book has never seen"),
        ("DELETE FROM assertion WHERE id = 1", "points at a missing row"),
    ],
)
def test_check_names_what_is_wrong(checked, statement, what):
    by_hand(checked, statement)
    with open_book(checked) as book:
        assert any(what in found for found in said_of(book.check()))


def test_check_misses_no_line_of_the_journal(checked):
    by_hand(checked, "DROP TRIGGER journal_no_delete", "DELETE FROM journal WHERE id = 2")
    with open_book(checked) as book:
        assert said_of(book.check()) == ["The journal misses 1 of 3 lines"]
