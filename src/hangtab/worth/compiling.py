"""Compiled functions, kept on disk where there is a place for it.

Promises the same results with and without such a place; without one a process compiles for itself, which takes some
seconds. Compiled functions let other threads run. Not here: what is compiled.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar, cast

from numba import njit

_F = TypeVar("_F", bound=Callable[..., Any])


def compiled(function: _F) -> _F:
    """The function, compiled at its first call."""
    try:
        kept = njit(cache=True, nogil=True)(function)
    except RuntimeError:  # neither the package's folder nor the user's can be written
        kept = njit(nogil=True)(function)
    return cast("_F", kept)
