"""The string likenesses that naming leans on agree with published tables.

Sources: Jaro and Jaro-Winkler (prefix weight .1): tables of Winkler 1990 and 1994, names recalled; two libraries,
rapidfuzz and jellyfish, agree on each value.
Levenshtein: Jurafsky & Martin, Speech and Language Processing, and the usual
textbook pairs; optimal string alignment against unrestricted Damerau on ca/abc.
"""

import jellyfish
import pytest
from rapidfuzz.distance import OSA, DamerauLevenshtein, Jaro, JaroWinkler, Levenshtein

WINKLER = [
    ("MARTHA", "MARHTA", 0.9444, 0.9611),
    ("DIXON", "DICKSONX", 0.7667, 0.8133),
    ("DWAYNE", "DUANE", 0.8222, 0.84),
    ("SHACKLEFORD", "SHACKELFORD", 0.9697, 0.9818),
    ("DUNNINGHAM", "CUNNIGHAM", 0.8963, 0.8963),
    ("NICHLESON", "NICHULSON", 0.9259, 0.9556),
    ("JONES", "JOHNSON", 0.7905, 0.8324),
    ("MASSEY", "MASSIE", 0.8889, 0.9333),
    ("ABROMS", "ABRAMS", 0.8889, 0.9222),
    ("JERALDINE", "GERALDINE", 0.9259, 0.9259),
    ("MICHELLE", "MICHAEL", 0.8690, 0.9214),
    ("JULIES", "JULIUS", 0.8889, 0.9333),
    ("TANYA", "TONYA", 0.8667, 0.8800),
    ("SEAN", "SUSAN", 0.7833, 0.8050),
    ("JON", "JOHN", 0.9167, 0.9333),
]
PRINTED = 5.1e-5  # four printed digits

EDITS = [
    ("kitten", "sitting", 3),
    ("saturday", "sunday", 3),
    ("intention", "execution", 5),
    ("gumbo", "gambol", 2),
    ("ca", "abc", 3),
]


@pytest.mark.parametrize(("one", "two", "jaro", "winkler"), WINKLER)
def test_jaro_and_jaro_winkler(one, two, jaro, winkler):
    assert Jaro.normalized_similarity(one, two) == pytest.approx(jaro, abs=PRINTED)
    assert JaroWinkler.normalized_similarity(one, two) == pytest.approx(winkler, abs=PRINTED)
    # The second library weighs the common beginning only above .7, as Winkler's program did; all pairs here are above.
    assert jellyfish.jaro_winkler_similarity(one, two) == pytest.approx(winkler, abs=PRINTED)


@pytest.mark.parametrize(("one", "two", "edits"), EDITS)
def test_levenshtein(one, two, edits):
    assert Levenshtein.distance(one, two) == edits
    assert jellyfish.levenshtein_distance(one, two) == edits


def test_a_swap_of_neighbours_is_one_mistake_in_optimal_string_alignment():
    assert OSA.distance("harbour", "harbuor") == 1
    assert Levenshtein.distance("harbour", "harbuor") == 2
    # Alignment may not edit what it swapped; the unrestricted distance may.
    assert (OSA.distance("ca", "abc"), DamerauLevenshtein.distance("ca", "abc")) == (3, 2)
