"""The item price that goes with an all-in price."""

import polars as pl
import pytest

from hangtab.valuing.reference import find_reference


def test_postage_share_is_looked_up_in_major_units():
    """Postage of 10 on everything: an all-in price of 100 is an item of 90, one of 250 an item of 240."""
    items = [5.0 + i for i in range(300)]
    ids = [f"q{i}" for i in range(300)]
    table = pl.DataFrame(
        {"id": ids, "kind": "sale", "site": "quayside/GB", "mechanism": "fixed", "price": [p + 10 for p in items]}
    )
    rows = pl.DataFrame(
        {"id": ids, "item": [round(100 * p) for p in items], "all_in": [round(100 * (p + 10)) for p in items]}
    )
    found = find_reference(rows, table)
    assert (found.site, found.mechanism) == ("quayside/GB", "fixed")
    assert found.item(100.0) == pytest.approx(90.0, rel=0.02)
    assert found.item(250.0) == pytest.approx(240.0, rel=0.02)
