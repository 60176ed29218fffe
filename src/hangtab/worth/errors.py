"""The engine's own errors: what is wrong, where, and how to mend it.

Promises: every refusal of the engine is a `WorthError`. Reads and gives nothing else.
Not here: the errors of the rest of the product, which share the three fields but not the family.
"""

from __future__ import annotations


class WorthError(Exception):
    """A refusal by the engine.

    what: one sentence; where: column, row or field; mend: what the caller can do about it.
    """

    def __init__(self, what: str, *, where: str = "", mend: str = "") -> None:
        """Keep the three fields beside the sentence."""
        super().__init__(what)
        self.what = what
        self.where = where
        self.mend = mend

    def __str__(self) -> str:
        """All three fields, one a line."""
        lines = [self.what]
        if self.where:
            lines.append(f"  where: {self.where}")
        if self.mend:
            lines.append(f"  mend:  {self.mend}")
        return "\n".join(lines)


class SpecError(WorthError):
    """The Spec contradicts itself or the table."""


class TableError(WorthError):
    """A row of the table cannot be used."""


class SizeError(WorthError):
    """The model asked for is too wide for the exact method."""


class StoredFitError(WorthError):
    """Bytes that are not a stored fit, or one of another format."""


class Cancelled(WorthError):  # noqa: N818 - the word the callers know
    """The caller's `on_step` asked to stop."""
