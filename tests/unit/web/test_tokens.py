"""The colours can be read, told apart, and are written in one place.

Contrast: Web Content Accessibility Guidelines 2.2, success criteria 1.4.3 (text, 4.5:1) and 1.4.11 (graphics, 3:1).
Colour deficiency: Machado, Oliveira & Fernandes 2009, severity 1, distances by CIEDE2000, both out of colour-science.
"""

import itertools
import re
import warnings

import numpy as np
import pytest

from tools import tokens

PALETTES = {"light": tokens.LIGHT, "dark": tokens.DARK}
HEX = {name: {k: tokens.hex_of(c) for k, c in palette.items()} for name, palette in PALETTES.items()}
TEXT = ("ink", "quiet", "accent", "evidence", "estimate", "dear", "cheap", "doubtful")
CHART = ("evidence", "estimate", "dear", "cheap")
# The distances at which the palette was chosen (our own figures): a change of a colour must look at them anew.
DEAR_FROM_CHEAP = {
    ("light", "normal"): 48.2,
    ("light", "Protanomaly"): 52.9,
    ("light", "Deuteranomaly"): 55.8,
    ("light", "Tritanomaly"): 49.4,
    ("dark", "normal"): 47.4,
    ("dark", "Protanomaly"): 50.3,
    ("dark", "Deuteranomaly"): 52.1,
    ("dark", "Tritanomaly"): 42.2,
}
CLOSEST = {
    ("light", "Protanomaly"): 15.1,
    ("light", "Deuteranomaly"): 12.9,
    ("light", "Tritanomaly"): 10.4,
    ("dark", "Protanomaly"): 11.1,
    ("dark", "Deuteranomaly"): 12.0,
    ("dark", "Tritanomaly"): 15.6,
}
TOLD_APART = 10.0  # CIEDE2000; the shapes differ as well, so colour is never alone
STEP_OF_A_BAND = 3.65  # CIEDE2000, 3.7 as printed; the ends of the ranges are printed beside

# The library says at each use that its tritan matrices stand for the deficiency in another way than the other two.
pytestmark = pytest.mark.filterwarnings("ignore:(?s).*simulation of tritanomaly")


@pytest.fixture(scope="session")
def colour():
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it warns at import about plotting libraries that are not there
        import colour  # noqa: PLC0415 - takes a second, and only these tests need it
    return colour


@pytest.fixture(scope="session")
def distance(colour):
    """Give the CIEDE2000 distance of two hex colours as seen with a deficiency."""

    def lab(value, deficiency):
        encoded = np.array([int(value[i : i + 2], 16) / 255 for i in (1, 3, 5)])
        linear = np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)
        if deficiency != "normal":
            linear = (np.array(colour.matrix_cvd_Machado2009(deficiency, 1.0)) @ linear).clip(0, 1)
        return colour.XYZ_to_Lab(colour.RGB_to_XYZ(linear, "sRGB", apply_cctf_decoding=False))

    return lambda one, other, seen: float(colour.delta_E(lab(one, seen), lab(other, seen), method="CIE 2000"))


@pytest.mark.parametrize("ground", ["paper", "leaf"])
@pytest.mark.parametrize("name", TEXT)
@pytest.mark.parametrize("theme", PALETTES)
def test_text_can_be_read_on_page_and_panel(theme, name, ground):
    assert tokens.contrast(HEX[theme][name], HEX[theme][ground]) >= 4.5


@pytest.mark.parametrize("theme", PALETTES)
@pytest.mark.parametrize("ground", ["paper", "leaf"])
def test_a_border_that_means_something_can_be_seen(theme, ground):
    assert tokens.contrast(HEX[theme]["edge"], HEX[theme][ground]) >= 3


@pytest.mark.parametrize("band", ["band50", "band80", "band90", "tint", "board"])
@pytest.mark.parametrize("theme", PALETTES)
def test_ink_can_be_read_on_every_ground(theme, band):
    assert tokens.contrast(HEX[theme]["ink"], HEX[theme][band]) >= 4.5


@pytest.mark.parametrize(("theme", "filled"), [("light", "ink"), ("dark", "ink")])
def test_a_filled_button_can_be_read(theme, filled):
    assert tokens.contrast(HEX[theme]["paper"], HEX[theme][filled]) >= 4.5


