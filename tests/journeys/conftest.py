"""Demo books for all journeys: written, taken in and fitted once a session, from the command line."""

import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

import hangtab
from hangtab.demo import write_world
from hangtab.usecases.fitting import load_valuer
from hangtab.valuing import engine_table

# The day the demo's evidence ends; questions are asked for it, so that answers do not drift as the calendar goes on.
AT = "2026-10-30"
SMALL = 0.1


@dataclass(frozen=True)
class DemoBook:
    """A demo world's folder and a book of its sources."""

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


def made_in(folder: Path, scale: float) -> DemoBook:
    """A world, and a fitted book of all its sources."""
    made = DemoBook(folder / "world", folder / "demo.hangtab")
    write_world(made.world, scale=scale)
    made.run("new", "--catalogue", str(made.world / "catalogue"))
    made.run("take-in", str(made.world / "sources"))
    made.run("fit", "--at", AT)
    return made


@pytest.fixture(scope="session")
def demo(tmp_path_factory) -> DemoBook:
    """The whole demo, about 30,000 pieces of evidence; never changed."""
    return made_in(tmp_path_factory.mktemp("demo"), 1.0)


@pytest.fixture(scope="session")
def small(tmp_path_factory) -> DemoBook:
    """A tenth of the demo's evidence on the same catalogue; never changed."""
    return made_in(tmp_path_factory.mktemp("small"), SMALL)


@pytest.fixture
def demo_copy(demo, tmp_path) -> DemoBook:
    """The whole demo, to be changed."""
    return copied(demo, tmp_path)


@pytest.fixture
def small_copy(small, tmp_path) -> DemoBook:
    """The small demo, to be changed."""
    return copied(small, tmp_path)


def copied(made: DemoBook, folder: Path) -> DemoBook:
    made.run("backup", str(folder / "copy.hangtab"))
    return DemoBook(made.world, folder / "copy.hangtab")


@pytest.fixture
def new_book(tmp_path) -> DemoBook:
    """An empty book with the starter's words only."""
    made = DemoBook(tmp_path, tmp_path / "new.hangtab")
    made.run("new")
    return made


@pytest.fixture
def empty(small, tmp_path) -> DemoBook:
    """An empty book with the demo's catalogue."""
    made = DemoBook(small.world, tmp_path / "empty.hangtab")
    made.run("new", "--catalogue", str(small.world / "catalogue"))
    return made


@pytest.fixture(scope="session")
def book(demo):
    """The demo's book, opened."""
    return hangtab.open(demo.book).parts


@pytest.fixture(scope="session")
def table(book):
    """The engine's table of the demo's book."""
    return engine_table(book.book.rows(), book.catalogue, book.book.currency)


@pytest.fixture(scope="session")
def standing(book):
    """What answers from the demo's fit."""
    return load_valuer(book).valuer
