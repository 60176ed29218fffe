"""Delimited tables to evidence: quoting, numbers, dates, and rows that cannot be."""

from datetime import date

import pytest

from hangtab.domain.dates import When
from hangtab.domain.errors import Problem
from hangtab.domain.evidence import Evidence, Kind, Outcome, PostageKind
from hangtab.domain.money import Money
from hangtab.intake import Media, SourceFile, read_source, sniff
from hangtab.intake.tables import delimited


def test_quoted_fields_follow_rfc_4180_rule_7():
    """RFC 4180 section 2 rule 7: a double quote inside a quoted field is doubled (text of the rule from memory)."""
    assert list(delimited(b'"aaa","b""bb","ccc"\r\n').rows()) == [["aaa", 'b"bb', "ccc"]]


def test_quoted_line_breaks_follow_rfc_4180_rule_6():
    """RFC 4180 section 2 rule 6: line breaks, quotes and commas stay inside a quoted field (from memory)."""
    assert list(delimited(b'"aaa","b\r\nbb","c,cc"\r\nzzz,yyy,xxx').rows()) == [
        ["aaa", "b\r\nbb", "c,cc"],
        ["zzz", "yyy", "xxx"],
    ]


GERMAN = """Artikel;Verkauft am;Preis;Versand;Status;Artikelnummer;Gebote
Leuchtturm;03.11.2025;1.234,50 €;6,50 €;verkauft;Q1;7
Taucher;13.11.2025;47,00 €;kostenlos;Gegenangebot angenommen;Q2;
"Tau ""cher""
zwei";14.11.2025;47,00 €;;nicht verkauft;Q3;0
"""


def test_a_german_table_is_read(take):
    facts = [f for _, f in take("quayside-de.csv", GERMAN)]
    assert [f.kind for f in facts] == [Kind.AUCTION, Kind.OFFER, Kind.START]
    assert facts[0].price == Money(123450, "EUR")
    assert facts[0].postage.amount == Money(650, "EUR")
    assert (facts[0].id, facts[0].country, facts[0].when) == ("quayside/Q1", "DE", When(date(2025, 11, 3)))
    assert (facts[1].price, facts[1].ask, facts[1].postage.kind) == (None, Money(4700, "EUR"), PostageKind.FREE)
    assert facts[2].title == 'Tau "cher" zwei'


def test_a_record_with_a_line_break_is_one_row(take):
    assert [r.locator for r, _ in take("quayside-de.csv", GERMAN)] == ["row 2", "row 3", "row 4"]


def test_each_field_says_where_it_was_read(take):
    reading, _ = take("quayside-de.csv", GERMAN)[0]
    price = next(f for f in reading.fields if f.name == "price")
    assert (price.text, price.where) == ("1.234,50 €", "row 2, column Preis")


BAD = [
    ("1,2OO", "1/2/2024", "USD", "Price is not a number: '1,2OO'", "Replace the letter O by zero"),
    ("1e309", "1/2/2024", "USD", "Price is too large: '1e309'", "Give a number under 1e12"),
    ("-5.00", "1/2/2024", "USD", "Price is negative: '-5.00'", "without a sign"),
    ("5.00", "31.02.2024", "USD", "No such day: 31.02.2024", "Correct the day"),
    ("5.00", "1/13/2031", "USD", "Date sold lies in the future: 1/13/2031", "today is 2025-12-01"),
    ("5.00", "1/2/2024", "XQZ", "No such currency: 'XQZ'", "ISO 4217"),
    ("", "1/2/2024", "USD", "Price is missing", "Give a price"),
    ("5.00", "", "USD", "Date is missing", "Give the day"),
]


@pytest.mark.parametrize(("price", "day", "currency", "what", "mend"), BAD, ids=[b[3] for b in BAD])
def test_a_bad_row_waits_with_its_reason_and_stops_nothing(take, price, day, currency, what, mend):
    text = f'Title,Date,Hammer,Currency\nharbour master,{day},"{price}",{currency}\nnight diver,12/25/2024,12.50,USD\n'
    (reading, bad), (_, good) = take("spring.csv", text)
    assert isinstance(bad, Problem)
    assert bad.what == what
    assert mend in bad.mend
    assert bad.where.startswith("spring.csv, row 2")
    assert reading.get("title") == "harbour master"
    assert isinstance(good, Evidence)


def test_a_problem_names_file_row_and_column(take):
    lines = ["Title,Date,Hammer", *["x,2024-01-02,5.00"] * 15, 'x,2024-01-02,"1,2OO"']
    _, bad = take("spring.csv", "\n".join(lines))[-1]
    assert bad == Problem(
        "Price is not a number: '1,2OO'",
        "spring.csv, row 17, column Hammer",
        "Replace the letter O by zero, or choose another price column",
    )


def test_a_very_long_title_is_cut_and_marked(take):
    (reading, fact) = take("a.csv", f"Title,Date,Price\n{'x' * 10_000},2024-01-02,5.00\n")[0]
    assert len(reading.get("title")) == 10_000
    assert len(fact.title) == 2_000
    assert dict(fact.said)["cut"] == "title of 10,000 characters, the first 2,000 kept"


