"""What the command line answers besides one worth: as the page does, and never one figure for several pieces."""

import json

import pytest
from fastapi.testclient import TestClient

import hangtab
from hangtab.domain.errors import UnknownPieceError
from hangtab.web.app import create_app
from hangtab.web.desk import BookDesk
from tests.journeys.conftest import AT

SEVERAL = (
    "nine glow stickers in one lot",
    "all harbour master sales since last autumn",
    "harbour master 34+ yellowed against clear",
)


def asked(made, text):
    return " ".join(made.run("worth", text, "--at", AT).split())


def test_a_lot_gets_no_single_figure(small):
    said = asked(small, SEVERAL[0])
    assert "cannot be valued as one yet" in said
    assert "Middle of the market" not in said


def test_a_question_for_a_list_gets_the_list(small):
    assert asked(small, SEVERAL[1]).startswith("Title Kind Sold All in Venue")


def test_two_states_are_set_against_each_other(small):
    said = asked(small, SEVERAL[2])
    assert "Northgate 34+, yellowed" in said
    assert "times the second" in said


def test_words_that_fit_several_pieces_say_which_one_was_read(small):
    said = asked(small, "harbour master")
    assert "Not certain. Read as the likeliest" in said
    assert "It could also be Tidewardens Harbour Master" in said
    assert "Not certain" not in asked(small, "harbour master glow sticker 34 graded")


@pytest.mark.parametrize("text", SEVERAL)
def test_one_worth_is_refused_for_more_than_one_at_every_door(small, text):
    said = small.run("worth", text, "--at", AT, "--json", code=1)
    client = TestClient(create_app(BookDesk.open(small.book, "me")))
    served = client.get("/api/worth", params={"text": text, "at": AT})
    with pytest.raises(UnknownPieceError, match="more than one worth"):
        hangtab.open(small.book).worth(text)
    assert said.splitlines()[0] == json.loads(served.text)["what"] == "That asks for more than one worth"


def test_words_of_danger_are_said_beside_the_figure(small):
    said = asked(small, "harbour master glow sticker custom")
    assert "as no piece of the catalogue, 85 %" in said.replace("\u202f", " ")
    assert "The title says “custom”." in said
    page = TestClient(create_app(BookDesk.open(small.book, "me"))).get("/", params={"q": "harbour master custom"}).text
    assert "as no piece of the catalogue" in page
    assert "The title says “custom”." in page
