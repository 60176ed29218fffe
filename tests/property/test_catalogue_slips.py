"""Whatever is wrong with a catalogue's files, it is told as a problem with its place."""

from hypothesis import given, settings
from hypothesis import strategies as st

from hangtab.catalogue import read_catalogue, variants
from hangtab.domain.errors import CatalogueError
from tests.unit.catalogue.files import FILES, as_bytes

PATHS = sorted(FILES)
PIECES = st.sampled_from(
    [
        "",
        " ",
        "\n",
        '"',
        "'",
        ",",
        ";",
        "=",
        "[",
        "]",
        "[[cards]]\n",
        "{",
        "}",
        "0",
        "-1",
        "nan",
        "é",
        "\x00",
        "|",
        "x" * 300,
    ]
)


@st.composite
def slips(draw):
    """A file with a stretch of it replaced."""
    path = draw(st.sampled_from(PATHS))
    text = FILES[path]
    start = draw(st.integers(0, len(text)))
    end = draw(st.integers(start, min(len(text), start + 40)))
    return {path: text[:start] + draw(PIECES) + text[end:]}


@settings(max_examples=60, deadline=None)
@given(st.lists(slips(), min_size=1, max_size=3))
def test_a_slip_never_crashes(changes):
    """Changed files still make a whole catalogue, or a CatalogueError whose problems all have place and mend."""
    merged = {path: text for change in changes for path, text in change.items()}
    catalogue, problems = tried(as_bytes(change=merged))
    assert all(p.what and p.where and p.mend for p in problems)
    if catalogue is None:
        assert problems
    else:
        for thing, _, _ in variants(catalogue):
            assert catalogue.chain(thing).line in catalogue.lines


@settings(max_examples=40, deadline=None)
@given(st.sampled_from(PATHS), st.binary(max_size=60))
def test_bytes_never_crash(path, content):
    """Any bytes in place of a file are a catalogue or a stated problem."""
    catalogue, problems = tried(as_bytes() | {path: content})
    assert (catalogue is None) == bool(problems)


def tried(files):
    try:
        return read_catalogue(files), ()
    except CatalogueError as error:
        return None, error.problems
