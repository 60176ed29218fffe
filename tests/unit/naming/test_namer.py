"""Texts become the pieces they mean, and wait where they do not say enough."""

import pytest

from hangtab.domain.subject import FeatureState, Packaging, PartState, Seal, Subject
from hangtab.naming import Namer, Saying


def first(naming):
    return naming.candidates[0].subject


def key(namer, text):
    return first(namer.name(text)).key


class TestQuestionsOfTheFirstDay:
    def test_graded_with_sticker_and_territory(self, namer):
        naming = namer.name("harbour master glow sticker bilingual 34 graded")
        assert first(naming).key == (
            "tw-harbour-master-2|carded|sealed||northgate:forty:34|glow-sticker=claimed,territory-b=claimed||"
        )
        assert naming.decided

    def test_graded_with_sticker(self, namer):
        naming = namer.name("harbour master glow sticker 34 graded")
        assert naming.decided
        assert first(naming).key == "tw-harbour-master-2|carded|sealed||northgate:forty:34|glow-sticker=claimed||"

    def test_prototype(self, namer):
        naming = namer.name("unpainted first shot of the night diver")
        assert naming.decided
        assert first(naming) == Subject("tw-night-diver-first-shot", Packaging.PROTOTYPE)

    def test_loose_with_a_part_missing(self, namer):
        naming = namer.name("warp kite loose, no sail")
        assert naming.decided
        assert first(naming).key == "sk-warp-kite-f|loose||sk-warp-kite-f-sail=missing||||"

    def test_a_lot_waits_and_says_so(self, namer):
        naming = namer.name("nine glow stickers in one lot")
        assert naming.lot
        assert not naming.decided
        assert {f.id for c in naming.candidates for f in c.subject.features} == {"glow-sticker"}
        assert "several pieces" in naming.why

    def test_a_grade_alone_is_about_the_piece_under_discussion(self, namer):
        about = Subject("tw-harbour-master-2", Packaging.CARDED, Seal.SEALED)
        naming = namer.name("34+ yellowed", about)
        assert first(naming).thing == "tw-harbour-master-2"
        assert first(naming).grading.key() == "northgate:forty:34+;yellowed"
        assert not namer.name("34+ yellowed").candidates


class TestSpelling:
    @pytest.mark.parametrize(
        "text",
        [
            "Harbour Master 2nd card",
            "harbor mastr second card",
            "HARBOURMASTER card 2",
            "Hárbour  Master, zweite Karte",
            "Hafenmeister zweite Karte",
            "Tide Wardens Harbuor Master second card",
            "har\u200bbour master\u200f second card",
            "Ｈａｒｂｏｕｒ Ｍａｓｔｅｒ second card",
            "maitre du port second card",
            "Harb. Master second card",
            "Tidewardens Harbour Mast. second card",
        ],
    )
    def test_one_piece_in_many_spellings(self, namer, text):
        assert key(namer, text).startswith("tw-harbour-master-2|carded")

    def test_a_short_word_is_only_misspelt_inside_a_phrase(self, namer):
        assert key(namer, "wap kite").startswith("sk-warp-kite")
        assert not namer.name("kit").candidates

    def test_reasons_point_into_the_title(self, namer):
        title = "rare Hárbour Master, zweite Karte"
        for reason in namer.name(Saying(title)).candidates[0].speaks_for:
            assert title[reason.start : reason.end] == reason.text


