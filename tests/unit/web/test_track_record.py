"""The page Track record on an invented study, and without one."""

import json

import pytest
from fastapi.testclient import TestClient

from hangtab.backtest import Study
from hangtab.web.app import create_app
from tests.unit.web.fake_desk import FakeDesk


@pytest.fixture
def desk():
    return FakeDesk()


@pytest.fixture
def client(desk):
    return TestClient(create_app(desk))


def test_the_page_says_the_figures_of_the_study_with_the_sales_they_rest_on(client):
    page = client.get("/track-record").text
    assert "Off at the middle of 1\u202f200 sales that came later." in page
    assert "Eight-in-ten ranges held 81\u202f%." in page
    assert "Carded graded pieces with 2–4 earlier sales: off by 24\u202f% at the middle" in page
    assert "none earlier, 31\u202f%, the last five sales 43\u202f%" in page
    assert "€4.00–21.00" in page
    assert page.count('class="caution"') == 2
    assert "is not an appraisal" in page
    assert page.count('role="img"') == 4


def test_every_drawing_has_its_figures_in_a_table(client):
    page = client.get("/track-record").text
    assert page.count("The same in figures") == 2
    assert page.count("<table>") == 5


def test_without_a_study_the_page_says_how_to_make_one(client, desk):
    desk.study = None
    page = client.get("/track-record").text
    assert "hangtab backtest" in page
    assert "<table>" not in page
    assert client.get("/api/track-record").status_code == 400


def test_the_json_is_the_study(client, desk):
    served = client.get("/api/track-record").json()
    assert served.pop("made") == desk.study.made.isoformat()
    assert Study.from_dict({"format": 1, **served}).to_dict() == json.loads(json.dumps(desk.study.study.to_dict()))
