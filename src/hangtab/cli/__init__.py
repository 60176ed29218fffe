"""The command line: translates words into use-cases and their answers into lines. Decides nothing itself.

Door: `main`. Exit codes: 0 done, 1 a stated error, 2 usage. Commands live in `books` (new, take-in, fit, check ...),
`asking` (worth, name, subjects, evidence, sales) and `serving` (serve); `showing` draws with rich.
"""

from __future__ import annotations

import gc

# A command is short, and its many small values make few circles: collecting these seldom saves a sixth of its time.
SELDOM = (50_000, 20, 50)


def main() -> None:
    """Run the command line."""
    gc.set_threshold(*SELDOM)
    from hangtab.cli.app import run

    run()
