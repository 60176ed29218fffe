"""Puts the parts together: book, catalogue, names, rates, clock. With settings, the only reader of clock and disk.

Doors: `new_book`, `open_parts`, `put_catalogue`, `gather` (paths to sources). Not here: what is done with the parts.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime
from pathlib import Path

from hangtab.catalogue.model import Catalogue
from hangtab.catalogue.reading import read_catalogue, starter_files
from hangtab.domain.errors import Problem, SourceError
from hangtab.domain.money import Money
from hangtab.intake import SourceFile
from hangtab.levelling import Rates, read_ecb
from hangtab.naming import Namer
from hangtab.storage import SqlBook, create_book, open_book
from hangtab.storage.folders import catalogue_files
from hangtab.storage.rates_file import bundled_rates_file
from hangtab.usecases.parts import Parts
from hangtab.usecases.ports import Entry
from hangtab.usecases.rates import SETTING as RATES
from hangtab.usecases.rates import known_currency

READ = (".csv", ".tsv", ".xlsx", ".html", ".htm", ".txt")
PHOTOS = (".png", ".jpg", ".jpeg", ".webp", ".gif")
MOST_BYTES = 300_000_000


def now() -> datetime:
    """The clock, UTC."""
    return datetime.now(UTC)


def today() -> date:
    """Today where the user is."""
    return datetime.now().astimezone().date()


def new_book(path: Path, *, currency: str, catalogue: Path | None, who: str) -> SqlBook:
    """Make a book with its catalogue (the starter's general words alone when no folder is given)."""
    Money(0, currency)
    known_currency(bundled_rates(), currency)
    files = catalogue_files(catalogue) if catalogue else dict(starter_files())
    read_catalogue(files)
    book = create_book(path, currency, Entry(who, now(), "new book", {"currency": currency}))
    book.put_catalogue(files, Entry(who, now(), "catalogue", {"files": len(files)}))
    return book


def put_catalogue(parts: Parts, folder: Path) -> Catalogue:
    """Replace the book's catalogue by a folder's; refused as a whole when it has an error."""
    files = catalogue_files(folder)
    catalogue = read_catalogue(files)
    parts.book.put_catalogue(files, parts.entry("catalogue", files=len(files), digest=catalogue.digest))
    return catalogue


def open_parts(path: Path, who: str) -> Parts:
    """Open a book with all that goes with it."""
    book = open_book(path)
    catalogue = read_catalogue(book.catalogue_files())
    return Parts(book, catalogue, Namer(catalogue), rates_of(book), now, who)


def bundled_rates() -> Rates:
    """The reference rates that came with the program."""
    return read_ecb(bundled_rates_file())


def rates_of(book: SqlBook) -> Rates:
    """The reference rates that a book keeps, or those that came with the program where these are newer."""
    bundled, kept = bundled_rates(), book.setting(RATES)
    own = read_ecb(book.source(kept).data) if kept else bundled
    return own if own.last_day >= bundled.last_day else bundled


def gather(paths: list[Path]) -> Iterator[SourceFile | Problem]:
    """Sources under paths in order of name, each with the photos that lie beside a saved page.

    A file that cannot be opened comes as a problem, so that the others are still taken in. In a folder only files of a
    kind that is read are looked at; a file named by itself always is. Raises SourceError when a path is not there.
    """
    for path in paths:
        if not path.exists():
            raise SourceError(f"No such file or folder: {path.name}", where=str(path), mend="Check the path")
    for path in paths:
        for file in _under(path):
            try:
                yield SourceFile(_shown(path, file), _bytes(file), _beside(file))
            except SourceError as error:
                yield Problem(error.what, error.where, error.mend)


def _under(path: Path) -> list[Path]:
    if not path.is_dir():
        return [path]
    return sorted(p for p in path.rglob("*") if p.suffix.lower() in READ and p.is_file())


def _shown(root: Path, file: Path) -> str:
    """A file's name as it is kept; bytes that are no text in it become question marks."""
    name = file.relative_to(root).as_posix() if root.is_dir() else file.name
    return name.encode("utf-8", "replace").decode()


def _bytes(file: Path) -> bytes:
    try:
        if file.stat().st_size > MOST_BYTES:
            raise SourceError(f"{file.name} is over 300 MB", where=str(file), mend="Split it into smaller files")
        return file.read_bytes()
    except OSError as error:
        raise SourceError(
            f"{file.name} cannot be read: {error.strerror}", where=str(file), mend="See that you may read the file"
        ) from error


def _beside(page: Path) -> dict[str, bytes]:
    """Photos a browser saved with a page: in the folder named after it, by their path relative to the page."""
    if page.suffix.lower() not in (".html", ".htm"):
        return {}
    folders = [page.with_name(page.stem + end) for end in ("_files", "-files", "_Dateien", "_fichiers", "_bestanden")]
    near = [p for f in folders if f.is_dir() for p in sorted(f.iterdir())]
    near += [p for e in PHOTOS if (p := page.with_suffix(e)).is_file()]
    return {
        p.relative_to(page.parent).as_posix(): _bytes(p) for p in near if p.suffix.lower() in PHOTOS and p.is_file()
    }
