"""`python -m hangtab.demo FOLDER [--seed N] [--scale X]` writes the demo world."""

from __future__ import annotations

import argparse
from pathlib import Path

from hangtab.demo.world import write_world
from hangtab.domain.errors import HangtabError


def main() -> None:
    """Read the arguments, write the world, say where it is."""
    parser = argparse.ArgumentParser(prog="python -m hangtab.demo", description="Write the invented demo world.")
    parser.add_argument("folder", type=Path)
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--scale", type=float, default=1.0, help="how much evidence; 1 is about 30,000 pieces")
    given = parser.parse_args()
    try:
        write_world(given.folder, given.seed, given.scale)
    except HangtabError as error:
        parser.exit(1, f"{error}\n")
    print(f"The demo world is in {given.folder}")


if __name__ == "__main__":
    main()
