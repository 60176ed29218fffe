"""Workbooks, layouts, corrections and excerpts of tables."""

import io
from datetime import date

import pytest
import xlsxwriter

from hangtab.catalogue.model import Venue
from hangtab.domain.errors import SourceError
from hangtab.domain.money import Money
from hangtab.intake import ColumnMap, Layout, Media, Setting, SourceFile, guess_columns, raw_excerpt, read_source, sniff


@pytest.fixture(scope="module")
def workbook():
    """Two sheets; the first has a title above the header and starts in column B of row 3."""
    data = io.BytesIO()
    book = xlsxwriter.Workbook(data, {"default_date_format": "dd.mm.yyyy"})
    lots = book.add_worksheet("Lots")
    lots.write(2, 1, "Results of spring")
    lots.write_row(4, 1, ["Title", "Date", "Hammer (GBP)", "Certificate"])
    lots.write_row(5, 1, ["night diver", date(2025, 11, 3), 47.5, "N123"])
    lots.write_row(7, 1, ["harbour master", date(2025, 11, 4), "1,2OO", ""])
    book.add_worksheet("Empty")
    more = book.add_worksheet("More")
    more.write_row(0, 0, ["What", "When", "Paid"])
    more.write_row(1, 0, ["warp kite", "2025-10", 12])
    book.close()
    return data.getvalue()


def test_sheets_rows_and_cells_are_named_as_the_spreadsheet_does(workbook, take):
    (first, sale), (second, bad), (third, other) = take("spring.xlsx", workbook)
    assert [r.locator for r in (first, second, third)] == [
        "sheet Lots, row 6",
        "sheet Lots, row 8",
        "sheet More, row 2",
    ]
    assert (sale.price, str(sale.when), sale.certificate) == (Money(4750, "GBP"), "2025-11-03", "N123")
    assert bad.where == "spring.xlsx, sheet Lots, cell D8"
    assert (str(other.when), other.price) == ("2025-10", Money(1200, "USD"))


def test_a_workbook_that_is_none_says_so(take):
    with pytest.raises(SourceError) as error:
        take("spring.xlsx", b"Title,Price\nx,1\n")
    assert error.value.what == "This is not a workbook that can be read"
    assert error.value.where == "spring.xlsx"
    assert "save it as XLSX or CSV" in error.value.mend


def test_a_photo_is_no_source_of_sales(take):
    with pytest.raises(SourceError, match="no table"):
        take("a.png", b"\x89PNG\r\n\x1a\n")


def test_the_excerpt_of_a_row_keeps_its_quotes(setting):
    data = b'Title,Date,Price\r\n"a ""b"", c\r\nd",2025-01-02,"1,234.50"\r\n'
    layout = read_source(SourceFile("a.csv", data), setting).layout
    excerpt = raw_excerpt(data, Media.CSV, "row 2", layout)
    assert excerpt.text == '"a ""b"", c\r\nd",2025-01-02,"1,234.50"'
    assert {m.name: excerpt.text[m.start : m.end] for m in excerpt.marks} == {
        "title": 'a ""b"", c\r\nd',
        "sold": "2025-01-02",
        "price": "1,234.50",
    }


def test_the_excerpt_of_a_sheet_row(workbook, setting):
    layout = read_source(SourceFile("a.xlsx", workbook), setting).layouts[0]
    excerpt = raw_excerpt(workbook, Media.XLSX, "sheet Lots, row 6", layout)
    assert excerpt.text == "night diver\t2025-11-03\t47.5\tN123"
    assert [m.name for m in excerpt.marks] == ["title", "sold", "price", "certificate"]


def test_a_place_that_is_not_there_is_refused():
    with pytest.raises(SourceError, match="no such place"):
        raw_excerpt(b"a,b\n1,2\n", Media.CSV, "row 9")


@pytest.mark.parametrize(
    ("headers", "meanings"),
    [
        ("Title,Sold on,Hammer,Postage,Status", "title,sold,price,postage,kind"),
        ("Artikel,Beendet am,Verkaufspreis,Versandkosten,Zustand", "title,ended,price,postage,said:condition"),
        ("Titre,Date de vente,Prix,Frais de port,Devise", "title,sold,price,postage,currency"),
        ("Titel,Verkocht op,Prijs,Verzendkosten,Valuta", "title,sold,price,postage,currency"),
        ("Item,Date,Sale price (USD),Notes,Xyzzy", "title,sold,price,said:notes,ignore"),
    ],
)
def test_columns_are_guessed_in_four_languages(headers, meanings):
    assert [c.meaning for c in guess_columns(headers.split(","), []).columns] == meanings.split(",")


def test_each_guess_says_why():
    column = guess_columns(["Versand"], [["6,50 €"]]).columns[0]
    assert (column.meaning, column.form) == ("postage", ",")
    assert "Versand" in column.why
    assert 0.9 < column.confidence < 1


def test_cells_without_a_header_word_are_guessed_by_what_they_are():
    rows = [["A harbour master card", "€ 12,50", "2024-01-02", "https://quayside.example/item/q1"]] * 3
    assert [c.meaning for c in guess_columns(["a", "b", "c", "d"], rows).columns] == ["title", "price", "sold", "url"]


def test_a_correction_is_remembered_for_the_same_headers(setting):
    data = b"Thing,Date,First,Second\nnight diver,2025-01-02,5.00,7.00\n"
    before = read_source(SourceFile("a.csv", data), setting)
    corrected = ColumnMap(before.layout.columns).corrected("Second", "price")
    habits = {before.layout.fingerprint: ColumnMap.from_json(corrected.to_json())}
    after = read_source(
        SourceFile("b.csv", data), Setting(setting.venues, habits, setting.default_currency, setting.today)
    )
    assert next(after.facts)[1].price == Money(700, "USD")


def test_a_layout_survives_being_kept(workbook, setting):
    for layout in read_source(SourceFile("a.xlsx", workbook), setting).layouts:
        assert Layout.from_json(layout.to_json()) == layout


def test_a_workbook_without_its_name_is_known(workbook):
    assert sniff("export", workbook) is Media.XLSX


def test_the_venue_of_a_shared_host_says_no_country(setting):
    assert isinstance(setting.venues["quayside"], Venue)
    assert setting.places.at("https://www.gb.quayside.example/item/1") == ("quayside", "GB")
