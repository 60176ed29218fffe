"""A script asks: the keys, the sums, the streams and the exit codes that it may rely on."""

import json
import math
import subprocess
import sys
from datetime import date
from pathlib import Path

import pytest

from tests.journeys.conftest import AT

PIECE = "harbour master glow sticker 34 graded"
HANGTAB = str(Path(sys.executable).with_name("hangtab"))
SPANS = ("middle", "next_sale", "item_price")


@pytest.fixture(scope="module")
def worth(small):
    return json.loads(small.run("worth", PIECE, "--at", AT, "--price", "47 + 18 post", "--json"))


def test_a_worth_has_these_keys_and_no_others(worth):
    assert set(worth) == {
        "subject", "at", "currency", "middle", "next_sale", "item_price", "base", "comparables", "effective_sales",
        "newest", "verdict",
    }  # fmt: skip
    assert worth["at"] == AT
    assert worth["currency"] == "EUR"
    for name in SPANS:
        assert set(worth[name]) == {"median", "mean", "ranges"}
        assert list(worth[name]["ranges"]) == ["50", "80", "90"]
    assert worth["comparables"]
    for one in worth["comparables"]:
        assert set(one) == {"id", "kind", "sold", "all_in", "adjusted", "gain"}
        assert date.fromisoformat(one["sold"]) <= date.fromisoformat(AT)
    assert date.fromisoformat(worth["newest"]) <= date.fromisoformat(AT)
    assert worth["effective_sales"] > 0


def test_the_subject_says_which_piece_in_which_state(worth):
    subject = worth["subject"]
    assert set(subject) == {
        "key", "text", "thing", "packaging", "seal", "parts", "grading", "features", "flaws", "note",
    }  # fmt: skip
    assert subject["grading"]["grade"] == "34"
    assert subject["features"] == {"glow-sticker": "claimed"}
    assert "Harbour Master" in subject["text"]


def test_the_comparables_add_up_to_the_middle_of_the_market(worth):
    share = sum(c["gain"] for c in worth["comparables"])
    log = (1 - share) * math.log(worth["base"])
    log += sum(c["gain"] * math.log(c["adjusted"]) for c in worth["comparables"])
    assert log == pytest.approx(math.log(worth["middle"]["median"]), rel=1e-6)


def test_ranges_lie_within_one_another_and_the_next_sale_is_wider_than_the_middle(worth):
    for name in SPANS:
        (low90, high90), (low80, high80), (low50, high50) = (worth[name]["ranges"][k] for k in ("90", "80", "50"))
        assert low90 < low80 < low50 < worth[name]["median"] < high50 < high80 < high90
    middle, coming = (worth[name]["ranges"]["80"] for name in ("middle", "next_sale"))
    assert coming[0] < middle[0] < middle[1] < coming[1]
    assert worth["item_price"]["median"] < worth["next_sale"]["median"]


def test_a_price_gets_its_place_and_no_price_gets_none(small, worth):
    assert worth["verdict"]["price"] == 65.0
    assert 0 < worth["verdict"]["below"] < 1
    assert worth["verdict"]["words"]
    bare = json.loads(small.run("worth", PIECE, "--at", AT, "--json"))
    assert bare["verdict"] is None
    assert {k: v for k, v in bare.items() if k != "verdict"} == {k: v for k, v in worth.items() if k != "verdict"}


def test_a_dearer_price_stands_higher(small):
    places = [
        json.loads(small.run("worth", PIECE, "--at", AT, "--price", p, "--json"))["verdict"]["below"]
        for p in ("20", "200", "GBP 900")
    ]
    assert places == sorted(places)
    assert places[0] < 0.5 < places[2]


def test_a_price_may_stand_in_the_words(small, worth):
    said = json.loads(small.run("worth", f"{PIECE}, 47 + 18 post", "--at", AT, "--json"))
    assert said["verdict"] == worth["verdict"]


