"""The package opens quickly and has few doors."""

import subprocess
import sys

import pytest

import hangtab

HEAVY = ("numpy", "polars", "numba", "scipy", "sqlalchemy", "fastapi", "typer")


def test_importing_it_loads_nothing_heavy():
    code = f"import sys, hangtab; print([name for name in {HEAVY!r} if name in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_it_has_no_other_door():
    with pytest.raises(AttributeError, match="no attribute 'window'"):
        _ = hangtab.window


def test_its_version_is_a_version():
    assert all(part.isdigit() for part in hangtab.__version__.split("."))
