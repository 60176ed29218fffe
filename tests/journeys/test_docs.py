"""What the documentation says is true: its commands run, its figures come out, its links lead somewhere."""

import json
import math
import os
import re
import shlex
import shutil
import subprocess
import sys
from dataclasses import fields
from pathlib import Path

import polars as pl
import pytest
import typer
from typer.testing import CliRunner

from hangtab.cli.app import app
from hangtab.notebook import OpenBook
from hangtab.settings import DEFAULTS
from hangtab.storage.opening import LAYOUTS
from hangtab.storage.tables import METADATA
from hangtab.usecases.explaining import Mover
from hangtab.valuing.table import OVERLOOKED, PRIORS, book_spec
from hangtab.web.app import create_app
from hangtab.worth import Spec, fit

ROOT = Path(__file__).parents[2]
DOCS = ROOT / "docs"
PAGES = sorted([*DOCS.rglob("*.md"), *(ROOT / name for name in ("README.md", "CHANGELOG.md", "CONTRIBUTING.md"))])
NAMES = [page.relative_to(ROOT).as_posix() for page in PAGES]
RECIPES = (
    "take-in-spreadsheets",
    "settle-what-waits",
    "trust-a-fit",
    "use-in-a-notebook",
    "call-from-scripts",
    "back-up-and-check",
    "undo-a-take-in",
)
PRINTED = re.compile(r"^`([\w/.-]+)`\n\n```(?:toml|csv)\n(.*?)^```", re.DOTALL | re.MULTILINE)
PYTHON = re.compile(r"^```python\n(.*?)^```", re.DOTALL | re.MULTILINE)
COMMAND = re.compile(r"^    (?:\.venv/bin/)?hangtab (.+)$", re.MULTILINE)
LINK = re.compile(r"\]\(([^)\s]+)\)")
COMMANDS = typer.main.get_command(app).commands


def text_of(path):
    return (DOCS / path).read_text(encoding="utf-8")


def tutorial(part):
    """The demo's part of the first tutorial (0), or the part about own sales (1)."""
    return text_of("tutorial/first-worth.md").split("## Your own sales")[part]


def write_printed(page, folder):
    for name, content in PRINTED.findall(page):
        file = folder / name
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(content, encoding="utf-8")


def run(command, code=0):
    """One printed command, in this process; what it prints."""
    done = CliRunner().invoke(app, shlex.split(command), catch_exceptions=False)
    assert done.exit_code == code, f"hangtab {command}: {done.output}"
    return done.stdout


def run_printed(page):
    """All printed commands in order but for the server, which would not end."""
    return {command: run(command) for command in COMMAND.findall(page) if not command.startswith("serve")}


# ---- the tutorial and the recipes


@pytest.fixture(scope="module")
def own(tmp_path_factory):
    """The folder that the tutorial leaves behind: catalogue, sales and a fitted book; and what its commands print."""
    folder = tmp_path_factory.mktemp("own")
    write_printed(text_of("tutorial/write-a-line.md"), folder / "my-catalogue")
    write_printed(tutorial(1), folder)
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        patch.setenv("HANGTAB_BOOK", "my.hangtab")
        return folder, run_printed(tutorial(1))


@pytest.fixture
def here(own, tmp_path, monkeypatch):
    """Be in a copy of that folder, with the book named and the program on the path."""
    folder = shutil.copytree(own[0], tmp_path / "own")
    monkeypatch.chdir(folder)
    monkeypatch.setenv("HANGTAB_BOOK", "my.hangtab")
    monkeypatch.setenv("PATH", f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}")
    return folder


def test_the_tutorial_answers_for_own_sales(own):
    _, printed = own
    assert "In all 14 new." in next(out for command, out in printed.items() if command.startswith("take-in"))
    worths = [out for command, out in printed.items() if command.startswith("worth")]
    assert len(worths) == 2
    assert "High" in worths[1] or "high" in worths[1]


def test_none_of_the_tutorials_sales_waits(here):
    named = [json.loads(line)["name"] for line in run("evidence --json").splitlines()]
    assert len(named) == 14
    assert all(name["decided"] for name in named)


