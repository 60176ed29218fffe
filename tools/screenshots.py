"""Take the pictures in docs/images from a fitted book: `python tools/screenshots.py demo-world/demo.hangtab`.

Promises pictures of the real pages in Chromium, wide and on a phone, light and dark, in at most 256 colours where they
would be large. Reads a book; serves it for as long as the pictures take. Not here: judging them; look at them before
they are committed.
"""

from __future__ import annotations

import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from io import BytesIO
from itertools import product
from pathlib import Path
from urllib.parse import urlencode

from PIL import Image
from playwright.sync_api import Browser, sync_playwright

IMAGES = Path(__file__).parent.parent / "docs" / "images"
AT = "2026-10-30"  # the last day of the demo, so that the pictures do not change with the calendar
WIDTHS = (1440, 390)
THEMES = ("light", "dark")
MOST_BYTES = 200_000
LONGEST_START = 60.0  # seconds


ANSWER = {"q": "harbour master glow sticker 34 graded", "price": "47 + 18 post", "at": AT}
SALES = {"q": "all harbour master sales since last autumn", "at": AT}


@dataclass(frozen=True)
class Shot:
    """One page: its address, and how much of it is shown (pixels from the top by width; the whole page without)."""

    name: str
    path: str
    heights: dict[int, int]


SHOTS = (
    Shot("answer", "/?" + urlencode(ANSWER), {}),
    Shot("settle", "/settle", {1440: 1300, 390: 1000}),
    Shot("sales", "/?" + urlencode(SALES), {1440: 1300, 390: 1300}),
)


def main() -> None:
    """Serve the book, take all pictures, say how large they are."""
    book = Path(sys.argv[1])
    IMAGES.mkdir(parents=True, exist_ok=True)
    with served(book) as address, sync_playwright() as driver:
        chromium = driver.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
        for shot, width, theme in product(SHOTS, WIDTHS, THEMES):
            path = IMAGES / f"{shot.name}-{width}-{theme}.png"
            path.write_bytes(small(picture(chromium, address, shot, width, theme)))
            sys.stdout.write(f"{path.name}: {path.stat().st_size / 1000:.0f} kB\n")
        chromium.close()


def picture(chromium: Browser, address: str, shot: Shot, width: int, theme: str) -> bytes:
    """One page as a PNG."""
    height = shot.heights.get(width, 900)
    context = chromium.new_context(
        base_url=address,
        viewport={"width": width, "height": height},
        color_scheme="dark" if theme == "dark" else "light",
        locale="en-GB",
    )
    page = context.new_page()
    page.goto(shot.path, wait_until="networkidle")
    page.evaluate("document.fonts.ready")
    taken = page.screenshot(full_page=not shot.heights)
    context.close()
    return taken


def small(png: bytes) -> bytes:
    """The same picture in at most 256 colours where it would be too large otherwise."""
    out = BytesIO()
    drawn = Image.open(BytesIO(png)).convert("RGB")
    drawn.save(out, "PNG", optimize=True)
    if len(out.getvalue()) > MOST_BYTES:
        out = BytesIO()
        drawn.quantize(256, dither=Image.Dither.NONE).save(out, "PNG", optimize=True)
    return out.getvalue()


@contextmanager
def served(book: Path) -> Iterator[str]:
    """The address of `hangtab serve` on a book."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    hangtab = Path(sys.executable).with_name("hangtab")
    command = [str(hangtab), "serve", "--book", str(book), "--port", str(port)]
    server = subprocess.Popen(command, stdout=subprocess.DEVNULL)  # noqa: S603 - the person at the terminal names the book
    address = f"http://127.0.0.1:{port}"
    try:
        wait(address, server)
        yield address
    finally:
        server.terminate()
        server.wait(10)


def wait(address: str, server: subprocess.Popen[bytes]) -> None:
    """Until the first page is there. Raises RuntimeError when it never comes."""
    end = time.monotonic() + LONGEST_START
    while time.monotonic() < end and server.poll() is None:
        try:
            with urllib.request.urlopen(f"{address}/", timeout=LONGEST_START):  # noqa: S310 - this machine's own address
                return
        except OSError:
            time.sleep(0.2)
    said = "the book could not be served"
    raise RuntimeError(said)


if __name__ == "__main__":
    main()
