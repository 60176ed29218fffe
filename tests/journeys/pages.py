"""What the journeys through the pages share: a real server on a free port, and what must never happen."""

import os
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from axe_playwright_python.sync_playwright import Axe

WIDTHS = {"wide": 1440, "phone": 390}
LONGEST_START = 60.0  # seconds


@contextmanager
def served(book: Path) -> Iterator[str]:
    """The address of `hangtab serve` on a book, for as long as it is needed."""
    port = _free_port()
    command = [str(Path(sys.executable).with_name("hangtab")), "serve", "--book", str(book), "--port", str(port)]
    server = subprocess.Popen(command, stdout=subprocess.DEVNULL, env={"PATH": os.environ["PATH"], "LANG": "C.UTF-8"})
    address = f"http://127.0.0.1:{port}"
    try:
        _wait(address, server)
        yield address
    finally:
        server.terminate()
        server.wait(10)


def serious(page) -> list[str]:
    """Serious faults that axe finds on a page."""
    found = Axe().run(page).response["violations"]
    return [f"{v['id']}: {v['nodes'][0]['html'][:120]}" for v in found if v["impact"] in {"serious", "critical"}]


def runs_off(page) -> int:
    """By how many pixels a page is wider than its window."""
    return page.evaluate("document.documentElement.scrollWidth - innerWidth")


def _free_port() -> int:
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        return found.getsockname()[1]


def _wait(address: str, server: subprocess.Popen) -> None:
    end = time.monotonic() + LONGEST_START
    while time.monotonic() < end:
        assert server.poll() is None, "the server ended"
        try:
            urllib.request.urlopen(f"{address}/", timeout=LONGEST_START)
        except OSError:
            time.sleep(0.2)
        else:
            return
    raise AssertionError("the server did not answer")