def test_most_of_the_figure_comes_from_the_very_piece(here):
    worth = json.loads(run('worth "warp kite storm card" --at 2025-05-01 --json'))
    held = {json.loads(line)["id"]: json.loads(line)["title"] for line in run("evidence --json").splitlines()}
    best = sorted(worth["comparables"], key=lambda c: -c["gain"])[:2]
    assert {held[c["id"]] for c in best} == {"Skyloom Warp Kite storm card sealed"}
    assert sum(c["gain"] for c in best) > 0.5


@pytest.mark.parametrize("name", RECIPES)
def test_a_recipe_runs_as_printed(name, here):
    page = text_of(f"how-to/{name}.md")
    assert run_printed(page) or PYTHON.search(page)
    shared = {}
    for block in PYTHON.findall(page):
        exec(compile(block, name, "exec"), shared)


def test_every_recipe_is_run():
    # More sales than the tutorial's, or a cluster: test_track_record.py, test_far.py.
    elsewhere = {"see-how-wrong", "fit-on-a-cluster"}
    assert {page.stem for page in (DOCS / "how-to").glob("*.md")} == {"index", *RECIPES, *elsewhere}


def test_undo_takes_back_what_the_source_alone_stated(here):
    run("undo 1")
    assert run("evidence --json") == ""
    run("take-in my-sales.csv")
    assert len(run("evidence --json").splitlines()) == 14


def test_a_correction_is_remembered(here):
    run('columns my-sales.csv --set "How=ignore"')
    assert "corrected by hand" in run("columns my-sales.csv")


@pytest.mark.slow
def test_the_tutorial_runs_on_the_demo(demo):
    commands = COMMAND.findall(tutorial(0))
    assert len(commands) == 3
    for command in commands:
        words = shlex.split(command)
        at = words.index("--book")
        assert words[at + 1] == "demo-world/demo.hangtab"
        del words[at : at + 2]
        assert demo.run(*words)


# ---- the sums on paper


def test_the_four_sales_on_paper():
    """Source: balanced one-way analysis of variance; Searle, Casella & McCulloch 1992, ch. 3 (from memory)."""
    table = pl.DataFrame({"price": [40.0, 50.0, 80.0, 100.0], "variant": ["a", "a", "b", "b"]})
    fitted = fit(table, Spec(price="price", groups=["variant"], tails="normal"))
    page = text_of("explanation/worth.md").split("### Four sales on paper")[1]
    within = math.log(1.25) ** 2 / 2
    between = math.log(2.0) ** 2
    shrink = 1 - within / between
    said = {"noise": within, "between": between, "variants": (between - within) / 2, "shrink": shrink}
    assert fitted.components["residual"] == pytest.approx(within, rel=1e-6)
    assert fitted.components["variant"] == pytest.approx(said["variants"], rel=1e-6)
    assert all(f"{figure:.7f}" in page for figure in said.values())
    rows = {"variant": ["a", "b", "c"]}
    middle = fitted.predict(rows, kind="middle").row(0, named=True)
    coming = fitted.predict(rows, kind="next").rows(named=True)
    shown = [middle["median"], middle["low_80"], middle["high_80"], coming[0]["low_80"], coming[0]["high_80"]]
    shown += [coming[2]["median"], coming[2]["low_80"], coming[2]["high_80"]]
    assert [f"{x:.2f}" for x in shown if f"{x:.2f}" not in page] == []
    assert f"{middle['log_sd']:.5f}" in page
    assert f"{middle['log_sd'] ** 2:.7f}" in page
    assert f"{middle['log_median']:.5f}" in page


def test_the_comparables_on_paper():
    table = pl.DataFrame({"price": [40.0, 50.0, 80.0, 100.0], "variant": ["a", "a", "b", "b"]})
    fitted = fit(table, Spec(price="price", groups=["variant"], tails="normal"))
    grid = fitted.comparables({"variant": "a"}, top=2)
    shrink = 1 - math.log(1.25) ** 2 / 2 / math.log(2.0) ** 2
    assert grid.sales["gain"].to_list() == pytest.approx([shrink / 2 + (1 - shrink) / 4] * 2, rel=1e-6)
    assert sorted(grid.sales["adjusted"]) == pytest.approx([40.0, 50.0], rel=1e-9)
    assert grid.base == pytest.approx(math.sqrt(80 * 100), rel=1e-9)
    page = text_of("explanation/worth.md")
    for figure in (f"{grid.sales['gain'][0]:.7f}", f"{(1 - shrink) / 4:.7f}", f"{grid.gain:.7f}", f"{grid.base:.2f}"):
        assert figure in page


