"""Write requirements/*.txt: the exact versions that this checkout was tried with.

Reads the distributions installed beside the interpreter that runs it and the extras named in pyproject.toml.
Gives plain `name==version` lines, in a stable order: run.txt for a user, dev.txt for what checks and tests add.
Not here: choosing versions. pip does that, within the ranges of pyproject.toml (`make pins`).
"""

from __future__ import annotations

import re
from importlib.metadata import distribution
from pathlib import Path

from packaging.requirements import Requirement

ROOT = Path(__file__).resolve().parent.parent
HEAD = "# Made by tools/pin.py (`make pins`); do not edit. Ranges stand in pyproject.toml.\n"


def canonical(name: str) -> str:
    """Return a distribution's name in its one normal form (PEP 503).

    >>> canonical("Typing_Extensions")
    'typing-extensions'
    """
    return re.sub(r"[-_.]+", "-", name).lower()


def closure(name: str, extras: frozenset[str]) -> set[tuple[str, frozenset[str]]]:
    """Return every installed distribution that `name` with `extras` needs, itself included."""
    seen: set[tuple[str, frozenset[str]]] = set()
    waiting = [(canonical(name), extras)]
    while waiting:
        node = waiting.pop()
        if node in seen:
            continue
        seen.add(node)
        for line in distribution(node[0]).requires or []:
            need = Requirement(line)
            if need.marker is None or any(need.marker.evaluate({"extra": x}) for x in node[1] | {""}):
                waiting.append((canonical(need.name), frozenset(need.extras)))
    return seen


def pins(names: set[str]) -> str:
    """Return one sorted `name==version` line for each name."""
    return HEAD + "".join(f"{name}=={distribution(name).version}\n" for name in sorted(names))


def main() -> None:
    """Write both requirement files."""
    run = {name for name, _ in closure("hangtab", frozenset())} - {"hangtab"}
    everything = {name for name, _ in closure("hangtab", frozenset({"dev"}))} - {"hangtab"}
    folder = ROOT / "requirements"
    folder.mkdir(exist_ok=True)
    (folder / "run.txt").write_text(pins(run), encoding="utf-8")
    (folder / "dev.txt").write_text(pins(everything - run), encoding="utf-8")


if __name__ == "__main__":
    main()
