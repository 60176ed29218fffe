"""Make the look's generated files: tokens.css and the two chart themes.

Promises: a colour is written once, here, in OKLCH; every other file takes it from this table.
Gives: src/hangtab/web/static/tokens.css and src/hangtab/rendering/charts/theme{,-dark}.vl.json.
Source: Ottosson 2020, "A perceptual color space for image processing" (OKLab); WCAG 2.2 for contrast.
Not here: page furniture (book.css), or the distances under colour deficiency (tests/unit/web/test_tokens.py).
"""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any, NamedTuple

ROOT = Path(__file__).resolve().parent.parent / "src" / "hangtab"
GAMUT_SLACK = 5e-4  # how far a linear channel may leave 0..1 before it is another colour
# The straight foot of the sRGB curve, in linear and in encoded light (IEC 61966-2-1).
FOOT, ENCODED_FOOT = 0.0031308, 0.04045


class Oklch(NamedTuple):
    """One colour: lightness 0..1, chroma from 0, hue in degrees."""

    lightness: float
    chroma: float
    hue: float


LIGHT = {
    "paper": Oklch(0.985, 0.004, 150),
    "leaf": Oklch(0.958, 0.007, 165),
    "ink": Oklch(0.245, 0.03, 245),
    "quiet": Oklch(0.455, 0.02, 235),
    "rule": Oklch(0.865, 0.01, 200),
    "edge": Oklch(0.6, 0.02, 225),
    "accent": Oklch(0.455, 0.15, 353),
    "tint": Oklch(0.945, 0.022, 353),
    "evidence": Oklch(0.3, 0.04, 245),
    "estimate": Oklch(0.45, 0.077, 205),
    "band50": Oklch(0.795, 0.06, 202),
    "band80": Oklch(0.875, 0.04, 200),
    "band90": Oklch(0.925, 0.022, 198),
    "dear": Oklch(0.52, 0.118, 58),
    "cheap": Oklch(0.44, 0.15, 277),
    "doubtful": Oklch(0.54, 0.062, 325),
    "board": Oklch(0.905, 0.03, 85),
}
DARK = {
    "paper": Oklch(0.205, 0.018, 240),
    "leaf": Oklch(0.25, 0.02, 238),
    "ink": Oklch(0.935, 0.01, 170),
    "quiet": Oklch(0.745, 0.016, 205),
    "rule": Oklch(0.37, 0.02, 232),
    "edge": Oklch(0.6, 0.022, 225),
    "accent": Oklch(0.8, 0.11, 352),
    "tint": Oklch(0.31, 0.055, 352),
    "evidence": Oklch(0.9, 0.014, 190),
    "estimate": Oklch(0.75, 0.098, 200),
    "band50": Oklch(0.465, 0.062, 208),
    "band80": Oklch(0.375, 0.045, 212),
    "band90": Oklch(0.31, 0.03, 218),
    "dear": Oklch(0.8, 0.125, 68),
    "cheap": Oklch(0.735, 0.12, 280),
    "doubtful": Oklch(0.705, 0.062, 325),
    "board": Oklch(0.385, 0.032, 80),
}


def linear_srgb(colour: Oklch) -> tuple[float, float, float]:
    """Return the linear sRGB channels, 0..1.

    Raises:
        ValueError: if a screen cannot show the colour.

    Source: Ottosson 2020, the OKLab to linear sRGB matrices.
    """
    a = colour.chroma * math.cos(math.radians(colour.hue))
    b = colour.chroma * math.sin(math.radians(colour.hue))
    long = (colour.lightness + 0.3963377774 * a + 0.2158037573 * b) ** 3
    middle = (colour.lightness - 0.1055613458 * a - 0.0638541728 * b) ** 3
    short = (colour.lightness - 0.0894841775 * a - 1.2914855480 * b) ** 3
    channels = (
        4.0767416621 * long - 3.3077115913 * middle + 0.2309699292 * short,
        -1.2684380046 * long + 2.6097574011 * middle - 0.3413193965 * short,
        -0.0041960863 * long - 0.7034186147 * middle + 1.7076147010 * short,
    )
    if min(channels) < -GAMUT_SLACK or max(channels) > 1 + GAMUT_SLACK:
        raise ValueError(f"{colour} is outside sRGB: lower its chroma")
    red, green, blue = (min(max(c, 0.0), 1.0) for c in channels)
    return red, green, blue


def hex_of(colour: Oklch) -> str:
    """Return the colour as #rrggbb.

    >>> hex_of(Oklch(1, 0, 0)), hex_of(LIGHT["estimate"])
    ('#ffffff', '#00616a')
    """
    encoded = (12.92 * c if c <= FOOT else 1.055 * c ** (1 / 2.4) - 0.055 for c in linear_srgb(colour))
    return "#" + "".join(f"{round(255 * c):02x}" for c in encoded)


def contrast(one: str, other: str) -> float:
    """Return the contrast ratio of two #rrggbb colours, 1 to 21 (WCAG 2.2, relative luminance).

    >>> round(contrast("#000000", "#ffffff"), 3)
    21.0
    """
    dark, light = sorted((_luminance(one), _luminance(other)))
    return (light + 0.05) / (dark + 0.05)