def test_the_model_on_paper_is_the_books():
    page, spec = text_of("explanation/worth.md"), book_spec()
    told = re.findall(r"^\| `(\w+)` \|", page.split("**The border**")[1].split("**Curves.**")[0], re.MULTILINE)
    assert set(told) == set(spec.factors)
    assert f"q is {OVERLOOKED:g}." in page
    assert spec.overlooked == OVERLOOKED
    assert [name for name, prior in PRIORS.items() if prior != "learned"] == ["state"]
    assert PRIORS["state"] == 1.0
    assert len(spec.chain) == 7
    assert spec.walks == ("market", "line")


# ---- the reference


def test_every_command_stands_in_the_reference():
    sections = dict(
        re.findall(r"^## (\S+)\n(.*?)(?=^## |\Z)", text_of("reference/command-line.md"), re.DOTALL | re.MULTILINE)
    )
    assert set(sections) == set(COMMANDS)
    for name, command in COMMANDS.items():
        options = {o for p in command.params for o in p.opts if o.startswith("--")} - {"--help"}
        line = sections[name].strip().splitlines()[0]
        assert set(re.findall(r"--[\w-]+", line)) == options, name
        arguments = [p for p in command.params if not p.opts[0].startswith("--")]
        assert all(p.name.upper() in line for p in arguments), name


def keys(value, path=""):
    """Paths of all keys of some JSON."""
    if isinstance(value, dict):
        for name, inner in value.items():
            here = f"{path}.{name}" if path else name
            yield here
            yield from keys(inner, here)
    elif isinstance(value, list):
        for inner in value:
            yield from keys(inner, f"{path}[]")


def told(section):
    """Paths in the first column of a section's table."""
    rows = re.findall(r"^\| (`.*?`) \|", section, re.MULTILINE)
    return {path.removesuffix("[]") for row in rows for path in re.findall(r"`([^`]+)`", row)}


def sections_of_json():
    found = re.split(r"^## ", text_of("reference/json.md"), flags=re.MULTILINE)
    return {part.splitlines()[0].strip("`"): part for part in found}


def without_subject(paths, at="subject"):
    return {p for p in paths if not p.startswith(f"{at}.")}


def test_every_key_of_a_worth_is_told(here):
    worth = json.loads(run('worth "warp kite storm card" --at 2025-05-01 --price "60 + 6.50 post" --json'))
    seen = without_subject(set(keys(worth)))
    same = ("next_sale.", "item_price.")  # told once, at the middle
    seen = {p for p in seen if not p.startswith(same) and p not in {"middle.ranges", "comparables"}}
    assert seen == told(sections_of_json()["hangtab worth TEXT --json"])


def test_every_key_of_a_subject_is_told(here):
    subject = json.loads(run('worth "warp kite storm card" --json --at 2025-05-01'))["subject"]
    grading = {f"grading.{name}" for name in ("grader", "scale", "grade", "generation", "subgrades", "qualifiers")}
    assert {*subject, *grading} == told(sections_of_json()["A subject"])


def test_every_key_of_a_name_is_told(here):
    found = json.loads(run('name "skyloom warp kite storm card custom" --json'))
    seen = without_subject({p for one in found for p in keys(one, "[]")}, "[].subject")
    against = {f"[].against[].{name}" for name in ("text", "meaning", "kind", "sure")}  # the same as those for it
    assert seen - against == told(sections_of_json()["hangtab name TEXT --json"])
    assert against <= seen


def test_every_key_of_the_subjects_is_told(here):
    lines = [json.loads(line) for line in run("subjects --limit 3 --json").splitlines()]
    assert len(lines) == 3
    assert without_subject(set(keys(lines[0]))) == told(sections_of_json()["hangtab subjects --json"])