class TestGrades:
    @pytest.mark.parametrize(
        ("text", "grading"),
        [
            ("Northgate 34", "northgate:forty:34"),
            ("NG34+", "northgate:forty:34+"),
            ("34 NG yellowed", "northgate:forty:34;yellowed"),
            ("Northgate 34 (34/36/32)", "northgate:forty:34/board=34/piece=32/window=36"),
            ("Northgate 34 - 34-36-32", "northgate:forty:34/board=34/piece=32/window=36"),
            ("Northgate 34 second case board 32", "northgate:forty:34@second/board=32"),
            ("Plumb 9.5", "plumb:twelve:9.5"),
            ("Plumb 9,5", "plumb:twelve:9.5"),
            ("Plumb 9½", "plumb:twelve:9.5"),
            ("PB9.5", "plumb:twelve:9.5"),
            ("graded 9.5", "plumb:twelve:9.5"),
            ("graded 38", "northgate:forty:38"),
            ("N1234567 38", "northgate:forty:38"),
        ],
    )
    def test_patterns(self, namer, text, grading):
        naming = namer.name(Saying(f"Harbour Master second card {text}"))
        assert first(naming).grading.key() == grading
        assert naming.decided

    def test_numbers_that_are_no_grades(self, namer):
        for text in ("1993", "$34", "34€", "34 mm", "card 2", "no. 34"):
            assert first(namer.name(Saying(f"Harbour Master second card {text}"))).grading is None

    def test_graded_without_a_grade_waits(self, namer):
        naming = namer.name(Saying("Harbour Master second card graded"))
        assert not naming.decided
        assert "no grade is read" in naming.why

    def test_of_two_graders_the_one_where_the_number_is_high(self, namer):
        first_two = namer.name(Saying("Harbour Pilot graded 10")).candidates[:2]
        assert [c.subject.grading.grader for c in first_two] == ["plumb", "northgate"]

    def test_raw_with_a_grade_waits(self, namer):
        assert not namer.name(Saying("Harbour Pilot ungraded, would be a Northgate 36")).decided

    def test_a_loose_grade_is_on_the_loose_scale(self, namer):
        assert first(namer.name(Saying("Night Diver loose Northgate 38"))).grading.scale == "forty-loose"


class TestWhatWaits:
    def test_no_card_said(self, namer):
        naming = namer.name(Saying("Tidewardens Harbour Master carded"))
        assert not naming.decided
        assert naming.why == "Which card: the title names none"
        cards = [c for c in naming.candidates if c.probability > 0.1]
        assert len(cards) == 3
        assert cards[0].probability == pytest.approx(cards[2].probability)

    def test_popularity_breaks_a_tie(self, catalogue):
        namer = Namer(catalogue, {"tw-harbour-master-2": 1.0})
        assert key(namer, "harbour master carded").startswith("tw-harbour-master-2|")

    @pytest.mark.parametrize("word", ["custom", "reproduction", "empty card"])
    def test_danger_words(self, namer, word):
        naming = namer.name(Saying(f"{word} Tidewardens Night Diver second card"))
        assert not naming.decided
        assert naming.none > 0.5
        assert any(r.kind == "danger" for r in naming.candidates[0].speaks_against)
        assert word in naming.why

    def test_a_denied_danger_is_none(self, namer):
        assert namer.name(Saying("Night Diver second card carded, no reproduction")).decided

    def test_a_reproduction_part_is_no_reproduction(self, namer):
        naming = namer.name(Saying("Warp Kite loose repro sail"))
        assert naming.decided
        assert first(naming).parts[0].state is PartState.REPRODUCTION

    def test_two_pieces_are_a_lot(self, namer):
        assert namer.name(Saying("Harbour Pilot and Night Diver")).lot
        assert namer.name(Saying("9 x Harbour Pilot")).lot
        assert namer.name(Saying("Harbour Pilot", quantity=3)).lot

    def test_not_the_other_one(self, namer):
        naming = namer.name(Saying("Harbour Master first card, not the Harbour Pilot"))
        assert naming.decided
        assert first(naming).thing == "tw-harbour-master-1"
        assert "tw-harbour-pilot" in {r.meaning for r in naming.candidates[0].speaks_against}

    def test_a_doubted_sticker_is_left_open(self, namer):
        naming = namer.name(Saying("Harbour Master second card maybe glow sticker"))
        assert not naming.decided
        assert len({c.subject.features for c in naming.candidates[:2]}) == 2

    def test_words_that_only_look_like_marks(self, namer):
        for text in (
            "from my own lot: Harbour Pilot",
            "? Harbour Pilot short string ?",
            "Harbour Pilot early 1990s toy",
        ):
            naming = namer.name(Saying(text))
            assert naming.decided, text

    def test_columns_that_contradict_the_title(self, namer):
        agreed = namer.name(Saying("Harbour Master second card", said=(("line", "Tidewardens"), ("card", "card 2"))))
        against = namer.name(Saying("Harbour Master second card", said=(("card", "third card"),)))
        assert agreed.decided
        assert not against.decided
        assert "third card" in against.why

    def test_columns_complete_the_title(self, namer):
        naming = namer.name(Saying("Harbour Master", said=(("card", "card 2"), ("grader", "NG"), ("grade", "34+"))))
        assert naming.decided
        assert first(naming).grading.key() == "northgate:forty:34+"

    def test_the_description_fills_what_the_title_leaves_open(self, namer):
        naming = namer.name(Saying("Harbour Master", description="On the second card. I also sell the Night Diver."))
        assert first(naming).thing == "tw-harbour-master-2"
        assert not naming.lot


