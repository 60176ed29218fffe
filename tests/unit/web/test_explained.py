"""The page of a fit: it says what the fit says, in sums that add up, and shows strangers' words as text."""

import re
from dataclasses import replace

import pytest
from fastapi.testclient import TestClient

from hangtab.domain.errors import BookError
from hangtab.web.app import create_app
from hangtab.web.explained import view
from tests.unit.web.fake_desk import FakeDesk
from tests.unit.web.fake_fit import WARNING, explained


@pytest.fixture(scope="module")
def page():
    return TestClient(create_app(FakeDesk())).get("/fit").text


def test_warnings_come_first(page):
    assert page.index(WARNING) < page.index("What carries the prices") < page.index("What is left over")


def test_it_is_linked_from_where_a_fit_is_named(page):
    client = TestClient(create_app(FakeDesk()))
    assert '<a href="/fit">fitted 20 Nov 2026</a>' in client.get("/sales").text
    assert '<a href="/fit">how the model fits</a>' in client.get("/").text
    assert '<a href="/fit">fitted' in page


def test_a_fit_without_warnings_says_so():
    assert "Nothing that the fit knows of" in _page(explained(warnings=()))


def test_a_fit_that_did_not_converge_says_so():
    assert "It did not converge." in _page(explained(converged=False))
    assert "It did not converge." not in _page(explained())


def test_strangers_words_are_text(page):
    assert "<script>alert" not in page
    assert page.count("&lt;script&gt;") >= 3


def test_what_strays_is_named_with_how(page):
    said = re.sub(r"<[^>]+>", " ", page)
    for name, how in (("2025 Q4", "dearer"), ("2026 Q1", "cheaper"), ("boxed good", "differ more"),
                      ("alert", "differ less")):  # fmt: skip
        assert re.search(rf"{name}.{{0,40}}Strays: [a-z ]*{how}", said), name
    assert "Quayside, GB   240" not in said


def test_a_book_that_was_never_fitted_says_what_to_do(page):
    class Unfitted(FakeDesk):
        def explain(self):
            raise BookError("This book was never fitted", where="the book", mend="hangtab fit")

    answer = TestClient(create_app(Unfitted())).get("/fit")
    assert answer.status_code == 503
    assert "This book was never fitted" in answer.text


def test_degrees_add_up_as_shown():
    shown = {name: float(value.replace("\u202f", "")) for name, value in view(explained())["degrees"]}
    parts = [v for name, v in shown.items() if "values" in name] + [shown["Level of all prices"]]
    assert round(sum(parts), 1) == shown["All effects"]
    assert round(shown["All effects"] + shown["Left to the noise"], 1) == shown["Rows"] == 12480.0


def _page(made):
    class Other(FakeDesk):
        def explain(self):
            return made

    return TestClient(create_app(Other())).get("/fit").text


def test_a_fit_without_dates_or_movers_has_no_such_parts():
    page = _page(replace(explained(), times=(), movers=()))
    assert "The numbers" not in page
    assert "Sales that move most" not in page
