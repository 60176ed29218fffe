"""Kernels run where nothing can be kept on disk."""

import numba

from hangtab.worth import compiling


def test_without_a_place_for_compiled_code_a_function_still_runs(monkeypatch):
    def njit(function=None, *, cache=False, nogil=False):
        if cache:
            raise RuntimeError("cannot cache function: no locator available")
        return numba.njit(function, nogil=nogil) if function else lambda f: numba.njit(f, nogil=nogil)

    monkeypatch.setattr(compiling, "njit", njit)
    assert compiling.compiled(lambda x: x + 1)(2) == 3
