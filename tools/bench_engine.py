"""Measure the engine on invented sales whose truth is known, beside other programs where they are installed.

    python -m tools.bench_engine [BOOK] [--large] [--largest] [--no-peers]

Each line is measured once, in a process of its own with one BLAS thread, after a warm-up that loads the compiled
kernels: seconds on the wall, of the processor, and the most memory that process held. Tables are those of
tools/sale_table.py. Asserts nothing: the figures depend on the machine, which is named above the table.

Recorded for comparison, on two cores of x86_64 Linux, one thread, single runs: a rough prototype of the same method
with normal noise, 9 border columns, 240 knots and 8 variances took 2.4 s at 1e5 rows, 7.3 s and 0.97 GB at 1e6, 52 s
and 6.1 GB at 1e7. On the same 1e5, without the walks, glmmTMB took 75 s and lme4 146 s. Told later sales of the 1e5:
the true variances known 24.0 % median error, CRPS of log price .207, 80 % inside the 80 % range; LightGBM 26.1 %,
.232, 75 %.
"""

from __future__ import annotations

import argparse
import importlib
import importlib.util
import json
import os
import platform
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from hangtab.backtest.mixture import NextSales
from hangtab.backtest.scores import crps_quantiles
from hangtab.worth import Fitted, Spec, fit
from tools.sale_table import BETA, Floats, sale_table

NORMAL, LARGE, LARGEST, SMALL = 100_000, 1_000_000, 10_000_000, 10_000
ADDED, ASKED, BOUNDED = 300, 1_000, 0.1
LEVELS = ("line", "character", "release", "variant", "form")
NUMBERS = [f"x{i + 1}" for i in range(len(BETA))]
SPEC = Spec(
    price="price",
    when="sold",
    groups=["/".join(LEVELS[: k + 1]) for k in range(len(LEVELS))],
    numbers=NUMBERS,
    walks=["market", "line"],
)
# The R commands that lme4 and glmmTMB are measured by; the program's call is put in for %s.
R_SCRIPT = """
suppressMessages(library(%(package)s))
d <- read.csv("%(file)s")
for (v in c("line", "character", "release", "variant", "form")) d[[v]] <- factor(d[[v]])
took <- system.time(m <- %(call)s(log(price) ~ %(numbers)s + (1|line) + (1|character) + (1|release) + (1|variant)
  + (1|variant:form), data = d, REML = TRUE))
cat(took[["elapsed"]], took[["user.self"]] + took[["sys.self"]], "\\n")
"""
PEERS = {"glmmTMB": "glmmTMB", "lme4": "lmer"}


@dataclass(frozen=True)
class Measured:
    """Seconds on the wall and of the processor, gigabytes at most, and what else is to be said."""

    wall: float
    processor: float
    peak: float
    note: str = ""


@dataclass(frozen=True)
class Asked:
    """What a process of its own is to measure. folder: where the tables lie, made by another process."""

    rows: int
    folder: Path
    book: Path | None

    def table(self) -> pl.DataFrame:
        """All rows of the table."""
        return pl.read_parquet(self.folder / f"sales_{self.rows}.parquet")

    def earlier(self) -> pl.DataFrame:
        """Those to be fitted."""
        return pl.scan_parquet(self.folder / f"sales_{self.rows}.parquet").filter(pl.col("train") == 1).collect()


def main() -> int:
    """Measure and print; with --only, measure one line and print it as JSON for the process that asked."""
    said = _flags()
    if said.only:
        print(json.dumps(asdict(MEASURES[said.only](Asked(said.rows, said.folder, said.book)))))
        return 0
    print(__doc__)
    with tempfile.TemporaryDirectory() as folder:
        _measure_all(said, Path(folder))
    return 0


def _measure_all(said: argparse.Namespace, folder: Path) -> None:
    print(f"{platform.machine()}, {os.cpu_count()} cores, {platform.system()}, Python {platform.python_version()}")
    print(f"{'':46}{'rows':>10}{'wall s':>9}{'cpu s':>9}{'peak GB':>9}")
    seen: dict[int, float] = {}
    for name, rows in _lines(said):
        if rows and not (folder / f"sales_{rows}.parquet").exists():
            _run([str(Path(__file__).with_name("sale_table.py").resolve()), str(rows)], folder)
        found = _in_its_own_process(name, Asked(rows, folder, said.book))
        print(_line(name, rows, found), flush=True)
        if name == "fit, normal noise, walks" and found is not None:
            seen[rows] = found.processor
    for (few, less), (many, more) in zip(list(seen.items()), list(seen.items())[1:], strict=False):
        exponent = np.log(more / less) / np.log(many / few)
        print(f"growth of processor time from {few:,} to {many:,} rows: exponent {exponent:.2f}")
    if said.peers:
        for line in _peers(Asked(NORMAL, folder, None)):
            print(line, flush=True)


