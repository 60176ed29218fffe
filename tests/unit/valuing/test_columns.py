"""A subject as the engine sees it."""

from dataclasses import replace
from datetime import date

import pytest

from hangtab.domain.subject import Feature, FeatureState, Grading, Packaging, Part, PartState, Seal, Subject
from hangtab.valuing import piece_columns

CARDED, LOOSE = Packaging.CARDED, Packaging.LOOSE
CLAIMED, LABEL, REFUTED = FeatureState.CLAIMED, FeatureState.LABEL, FeatureState.REFUTED


def test_a_graded_piece_stands_at_its_place_on_the_scale(catalogue):
    made = piece_columns(Subject("hm-2", CARDED, grading=Grading("northgate", "forty", "34")), catalogue)
    assert (made["scale"], made["position"], made["form"]) == ("northgate:forty carded", 70.0, "carded graded")


def test_a_grade_the_scale_does_not_have_has_no_place(catalogue):
    made = piece_columns(Subject("hm-2", CARDED, grading=Grading("northgate", "forty", "99")), catalogue)
    assert made["position"] is None


def test_a_loose_piece_hangs_under_its_figure_and_has_no_card(catalogue):
    made = piece_columns(Subject("harbour-master-f", LOOSE), catalogue)
    assert (made["figure"], made["release"], made["card"]) == ("harbour-master-f", "loose", None)


def test_a_prototype_has_a_chain_of_its_own_under_the_character(catalogue):
    made = piece_columns(Subject("hm-shot", Packaging.PROTOTYPE), catalogue)
    assert (made["character"], made["figure"], made["release"]) == ("harbour-master", "prototype", "hm-shot")
    assert made["stage"] == "first shot unpainted"


@pytest.mark.parametrize(
    ("state", "expected"),
    [(CLAIMED, ["glow-sticker", "glow-sticker unverified"]), (LABEL, ["glow-sticker"]), (REFUTED, [])],
)
def test_only_a_verified_sticker_earns_its_premium(catalogue, state, expected):
    made = piece_columns(Subject("hm-2", CARDED, features=(Feature("glow-sticker", state),)), catalogue)
    assert made["features"] == expected


def test_a_territory_card_is_what_it_says(catalogue):
    made = piece_columns(Subject("hm-1", CARDED, features=(Feature("territory-b"),)), catalogue)
    assert (made["features"], made["variant"]) == (["territory-b"], "territory-b")


@pytest.mark.parametrize(("day", "expected"), [(date(2022, 1, 1), "unchecked"), (date(2024, 1, 1), "common")])
def test_before_a_change_was_known_its_release_is_unchecked(catalogue, day, expected):
    assert piece_columns(Subject("hm-2", CARDED), catalogue, day)["change"] == expected


def test_the_change_itself_is_itself_and_shares_its_attribute(catalogue):
    made = piece_columns(Subject("hm-2-short", CARDED), catalogue, date(2022, 1, 1))
    assert (made["change"], made["attribute"]) == ("hm-2-short", "short-string")


def test_a_missing_part_counts_by_its_kind(catalogue):
    subject = Subject("harbour-master-f", LOOSE, parts=(Part("hm-lamp", PartState.MISSING),), seal=Seal.OPENED)
    assert piece_columns(subject, catalogue)["marks"] == ["loose missing accessory", "loose opened"]


def test_a_second_missing_part_of_a_kind_is_a_mark_of_its_own(catalogue):
    gone = tuple(Part(name, PartState.MISSING) for name in ("hm-oar", "hm-rope"))
    found = piece_columns(Subject("harbour-master-f", LOOSE, parts=gone), catalogue)["marks"]
    assert found == ["loose missing part", "loose missing part 2"]


def test_a_flaw_in_a_graders_case_is_not_that_of_a_raw_piece(catalogue):
    raw = Subject("hm-2", CARDED, flaws=("crease",))
    graded = replace(raw, grading=Grading("northgate", "forty", "34"))
    assert piece_columns(raw, catalogue)["marks"] == ["carded crease"]
    assert piece_columns(graded, catalogue)["marks"] == ["carded graded crease"]


def test_an_unknown_thing_is_a_key_error(catalogue):
    with pytest.raises(KeyError):
        piece_columns(Subject("nothing", CARDED), catalogue)
