"""A catalogue folder from disk, within bounds.

Promises to give only text files of the catalogue's two kinds that truly lie in the folder, and to refuse what no
hand-written catalogue would hold. Not here: what the files mean (catalogue), and anything of the book.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from hangtab.domain.errors import CatalogueError

SUFFIXES = frozenset({".toml", ".csv"})
MOST_FILES = 2_000
MOST_BYTES = 20_000_000


def catalogue_files(folder: Path) -> Mapping[str, bytes]:
    """Content of a catalogue folder's *.toml and *.csv files, by posix path relative to it, sorted.

    Hidden files and what a link leads to outside the folder are left out.

    Raises:
        CatalogueError: No such folder, none or more than 2,000 files, one over 20 MB or unreadable.
    """
    if not folder.is_dir():
        raise CatalogueError("No catalogue folder", where=str(folder), mend="Give a folder that holds catalogue.toml")
    root = folder.resolve()
    paths = sorted(path for path in root.rglob("*") if path.suffix in SUFFIXES and _belongs(path, root))
    if not paths:
        mend = "Give a folder that holds catalogue.toml and lines/"
        raise CatalogueError("No catalogue files in the folder", where=str(folder), mend=mend)
    if len(paths) > MOST_FILES:
        mend = f"Give the catalogue's own folder; at most {MOST_FILES} files are read"
        raise CatalogueError(f"{len(paths)} files in the folder", where=str(folder), mend=mend)
    return {path.relative_to(root).as_posix(): _content(path) for path in paths}


def _belongs(path: Path, root: Path) -> bool:
    hidden = any(part.startswith(".") for part in path.relative_to(root).parts)
    return not hidden and path.is_file() and path.resolve().is_relative_to(root)


def _content(path: Path) -> bytes:
    try:
        size = path.stat().st_size
        if size > MOST_BYTES:
            mend = f"Split the file; at most {MOST_BYTES // 1_000_000} MB are read"
            raise CatalogueError(f"A file of {size // 1_000_000} MB", where=str(path), mend=mend)
        return path.read_bytes()
    except OSError as error:
        raise CatalogueError(f"Cannot be read: {error.strerror}", where=str(path), mend="Allow reading it") from error