def test_another_day_has_another_worth(small, worth):
    before = json.loads(small.run("worth", PIECE, "--at", "2022-03-01", "--json"))
    assert before["at"] == "2022-03-01"
    assert before["middle"]["median"] != worth["middle"]["median"]


def test_a_title_gets_its_candidates_with_the_words_for_and_against(small):
    found = json.loads(small.run("name", "TW harbour master glow sticker NG 34 crease", "--json"))
    assert found
    for one in found:
        assert set(one) == {"subject", "text", "probability", "for", "against"}
        assert all(set(r) == {"text", "meaning", "kind", "sure"} for r in one["for"] + one["against"])
    chances = [one["probability"] for one in found]
    assert chances == sorted(chances, reverse=True)
    assert sum(chances) <= 1 + 1e-9
    assert "harbour master" in [r["text"] for r in found[0]["for"]]


def test_what_can_be_asked_about_comes_one_a_line(small):
    lines = small.run("subjects", "--json", "--limit", "7").splitlines()
    assert len(lines) == 7
    listed = [json.loads(line) for line in lines]
    assert all(set(one) == {"subject", "sales"} for one in listed)
    assert [one["sales"] for one in listed] == sorted((one["sales"] for one in listed), reverse=True)
    asked = json.loads(small.run("worth", listed[0]["subject"]["text"], "--at", AT, "--json"))
    assert asked["subject"]["key"] == listed[0]["subject"]["key"]


def test_the_evidence_streams_in_a_stable_order(small):
    once, twice = small.run("evidence", "--json"), small.run("evidence", "--json")
    assert once == twice
    rows = [json.loads(line) for line in once.splitlines()]
    ids = [row["id"] for row in rows]
    assert ids == sorted(set(ids))
    assert len(ids) > 2_000
    assert set(rows[0]) >= {"id", "kind", "title", "when", "price", "ask", "postage", "venue", "name", "sources"}
    assert all(set(row["price"]) == {"amount", "currency"} for row in rows if row["price"])


def test_the_book_is_named_by_option_or_environment_and_the_option_goes_first(small, tmp_path):
    by_option = small.run("subjects", "--json", "--limit", "1", "--book", str(small.book), book=tmp_path / "nowhere")
    assert by_option == small.run("subjects", "--json", "--limit", "1")


def test_without_a_book_it_says_how_to_name_one(tmp_path):
    done = subprocess.run([HANGTAB, "worth", PIECE], capture_output=True, text=True, env={}, cwd=tmp_path, check=False)
    assert done.returncode == 1
    assert done.stdout == ""
    assert done.stderr.startswith("No book was named\n  where: ")
    assert "HANGTAB_BOOK" in done.stderr


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("worth", "the unheard-of piece of nowhere", "--json"), 1),
        (("worth",), 2),
        (("worth", PIECE, "--at", "yesterday"), 2),
        (("worth", PIECE, "--at", "0001-01-01"), 2),
        (("subjects", "--limit", "0"), 2),
        (("no-such-command",), 2),
        (("check", "--no-such-option"), 2),
    ],
)
def test_exit_codes(small, words, code):
    assert small.run(*words, code=code)


def test_a_stated_error_has_three_lines_on_stderr(small):
    lines = small.run("worth", "the unheard-of piece of nowhere", code=1).splitlines()
    assert len(lines) == 3
    assert lines[1].startswith("  where: ")
    assert lines[2].startswith("  mend:  ")


def test_it_works_without_a_home_that_can_be_written(small, tmp_path):
    home = tmp_path / "home"
    home.mkdir(mode=0o500)
    env = {"HOME": str(home), "HANGTAB_BOOK": str(small.book)}
    done = subprocess.run([HANGTAB, "worth", PIECE, "--json"], capture_output=True, text=True, env=env, check=False)
    assert done.returncode == 0, done.stderr
    assert not list(home.iterdir())
