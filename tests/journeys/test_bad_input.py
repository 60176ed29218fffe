"""What a user may hand over by mistake, or a stranger on purpose: each is named with its place and its mend.

A file that cannot be read at all ends with exit code 1; a row that cannot be read waits to be settled, since one bad
row never stops a file. Nothing that was in the book is lost by either.
"""

import csv
import io
import shutil
import sqlite3
import subprocess
import sys
import unicodedata
from contextlib import closing
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

import hangtab
from hangtab.domain.errors import BookError, PriceError, UnknownPieceError
from hangtab.web.app import create_app
from hangtab.web.desk import BookDesk
from tests.journeys.conftest import AT

HEAD = "Date,Title,Price,Postage\n"
GOOD = "2025-03-02,Tidewardens Night Diver Beacon card,30.00,5.00\n"
PIECE = "harbour master"


def three_lines(said):
    """What went wrong, of the first error on stderr, which also says where and how to mend it."""
    what, where, mend, *_ = said.splitlines()
    assert where.startswith("  where: ")
    assert mend.startswith("  mend:  ")
    assert "Traceback" not in said
    return what


@pytest.fixture
def held(empty, tmp_path):
    """A book that holds one sale; whatever is done to it, the sale must still be there."""
    file = tmp_path / "good.csv"
    file.write_text(HEAD + GOOD)
    book = hangtab.open(empty.book)
    book.take_in(file)
    (before,) = book.evidence()
    yield empty
    book = hangtab.open(empty.book)
    assert before in list(book.evidence())
    assert book.parts.book.check() == ()


@pytest.fixture
def drop(tmp_path):
    """Write a file; gives its path."""

    def write(name, content):
        path = tmp_path / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return str(path)

    return write


# ---- whole files

FILES = {
    "not.xlsx": (b"this is no workbook", "not a workbook"),
    "torn.xlsx": (b"PK\x03\x04" + bytes(200), "not a workbook"),
    "empty.csv": (b"", "no table, saved page or text"),
    "blank.csv": (b" \n\n", "no table, saved page or text"),
    "rubbish.csv": (bytes(range(256)) * 40, "no table, saved page or text"),
    "photo.png": (b"\x89PNG\r\n\x1a\n" + bytes(50), "no table, saved page or text"),
    "letter.pdf": (b"%PDF-1.7\n" + bytes(range(256)) * 20, "no table, saved page or text"),
    "header.csv": (HEAD.encode(), "Nothing in it reads like a sale"),
}


def test_files_that_cannot_be_read_are_each_named_and_do_not_keep_a_good_one_out(held, tmp_path):
    paths = []
    for name, (content, _) in FILES.items():
        (tmp_path / name).write_bytes(content)
        paths.append(str(tmp_path / name))
    (tmp_path / "sound.csv").write_text(HEAD + "2025-06-02,Tidewardens Night Diver Beacon card,31.00,5.00\n")
    said = held.run("take-in", *paths, str(tmp_path / "sound.csv"), code=1).splitlines()
    assert len(said) == 3 * len(FILES)
    for (name, (_, what)), place in zip(FILES.items(), range(0, len(said), 3), strict=True):
        assert what in said[place]
        assert said[place + 1] == f"  where: {name}"
        assert said[place + 2].startswith("  mend:  ")
    assert len(held.run("evidence", "--json").splitlines()) == 2


def test_nothing_to_take_in(held, tmp_path):
    assert "No such file or folder" in three_lines(held.run("take-in", str(tmp_path / "nowhere.csv"), code=1))
    (tmp_path / "hollow").mkdir()
    assert "No file to take in" in three_lines(held.run("take-in", str(tmp_path / "hollow"), code=1))


def test_files_that_may_not_be_read(held, tmp_path, monkeypatch):
    """Root may read anything, so that the refusal is acted here."""
    file = tmp_path / "locked.csv"
    file.write_text(HEAD + GOOD)

    def refuse(*_):
        raise PermissionError(13, "Permission denied", str(file))

    book = hangtab.open(held.book)
    with monkeypatch.context() as patch:
        patch.setattr(Path, "read_bytes", refuse)
        (problem,) = book.take_in(file).refused
    assert problem.what == "locked.csv cannot be read: Permission denied"
    assert problem.where == str(file)
    with monkeypatch.context() as patch:
        patch.setattr("os.access", lambda *_: False)
        with pytest.raises(BookError, match="cannot be read: Permission denied"):
            hangtab.open(held.book)


# ---- rows


