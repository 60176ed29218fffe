"""Folding keeps the place of every word."""

from hangtab.naming.text import LONGEST_TEXT, MOST_TOKENS, fold, spellings, tokens


def test_places_point_into_the_original():
    title = "\u200fMaître  du\u00a0Port №２ “9½”"
    for token in tokens(fold(title)):
        assert 0 <= token.start < token.end <= len(title)
    first = tokens(fold(title))[0]
    assert (first.text, title[first.start : first.end]) == ("maitre", "Maître")


def test_composed_and_decomposed_letters_are_one():
    assert fold("Maı\u0302tre").text == fold("Maître").text


def test_numbers():
    assert [t.text for t in tokens(fold("34+ 47+18 9,5 9½ 34/36/32"))] == [
        "34+",
        "47",
        "18",
        "9.5",
        "9.5",
        "34",
        "36",
        "32",
    ]


def test_other_scripts_stay_words():
    assert [t.text for t in tokens(fold("שומר הנמל 34"))] == ["שומר", "הנמל", "34"]


def test_umlauts_are_also_written_out():
    assert spellings("Gezeitenhüpfer") == {("gezeitenhupfer",), ("gezeitenhuepfer",)}


def test_a_long_text_is_cut():
    assert len(fold("a " * 10_000).text) <= LONGEST_TEXT
    assert len(tokens(fold("a " * 10_000))) == MOST_TOKENS
