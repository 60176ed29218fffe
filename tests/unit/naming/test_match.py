"""Phrases are found despite slips of the fingers, the fuller explanation first."""

import pytest

from hangtab.naming.lexicon import Lexicon, Meaning, Node, Sense
from hangtab.naming.match import Matcher
from hangtab.naming.text import fold, tokens, words


def matcher(*phrases):
    root, vocabulary = Node(), set()
    for phrase in phrases:
        node = root
        for word in words(phrase):
            vocabulary.add(word)
            node = node.follows.setdefault(word, Node())
        node.learn(Meaning(Sense.CHARACTER, phrase, own=True))
    return Matcher(Lexicon(root, frozenset(vocabulary)))


def found(text, *phrases):
    hits = matcher(*phrases).find(tokens(fold(text)))
    return [hit.senses[Sense.CHARACTER][0] for hit in hits]


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        ("nihgt diver", "night diver"),
        ("night divr", "night diver"),
        ("nightt diver", "night diver"),
        ("signal keper", "signal keeper"),
        ("lighthuose staton", "lighthouse station"),
        ("lamp lighter", "lamplighter"),
    ],
)
def test_slips(written, meant):
    assert found(written, meant) == [meant]


@pytest.mark.parametrize("written", ["light river", "day diver", "night", "nigh", "tonight driver"])
def test_other_words(written):
    assert found(written, "night diver") == []


def test_the_longer_phrase_wins():
    assert found("glow sticker sheet", "glow", "sticker", "glow sticker") == ["glow sticker"]


def test_phrases_do_not_overlap():
    assert found("storm warden twins", "storm warden", "warden twins club", "twins") == ["storm warden", "twins"]


def test_a_shown_name_comes_before_an_alias():
    node = Node()
    node.learn(Meaning(Sense.CHARACTER, "alias-of"))
    node.learn(Meaning(Sense.CHARACTER, "named", own=True))
    node.learn(Meaning(Sense.CHARACTER, "alias-too"))
    assert node.senses[Sense.CHARACTER] == ("named",)
