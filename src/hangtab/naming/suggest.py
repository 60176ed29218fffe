"""What a half-typed question may become.

Promises completions that the lexicon understands, the shortest first. Not here: naming them (`namer`).
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from hangtab.domain.subject import Subject
from hangtab.naming.lexicon import Lexicon, Node, Sense
from hangtab.naming.match import Matcher
from hangtab.naming.text import Token, fold, tokens

_ASKED_FOR = frozenset(
    {Sense.CHARACTER, Sense.FEATURE, Sense.CARD, Sense.CHANGE, Sense.GRADER, Sense.LINE, Sense.STAGE}
)
_ASKED_ROLES = frozenset({"carded", "boxed", "loose", "opened", "resealed", "complete", "graded"})
MOST_COMPLETIONS = 12
_DEEPEST = 4


@dataclass(frozen=True, slots=True)
class Suggestion:
    """A canonical sentence and its subject."""

    text: str
    subject: Subject


class Suggester:
    """Completes texts with the phrases of one lexicon."""

    def __init__(self, lexicon: Lexicon, matcher: Matcher) -> None:
        """Sort the first words of all phrases, so that a prefix is a range."""
        self._root = lexicon.root
        self._matcher = matcher
        self._firsts = sorted(lexicon.root.follows)

    def complete(self, text: str) -> list[str]:
        """The text, and the text with its last words completed to a phrase.

        A text that ends in a whole phrase is taken as it stands first, else its completions come first.
        """
        typed = tokens(fold(text))
        if not typed or len(text.strip()) < 2:  # noqa: PLR2004 - one letter begins everything
            return []
        completed: list[str] = []
        for back in range(min(_DEEPEST, len(typed)), 0, -1):
            head = text[: typed[-back].start]
            named = any(Sense.CHARACTER in hit.senses for hit in self._matcher.find(typed[:-back]))
            completed += [head + phrase for phrase in self._phrases(typed[-back:], named=named)]
        completed = list(dict.fromkeys(completed))[:MOST_COMPLETIONS]
        hits = self._matcher.find(typed)
        whole = not typed[-1].text.isalpha() or (
            bool(hits) and hits[-1].last == len(typed) and hits[-1].likeness == 1.0
        )
        return [text, *completed] if whole else [*completed, text]

    def _phrases(self, typed: Sequence[Token], *, named: bool) -> list[str]:
        """Phrases that begin with the typed words, the last of which may be cut short.

        Pieces come first; where a piece is `named` already, no second one is offered.
        """
        nodes = [("", self._root)]
        for token in typed[:-1]:
            nodes = [
                (f"{so_far}{word} ", node.follows[word])
                for so_far, node in nodes
                for word, _ in self._matcher.like(token.text)
                if word in node.follows
            ]
        prefix = typed[-1].text
        found = [
            (so_far + word, node.follows[word])
            for so_far, node in nodes
            for word in (node.follows if len(typed) > 1 else self._range(prefix))
            if word.startswith(prefix)
        ]
        ends = [phrase for so_far, node in found for phrase in _ends(so_far, node)]
        best = sorted((p for p in ends if not (named and p[1])), key=lambda p: (not p[1], len(p[0]), p[0]))
        return [phrase for phrase, _ in best[:MOST_COMPLETIONS]]

    def _range(self, prefix: str) -> Iterator[str]:
        place = bisect_left(self._firsts, prefix)
        while place < len(self._firsts) and self._firsts[place].startswith(prefix):
            yield self._firsts[place]
            place += 1


def _ends(so_far: str, node: Node, depth: int = 0) -> Iterator[tuple[str, bool]]:
    """Whole phrases at or below a place in the tree that one would ask for, and whether they name a piece."""
    if node.senses.keys() & _ASKED_FOR or _ASKED_ROLES.intersection(node.senses.get(Sense.ROLE, ())):
        yield so_far, Sense.CHARACTER in node.senses
    if depth < _DEEPEST:
        for word, below in node.follows.items():
            yield from _ends(f"{so_far} {word}", below, depth + 1)