def _flags() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("book", type=Path, nargs="?", help="a fitted book, whose own model is fitted again")
    parser.add_argument("--large", action="store_true", help="also a million sales")
    parser.add_argument("--largest", action="store_true", help="and ten million (5 GB and more)")
    parser.add_argument("--no-peers", dest="peers", action="store_false", help="leave out lme4, glmmTMB and LightGBM")
    parser.add_argument("--only", choices=sorted(MEASURES), help=argparse.SUPPRESS)
    parser.add_argument("--rows", type=int, default=NORMAL, help=argparse.SUPPRESS)
    parser.add_argument("--folder", type=Path, help=argparse.SUPPRESS)
    return parser.parse_args()


def _lines(said: argparse.Namespace) -> Iterable[tuple[str, int]]:
    sizes = [SMALL, NORMAL] + [LARGE] * (said.large or said.largest) + [LARGEST] * said.largest
    yield from (("fit, normal noise, walks", rows) for rows in sizes)
    names = ["fit, normal noise, no walks", "fit, normal noise, walks, two threads", "fit, Student-t, 1 in 10 a bound",
             "add 300 rows", "predict 1,000 rows", "told: Student-t, walks"]  # fmt: skip
    yield from ((name, NORMAL) for name in names)
    if said.book is not None:
        yield "fit, the book's own model", 0
    if said.peers and importlib.util.find_spec("lightgbm") is not None:
        yield "told: LightGBM", NORMAL


def _in_its_own_process(name: str, asked: Asked) -> Measured | None:
    book = [str(asked.book.resolve())] if asked.book else []
    words = [str(Path(__file__).resolve()), "--only", name, "--rows", str(asked.rows), "--folder", str(asked.folder)]
    done = _run([*words, *book], asked.folder)
    if done.returncode:
        print(done.stderr[-2000:], file=sys.stderr)
        return None
    return Measured(**json.loads(done.stdout.splitlines()[-1]))


def _run(words: Sequence[str], folder: Path) -> subprocess.CompletedProcess[str]:
    one = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")
    path = os.pathsep.join(filter(None, [str(Path(__file__).resolve().parents[1]), os.environ.get("PYTHONPATH", "")]))
    return subprocess.run(  # noqa: S603 - files beside this one
        [sys.executable, *words], check=False, capture_output=True, text=True, cwd=folder,
        env={**os.environ, **one, "PYTHONPATH": path},
    )  # fmt: skip


def _line(name: str, rows: int, found: Measured | None) -> str:
    start = f"{name:46}{f'{rows:,}' if rows else '':>10}"
    if found is None:
        return f"{start}  failed"
    return f"{start}{found.wall:9.3f}{found.processor:9.3f}{found.peak:9.2f}  {found.note}"


# ---- one line each


def _clocked(act: Callable[[], Any], note: Callable[[Any], str] = lambda _: "") -> Measured:
    wall, used = time.perf_counter(), time.process_time()
    made = act()
    wall, used = time.perf_counter() - wall, time.process_time() - used
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024**2
    return Measured(wall, used, peak, note(made))


def _warm(spec: Spec) -> None:
    fit(_bounded(sale_table(2_000)), spec)


def _said(fitted: Fitted) -> str:
    report = fitted.report
    return f"{report.iterations} iterations" + ("" if report.converged else ", NOT CONVERGED")


def _fit(spec: Spec, asked: Asked, threads: int = 1) -> Measured:
    _warm(spec)
    table = _bounded(asked.earlier()) if spec.kind else asked.earlier()
    return _clocked(lambda: fit(table, spec, threads=threads), _said)


def _bounded(table: pl.DataFrame) -> pl.DataFrame:
    """One row in ten becomes an unsold ask, up to 60 % above what the piece would have brought."""
    draw = np.random.default_rng(1)
    below = draw.random(len(table)) < BOUNDED
    above = np.where(below, draw.uniform(0.0, 0.47, len(table)), 0.0)
    kind = np.where(below, "below", "sale")
    return table.with_columns(ask=pl.col("price") * np.exp(above), kind=pl.Series(kind))


def _add(asked: Asked) -> Measured:
    table = asked.table()
    fitted = fit(table.filter(pl.col("train") == 1), NORMAL_SPEC)
    more = table.filter(pl.col("train") == 0).head(ADDED)
    fitted.add(more.head(1))
    return _clocked(lambda: fitted.add(more), _said)


def _predict(asked: Asked) -> Measured:
    table = asked.table()
    fitted = fit(table.filter(pl.col("train") == 1), NORMAL_SPEC)
    some = table.filter(pl.col("train") == 0).sample(ASKED, seed=1)
    fitted.predict(some.head(1))
    return _clocked(lambda: fitted.predict(some))


