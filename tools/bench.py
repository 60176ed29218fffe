"""Measure what is promised to be fast, on one fitted book: `make bench`.

Prints one table: middle, 95 of 100 and longest wall time, and processor time beside it, which a busy machine disturbs
less. Reads the book only; what must write works on a copy in a temporary folder. Asserts nothing: the figures depend
on the machine, which is named above the table.
"""

from __future__ import annotations

import argparse
import platform
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from os import cpu_count
from pathlib import Path

import numpy as np
from fastapi.testclient import TestClient

from hangtab.usecases.desk import Asked
from hangtab.web.app import create_app
from hangtab.web.desk import BookDesk

WARM_UP = 10
CALLS = 5  # a command is started this often
LISTS: tuple[dict[str, str], ...] = (
    {},
    {"q": "glow"},
    {"q": "harbour master", "order": "all_in"},
    {"kind": "sale,auction,offer,private,trade", "since": "2025-09-01"},
    {"packaging": "carded", "graded": "yes", "order": "-all_in"},
    {"venue": "quayside", "until": "2024-12-31", "order": "title", "offset": "2000"},
)


@dataclass(frozen=True)
class Measured:
    """Seconds of each run: on the wall, and of the processor."""

    name: str
    wall: Sequence[float]
    processor: Sequence[float]


def main() -> int:
    """Measure and print."""
    said = _flags()
    desk = BookDesk.open(said.book, "bench")
    print(_machine(said, desk.info().evidence), flush=True)
    print(f"{'seconds':32}{'runs':>6}{'middle':>9}{'95 %':>9}{'longest':>9}{'  processor: middle':>20}{'95 %':>9}")
    for measured in _everything(desk, said):
        print(_line(measured), flush=True)
    return 0


def _everything(desk: BookDesk, said: argparse.Namespace) -> Iterable[Measured]:
    draw = np.random.default_rng(said.seed)
    asked = _drawn(desk, said.count, draw)
    with TestClient(create_app(desk)) as client:

        def get(path: str, query: dict[str, str]) -> None:
            client.get(path, params=query).raise_for_status()

        yield _each("answer page", get, [("/", {"q": a.text, "at": said.at}) for a in asked])
        yield _each("suggestions", get, [("/api/suggest", {"text": _typed(a.text, draw)}) for a in asked])
        yield _each("list of sales, filtered", get, [("/sales", dict(q)) for q in LISTS * 10])
    hangtab = str(Path(sys.executable).with_name("hangtab"))
    yield _commands("hangtab --help", [hangtab, "--help"])
    yield _commands("hangtab worth", [hangtab, "worth", asked[0].text, "--at", said.at, "--book", str(said.book)])
    if said.world:
        yield from _written(hangtab, said)


def _written(hangtab: str, said: argparse.Namespace) -> Iterable[Measured]:
    """Taking the demo world in, and fitting it, in a book of their own."""
    with tempfile.TemporaryDirectory() as folder:
        book = str(Path(folder) / "bench.hangtab")
        catalogue, sources = str(said.world / "catalogue"), str(said.world / "sources")
        _run([hangtab, "new", "--book", book, "--catalogue", catalogue])
        yield _commands("hangtab take-in (demo world)", [hangtab, "take-in", "--book", book, sources], 1)
        yield _commands("hangtab fit", [hangtab, "fit", "--book", book, "--at", said.at], 1)


def _flags() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("book", type=Path, help="a fitted book")
    parser.add_argument("--world", type=Path, help="the demo world to take in; the book's folder when it is one")
    parser.add_argument("--at", default="2026-10-30", help="the day asked about; the demo world ends then")
    parser.add_argument("--seed", type=int, default=20261030, help="which pieces are drawn")
    parser.add_argument("--count", type=int, default=300, help="how many pieces")
    said = parser.parse_args()
    if said.world is None and (said.book.parent / "sources").is_dir():
        said.world = said.book.parent
    return said


def _machine(said: argparse.Namespace, evidence: int) -> str:
    return (
        f"{platform.machine()}, {cpu_count()} cores, {platform.system()}, Python {platform.python_version()}\n"
        f"{evidence} pieces of evidence, asked for {said.at}, seed {said.seed}"
    )


def _drawn(desk: BookDesk, count: int, draw: np.random.Generator) -> list[Asked]:
    every = desk.subjects(1_000_000)
    return [every[i] for i in draw.choice(len(every), min(count, len(every)), replace=False)]


def _typed(text: str, draw: np.random.Generator) -> str:
    """What stands in the box while somebody types: the first few letters of a piece."""
    return text[: int(draw.integers(2, 25))]


def _each(
    name: str, get: Callable[[str, dict[str, str]], None], requests: Sequence[tuple[str, dict[str, str]]]
) -> Measured:
    for path, query in requests[:WARM_UP]:
        get(path, query)
    wall, processor = [], []
    for path, query in requests:
        clock, used = time.perf_counter(), time.process_time()
        get(path, query)
        wall.append(time.perf_counter() - clock)
        processor.append(time.process_time() - used)
    return Measured(name, wall, processor)


def _commands(name: str, words: Sequence[str], calls: int = CALLS) -> Measured:
    wall, processor = [], []
    for _ in range(calls):
        clock, used = time.perf_counter(), _children()
        _run(words)
        wall.append(time.perf_counter() - clock)
        processor.append(_children() - used)
    return Measured(name, wall, processor)


def _run(words: Sequence[str]) -> None:
    subprocess.run(words, check=True, capture_output=True)  # noqa: S603 - our own program


def _children() -> float:
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def _line(measured: Measured) -> str:
    wall, processor = np.array(measured.wall), np.array(measured.processor)
    figures = (*np.quantile(wall, (0.5, 0.95, 1.0)), *np.quantile(processor, (0.5, 0.95)))
    widths = (9, 9, 9, 20, 9)
    return f"{measured.name:32}{len(wall):6d}" + "".join(f"{f:{w}.3f}" for f, w in zip(figures, widths, strict=True))


if __name__ == "__main__":
    sys.exit(main())
