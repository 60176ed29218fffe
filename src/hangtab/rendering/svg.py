"""Elements of SVG as text.

Promises: every text and attribute is escaped, numbers have one decimal at most, and there is no style attribute (the
page's Content-Security-Policy forbids it). Not here: any drawing.
"""

from __future__ import annotations

from html import escape


def number(value: float) -> str:
    """A length without needless digits.

    >>> number(3.0), number(2.25), number(-0.04)
    ('3', '2.2', '0')
    """
    text = f"{value:.1f}".removesuffix(".0")
    return "0" if text == "-0" else text


def tag(name: str, inner: str = "", /, **values: float | str) -> str:
    """One element; `font_size` becomes `font-size`, `class_` becomes `class`.

    >>> tag("circle", cx=1.0, fill="var(--ink)")
    '<circle cx="1" fill="var(--ink)"/>'
    """
    said = "".join(
        f' {key.rstrip("_").replace("_", "-")}="{escape(value) if isinstance(value, str) else number(value)}"'
        for key, value in values.items()
    )
    return f"<{name}{said}>{inner}</{name}>" if inner else f"<{name}{said}/>"


def path(d: str, **values: float | str) -> str:
    """A path with its colours."""
    return tag("path", d=d, **values)


def trace(*steps: str | float) -> str:
    """The way of a path: letters and lengths in a row.

    >>> trace("M", 1.0, 2.5, "h", 3.25)
    'M 1 2.5 h 3.2'
    """
    return " ".join(step if isinstance(step, str) else number(step) for step in steps)


def text(x: float, y: float, words: str, **values: float | str) -> str:
    """A line of text in ink, 13 px unless said otherwise."""
    said: dict[str, float | str] = {"font_size": 13, "fill": "var(--ink)", **values}
    return tag("text", escape(words), x=x, y=y, **said)


def picture(width: float, height: float, inner: str, sentence: str = "") -> str:
    """The whole drawing: one image with a sentence, or an ornament hidden from screen readers."""
    if sentence:
        return tag("svg", inner, viewBox=f"0 0 {width:g} {height:g}", width=width, role="img", aria_label=sentence)
    return tag(
        "svg", inner, viewBox=f"0 0 {width:g} {height:g}", width=width, height=height, aria_hidden="true"
    )  # fmt: skip
