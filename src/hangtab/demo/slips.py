"""How fingers and habits spoil a text: slips, lost accents, short forms, chatter that names nothing.

Promises that a person would still read the same piece. Reads text, gives text.
"""

from __future__ import annotations

import unicodedata

import numpy as np

_LONG = str.maketrans({"ä": "ae", "ö": "oe", "ü": "ue", "ß": "ss", "Ä": "Ae", "Ö": "Oe", "Ü": "Ue", "œ": "oe"})
# Chatter with traps in it: numbers that are no grades, "no" and "without" that miss no part.
CHATTER = {
    "en": ("30 years in the attic", "no reserve", "no returns", "see my other items", "from my own collection",
           "smoke free home", "free postage", "90s", "early 1990s toy", "please read", "see photos", "1 of 3", "L@@K",
           "one owner", "box 12 of my collection", "ships worldwide", "offers welcome", "last chance"),
    "de": ("ohne Garantie", "keine Rücknahme", "siehe Fotos", "90er Jahre", "30 Jahre alt", "aus meiner Sammlung",
           "Nichtraucherhaushalt", "Versand gratis", "Preis VB", "nur Abholung möglich"),
    "fr": ("sans réserve", "voir photos", "années 90", "30 ans d'âge", "port offert", "de ma collection", "à saisir"),
    "nl": ("zonder reserve", "zie foto's", "jaren 90", "30 jaar oud", "gratis verzending", "uit eigen collectie"),
}  # fmt: skip


def typo(text: str, rng: np.random.Generator) -> str:
    """One slip of the fingers inside a word: two letters swapped, one lost or doubled."""
    if len(text) < 6:
        return text
    k = int(rng.integers(2, len(text) - 2))
    how = rng.integers(3)
    if how == 0:
        return text[:k] + text[k + 1] + text[k] + text[k + 2 :]
    return text[:k] + text[k + 1 :] if how == 1 else text[:k] + text[k] + text[k:]


def without_accents(text: str, language: str) -> str:
    """A text typed on a keyboard without accents: German spells them out, others drop them.

    >>> without_accents("Große Blase gelöst", "de"), without_accents("Maître du port", "fr")
    ('Grosse Blase geloest', 'Maitre du port')
    """
    long = text.translate(_LONG) if language == "de" else text.replace("œ", "oe").replace("Œ", "Oe")
    return "".join(c for c in unicodedata.normalize("NFD", long) if not unicodedata.combining(c))


def shortened(name: str) -> str:
    """The first word cut short, as in a crowded title.

    >>> shortened("Harbour Master"), shortened("Sailmaker")
    ('Harb. Master', 'Sailmaker')
    """
    first, _, rest = name.partition(" ")
    return f"{first[:4]}. {rest}" if rest and len(first) > 5 else name


def dressed(words: list[str], rng: np.random.Generator) -> str:
    """The words joined the way some people join them."""
    how = rng.random()
    for limit, joint in ((0.07, ", "), (0.11, " - "), (0.13, " / "), (0.14, " * "), (0.15, "  ")):
        if how < limit:
            return joint.join(words)
    if how < 0.165:
        return "★ " + " ".join(words) + " ★"
    return " ".join(words)
