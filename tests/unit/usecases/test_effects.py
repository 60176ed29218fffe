"""What the effects of a fit are called: catalogue ids become names, unknown ones keep theirs."""

import pytest

from hangtab.usecases.effects import COMPONENTS, component_name, effect_name, value_name
from hangtab.valuing.table import PRIORS, book_spec


@pytest.mark.parametrize(
    ("component", "value", "said"),
    [
        ("line", "tidewardens", "Tidewardens"),
        ("line/character", "tidewardens / harbour-master", "Harbour Master"),
        (
            "line/character/figure/release/change",
            "tidewardens / keeper / keeper-red / tw-keeper-1 / common",
            "Keeper, old, red coat, first card 1992",
        ),
        ("line/character/figure/release", "tidewardens / keeper / keeper-red / loose", "Keeper, old, red coat, loose"),
        ("site", "harrow-lane/GB", "Harrow Lane, GB"),
        ("state", "carded northgate", "carded Northgate"),
        ("season", "08", "August"),
        ("position", "northgate:forty carded 14.5 to 100", "Northgate, carded, 14 to 100"),
        ("marks", "carded missing insert", "carded missing insert"),
        ("attribute", "never-heard-of", "never heard of"),
    ],
)
def test_values_are_called_by_their_names(parts, component, value, said):
    assert value_name(parts.catalogue, component, value) == said


def test_an_effect_stands_in_a_sentence(parts):
    assert effect_name(parts.catalogue, "site", "harrow-lane/GB") == "venue and country “Harrow Lane, GB”"
    assert effect_name(parts.catalogue, "line/character", "") == "character"


def test_every_term_of_the_book_has_a_name():
    spec = book_spec()
    last = [path.rpartition("/")[2] for path in (*spec.chain, *spec.factors, *spec.curves)]
    assert set(last) | set(PRIORS) <= set(COMPONENTS)
    assert component_name("residual: carded raw") == "Not explained: carded raw"
    assert component_name("of_tomorrow") == "Of tomorrow"
