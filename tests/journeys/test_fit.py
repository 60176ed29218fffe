"""A person asks whether to trust the fit: the terminal, its JSON and the page say the same; nothing is fitted anew."""

import json
import re

import pytest
from playwright.sync_api import expect

from hangtab import wiring
from hangtab.usecases.explaining import explained
from tests.journeys.conftest import AT
from tests.journeys.pages import WIDTHS, runs_off, serious, served


def flat(text):
    return " ".join(text.replace("\u202f", " ").split())


@pytest.fixture(scope="module")
def told(small):
    return json.loads(small.run("explain", "--json"))


def test_the_terminal_says_the_warnings_first(small, told):
    said = flat(small.run("explain"))
    assert said.startswith(f"Fitted as of 30 Oct 2026 from {told['sales']:,}".replace(",", " ") + " sales")
    heads = (
        "What carries the prices",
        "The largest of each",
        "What is left over",
        "Sales that move their own",
        "Criterion",
    )
    assert [said.index(h) for h in heads] == sorted(said.index(h) for h in heads)
    for warning in told["warnings"]:
        assert said.replace("║ ", "").index(flat(warning)) < said.index(heads[0])


def test_its_sums_add_up(told):
    assert sum(c["share"] for c in told["components"]) + told["unexplained"] == pytest.approx(1.0, abs=1e-9)
    assert told["effective"] + told["residual"] == pytest.approx(told["rows"], abs=1e-6)
    kinds = [c["sales"] for c in told["classes"] if c["by"] == "Kind of piece"]
    assert sum(kinds) == sum(t["sales"] for t in told["times"]) == told["sales"]


def test_what_is_kept_is_what_the_fit_says_anew(small):
    """The diagnosis that lies with the fit is that of the fit's own bytes."""
    parts = wiring.open_parts(small.book, "me")
    record = parts.book.latest_fit()
    kept = explained(parts, record)
    bare = type(record)(
        record.key, record.made, record.blob, {k: v for k, v in record.meta.items() if k != "diagnosis"}
    )
    anew = explained(parts, bare)
    assert anew.warnings == kept.warnings
    assert [c.name for c in anew.components] == [c.name for c in kept.components]
    assert [c.share for c in anew.components] == pytest.approx([c.share for c in kept.components], abs=1e-9)
    assert [m.id for m in anew.movers] == [m.id for m in kept.movers]


def test_private_sales_are_told_apart_from_their_venue_by_nobody(small):
    """In the demo a private sale has no venue but "private": the two are one, and the fit says so where it matters."""
    parts = wiring.open_parts(small.book, "me")
    sales = parts.book.rows().filter(kind="private")
    assert set(sales["venue"]) == {"private"}
    assert parts.book.rows().filter(venue="private")["kind"].unique().to_list() == ["private"]


def test_fitting_explains_when_asked(small_copy):
    said = flat(small_copy.run("fit", "--at", AT, "--explain"))
    assert said.index("Fitted as of") < said.index("What carries the prices")
    as_json = small_copy.run("fit", "--at", AT, "--explain", "--json")
    assert json.loads(as_json)["as_of"] == AT


def test_a_book_without_a_fit_says_what_to_do(new_book):
    assert "This book was never fitted" in new_book.run("explain", code=1)


@pytest.mark.browser
@pytest.mark.parametrize("width", WIDTHS)
def test_the_page_says_what_the_terminal_says(small, told, chromium, width):
    wrong = []
    with served(small.book) as address:
        context = chromium.new_context(base_url=address, viewport={"width": WIDTHS[width], "height": 900})
        page = context.new_page()
        page.on("console", lambda m: wrong.append(m.text) if m.type == "error" else None)
        page.goto("/")
        page.get_by_role("link", name=re.compile("how the model fits")).click()
        expect(page.get_by_role("heading", level=1)).to_have_text("How the model fits")
        assert [flat(p) for p in page.locator("section:first-of-type .caution").all_inner_texts()] == [
            flat(w) for w in told["warnings"]
        ]
        assert page.locator("svg[role=img]:visible").count() == 2
        page.get_by_text("How they add up").click()
        page.get_by_text("The numbers").click()
        assert serious(page) == []
        assert runs_off(page) <= 0
        shares = [
            float(t.replace("−", "-"))
            for t in page.locator("svg[role=img]:visible").first.locator("text.tab").all_text_contents()
        ]
        assert round(sum(shares), 1) == 100.0
        page.locator("table.sales a.press").first.click()
        expect(page.get_by_role("heading", name="Price and source")).to_be_visible()
        context.close()
    assert wrong == []
