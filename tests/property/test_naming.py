"""Laws of naming, tried on many subjects and on any text at all."""

from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from hangtab.catalogue.variants import variants
from hangtab.domain.errors import PriceError
from hangtab.domain.subject import Feature, FeatureState, Grading, Packaging, Part, PartState, Seal, Subject
from hangtab.naming import Namer, Saying, parse_price, split_price
from tests.unit.naming import conftest as small

catalogue = small.catalogue
namer = small.namer
RELAXED = settings(max_examples=300, deadline=None, suppress_health_check=list(HealthCheck))


@st.composite
def subjects(draw, catalogue):
    """Any subject that can exist, in any condition."""
    thing, packaging, features = draw(st.sampled_from(list(variants(catalogue))))
    chain = catalogue.chain(thing)
    owners = {chain.character, chain.figure, chain.release} - {""}
    parts = [p.id for p in catalogue.parts.values() if p.of in owners]
    states = draw(st.lists(st.sampled_from([None, *PartState]), min_size=len(parts), max_size=len(parts)))
    flaws = [f.id for f in catalogue.flaws.values() if not f.packaging or packaging in f.packaging]
    packed = packaging in {Packaging.CARDED, Packaging.BOXED}
    grading = draw(st.none() | gradings(catalogue, packaging)) if packaging is not Packaging.PROTOTYPE else None
    return Subject(
        thing,
        packaging,
        draw(st.sampled_from(list(Seal))) if packed else Seal.UNKNOWN,
        tuple(Part(p, s) for p, s in zip(parts, states, strict=True) if s),
        grading,
        tuple(Feature(f, draw(st.sampled_from(list(FeatureState)))) for f in features),
        tuple(draw(st.sets(st.sampled_from(flaws)))) if flaws else (),
        draw(st.sampled_from(["", *catalogue.conditions])) if not grading else "",
    )


@st.composite
def gradings(draw, catalogue, packaging):
    """Any grading that a grader could write on such a piece."""
    grader = draw(st.sampled_from(list(catalogue.graders.values())))
    scale = draw(st.sampled_from([s for s in grader.scales if packaging in s.forms]))
    labels = st.sampled_from([g.label for g in scale.grades])
    subs = tuple(sorted((s.name, draw(labels)) for s in scale.subgrades)) if draw(st.booleans()) else ()
    marks = (
        tuple(sorted(draw(st.sets(st.sampled_from([q.id for q in grader.qualifiers]))))) if grader.qualifiers else ()
    )
    generation = draw(st.sampled_from(["", *(key for key, _ in grader.generations)]))
    return Grading(grader.id, scale.id, draw(labels), generation, subs, marks)


@RELAXED
@given(data=st.data())
def test_a_canonical_sentence_names_its_own_subject(catalogue, namer, data):
    """Naming the sentence of a subject gives that subject first."""
    subject = data.draw(subjects(catalogue))
    assert namer.name(namer.sentence(subject)).candidates[0].subject == subject


@RELAXED
@given(data=st.data())
def test_a_key_names_its_own_subject(catalogue, namer, data):
    """Naming the key of a subject gives that subject and nothing else."""
    subject = data.draw(subjects(catalogue))
    assert [c.subject for c in namer.name(subject.key).candidates] == [subject]


def test_no_two_variants_share_a_sentence(catalogue, namer):
    """One sentence, one subject."""
    texts = [
        namer.sentence(Subject(thing, packaging, features=tuple(map(Feature, features))))
        for thing, packaging, features in variants(catalogue)
    ]
    assert len(set(texts)) == len(texts)


@RELAXED
@given(
    st.text(max_size=200)
    | st.lists(
        st.sampled_from("harbour master 34 + no sail not the custom ? lot x 9 NG glow sticker maybe".split())
    ).map(" ".join)
)
def test_any_text_gets_probabilities(namer, text):
    """Probabilities are shares of one, in falling order, and every reason points at its own words."""
    naming = namer.name(Saying(text))
    shares = [c.probability for c in naming.candidates]
    assert shares == sorted(shares, reverse=True)
    assert all(0.0 <= p <= 1.0 for p in (*shares, naming.none))
    assert sum(shares) + naming.none <= 1.0 + 1e-9
    for candidate in naming.candidates:
        for reason in (*candidate.speaks_for, *candidate.speaks_against):
            assert reason.start < 0 or text[reason.start : reason.end] == reason.text
    namer.suggest(text)


@RELAXED
@given(data=st.data())
def test_case_and_marks_change_nothing(catalogue, namer, data):
    """A title shouted, or peppered with invisible marks, means the same."""
    text = namer.sentence(data.draw(subjects(catalogue)))
    plain = namer.name(Saying(text))
    for other in (text.upper(), "\u200b".join(text), f"  {text} "):
        assert [c.subject for c in namer.name(Saying(other)).candidates] == [c.subject for c in plain.candidates]


@RELAXED
@given(st.text(max_size=60))
def test_a_price_is_money_or_refused(text):
    """Whatever is typed, a price comes out as money or is refused in words."""
    split_price(text)
    try:
        price = parse_price(text, "EUR")
    except PriceError:
        return
    assert price.item.minor > 0


@pytest.mark.parametrize("state", list(FeatureState))
def test_a_seller_cannot_confirm(namer, state):
    """Only a person's own question may state that a feature is confirmed, seen or refuted."""
    subject = Subject("tw-harbour-master-2", Packaging.CARDED, Seal.SEALED, features=(Feature("glow-sticker", state),))
    named = namer.name(Saying(namer.sentence(subject))).candidates[0].subject
    told = state if state is FeatureState.LABEL else FeatureState.CLAIMED
    assert replace(named, features=()) == replace(subject, features=())
    assert named.features[0].state is told


def test_building_twice_gives_the_same(catalogue, namer):
    """The index does not depend on anything but the catalogue."""
    again = Namer(catalogue)
    for text in ("harbour master", "lamplighter graded 10", "night diver hardcopy"):
        assert again.name(text) == namer.name(text)
