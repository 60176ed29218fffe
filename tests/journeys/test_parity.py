"""One book, three doors: the command line, the JSON of the pages, and a notebook give the same figures."""

import json
from datetime import date

import pytest
from fastapi.testclient import TestClient

import hangtab
from hangtab.domain.errors import UnknownPieceError
from hangtab.rendering import words
from hangtab.rendering.contract import naming_json, worth_json
from hangtab.web.app import create_app
from hangtab.web.desk import BookDesk
from tests.journeys.conftest import AT

QUESTIONS = (
    ("harbour master glow sticker 34 graded", "47 + 18 post"),
    ("night diver beacon card", "GBP 30 all in"),
    ("harbour master loose no oar", ""),
    ("warp kite noon card 30+ graded", "$120"),
)


@pytest.fixture(scope="module")
def book(small):
    return hangtab.open(small.book)


@pytest.fixture(scope="module")
def client(small):
    return TestClient(create_app(BookDesk.open(small.book, "me")))


@pytest.mark.parametrize(("text", "price"), QUESTIONS)
def test_a_worth_is_the_same_everywhere(small, book, client, text, price):
    priced = ["--price", price] if price else []
    printed = json.loads(small.run("worth", text, "--at", AT, *priced, "--json"))
    served = client.get("/api/worth", params={"text": text, "at": AT, "price": price}).json()
    known = worth_json(book.worth(text, at=date.fromisoformat(AT), price=price))
    assert printed == served == json.loads(json.dumps(known))


@pytest.mark.parametrize(("text", "price"), QUESTIONS)
def test_the_page_says_the_figures_of_the_json_rounded_for_the_eye(client, text, price):
    served = client.get("/api/worth", params={"text": text, "at": AT, "price": price}).json()
    page = client.get("/", params={"q": text, "at": AT, "price": price}).text
    for name in ("next_sale", "middle"):
        assert words.span(*served[name]["ranges"]["80"]) in page
    if served["verdict"]:
        assert served["verdict"]["words"] in page


@pytest.mark.parametrize(
    "text", ["TW harbour master glow sticker NG 34 crease", "lot of two night divers", "Hafenmeister"]
)
def test_a_name_is_the_same_everywhere(small, book, client, text):
    printed = json.loads(small.run("name", text, "--json"))
    assert printed == client.get("/api/name", params={"text": text}).json() == naming_json(book.name(text))


def test_the_subjects_are_the_same_everywhere(small, client):
    printed = [json.loads(line) for line in small.run("subjects", "--json", "--limit", "12").splitlines()]
    served = client.get("/api/subjects", params={"limit": 12}).json()
    assert printed == [{"subject": one["subject"], "sales": one["sales"]} for one in served]


def test_an_error_says_the_same_everywhere(small, book, client):
    text = "the Clockwork Orchard brass sentinel"
    printed = small.run("worth", text, "--at", AT, code=1)
    served = client.get("/api/worth", params={"text": text, "at": AT})
    with pytest.raises(UnknownPieceError) as caught:
        book.worth(text, at=date.fromisoformat(AT))
    assert served.status_code == 404
    assert printed.splitlines()[0] == served.json()["what"] == caught.value.what
    assert str(caught.value).strip() == printed.strip()


def test_the_sales_are_the_same_everywhere(book, client):
    served = client.get("/api/sales").json()
    page = book.sales()
    assert served["total"] == page.total
    assert [row["id"] for row in served["rows"]] == [row.id for row in page.rows]
    assert [row["all_in"] for row in served["rows"]] == [row.all_in for row in page.rows]


def test_a_notebook_takes_in_fits_asks_and_takes_back(empty):
    book = hangtab.open(empty.book)
    taken = book.take_in(empty.world / "sources" / "quayside")
    assert sum(r.new for r in taken.receipts) > 1_000
    book.fit(at=date.fromisoformat(AT))
    worth = hangtab.open(empty.book).worth("harbour master", at=date.fromisoformat(AT))
    assert worth.middle.ranges[80][0] < worth.middle.median < worth.middle.ranges[80][1]
    assert book.undo(1) > 0
