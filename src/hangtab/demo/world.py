"""The whole demo world: makes it from a generator and writes its three folders.

Promises the same bytes for the same seed and scale. `catalogue/` says what exists, `sources/` is what a user would
have collected, `truth/` is what nobody there knows. Everything in it is invented.
"""

from __future__ import annotations

import shutil
from collections import defaultdict
from datetime import date, timedelta
from pathlib import Path

import numpy as np

from hangtab.demo import sources
from hangtab.demo.agents import collectors_of, mood_of, sellers_of
from hangtab.demo.catalogue_files import write_catalogue
from hangtab.demo.entries import START, START_END, Teller, hearsay
from hangtab.demo.lines import DISCOVERED, PLANS, LineRows, line_rows
from hangtab.demo.market import CURRENCY, DAYS, Market, People, Times
from hangtab.demo.oracle import Oracle
from hangtab.demo.pieces import PieceMaker
from hangtab.demo.rates import shipped_rates
from hangtab.demo.said import Lookup
from hangtab.demo.titles import Titles
from hangtab.demo.truth import Ledger, evidence_frame, piece_frame, variant_frame, worth_frame, write_truth
from hangtab.demo.variants import Floats, variants_of
from hangtab.domain.errors import HangtabError
from hangtab.domain.progress import OnStep, Step, ignore_step

_MARK = "The demo world of Hangtab"
_FOLDERS = ("catalogue", "sources", "truth")
_README = """{mark}

Everything here is invented: makers, lines, characters, graders, venues, hosts, people and prices.
It ends on {end}.

catalogue/  what exists: three lines, two graders, four venues
sources/    what a user would have collected over seven years; take this in
truth/      what each piece really was; never taken in, only compared with
"""

WORTHS, LEAST = 900, 0.4  # subjects whose truth is drawn; a small world gives this share of them at the least


def _rates() -> dict[str, Floats]:
    shipped = shipped_rates(START - timedelta(14))
    days = [START + timedelta(d) for d in range(int(DAYS) + 2)]
    return {c: np.array([shipped.per_euro(c, d) for d in days]) for c in set(CURRENCY.values())}


def _parts(lines: tuple[LineRows, ...]) -> dict[str, tuple[str, ...]]:
    found: dict[str, tuple[str, ...]] = defaultdict(tuple)
    for rows in lines:
        for part in rows.parts:
            found[part.of] += (part.id,)
    return dict(found)


def write_world(folder: Path, seed: int = 7, scale: float = 1.0, on_step: OnStep = ignore_step) -> None:
    """Write the world into `folder`.

    Args:
        folder: where to write; an earlier demo world there is replaced.
        seed: decides everything.
        scale: how much evidence there is; 1 gives about 30,000 pieces. What exists does not shrink.
        on_step: hears of progress.

    Raises:
        HangtabError: the folder holds something else under one of the three names.
    """
    streams = [np.random.default_rng(s) for s in np.random.SeedSequence(seed).spawn(8)]
    on_step(Step("inventing the lines", 0, 1))
    lines = tuple(line_rows(plan, streams[0]) for plan in PLANS)
    variants = variants_of(lines, streams[1])
    mood, buyers = mood_of(variants, streams[2]), collectors_of(variants, 2400, streams[2])
    people = People(variants, mood, buyers, sellers_of(800, streams[2]))
    maker = PieceMaker(variants, _parts(lines), streams[3])
    rates = _rates()
    market = Market(people, maker, Times(rates, _discovered(lines)), streams[4])
    facts = market.run(scale, on_step)
    lookup = Lookup(lines)
    titles = Titles(variants, lookup, _discovered(lines), streams[5])
    teller = Teller(variants, lookup, titles, streams[5])
    on_step(Step("writing titles", 0, 1))
    entries = [teller.tell(fact) for fact in facts]
    entries += hearsay(entries, people.sellers, streams[5], scale)
    on_step(Step("writing the sources", 0, 1))
    _clear(folder)
    note = _README.format(mark=_MARK, end=START_END.isoformat())
    (folder / "README.txt").write_text(note, encoding="utf-8")
    write_catalogue(folder / "catalogue", lines)
    told = sources.write_sources(folder / "sources", entries, (variants, lookup), streams[6], scale)
    on_step(Step("writing the truth", 0, 1))
    ledger = Ledger(variants, lookup, rates)
    oracle = Oracle(market, streams[7])
    write_truth(
        folder / "truth",
        {
            "evidence": evidence_frame(told, ledger),
            "pieces": piece_frame(facts, variants),
            "variants": variant_frame(variants),
            "worths": worth_frame(told, ledger, oracle, round(WORTHS * max(min(scale, 1.0), LEAST))),
        },
    )
    on_step(Step("writing the truth", 1, 1))


def _clear(folder: Path) -> None:
    """Remove an earlier world, so that no page of it stays; never touch what is not one."""
    readme = folder / "README.txt"
    ours = readme.exists() and readme.read_text(encoding="utf-8").startswith(_MARK)
    for name in _FOLDERS:
        if not (folder / name).exists():
            continue
        if not ours:
            raise HangtabError(
                f"The folder has a {name}/ that is not of a demo world",
                where=str(folder),
                mend="Choose an empty folder",
            )
        shutil.rmtree(folder / name)
    folder.mkdir(parents=True, exist_ok=True)


def _discovered(lines: tuple[LineRows, ...]) -> dict[str, float]:
    changes = [c for rows in lines for c in rows.changes if c.known_since is not None]
    return {c.id: float((_known(c.known_since) - START).days) for c in changes}


def _known(day: date | None) -> date:
    return day or DISCOVERED