def test_an_ambiguous_number_follows_its_column(take):
    european = "Title;Date;Price;Country\nx;2024-01-02;1.234;US\ny;2024-01-02;12,50;US\n"
    american = "Title;Date;Price;Country\nx;2024-01-02;1,234;DE\ny;2024-01-02;12.50;DE\n"
    assert [f.price.minor for _, f in take("a.csv", european)] == [123400, 1250]
    assert [f.price.minor for _, f in take("a.csv", american)] == [123400, 1250]


def test_an_ambiguous_number_with_nothing_else_follows_the_country(take):
    text = "Title;Date;Price;Currency;Country\nx;2024-01-02;1.234;EUR;{}\n"
    assert take("a.csv", text.format("DE"))[0][1].price == Money(123400, "EUR")
    assert take("a.csv", text.format("IE"))[0][1].price == Money(123, "EUR")


def test_an_ambiguous_date_with_nothing_else_is_asked_about(take):
    _, fact = take("a.csv", "Title,Date,Price,Currency,Country\nx,03/04/2024,5.00,CAD,CA\n")[0]
    assert fact.what == "Date sold can be read in two ways: '03/04/2024'"


def test_a_plain_dollar_is_that_of_the_site(take):
    text = "Title,Date,Price,Venue,Country\nx,2024-01-02,$5.00,Quayside,{}\n"
    assert [take("a.csv", text.format(c))[0][1].price.currency for c in ("US", "CA")] == ["USD", "CAD"]


def test_a_header_states_currency_premium_and_how_it_was_sold(take):
    _, fact = take("a.csv", "Title,Date,Hammer incl. premium (GBP),Postage quoted\nx,2024-01-02,5.00,2.00\n")[0]
    assert (fact.kind, fact.price, fact.premium_included) == (Kind.AUCTION, Money(500, "GBP"), True)
    assert (fact.postage.kind, fact.postage.amount) == (PostageKind.QUOTED, Money(200, "GBP"))


def test_a_price_with_postage_is_a_total(take):
    _, fact = take("a.csv", "Title,Date,Price (incl. postage)\nx,2024-01-02,5.00\n")[0]
    assert (fact.price, fact.total_only) == (Money(500, "USD"), True)


def test_a_sale_that_fell_through_at_a_hidden_price_is_an_offer(take):
    _, fact = take("a.csv", "Title,Date,Status,Price,Asked\nx,2024-01-02,sale cancelled,,9.00\n")[0]
    assert (fact.kind, fact.outcome, fact.price, fact.ask) == (Kind.OFFER, Outcome.CANCELLED, None, Money(900, "USD"))


@pytest.mark.parametrize(
    ("status", "kind", "outcome"),
    [
        ("sold", Kind.SALE, Outcome.COMPLETED),
        ("versteigert", Kind.AUCTION, Outcome.COMPLETED),
        ("bod geaccepteerd", Kind.OFFER, Outcome.COMPLETED),
        ("nicht verkauft", Kind.UNSOLD, Outcome.COMPLETED),
        ("en cours", Kind.ASK, Outcome.COMPLETED),
        ("ended without a bid", Kind.START, Outcome.COMPLETED),
        ("sold, returned", Kind.SALE, Outcome.RETURNED),
        ("Käufer zahlte nicht", Kind.SALE, Outcome.UNPAID),
        ("annulé", Kind.SALE, Outcome.CANCELLED),
        ("part-refunded", Kind.SALE, Outcome.PART_REFUNDED),
        ("private sale", Kind.PRIVATE, Outcome.COMPLETED),
        ("geruild", Kind.TRADE, Outcome.COMPLETED),
        ("angeblich", Kind.HEARSAY, Outcome.COMPLETED),
    ],
)
def test_status_words_of_four_languages(take, status, kind, outcome):
    _, fact = take("a.csv", f'Title,Date,Price,Status\nx,2024-01-02,5.00,"{status}"\n')[0]
    assert (fact.kind, fact.outcome) == (kind, outcome)


def test_thirty_thousand_rows_are_not_all_held_at_once(setting):
    text = "Title,Date,Price\n" + "x,2024-01-02,5.00\n" * 30_000
    facts = read_source(SourceFile("a.csv", text.encode()), setting).facts
    assert iter(facts) is facts
    assert next(facts)[0].locator == "row 2"


@pytest.mark.parametrize("rows", [3, 10_000])
def test_a_quotation_mark_that_nothing_closes_spoils_only_its_row(take, rows):
    facts = take("a.csv", 'Title,Date,Price\n"oops,2024-01-02,5\n' + "b,2024-01-02,6\n" * rows)
    assert facts[0][1].what == "The row cannot be read"
    assert [r.locator for r, _ in facts[1:3]] == ["row 3", "row 4"]
    assert sum(isinstance(f, Evidence) for _, f in facts) == rows


def test_content_goes_before_the_name():
    assert sniff("a.csv", b"\x89PNG\r\n\x1a\n....") is Media.PHOTO
    assert sniff("a.txt", b"<!doctype html><p>x") is Media.HTML
    assert sniff("a", b"Title\tPrice\nx\t1\ny\t2\n") is Media.TSV
    assert sniff("a.txt", b"harbour master sold 47") is Media.TEXT
    assert sniff("a.bin", bytes(range(256))) is Media.UNKNOWN