class TestUnknown:
    def test_an_unknown_line(self, namer):
        naming = namer.name("Tidewatch Harbour Master")
        assert naming.unknown == "Tidewatch"
        assert not naming.decided
        assert "Tidewardens" in namer.nearest("Tidewatch")

    def test_an_unknown_piece(self, namer):
        naming = namer.name("Tidewardens Glacier Baker")
        assert naming.unknown == "Glacier Baker"
        assert not naming.candidates
        assert naming.none == 1.0

    @pytest.mark.parametrize("text", ["", "   ", "?", "\u200b", "!!!", "|" * 7, "a" * 10_000, "harbour " * 2_000])
    def test_nothing_to_name(self, namer, text):
        naming = namer.name(Saying(text))
        assert not naming.decided


class TestFeatures:
    def test_a_claim_stays_a_claim(self, namer):
        feature = first(namer.name(Saying("Harbour Master glow sticker confirmed"))).features[0]
        assert feature.state is FeatureState.CLAIMED

    def test_on_the_label(self, namer):
        feature = first(namer.name(Saying("Harbour Master glow sticker on the label Northgate 34"))).features[0]
        assert feature.state is FeatureState.LABEL

    def test_a_feature_narrows_the_release(self, namer):
        assert first(namer.name(Saying("Harbour Master trilingual"))).thing == "tw-harbour-master-2"

    def test_the_line_tells_pieces_of_one_name_apart(self, namer):
        assert key(namer, "Lantern Circus Lamplighter").startswith("lc-")
        assert key(namer, "Lamplighter MIB").startswith("lc-")
        assert key(namer, "Lamplighter on first card").startswith("tw-")
        assert namer.name("Lamplighter").why == "Which line: the title names none"

    def test_a_running_change_is_only_meant_when_said(self, namer):
        assert first(namer.name("Harbour Pilot")).thing == "tw-harbour-pilot-1"
        assert first(namer.name("Harbour Pilot short string")).thing == "tw-harbour-pilot-1-short-string"

    def test_complete_means_every_part(self, namer):
        assert {p.state for p in first(namer.name("Warp Kite loose complete")).parts} == {PartState.PRESENT}
        assert len(first(namer.name("Warp Kite loose complete")).parts) == 2

    def test_worst_seal_counts(self, namer):
        assert first(namer.name("Harbour Pilot carded sealed, was resealed")).seal is Seal.RESEALED


def test_a_key_names_its_subject(namer):
    text = "tw-harbour-master-2|carded|||northgate:forty:34|glow-sticker=confirmed||"
    assert first(namer.name(text)) == Subject.parse(text)
