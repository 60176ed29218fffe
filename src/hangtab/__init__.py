"""Hangtab says what one exact packaged toy in one exact condition is worth.

Promises: `hangtab.open(book)` opens one book for a notebook; `hangtab.__version__` names the release.
Gives both lazily, so that `import hangtab` and `hangtab --help` load nothing heavy.
Not here: any rule or figure; the rooms below hold those (docs/explanation/architecture.md).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from hangtab.notebook import open_book as open  # noqa: A004 - hangtab.open(book) reads as one says it

__version__ = "0.1.0"
__all__ = ["__version__", "open"]


def __getattr__(name: str) -> Any:  # noqa: ANN401 - the signature Python gives a module's __getattr__ (PEP 562)
    """Load a public door at its first use.

    Raises:
        AttributeError: if the package has no such door.
    """
    if name == "open":
        from hangtab.notebook import open_book  # noqa: PLC0415 - lazy on purpose

        return open_book
    msg = f"module 'hangtab' has no attribute {name!r}"
    raise AttributeError(msg)
