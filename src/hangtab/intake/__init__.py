"""Intake: a source's bytes to readings and evidence, every field with the place it was read at.

Doors: `sniff` (what is it), `read_source` (all its facts, as a generator), `guess_columns` (what columns mean),
`to_evidence` (a reading to evidence), `visible_text` and `raw_excerpt` (the source as it came, with marks).
Pure: bytes in, values out; no files, no network, no clock. Not here: names of pieces (naming), sums (levelling).
"""

from hangtab.intake.columns import fingerprint, guess_columns
from hangtab.intake.excerpts import raw_excerpt
from hangtab.intake.facts import to_evidence
from hangtab.intake.model import (
    ColumnGuess,
    ColumnMap,
    Dialect,
    Excerpt,
    Layout,
    Mark,
    Media,
    Setting,
    SourceFile,
    SourceReading,
)
from hangtab.intake.reading import read_source
from hangtab.intake.sniffing import sniff
from hangtab.intake.visible import visible_text

__all__ = [
    "ColumnGuess",
    "ColumnMap",
    "Dialect",
    "Excerpt",
    "Layout",
    "Mark",
    "Media",
    "Setting",
    "SourceFile",
    "SourceReading",
    "fingerprint",
    "guess_columns",
    "raw_excerpt",
    "read_source",
    "sniff",
    "to_evidence",
    "visible_text",
]
