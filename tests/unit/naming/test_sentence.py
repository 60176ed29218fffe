# ruff: noqa: E501 - a subject and its words stand on one line
"""Sentences and entries as a reference book prints them."""

import pytest

from hangtab.domain.subject import Feature, FeatureState, Grading, Packaging, Part, PartState, Seal, Subject
from hangtab.naming import Entry

CARDED = Packaging.CARDED
FULL = Subject(
    "tw-harbour-master-2",
    CARDED,
    Seal.SEALED,
    grading=Grading("northgate", "forty", "34"),
    features=(Feature("glow-sticker"), Feature("territory-b")),
)


def test_sentence(namer):
    assert namer.sentence(FULL) == (
        "Tidewardens Harbour Master, second card, glow sticker, Territory B, carded, Northgate 34"
    )


def test_entry(namer):
    assert namer.entry(FULL) == Entry(
        "Harbour Master",
        "Tidewardens",
        "Marrow & Pike",
        1993,
        "Carded figure on the second card, with the glow sticker, Territory B. Graded, Northgate 34.",
    )


@pytest.mark.parametrize(
    ("subject", "description"),
    [
        (Subject("sk-warp-kite-f", Packaging.LOOSE, parts=(Part("sk-warp-kite-f-sail", PartState.MISSING),)), "Loose vehicle. Raw. No sail."),
        (Subject("tw-night-diver-hardcopy", Packaging.PROTOTYPE), "Prototype, unpainted hardcopy."),
        (Subject("tw-harbour-master-1", CARDED, Seal.SEALED, features=(Feature("signed"),)), "Carded figure on the first card, signed by the sculptor. Raw."),
        (Subject("tw-harbour-master-1", CARDED, Seal.SEALED, features=(Feature("glow-sticker"), Feature("signed"))), "Carded figure on the first card, with the glow sticker, signed by the sculptor. Raw."),
        (Subject("tw-harbour-master-1", CARDED, Seal.OPENED, flaws=("crease",), note="worn"), "Carded figure on the first card. Raw. Opened, crease, worn."),
    ],
)  # fmt: skip
def test_other_entries(namer, subject, description):
    assert namer.entry(subject).description == description


def test_a_figure_version_is_only_said_where_it_tells_apart(namer):
    assert (
        namer.sentence(Subject("tw-harbour-master-f1", Packaging.LOOSE))
        == "Tidewardens Harbour Master, red coat, loose"
    )
    assert "coat" not in namer.sentence(FULL)


def test_states_of_features_are_told_apart(namer):
    texts = {
        namer.sentence(Subject("tw-harbour-master-2", CARDED, features=(Feature("glow-sticker", s),)))
        for s in FeatureState
    }
    assert len(texts) == len(FeatureState)


def test_an_unknown_thing_is_a_key_error(namer):
    with pytest.raises(KeyError):
        namer.sentence(Subject("nothing", CARDED))