def _book(asked: Asked) -> Measured:
    from hangtab.usecases.fitting import load_valuer  # noqa: PLC0415 - the engine's own lines do not load the book
    from hangtab.wiring import open_parts  # noqa: PLC0415

    if asked.book is None:
        raise ValueError("Name a book")
    fitted = load_valuer(open_parts(asked.book, "bench")).valuer.fitted
    table, spec = fitted.table, fitted.spec
    fit(table.head(2_000), spec)
    return _clocked(lambda: fit(table, spec), lambda f: f"{len(table):,} rows, {f.report.columns} columns, {_said(f)}")


def _told(asked: Asked) -> Measured:
    table = asked.table()
    _warm(SPEC)
    later = table.filter(pl.col("train") == 0)

    def note(fitted: Fitted) -> str:
        found = fitted.predict(later)
        centre, sd, noise = (found[c].to_numpy() for c in ("log_median", "log_sd", "log_noise"))
        y = np.log(later["price"].to_numpy())
        crps = NextSales(fitted.components["freedom"], centre, noise, sd).crps(y)
        return f"{_score(y, centre, crps, found['low_80'].log(), found['high_80'].log())}, {_said(fitted)}"

    return _clocked(lambda: fit(table.filter(pl.col("train") == 1), SPEC), note)


def _score(y: Floats, centre: Floats, crps: Floats, low: Any, high: Any) -> str:  # noqa: ANN401 - series or arrays
    inside = np.mean((y >= np.asarray(low)) & (y <= np.asarray(high)))
    return f"median error {np.median(np.abs(np.exp(centre - y) - 1)):.1%}, CRPS {crps.mean():.3f}, inside {inside:.1%}"


def _lightgbm(asked: Asked) -> Measured:
    """Trees on the log price; ranges from how wrong they were on the last fifth of what is fitted, kept back first."""
    trees = importlib.import_module("lightgbm")
    table = asked.table()
    earlier, later = (table.filter(pl.col("train") == k) for k in (1, 0))
    names = [*LEVELS, "month", *NUMBERS]

    def grown(part: pl.DataFrame) -> Any:  # noqa: ANN401 - another library's model
        data = trees.Dataset(
            part.select(names).to_numpy(), np.log(part["price"].to_numpy()), categorical_feature=[*range(len(LEVELS))]
        )
        return trees.train({"num_threads": 1, "verbosity": -1, "seed": 1}, data, num_boost_round=300)

    def both() -> tuple[Any, Floats]:
        cut = int(0.8 * len(earlier))
        kept = earlier[cut:]
        missed = np.log(kept["price"].to_numpy()) - grown(earlier[:cut]).predict(kept.select(names).to_numpy())
        return grown(earlier), np.asarray(missed)

    def note(made: tuple[Any, Floats]) -> str:
        model, missed = made
        levels = (np.arange(99) + 0.5) / 99
        y, centre = np.log(later["price"].to_numpy()), np.asarray(model.predict(later.select(names).to_numpy()))
        crps = crps_quantiles(y, centre[:, None] + np.quantile(missed, levels)[None, :], levels)
        low, high = np.quantile(missed, [0.1, 0.9])
        return _score(y, centre, crps, centre + low, centre + high)

    return _clocked(both, note)


NORMAL_SPEC = replace(SPEC, tails="normal")
MEASURES: Mapping[str, Callable[[Asked], Measured]] = {
    "fit, normal noise, walks": lambda asked: _fit(NORMAL_SPEC, asked),
    "fit, normal noise, no walks": lambda asked: _fit(replace(NORMAL_SPEC, walks=()), asked),
    "fit, normal noise, walks, two threads": lambda asked: _fit(NORMAL_SPEC, asked, threads=2),
    "fit, Student-t, 1 in 10 a bound": lambda asked: _fit(replace(SPEC, kind="kind", ask="ask"), asked),
    "add 300 rows": _add,
    "predict 1,000 rows": _predict,
    "fit, the book's own model": _book,
    "told: Student-t, walks": _told,
    "told: LightGBM": _lightgbm,
}


# ---- other programs, where R has them


def _peers(asked: Asked) -> Iterable[str]:
    r = shutil.which("Rscript")
    if r is None:
        yield "lme4, glmmTMB: no Rscript here"
        return
    file = asked.folder / "sales.csv"
    asked.earlier().write_csv(file)
    for package, call in PEERS.items():
        words = {"package": package, "call": call, "file": file, "numbers": " + ".join(NUMBERS)}
        done = subprocess.run(  # noqa: S603 - R, with the script above
            [r, "-e", R_SCRIPT % words], check=False, capture_output=True, text=True,
            env={**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"},
        )  # fmt: skip
        name = f"{package}, normal noise, no walks"
        if done.returncode:
            yield f"{name:46}  not measured: {(done.stderr.strip().splitlines() or ['?'])[0]}"
            continue
        wall, processor = (float(v) for v in done.stdout.split()[-2:])
        yield f"{name:46}{asked.rows:>10,}{wall:9.3f}{processor:9.3f}"


if __name__ == "__main__":
    sys.exit(main())