ROWS = (
    ("2025-03-02,Night Diver,1e309,5.00", "Price is too large: '1e309'"),
    ("2025-03-02,Night Diver,1e99999999999,5.00", "Price is too large"),
    ("2025-03-02,Night Diver,-12.00,5.00", "Price is negative: '-12.00'"),
    ("2025-03-02,Night Diver,0.00,5.00", "Price is nothing"),
    ("2025-02-31,Night Diver,12.00,5.00", "No such day: 2025-02-31"),
    ("31.02.2025,Night Diver,12.00,5.00", "No such day: 31.02.2025"),
    ("2025-03-02,Night Diver,XQZ 12.00,5.00", "XQZ"),
    ("2025-03-02,Night Diver,12.OO,5.00", "Price is not a number: '12.OO'"),
    ("2999-03-02,Night Diver,12.00,5.00", "Date sold lies in the future"),
    ("2025-03-02,,12.00,5.00", "Title is missing"),
    (",Night Diver,12.00,5.00", "Date is missing"),
    ("2025-03-02,Night Diver,,5.00", "Price is missing"),
    ("2025-03-02,Night Diver,12.00,-3.00", "Postage is negative"),
    ('2025-03-02,"Night Diver,12.00,5.00', "The row cannot be read"),
)


def test_rows_that_cannot_be_read_wait_each_with_its_reason(held, drop):
    later = "2025-07-02,Tidewardens Night Diver Beacon card,33.00,5.00"
    rows = "\n".join(row for row, _ in ROWS)
    printed = held.run("take-in", drop("rows.csv", f"{HEAD}{rows}\n{later}\n"))
    assert printed.count("  where: rows.csv, row ") == 5
    assert f"and {len(ROWS) - 5} more; they wait to be settled" in printed
    book = hangtab.open(held.book)
    waiting = sorted((w for w in book.waiting() if w.id.startswith("row:")), key=lambda w: int(w.id[4:]))
    assert len(waiting) == len(ROWS)
    for number, ((_, what), one) in enumerate(zip(ROWS, waiting, strict=True), 2):
        problem = book.parts.book.unread(one.id)
        assert what in problem.what
        assert f"row {number}" in problem.where
        assert problem.mend
    assert "33.00" in held.run("evidence", "--json")


CURRENCIES = (
    ("2004-05-01", "ISK", ""),
    ("2015-05-01", "ISK", "No rate for ISK in 2015"),
    ("1997-05-01", "USD", "No rate for USD in 1997"),
    ("2025-05-01", "KWD", "No reference rates for KWD"),
)


def test_a_currency_without_a_rate_that_year_is_kept_but_has_no_price(held, drop):
    head = "Date,Title,Price,Currency,Postage\n"
    rows = "".join(f"{day},Tidewardens Night Diver Beacon card,3000,{code},0\n" for day, code, _ in CURRENCIES)
    printed = held.run("take-in", drop("rows.csv", head + rows))
    assert printed.count("  mend:  ") == 3
    kept = {str(s.evidence.when): s for s in hangtab.open(held.book).evidence()}
    for day, _, what in CURRENCIES:
        assert (kept[day].price is None) == bool(what)
        assert what in printed
        assert not what or what in kept[day].problem.what


def test_a_currency_that_does_not_exist(held, drop):
    rows = "Date,Title,Price,Currency\n2025-03-02,Tidewardens Night Diver,30.00,XQZ\n"
    assert "No such currency: 'XQZ'" in held.run("take-in", drop("rows.csv", rows))


def test_a_title_of_ten_thousand_characters_is_cut_and_says_so(held, drop):
    title = "Tidewardens Night Diver Beacon card " + "x" * 10_000
    held.run("take-in", drop("rows.csv", f"{HEAD}2025-07-02,{title},33.00,5.00\n"))
    (long,) = [s.evidence for s in hangtab.open(held.book).evidence() if len(s.evidence.title) > 100]
    assert len(long.title) == 2_000
    assert dict(long.said)["cut"].startswith("title of 10,036 characters")
    assert len(held.run("name", title, "--json")) < 200_000


# ---- what a stranger may write


NASTY = "Tidewardens\u202e Night\u200b Div\u2066er\x07 \x1b[31mBeacon\ufeff card\x9b2J"


def test_characters_nobody_sees_are_taken_out_of_a_title(held, drop):
    held.run("take-in", drop("rows.csv", f"{HEAD}2025-07-02,{NASTY},33.00,5.00\n"))
    (title,) = [s.evidence.title for s in hangtab.open(held.book).evidence() if "31m" in s.evidence.title]
    assert not [c for c in title if unicodedata.category(c) in {"Cc", "Cf", "Cs"}]
    assert title.startswith("Tidewardens Night Diver")
    for command in (("evidence",), ("sales",), ("name", NASTY)):
        assert not [c for c in held.run(*command) if unicodedata.category(c) in {"Cc", "Cf"} and c != "\n"]


def test_half_a_surrogate_pair_and_a_nul_in_a_page(held, drop):
    page = """<html><head><script type="application/ld+json">{"@type": "Product", "name":
    "Tidewardens Night Diver \\ud800 Beacon \\u0000 card", "offers": {"@type": "Offer", "price": "33.00",
    "priceCurrency": "EUR", "availability": "SoldOut"}, "releaseDate": "2025-07-02"}</script></head>
    <body><h1>Night Diver</h1><p>Sold for EUR 33.00 on 2 July 2025</p></body></html>"""
    held.run("take-in", drop("page.html", page))
    held.run(
        "take-in",
        drop("rows.csv", f"{HEAD}2025-07-02,Night\0 Diver \udcff,33.00,5.00\n".encode("utf-8", "surrogateescape")),
    )
    held.run("evidence", "--json")
    assert "\0" not in held.run("evidence", "--json")


