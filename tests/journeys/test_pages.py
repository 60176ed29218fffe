"""The pages on the demo book, in Chromium, as a person would go through them at a desk and on a phone."""

import csv
import io
import json
import re
from urllib.parse import urlencode

import pytest
from playwright.sync_api import expect

import hangtab
from tests.journeys.pages import WIDTHS, runs_off, serious, served

pytestmark = pytest.mark.browser

PIECE = "harbour master glow sticker 34 graded"
QUESTION = "/?q=harbour+master+glow+sticker+34+graded"
PAGES = (
    "/", f"{QUESTION}&price=400", f"{QUESTION}&price=47+%2B+18+post", "/?q=warp+kite+loose,+no+sail",
    "/?q=unpainted+first+shot+of+the+night+diver", "/?q=harbour+master+34%2B+yellowed+against+clear",
    "/?q=nine+glow+stickers+in+one+lot", "/?q=tidewatch+lamplighter",
    "/sales?said=all+harbour+master+sales&thing=harbour-master", "/settle", "/take-ins",
)  # fmt: skip
LONGEST_FIT = 120_000  # ms
REFUSED = "tidewatch"  # its page has status 404, which Chromium reports on its console


@pytest.fixture(scope="module")
def address(demo):
    with served(demo.book) as address:
        yield address


@pytest.fixture
def open_page(chromium):
    """Opens pages at a width; whatever a page throws, logs as an error or breaks of its policy fails the test."""
    wrong, contexts = [], []

    def opened(address, width="wide"):
        context = chromium.new_context(base_url=address, viewport={"width": WIDTHS[width], "height": 900})
        contexts.append(context)
        page = context.new_page()
        page.on("pageerror", lambda e: wrong.append(str(e)))
        page.on("console", lambda m: wrong.append(m.text) if m.type == "error" and REFUSED not in page.url else None)
        page.on("dialog", lambda d: (wrong.append(f"dialog: {d.message}"), d.dismiss()))
        return page

    yield opened
    for context in contexts:
        context.close()
    assert wrong == []


@pytest.fixture(params=WIDTHS)
def page(open_page, address, request):
    return open_page(address, request.param)


def test_search_choose_a_reading_add_a_price_open_a_comparable(page):
    page.goto("/")
    page.get_by_label("A piece").fill("harbour master glow sticker")
    page.get_by_role("option").first.wait_for()
    page.keyboard.press("Escape")
    page.get_by_label("A piece").fill(PIECE)
    page.get_by_role("button", name="Look up").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Harbour Master")
    expect(page.locator(".gloss li")).to_have_count(3)

    page.get_by_label("A piece").fill("harbour master 34 graded")
    page.get_by_role("button", name="Look up").click()
    expect(page.get_by_text("Not certain.")).to_be_visible()
    page.get_by_role("link", name="Read it so").first.click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Harbour Master")
    assert "subject=" in page.url

    page.get_by_label("A price").fill("47 + 18 post")
    page.get_by_role("button", name="Look up").click()
    expect(page.locator("#verdict")).to_contain_text("€65.00")
    expect(page.locator("#verdict")).to_contain_text(re.compile("bring (less|more)"))


def test_a_comparable_opens_down_to_its_source_and_a_saved_page_shows_its_photo(page, demo):
    page.goto(QUESTION)
    link = page.locator("#row-a a[data-open]:visible").first
    adjusted = page.locator("#row-a a[data-open]:visible").last.inner_text()
    link.click()
    opened = page.locator("tr.opened")
    expect(opened.locator(".sum .total").last).to_be_visible()
    expect(opened.locator("pre.raw mark").first).to_be_visible()
    assert adjusted in page.locator("#row-a").inner_text()
    opened.get_by_role("link", name="On its own page").click()
    expect(page.get_by_role("heading", name="Price and source")).to_be_visible()

    page.goto(f"/evidence/{_with_photo(demo)}")
    photo = page.locator(".photo img").first
    expect(photo).to_be_visible()
    photo.scroll_into_view_if_needed()
    page.wait_for_function("document.querySelector('.photo img').naturalWidth > 0")
    with page.expect_download() as download:
        page.get_by_role("link", name="Keep the source").first.click()
    assert b"<html" in download.value.path().read_bytes()[:2000]


