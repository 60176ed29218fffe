"""Suggestions while one types."""

import pytest


@pytest.mark.parametrize(
    ("typed", "thing"),
    [
        ("harbour ma", "tw-harbour-master"),
        ("nigt di", "tw-night-diver"),
        ("warp", "sk-warp-kite"),
        ("hafenm", "tw-harbour-master"),
        ("tidewardens harb", "tw-harbour"),
        ("harbour pilot ", "tw-harbour-pilot"),
    ],
)
def test_the_first_suggestion(namer, typed, thing):
    assert namer.suggest(typed)[0].subject.thing.startswith(thing)


def test_words_typed_so_far_are_kept(namer):
    first = namer.suggest("harbour master second card glow")[0]
    assert first.text == "Tidewardens Harbour Master, second card, glow sticker, carded"
    assert namer.suggest("warp kite lo")[0].text == "Skyloom Warp Kite, loose"
    assert (
        namer.suggest("harbour pilot northgate 34")[0].text
        == "Tidewardens Harbour Pilot, first card, carded, Northgate 34"
    )


def test_a_suggestion_names_its_subject(namer):
    for suggestion in namer.suggest("harb"):
        assert namer.name(suggestion.text).candidates[0].subject == suggestion.subject


def test_no_more_than_asked_for_and_none_twice(namer):
    found = namer.suggest("harb", limit=3)
    assert len(found) == 3
    assert len({s.text for s in namer.suggest("harb", limit=50)}) == len(namer.suggest("harb", limit=50))


@pytest.mark.parametrize("typed", ["", " ", "h", "?", "zzz", "1"])
def test_nothing_to_suggest(namer, typed):
    assert namer.suggest(typed) == ()
