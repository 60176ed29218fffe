"""Evidence read back in the two cheap ways: what it states alone, and several pieces at once."""

from hangtab.storage import readback
from tests.storage.facts import DIVER, HARBOUR, entry, fact, named, source


def test_facts_are_what_evidence_states(book):
    spring = source("spring.csv")
    book.take_in(spring, [fact(spring, 1, "q1"), fact(spring, 2), fact(spring, 3, "q3", name=None)], entry())
    assert list(book.facts()) == [stored.evidence for stored in book.evidence()]


def test_several_pieces_are_found_at_once(book, monkeypatch):
    monkeypatch.setattr(readback, "PAGE", 2)  # more ids than one page holds
    spring = source("spring.csv")
    facts = [fact(spring, row, f"q{row}", name=named(HARBOUR if row % 2 else DIVER)) for row in range(5)]
    book.take_in(spring, facts, entry())
    ids = [taken.evidence.id for taken in facts]
    found = book.find_all([*ids, "quayside/none"])
    assert set(found) == set(ids)
    assert all(found[i] == book.find(i) for i in ids)
    assert [found[t.evidence.id].name for t in facts] == [t.name for t in facts]
    assert book.find_all([]) == {}
