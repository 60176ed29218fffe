"""Naming: a text and the catalogue's words to candidates with text-only probabilities and reasons.

`Namer(catalogue)` is built once; it names sayings, suggests while one types, and writes the canonical sentence and
entry of a subject. `split_price` and `parse_price` read the price typed with a question.
"""

from hangtab.naming.asking import AskedPrice, parse_price, split_price
from hangtab.naming.namer import DECIDED, Namer
from hangtab.naming.saying import Saying
from hangtab.naming.sentence import Entry
from hangtab.naming.suggest import Suggestion

__all__ = ["DECIDED", "AskedPrice", "Entry", "Namer", "Saying", "Suggestion", "parse_price", "split_price"]
