"""Words that look like the name of something the catalogue does not have, and what they are near to.

Source of the likeness: Jaro-Winkler (Winkler 1990), by rapidfuzz, which weighs the beginning of a word as people do
when they recall a name. Not here: refusing (a use-case does that).
"""

from __future__ import annotations

from collections.abc import Sequence

from rapidfuzz import process
from rapidfuzz.distance import JaroWinkler

from hangtab.catalogue.model import Catalogue
from hangtab.naming.hearing import Heard
from hangtab.naming.lexicon import Sense
from hangtab.naming.text import Token, fold

# "Tidewatch" and "Tidewardens" agree to .87; two unrelated names of the trade rarely to .8 (measured on the demo).
NEAR_A_LINE = 0.82
_NEAR_ENOUGH = 0.7
MOST_WORDS = 3


class Unknowns:
    """Finds unknown names beside known ones."""

    def __init__(self, catalogue: Catalogue) -> None:
        """List the shown names and other ways to write lines and pieces."""
        self._lines = _written([x.names.name for x in catalogue.lines.values()])
        self._line_words = {w: name for w, name in self._lines.items() if " " not in w}
        self._names = self._lines | _written([c.names.name for c in catalogue.characters.values()])

    def find(self, heard: Heard, original: str) -> str:
        """The unknown name in a text as it was written, empty when there is none.

        A word near to a line's name when no line was understood; or, when no piece was understood, the first words
        that nothing explains.
        """
        if not heard.named.get(Sense.LINE):
            for token in heard.left:
                if self._like_line(token):
                    return original[token.start : token.end]
        if heard.named.get(Sense.CHARACTER) or heard.features or not heard.left:
            return ""
        run = [heard.left[0]]
        for token in heard.left[1:MOST_WORDS]:
            if original[run[-1].end : token.start].strip(" -'’"):
                break
            run.append(token)
        return original[run[0].start : run[-1].end]

    def _like_line(self, token: Token) -> bool:
        best = process.extractOne(token.text, self._line_words.keys(), scorer=JaroWinkler.normalized_similarity)
        return bool(best) and best[1] >= NEAR_A_LINE

    def nearest(self, text: str, limit: int = 3) -> tuple[str, ...]:
        """Shown names of lines and pieces most like a text, for "Did you mean ...?"."""
        found = process.extract(
            fold(text).text, self._names.keys(), scorer=JaroWinkler.normalized_similarity,
            score_cutoff=_NEAR_ENOUGH, limit=limit,
        )  # fmt: skip
        return tuple(dict.fromkeys(self._names[name] for name, _, _ in found))


def _written(names: Sequence[str]) -> dict[str, str]:
    return {fold(name).text: name for name in names}
