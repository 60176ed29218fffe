"""The pages in Chromium on invented values: nothing runs off the side, axe finds nothing serious, the keys work."""

import threading
import time

import pytest
import uvicorn
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from hangtab.web.app import create_app
from tests.unit.web.fake_desk import FakeDesk

pytestmark = pytest.mark.browser

QUESTION = "/?q=harbour+master+glow+sticker+34+graded,+territory+B"
PAGES = (
    "/", QUESTION, f"{QUESTION}&price=300", f"{QUESTION}&price=90", "/?q=night+diver&price=90", "/?q=a+against+b",
    "/?q=tidewatch", "/sales", "/settle", "/settle?id=row:17", "/take-ins", "/fit", "/track-record",
    "/evidence/quayside/q0",
)  # fmt: skip


@pytest.fixture
def desk():
    return FakeDesk()


@pytest.fixture
def address(desk):
    server = uvicorn.Server(uvicorn.Config(create_app(desk), port=0, log_level="warning"))
    thread = threading.Thread(target=server.run)
    thread.start()
    while not server.started:
        time.sleep(0.02)
    yield f"http://127.0.0.1:{server.servers[0].sockets[0].getsockname()[1]}"
    server.should_exit = True
    thread.join()


@pytest.fixture
def page(chromium, address):
    context = chromium.new_context(base_url=address, viewport={"width": 1440, "height": 900})
    opened = context.new_page()
    wrong = []
    opened.on("pageerror", lambda e: wrong.append(str(e)))
    yield opened
    context.close()
    assert wrong == []


@pytest.mark.parametrize("width", [1440, 1024, 390, 320])
def test_nothing_runs_off_the_side(page, width):
    page.set_viewport_size({"width": width, "height": 800})
    for path in PAGES:
        page.goto(path)
        assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0, path


@pytest.mark.parametrize(("width", "theme"), [(1440, "light"), (390, "light"), (1440, "dark")])
def test_axe_finds_no_serious_fault(page, width, theme):
    page.set_viewport_size({"width": width, "height": 800})
    page.emulate_media(color_scheme=theme)
    for path in PAGES:
        page.goto(path)
        found = Axe().run(page).response["violations"]
        assert [(path, v["id"]) for v in found if v["impact"] in {"serious", "critical"}] == []


def test_policy_is_not_broken_by_the_pages_themselves(page):
    broken = []
    page.on("console", lambda m: broken.append(m.text) if "Content Security Policy" in m.text else None)
    for path in PAGES:
        page.goto(path)
    assert broken == []


def test_slash_asks_and_a_suggestion_is_taken_by_arrow_and_enter(page):
    page.goto(QUESTION)
    page.keyboard.press("/")
    page.keyboard.type("night")
    option = page.get_by_role("option", name="Night Diver")
    expect(option).to_be_visible()
    page.keyboard.press("ArrowDown")
    expect(option).to_have_attribute("aria-selected", "true")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("Night Diver")


def test_a_comparable_opens_in_place_and_closes(page):
    page.goto(QUESTION)
    link = page.locator("#row-a a[data-open]").first
    link.click()
    expect(page.locator("tr.opened .sum .total").last).to_have_text("171.62")
    expect(page.locator("tr.opened .photo img")).to_be_visible()
    link.click()
    expect(page.locator("tr.opened")).to_have_count(0)


def test_settling_by_keys_alone(page, desk):
    page.goto("/settle")
    page.keyboard.press("2")
    expect(page.get_by_role("status")).to_have_text("Taken.")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    expect(page.get_by_text("2 of 43")).to_have_count(1)
    page.keyboard.press("s")
    expect(page.get_by_role("status")).to_have_text("Set aside.")
    page.keyboard.press("0")
    expect(page.get_by_role("status")).to_have_text("Answered: none of these.")
    page.keyboard.press("z")
    expect(page.get_by_role("status")).to_have_text("The last answer is taken back.")
    assert [c.split("|")[0] for _, c in desk.settled] == ["tw-harbour-master-2", "tw-harbour-master-2", "aside"]


def test_single_keys_can_be_switched_off(page, desk):
    page.goto("/settle")
    page.keyboard.press("?")
    page.get_by_label("Single keys work").uncheck()
    page.keyboard.press("2")
    page.reload()
    page.keyboard.press("s")
    page.wait_for_timeout(200)
    assert desk.settled == []
    page.evaluate("localStorage.clear()")


def test_main_paths_work_without_scripts(chromium, address):
    context = chromium.new_context(base_url=address, java_script_enabled=False)
    page = context.new_page()
    page.goto("/")
    page.get_by_label("A piece").fill("harbour master 34")
    page.get_by_label("A price").fill("47 + 18 post")
    page.get_by_role("button", name="Look up").click()
    expect(page.locator("#verdict")).to_contain_text("€65.00")
    page.locator("#row-b a").first.click()
    expect(page.get_by_role("heading", name="Price and source")).to_be_visible()
    page.goto("/settle")
    page.get_by_role("button", name="Set aside").click()
    expect(page.get_by_role("status")).to_have_text("Set aside.")
    context.close()