def test_a_comparable_seen_on_a_saved_page_shows_its_photo_where_it_opens(page, demo):
    key, letter = _photographed_comparable(demo)
    page.goto("/?" + urlencode({"subject": key}))
    page.locator(f"#row-{letter} a[data-open]:visible").first.click()
    opened = page.locator("tr.opened")
    expect(opened.locator("pre.raw mark").first).to_be_visible()
    photo = opened.locator("img").first
    photo.scroll_into_view_if_needed()
    expect(photo).to_be_visible()
    page.wait_for_function("document.querySelector('tr.opened img').naturalWidth > 0")


def test_what_is_shown_adds_up(page):
    """Pulls add to 100.0 and moves to the estimate, in the figures that stand on the page."""
    page.goto(QUESTION)
    rows = page.locator("table.comparables tbody tr:not(.workrow)")
    cells = [[_number(c) for c in row.locator("td.num:visible").all_inner_texts()[-2:]] for row in rows.all()]
    foot = [_number(c) for c in page.locator("table.comparables tfoot td.num").all_inner_texts()]
    assert round(sum(c[0] for c in cells), 1) == foot[0] == 100.0
    assert round(sum(c[1] for c in cells), 2) == foot[1]


def test_sales_are_filtered_and_leave_as_a_file(page):
    page.goto("/?q=all+harbour+master+sales+since+last+autumn")
    expect(page.locator(".entry")).to_have_text("“all harbour master sales since last autumn”")
    before = _found(page)
    page.get_by_label("Graded").select_option("graded")
    page.get_by_label("Venue").select_option("Quayside")
    page.get_by_role("button", name="Show").click()
    expect(page.get_by_text("Only Harbour Master")).to_be_visible()
    after = _found(page)
    assert 0 < after < before
    for row in page.locator("table.sales tbody .sub").all_inner_texts():
        assert "Harbour Master" in row
        assert "Northgate" in row or "Plumb" in row
    with page.expect_download() as download:
        page.get_by_role("link", name="As a file").click()
    lines = list(csv.DictReader(io.StringIO(download.value.path().read_text())))
    assert len(lines) == after
    assert {line["venue"] for line in lines} == {"quayside"}


def test_a_title_with_a_script_is_text(page):
    page.goto("/sales?q=%3Cscript%3E")
    title = page.locator("table.sales tbody a.press").first
    expect(title).to_contain_text("<script>alert('not run')</script>")
    title.click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("<script>alert('not run')</script>")
    expect(page.locator("pre.raw").first).to_contain_text("<script>alert('not run')</script>")
    assert page.locator("main script").count() == 0


@pytest.mark.parametrize("width", WIDTHS)
def test_axe_finds_nothing_serious_and_nothing_runs_off_the_side(open_page, address, demo, width):
    page = open_page(address, width)
    for path in (*PAGES, f"/evidence/{_with_photo(demo)}"):
        page.goto(path)
        assert serious(page) == [], path
        assert runs_off(page) <= 0, path


def test_a_question_without_a_piece_is_about_the_one_last_looked_at(page):
    page.goto(QUESTION)
    page.get_by_label("A piece").fill("47 plus 18 post, graded 36: high or low?")
    page.get_by_role("button", name="Look up").click()
    expect(page.get_by_text("Read as about")).to_be_visible()
    expect(page.locator(".entry")).to_contain_text("glow sticker. Graded, Northgate 36")
    expect(page.locator("#verdict")).to_contain_text("€65.00")
    page.get_by_label("A piece").fill("34+ yellowed against clear")
    page.get_by_role("button", name="Look up").click()
    expect(page.get_by_role("heading", name="One against the other")).to_be_visible()
    expect(page.locator(".entry")).to_contain_text("Harbour Master")


@pytest.fixture(scope="module")
def changed(demo, tmp_path_factory):
    """A copy of the book that the tests below settle items in."""
    copy = tmp_path_factory.mktemp("copy") / "copy.hangtab"
    demo.run("backup", str(copy))
    with served(copy) as address:
        yield address


@pytest.mark.parametrize("width", WIDTHS)
def test_one_item_is_settled_and_taken_back(open_page, changed, width):
    page = open_page(changed, width)
    page.goto("/settle")
    first, waiting = page.locator("pre.raw").inner_text(), _waiting(page)
    page.locator("label.choice").first.click()
    page.locator("button[value=take]").click()
    expect(page.get_by_role("status").first).to_have_text("Taken.")
    assert _waiting(page) == waiting - 1
    assert page.locator("pre.raw").inner_text() != first
    page.locator("button[data-key=z]").click()
    expect(page.get_by_role("status").first).to_have_text("The last answer is taken back.")
    assert _waiting(page) == waiting
    assert page.locator("pre.raw").inner_text() == first


