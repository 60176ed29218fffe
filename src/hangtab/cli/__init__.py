"""The command line: translates words into use-cases and their answers into lines. Decides nothing itself.

Door: `main`. Exit codes: 0 done, 1 a stated error, 2 usage. Commands live in `books` (new, take-in, fit, check ...),
`asking` (worth, name, subjects, evidence, sales) and `serving` (serve); `showing` draws with rich.
"""

from __future__ import annotations


def main() -> None:
    """Run the command line."""
    from hangtab.cli.app import run

    run()