def test_words_that_are_no_text_are_asked_about_without_harm(small):
    command = [str(Path(sys.executable).with_name("hangtab")).encode(), b"name", b"harbour master \xff", b"--json"]
    done = subprocess.run(command, capture_output=True, env={"HANGTAB_BOOK": str(small.book)}, check=False)
    assert done.returncode == 0, done.stderr


def test_script_in_a_title_is_shown_as_text_and_a_formula_stays_text_in_a_spreadsheet(held, drop):
    titles = [
        "<script>alert(1)</script> Night Diver",
        "=HYPERLINK(1) Night Diver",
        "@SUM(A1) Night Diver",
        "+1 Night Diver",
    ]
    rows = "".join(f"2025-07-0{i},{title},33.00,5.00\n" for i, title in enumerate(titles, 1))
    held.run("take-in", drop("rows.csv", HEAD + rows))
    client = TestClient(create_app(BookDesk.open(held.book, "me")))
    page = client.get("/sales").text
    assert "<script>alert" not in page
    assert "&lt;script&gt;alert(1)&lt;/script&gt; Night Diver" in page
    cells = [row["title"] for row in csv.DictReader(io.StringIO(client.get("/sales.csv").text))]
    assert {f"'{title}" for title in titles[1:]} < set(cells)
    assert not [cell for cell in cells if cell.startswith(("=", "+", "-", "@", "\t"))]


# ---- the book, the catalogue, the question


def test_a_book_that_is_not_there(new_book, tmp_path):
    said = new_book.run("worth", PIECE, book=tmp_path / "nowhere.hangtab", code=1)
    assert "No book at" in three_lines(said)
    assert not (tmp_path / "nowhere.hangtab").exists()


def test_a_book_of_a_newer_version(new_book):
    with closing(sqlite3.connect(new_book.book)) as file:
        file.execute("UPDATE alembic_version SET version_num = '9999'")
        file.commit()
    said = new_book.run("check", code=1)
    assert "newer than" in three_lines(said)
    assert "nothing was changed" in said


@pytest.mark.parametrize("content", [b"", b"title;price\n" * 50, b"SQLite format 3\x00" + bytes(5000)])
def test_a_file_that_is_no_book(new_book, tmp_path, content):
    (tmp_path / "odd.hangtab").write_bytes(content)
    assert "odd.hangtab" in three_lines(new_book.run("check", book=tmp_path / "odd.hangtab", code=1))
    assert (tmp_path / "odd.hangtab").read_bytes() == content


def test_a_new_book_never_overwrites_what_is_there(new_book):
    assert "already" in three_lines(new_book.run("new", code=1))
    assert new_book.run("check").strip() == "The book is sound"


@pytest.mark.parametrize("currency", ["XQZ", "euro", "KWD", ""])
def test_a_book_in_a_currency_that_nothing_can_be_levelled_to(new_book, tmp_path, currency):
    target = tmp_path / "other.hangtab"
    assert "urrency" in three_lines(new_book.run("new", "--currency", currency, book=target, code=1))
    assert not target.exists()


@pytest.mark.parametrize(
    ("file", "old", "new", "where"),
    [
        (
            "lines/tidewardens/releases.csv",
            "tw-harbour-master-f1,tw-card-1",
            "no-such-figure,tw-card-1",
            "releases.csv",
        ),
        ("lines/tidewardens/line.toml", "=", "==", "line.toml"),
        ("graders/northgate.toml", "name =", "nmae =", "northgate.toml"),
    ],
)
def test_a_malformed_catalogue_is_refused_as_a_whole(held, tmp_path, file, old, new, where):
    folder = tmp_path / "catalogue"
    shutil.copytree(held.world / "catalogue", folder)
    text = (folder / file).read_text()
    assert old in text
    (folder / file).write_text(text.replace(old, new, 1))
    before = held.run("name", PIECE, "--json")
    said = held.run("catalogue", str(folder), code=1)
    three_lines(said)
    assert where in said
    assert held.run("name", PIECE, "--json") == before


PRICES = ("1e99999999999", "nan", "-5", "0", "forty", "12 XQZ", "9" * 300, "12 KWD")


def test_a_price_that_is_none(small):
    assert "Not a price: '1e309'" in three_lines(small.run("worth", PIECE, "--at", AT, "--price", "1e309", code=1))
    book = hangtab.open(small.book)
    for price in PRICES:
        with pytest.raises(PriceError) as caught:
            book.worth(PIECE, price=price)
        assert caught.value.where
        assert caught.value.mend


def test_what_is_not_in_the_catalogue_is_refused_with_what_is_known(small):
    said = small.run("worth", "the Clockwork Orchard brass sentinel", "--at", AT, code=1)
    assert three_lines(said)
    assert "Lantern Circus, Skyloom, Tidewardens" in said
    book = hangtab.open(small.book)
    for words in ("", "   ", "\u202e\u200b", "x" * 10_000):
        with pytest.raises(UnknownPieceError) as caught:
            book.worth(words)
        assert caught.value.mend