def test_search_and_settle_by_keyboard_alone(open_page, changed):
    page = open_page(changed)
    page.goto("/sales")
    page.keyboard.press("/")
    expect(page.locator("#f-q")).to_be_focused()
    page.goto("/")
    page.keyboard.press("/")
    page.keyboard.type("night diver")
    page.get_by_role("option").first.wait_for()
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("Night Diver")

    page.goto("/settle")
    waiting = _waiting(page)
    page.keyboard.press("n")
    expect(page.get_by_text("Item 2 of")).to_be_visible()
    page.keyboard.press("p")
    expect(page.get_by_text("Item 1 of")).to_be_visible()
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    expect(page.get_by_role("status").first).to_have_text("Taken.")
    answered = int(page.locator("progress").get_attribute("value"))
    page.keyboard.press("1")
    expect(page.locator("progress")).to_have_attribute("value", str(answered + 1))
    page.keyboard.press("s")
    expect(page.get_by_role("status").first).to_have_text("Set aside.")
    for _ in range(3):
        page.keyboard.press("z")
        expect(page.get_by_role("status").first).to_have_text("The last answer is taken back.")
        page.goto("/settle")
    assert _waiting(page) == waiting


def test_an_item_is_named_by_oneself(open_page, changed):
    page = open_page(changed)
    page.goto("/settle")
    waiting = _waiting(page)
    page.keyboard.press("/")
    expect(page.locator("#own")).to_be_focused()
    page.keyboard.type("harbour master storm card loo")
    page.get_by_role("option").first.wait_for()
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    expect(page.get_by_role("status").first).to_have_text("Taken.")
    assert _waiting(page) == waiting - 1
    expect(page.locator(".bookname")).to_contain_text("ne answer since the fit.")
    expect(page.get_by_role("button", name="Fit anew").first).to_be_visible()
    page.locator("button[data-key=z]").click()
    expect(page.get_by_role("status").first).to_have_text("The last answer is taken back.")
    assert _waiting(page) == waiting


def test_a_new_fit_is_made_beside_the_pages_and_taken_up(open_page, small_copy):
    with served(small_copy.book) as address:
        page = open_page(address)
        page.goto("/settle")
        page.keyboard.press("1")
        expect(page.get_by_role("status").first).to_have_text("Taken.")
        expect(page.locator(".bookname")).to_contain_text("One answer since the fit.")
        page.get_by_role("button", name="Fit anew").click()
        expect(page.locator(".bookname")).to_contain_text("A new fit is being made")
        expect(page.locator(".bookname")).to_contain_text("A new fit is ready", timeout=LONGEST_FIT)
        page.get_by_role("link", name="Show it").click()
        expect(page.locator(".bookname")).not_to_contain_text("since the fit")
        page.goto(QUESTION)
        expect(page.locator(".figure")).to_be_visible()


def _photographed_comparable(demo) -> tuple[str, str]:
    """A piece one of whose comparables was saved with a photo, and that comparable's letter."""
    worths = hangtab.open(demo.book)
    for line in demo.run("evidence", "--json").splitlines():
        one = json.loads(line)
        if one["photos"] and one["kind"] in {"sale", "auction"} and one["name"]["decided"] and one["name"]["subject"]:
            key = one["name"]["subject"]
            carried = [c.id for c in worths.worth(subject=key).comparables]
            if one["id"] in carried:
                return key, "abcdefghijkl"[carried.index(one["id"])]
    raise AssertionError("no photographed sale of the demo carries its own piece's worth")


def _with_photo(demo) -> str:
    """The first sale of the book that was saved with a photo."""
    for line in demo.run("evidence", "--json").splitlines():
        one = json.loads(line)
        if one.get("photos"):
            return one["id"]
    raise AssertionError("the demo has no saved page with a photo")


def _number(text: str) -> float:
    return float(text.replace("\u202f", "").replace("\u2212", "-").replace("+", ""))


def _found(page) -> int:
    return int(_number(page.locator("h2", has_text="found").inner_text().split()[0]))


def _waiting(page) -> int:
    return int(_number(page.locator("nav[aria-label=Pages] a[href='/settle'] .tab").inner_text()))
