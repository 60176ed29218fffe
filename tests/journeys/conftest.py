"""One demo book for all journeys: written, taken in and fitted once a session, from the command line."""

import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

from hangtab.demo import write_world

# The day the demo's evidence ends; questions are asked for it, so that answers do not drift as the calendar goes on.
AT = "2026-10-30"


@dataclass(frozen=True)
class DemoBook:
    """The demo world's folder and a fitted book of all its sources."""

    world: Path
    book: Path

    def run(self, *words: str, book: Path | None = None, code: int = 0) -> str:
        """What the command line prints; stderr instead when it ends with a code other than 0."""
        path = str(book or self.book)
        command = [str(Path(sys.executable).with_name("hangtab")), *words]
        done = subprocess.run(
            command, capture_output=True, text=True, env={"HANGTAB_BOOK": path, "PATH": "/usr/bin:/bin"}, check=False
        )
        assert done.returncode == code, f"{' '.join(words)} gave {done.returncode}: {done.stderr[-2000:]}"
        return done.stdout if code == 0 else done.stderr


@pytest.fixture(scope="session")
def demo(tmp_path_factory) -> DemoBook:
    folder = tmp_path_factory.mktemp("demo")
    made = DemoBook(folder / "world", folder / "demo.hangtab")
    write_world(made.world)
    made.run("new", "--catalogue", str(made.world / "catalogue"))
    made.run("take-in", str(made.world / "sources"))
    made.run("fit", "--at", AT)
    return made


@pytest.fixture
def demo_copy(demo, tmp_path) -> DemoBook:
    """The same book, to be changed."""
    copy = tmp_path / "copy.hangtab"
    demo.run("backup", str(copy))
    return DemoBook(demo.world, copy)


@pytest.fixture
def new_book(tmp_path) -> DemoBook:
    """An empty book with the starter's words only."""
    made = DemoBook(tmp_path, tmp_path / "new.hangtab")
    made.run("new")
    return made