def _luminance(colour: str) -> float:
    channels = (int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5))
    red, green, blue = (c / 12.92 if c <= ENCODED_FOOT else ((c + 0.055) / 1.055) ** 2.4 for c in channels)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def css(light: dict[str, Oklch], dark: dict[str, Oklch]) -> str:
    """Return tokens.css: both palettes and the sizes that every page is set in."""
    return f"""/* Hangtab tokens. Made by tools/tokens.py; change them there. */
:root {{
  color-scheme: light;
{_declarations(light)}
  /* type: size / line, all lines multiples of the 6 px step */
  --t-note: 0.8125rem;   --l-note: 1.125rem;   /* 13/18 margin notes, table detail */
  --t-table: 0.875rem;   --l-table: 1.5rem;    /* 14/24 tables */
  --t-body: 1rem;        --l-body: 1.5rem;     /* 16/24 reading */
  --t-lead: 1.25rem;     --l-lead: 1.875rem;   /* 20/30 the sentence under a figure, the search box */
  --t-head: 1.125rem;    --l-head: 1.5rem;     /* 18/24 side-heads */
  --t-word: 2.625rem;    --l-word: 3rem;       /* 42/48 headword */
  --t-figure: 6rem;      --l-figure: 6rem;     /* 96/96 the one figure of a page */
  --step: 6px; --gap: 42px; --side: 156px; --main: 756px; --margin: 288px;
  --hair: 1px solid var(--rule); --line: 1.5px solid var(--ink);
  --quick: 120ms; --face: "Fira Sans", sans-serif;
}}
@media (prefers-color-scheme: dark) {{ :root:not([data-theme="light"]) {{
  color-scheme: dark;
{_declarations(dark)}
}} }}
:root[data-theme="dark"] {{
  color-scheme: dark;
{_declarations(dark)}
}}
@media (max-width: 1100px) {{ :root {{ --gap: 30px; --side: 132px; }} }}
@media (max-width: 720px) {{
  :root {{
    --t-word: 1.875rem; --l-word: 2.25rem; --t-figure: 4.5rem; --l-figure: 4.5rem; --t-lead: 1.125rem; --l-lead: 1.5rem;
  }}
}}
@media (prefers-reduced-motion: reduce) {{ :root {{ --quick: 0ms; }} }}
"""


def _declarations(palette: dict[str, Oklch]) -> str:
    return "\n".join(
        f"  --{name}: {hex_of(c)}; /* oklch({c.lightness:g} {c.chroma:g} {c.hue:g}) */" for name, c in palette.items()
    )


def chart_theme(palette: dict[str, Oklch]) -> dict[str, Any]:
    """Return the Vega-Lite `config` of one palette. Family names must be those of the registered fonts."""
    c = {name: hex_of(colour) for name, colour in palette.items()}
    face = "Fira Sans"
    return {
        "background": None,
        "font": face,
        "padding": {"left": 0, "right": 0, "top": 6, "bottom": 0},
        "autosize": {"type": "fit", "contains": "padding"},
        "view": {"stroke": None, "continuousWidth": 756, "continuousHeight": 300},
        **_axes(c, face),
        **_marks(c, face),
        "legend": {"disable": True},
        "range": {
            "category": [c["evidence"], c["estimate"], c["dear"], c["cheap"]],
            "ordinal": [c["band90"], c["band80"], c["band50"], c["estimate"]],
            "symbol": ["circle", "diamond", "triangle-up", "triangle-down"],
        },
        "style": {
            "guide-label": {"font": face},
            "guide-title": {"font": face},
            **{band: {"color": c[band]} for band in ("band50", "band80", "band90")},
        },
    }


def _axes(c: dict[str, str], face: str) -> dict[str, Any]:
    note = {"Font": face, "FontSize": 13, "Color": c["quiet"]}
    return {
        "title": {
            "font": face,
            "fontSize": 16,
            "fontWeight": 600,
            "color": c["ink"],
            "anchor": "start",
            "offset": 12,
            **{f"subtitle{key}": value for key, value in note.items()},
        },
        "axis": {
            **{f"label{key}": value for key, value in note.items()},
            **{f"title{key}": value for key, value in note.items()},
            "titleFontStyle": "italic",
            "titleFontWeight": 400,
            "gridColor": c["rule"],
            "gridWidth": 1,
            "domain": False,
            "ticks": False,
            "labelPadding": 8,
        },
        "axisX": {
            "grid": False,
            "domain": True,
            "domainColor": c["ink"],
            "domainWidth": 1.25,
            "ticks": True,
            "tickColor": c["ink"],
            "tickSize": 6,
            "labelPadding": 4,
            "title": None,
        },
        "axisY": {
            "titleAngle": 0,
            "titleAlign": "left",
            "titleAnchor": "end",
            "titleBaseline": "bottom",
            "labelAlign": "right",
        },
    }


def _marks(c: dict[str, str], face: str) -> dict[str, Any]:
    return {
        "area": {"color": c["band80"], "opacity": 1, "line": False},
        "line": {"color": c["estimate"], "strokeWidth": 2.25, "strokeJoin": "round"},
        "point": {
            "color": c["evidence"],
            "filled": True,
            "size": 60,
            "opacity": 1,
            "stroke": c["paper"],
            "strokeWidth": 1,
        },
        "rule": {"color": c["ink"], "strokeWidth": 1},
        "text": {"font": face, "fontSize": 13, "color": c["ink"]},
        "bar": {"color": c["estimate"]},
        "tick": {"color": c["evidence"], "thickness": 1.75},
    }


def made() -> dict[Path, str]:
    """Return every generated file's path and text."""
    charts = ROOT / "rendering" / "charts"
    return {
        ROOT / "web" / "static" / "tokens.css": css(LIGHT, DARK),
        charts / "theme.vl.json": json.dumps(chart_theme(LIGHT), indent=1) + "\n",
        charts / "theme-dark.vl.json": json.dumps(chart_theme(DARK), indent=1) + "\n",
    }


def main() -> None:
    """Write them."""
    for path, text in made().items():
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
