"""The page's furniture fits every width, down to 320 px, before any page is built of it."""

from pathlib import Path

import pytest

from hangtab.rendering.fonts import faces
from tools import tokens

STATIC = tokens.ROOT / "web" / "static"
PAGE = Path(__file__).with_name("furniture.html").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def furniture(chromium):
    def answer(route):
        name = route.request.url.rsplit("/", 1)[1]
        if name.endswith(".css"):
            route.fulfill(path=STATIC / name, content_type="text/css")
        elif name.endswith(".ttf"):
            route.fulfill(path=faces()[name], content_type="font/ttf")
        else:
            route.fulfill(body=PAGE, content_type="text/html; charset=utf-8")

    context = chromium.new_context()
    page = context.new_page()
    page.route("**/*", answer)
    page.goto("http://furniture.test/")
    yield page
    context.close()


@pytest.mark.browser
@pytest.mark.parametrize("width", [1440, 1024, 721, 390, 320])
def test_nothing_scrolls_sideways(furniture, width):
    furniture.set_viewport_size({"width": width, "height": 900})
    assert furniture.evaluate("document.documentElement.scrollWidth") == width


@pytest.mark.browser
def test_the_faces_load(furniture):
    furniture.evaluate("document.fonts.ready")
    loaded = furniture.evaluate("[...document.fonts].filter(f => f.status === 'loaded').map(f => f.family)")
    assert {name.strip('"') for name in loaded} == {"Fira Sans", "Fira Code"}


@pytest.mark.browser
def test_a_wish_for_less_motion_is_heard(furniture):
    furniture.emulate_media(reduced_motion="reduce")
    assert furniture.evaluate("getComputedStyle(document.querySelector('.press')).transitionDuration") in {"0s", "0ms"}
