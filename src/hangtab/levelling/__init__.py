"""From a stated price to what the buyer paid in all, in one currency at that day's rate; and back to a bid.

Doors: `level`, `level_ask` (steps and total), `hammer_for` with `sale_at` (the inverse), `read_ecb`, `Rates`,
`convert` (exchange), `learn_postage`, `PostageGuess` (postage that nobody stated). Pure: no files, no clock.
"""

from hangtab.levelling.inverse import hammer_for, sale_at
from hangtab.levelling.postage import PostageGuess, learn_postage
from hangtab.levelling.pricing import level, level_ask
from hangtab.levelling.rates import Rate, Rates, convert, read_ecb

__all__ = [
    "PostageGuess",
    "Rate",
    "Rates",
    "convert",
    "hammer_for",
    "learn_postage",
    "level",
    "level_ask",
    "read_ecb",
    "sale_at",
]
