"""The house keeps its shape: names say what is inside, and nothing grows past what one can read at once."""

import ast
from pathlib import Path

import pytest

SOURCE = Path(__file__).resolve().parents[2] / "src" / "hangtab"
MODULES = sorted(SOURCE.rglob("*.py"))
NAMES_THAT_SAY_NOTHING = {"utils", "util", "helpers", "helper", "misc", "common"}
LONGEST_MODULE = 400
LONGEST_FUNCTION = 40
SOLVER = ("scipy.sparse", "numba", "qdldl")


def short(path):
    return str(path.relative_to(SOURCE))


def body_lines(function):
    """Count the lines from a function's first statement after its docstring to its last."""
    body = function.body[1:] if ast.get_docstring(function) else function.body
    return body[-1].end_lineno - body[0].lineno + 1 if body else 0


def imported(tree):
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


def test_there_is_a_house():
    assert len(MODULES) > len(NAMES_THAT_SAY_NOTHING)


@pytest.mark.parametrize("path", MODULES, ids=short)
def test_no_module_has_a_name_that_says_nothing(path):
    assert not NAMES_THAT_SAY_NOTHING & {path.stem, *path.relative_to(SOURCE).parts}


@pytest.mark.parametrize("path", MODULES, ids=short)
def test_every_module_says_what_it_is_for(path):
    assert ast.get_docstring(ast.parse(path.read_text(encoding="utf-8")))


@pytest.mark.parametrize("path", MODULES, ids=short)
def test_no_module_is_too_long_to_read(path):
    assert len(path.read_text(encoding="utf-8").splitlines()) <= LONGEST_MODULE


@pytest.mark.parametrize("path", MODULES, ids=short)
def test_no_function_is_too_long_to_read(path):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    functions = [node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)]
    assert {f.name: body_lines(f) for f in functions if body_lines(f) > LONGEST_FUNCTION} == {}


@pytest.mark.parametrize("path", [p for p in MODULES if "worth" not in p.relative_to(SOURCE).parts[:1]], ids=short)
def test_only_the_engine_touches_the_solver(path):
    names = imported(ast.parse(path.read_text(encoding="utf-8")))
    assert [name for name in names if name.startswith(SOLVER)] == []


def test_a_long_function_would_be_found():
    """The measure counts what it says it counts."""
    lines = ["def f():", '    """Say.', "", '    More."""', *["    x = 1"] * 41]
    (function,) = ast.parse("\n".join(lines)).body
    assert body_lines(function) == 41
