"""Characters that nobody sees, taken out of what a source says.

Promises one line of printable characters: control characters become spaces; marks without width, marks that turn the
direction of writing, and halves of surrogate pairs go. Source of the classes: Unicode general categories Cc, Cf, Cs.
Not here: the source itself, which the book keeps as it came.
"""

from __future__ import annotations

import unicodedata

_GONE = frozenset({"Cf", "Cs"})


def visible(text: str) -> str:
    r"""The text as a person sees it.

    >>> visible("Lantern\x00Keep\u200ber\u202e"), visible("Wärter\u00a0\U0001f3ee")
    ('Lantern Keeper', 'Wärter\xa0🏮')
    """
    return text if text.isprintable() else "".join(map(_seen, text))


def _seen(character: str) -> str:
    category = unicodedata.category(character)
    return "" if category in _GONE else " " if category == "Cc" else character
