"""The JSON for scripts keeps its names and its identity."""

import json
import math

import pytest

from hangtab.rendering.contract import naming_json, worth_json
from tests.unit.web.fake_values import naming, worth


def test_the_keys_of_a_worth_never_change():
    said = worth_json(worth(65.0))
    assert list(said) == [
        "subject", "at", "currency", "middle", "next_sale", "item_price", "base", "comparables", "effective_sales",
        "newest", "verdict",
    ]  # fmt: skip
    assert list(said["comparables"][0]) == ["id", "kind", "sold", "all_in", "adjusted", "gain"]
    assert list(said["middle"]) == ["median", "mean", "ranges"]
    assert list(said["middle"]["ranges"]) == ["50", "80", "90"]
    assert json.loads(json.dumps(said)) == said


def test_the_comparables_add_up_on_the_log_scale():
    said = worth_json(worth())
    total = sum(c["gain"] for c in said["comparables"])
    log = (1 - total) * math.log(said["base"]) + sum(c["gain"] * math.log(c["adjusted"]) for c in said["comparables"])
    assert log == pytest.approx(math.log(said["middle"]["median"]), abs=1e-12)
    assert said["verdict"] is None


def test_the_keys_of_a_name():
    said = naming_json(naming("harbour master 34"))
    assert list(said[0]) == ["subject", "text", "probability", "for", "against"]
    assert said[0]["for"][0] == {
        "text": "harbour master",
        "meaning": "harbour master",
        "kind": "character",
        "sure": 1.0,
    }
