"""Hangtab says what one exact packaged toy in one exact condition is worth.

Promises: `hangtab.open(book)` opens one book for a notebook; `hangtab.__version__` names the release.
Gives the door lazily, so that `import hangtab` and `hangtab --help` load nothing heavy.
Not here: any rule or figure; the rooms below hold those (docs/explanation/architecture.md).
"""

from __future__ import annotations

from collections.abc import Callable
from importlib import import_module
from typing import Any

__version__ = "0.1.0"
__all__ = ["__version__"]

_DOORS = {"open": ("hangtab.notebook", "open_book")}


def __getattr__(name: str) -> Callable[..., Any]:
    """Load a public door at its first use (PEP 562).

    Raises:
        AttributeError: if the package has no such door.
    """
    if name not in _DOORS:
        msg = f"module 'hangtab' has no attribute {name!r}"
        raise AttributeError(msg)
    module, door = _DOORS[name]
    found: Callable[..., Any] = getattr(import_module(module), door)
    return found
