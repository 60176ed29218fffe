"""What a valuer looks up in its table: the sales of one variant, and the scale a packaging is usually graded on."""

from datetime import date

import polars as pl
import pytest

from hangtab.domain.subject import Feature, Grading, Packaging, Subject
from hangtab.valuing import Reference, Valuer
from hangtab.valuing.calibration import UNTRIED
from hangtab.valuing.columns import piece_columns
from hangtab.valuing.table import SCHEMA

RAW = Subject("hm-2", Packaging.CARDED)
GRADED = Subject("hm-2", Packaging.CARDED, grading=Grading("northgate", "forty", "34"))
STICKER = Subject("hm-2", Packaging.CARDED, features=(Feature("glow-sticker"),))
LOOSE = Subject("hm-2", Packaging.LOOSE)


@pytest.fixture
def valuer(catalogue):
    said = [(RAW, "sale"), (STICKER, "sale"), (GRADED, "sale"), (RAW, "below"), (GRADED, "below"), (LOOSE, "sale")]
    rows = [
        {"id": f"q{i}", "kind": kind, "sold": date(2026, 1, 1 + i), "subject": s.key, **piece_columns(s, catalogue)}
        for i, (s, kind) in enumerate(said)
    ]
    reference = Reference("quayside/GB", "sale", ())
    return Valuer(None, pl.DataFrame(rows, schema=SCHEMA), catalogue, reference, UNTRIED, "EUR")


def test_a_variant_is_the_same_in_every_condition_and_in_the_order_of_the_table(valuer):
    for subject in (RAW, GRADED):
        assert valuer.same_variant(subject)["id"].to_list() == ["q0", "q2", "q3", "q4"]
        assert valuer.sales_of(subject)["id"].to_list() == ["q0", "q2"]
    assert valuer.same_variant(STICKER)["id"].to_list() == ["q1"]


def test_a_variant_never_seen_has_no_rows_but_all_columns(valuer):
    none = valuer.same_variant(Subject("hm-1", Packaging.CARDED))
    assert (len(none), none.schema) == (0, valuer.table.schema)


def test_a_packaging_that_is_never_graded_has_no_usual_scale(valuer):
    assert valuer.usual_scales == {"carded": GRADED.key}