def test_contrast_agrees_with_a_general_library(colour):
    """WCAG's relative luminance is the Y of sRGB under D65, out of colour-science."""
    for palette in HEX.values():
        luminance = [colour.sRGB_to_XYZ([int(h[i : i + 2], 16) / 255 for i in (1, 3, 5)])[1] for h in palette.values()]
        for (one, y1), (other, y2) in itertools.combinations(zip(palette.values(), luminance, strict=True), 2):
            expected = (max(y1, y2) + 0.05) / (min(y1, y2) + 0.05)
            assert tokens.contrast(one, other) == pytest.approx(expected, rel=1e-3)


def test_hex_agrees_with_a_general_library(colour):
    """OKLCH to sRGB, out of colour-science."""
    for palette in PALETTES.values():
        for name, (lightness, chroma, hue) in palette.items():
            lab = [lightness, chroma * np.cos(np.radians(hue)), chroma * np.sin(np.radians(hue))]
            channels = colour.XYZ_to_sRGB(colour.Oklab_to_XYZ(lab))
            ours = [int(tokens.hex_of(palette[name])[i : i + 2], 16) / 255 for i in (1, 3, 5)]
            assert ours == pytest.approx(list(channels.clip(0, 1)), abs=1.5 / 255), name


@pytest.mark.parametrize(("theme", "seen"), DEAR_FROM_CHEAP)
def test_dear_and_cheap_are_far_apart_for_everyone(distance, theme, seen):
    found = distance(HEX[theme]["dear"], HEX[theme]["cheap"], seen)
    assert found == pytest.approx(DEAR_FROM_CHEAP[theme, seen], abs=0.05)


@pytest.mark.parametrize(("theme", "seen"), CLOSEST)
def test_chart_colours_are_told_apart_by_everyone(distance, theme, seen):
    pairs = itertools.combinations(CHART, 2)
    found = min(distance(HEX[theme][a], HEX[theme][b], seen) for a, b in pairs)
    assert found == pytest.approx(CLOSEST[theme, seen], abs=0.05)
    assert found >= TOLD_APART


@pytest.mark.parametrize("seen", ["normal", "Protanomaly", "Deuteranomaly", "Tritanomaly"])
@pytest.mark.parametrize("theme", PALETTES)
def test_bands_step_from_one_to_the_next(distance, theme, seen):
    steps = itertools.pairwise(("band50", "band80", "band90", "paper"))
    assert min(distance(HEX[theme][a], HEX[theme][b], seen) for a, b in steps) >= STEP_OF_A_BAND


def test_both_palettes_name_the_same_things():
    assert list(tokens.LIGHT) == list(tokens.DARK)


def test_a_colour_no_screen_can_show_is_refused():
    with pytest.raises(ValueError, match="outside sRGB"):
        tokens.hex_of(tokens.Oklch(0.45, 0.3, 205))


@pytest.mark.parametrize("path", tokens.made(), ids=lambda path: path.name)
def test_the_made_files_are_what_the_tool_writes(path):
    assert path.read_text(encoding="utf-8") == tokens.made()[path]


def test_the_style_sheet_has_no_colour_of_its_own():
    """Only print, which is black on white, may name one."""
    sheet = (tokens.ROOT / "web" / "static" / "book.css").read_text(encoding="utf-8")
    assert re.findall(r"#[0-9a-fA-F]{3,8}\b(?![^{]*\{)", sheet.split("@media print")[0]) == []


def test_the_style_sheet_asks_only_for_tokens_and_fonts_that_exist():
    sheet = (tokens.ROOT / "web" / "static" / "book.css").read_text(encoding="utf-8")
    made = tokens.css(tokens.LIGHT, tokens.DARK)
    assert set(re.findall(r"var\((--[\w-]+)", sheet)) <= set(re.findall(r"(--[\w-]+):", made))


def test_the_style_sheet_names_the_fonts_that_are_installed():
    from hangtab.rendering.fonts import faces  # noqa: PLC0415 - the one test here that needs the package

    sheet = (tokens.ROOT / "web" / "static" / "book.css").read_text(encoding="utf-8")
    assert set(re.findall(r"/static/fonts/([\w-]+\.ttf)", sheet)) == set(faces())