def test_every_key_of_the_evidence_is_told(here):
    seen = {p for line in run("evidence --json").splitlines() for p in keys(json.loads(line))}
    money = {"ask.amount", "ask.currency", "postage.amount.amount", "postage.amount.currency"}  # as those of the price
    said = {p for p in seen if p.startswith("said")}
    seen = (seen - money - said - {"postage", "sources"}) | {"said.*"}
    assert seen == told(sections_of_json()["hangtab evidence --json"])


def test_every_key_of_an_explained_fit_is_told(here):
    seen = set(keys(json.loads(run("explain --json"))))
    same = {p for p in seen if p.startswith("times[].")}  # as those of a class
    # In so small a book each sale alone speaks of its piece, and none moves an estimate that others make.
    movers = {f"movers[].{field.name}" for field in fields(Mover)}
    assert (seen - same - {"components", "components[].largest", "movers"}) | movers == told(
        sections_of_json()["hangtab explain --json"]
    )


def test_every_table_of_the_book_is_told():
    page = text_of("reference/book.md")
    rows = re.findall(r"^\| (`.*?`) \|", page, re.MULTILINE)
    assert {name for row in rows for name in re.findall(r"`(\w+)`", row)} == set(METADATA.tables)
    assert f"layout {LAYOUTS[-1]}" in page


def test_every_setting_is_told():
    page = text_of("reference/settings.md")
    rows = re.findall(r"^\| `(\w+)` \| `(\w+)` \| \S+ \| (\S+) \|", page, re.MULTILINE)
    assert {name: default.strip("`") for name, _, default in rows} == DEFAULTS | {"book": "none"}
    assert [variable for _, variable, _ in rows] == [f"HANGTAB_{name.upper()}" for name, _, _ in rows]


def test_every_question_over_http_is_told():
    page = text_of("reference/json.md")
    for path, route in create_app(None).openapi()["paths"].items():
        assert f"{path}?" in page or f"`{path}`" in page, path
        names = [p["name"] for p in route["get"].get("parameters", [])]
        assert [n for n in names if not re.search(rf"[?&`]{n}[=`]", page)] == [], path


def test_everything_an_open_book_does_is_told():
    page = text_of("how-to/use-in-a-notebook.md")
    doors = [name for name in vars(OpenBook) if not name.startswith("_") and name != "parts"]
    assert [name for name in doors if f"book.{name}(" not in page] == []


# ---- every page


@pytest.mark.parametrize("name", NAMES)
def test_links_lead_somewhere(name):
    page = ROOT / name
    links = [link.partition("#")[0] for link in LINK.findall(page.read_text(encoding="utf-8"))]
    local = {page.parent / link for link in links if link and "://" not in link}
    # Pictures are made from the demo by `make screenshots`; until the first one is there, only their folder is held.
    drawn = any((DOCS / "images").glob("*.png"))
    gone = {path for path in local if not path.exists() and (drawn or path.parent != DOCS / "images")}
    assert gone == set()


@pytest.mark.parametrize("name", NAMES)
def test_no_page_names_a_place_of_one_machine(name):
    found = re.findall(
        r"(?<![\w./])/(?:home|root|work|tmp|usr|opt|var|Users)\b\S*|\b[A-Z]:\\\S+", (ROOT / name).read_text("utf-8")
    )
    assert found == []


def test_every_page_is_listed_in_its_index():
    for index in DOCS.rglob("index.md"):
        listed = {link for link in LINK.findall(index.read_text(encoding="utf-8")) if "/" not in link}
        assert listed == {page.name for page in index.parent.glob("*.md")} - {"index.md"}, index


def test_what_the_pages_make_can_be_made():
    targets = set(re.findall(r"^([a-z-]+):", (ROOT / "Makefile").read_text(encoding="utf-8"), re.MULTILINE))
    for page in PAGES:
        text = page.read_text(encoding="utf-8")
        wanted = re.findall(r"^    make ([a-z-]+)|`make ([a-z-]+)", text, re.MULTILINE)
        assert {a or b for a, b in wanted} <= targets, page
    assert {"demo", "test"} <= targets


def test_make_says_what_it_can_make():
    done = subprocess.run(["make", "help"], cwd=ROOT, capture_output=True, text=True, check=True)
    assert "demo" in done.stdout
