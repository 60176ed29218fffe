"""A person's answer to what waits."""

from hangtab.domain.progress import ignore_step
from hangtab.intake import SourceFile
from hangtab.usecases.settling import settle, undo_settle
from hangtab.usecases.take_in import take_in
from hangtab.valuing import engine_table

LOT = b"Date,Title,Price (EUR),Postage\n2025-03-02,Lot of nine Tidewardens Harbour Master carded,400.00,20.00\n"


def test_naming_a_piece_of_a_lot_does_not_make_its_sum_a_price(parts):
    take_in(parts, [SourceFile("lots.csv", LOT)], ignore_step)
    (row,) = parts.book.evidence()
    assert row.name.lot
    assert row.price.total.minor == 42_000
    settle(parts, row.evidence.id, "tw-hm-1|carded||||||")
    assert parts.book.find(row.evidence.id).name.by == "tester"
    assert parts.book.rows()["subject"].to_list() == ["tw-hm-1|carded||||||"]
    assert len(engine_table(parts.book.rows(), parts.catalogue, "EUR")) == 0
    assert undo_settle(parts) == row.evidence.id
    assert parts.book.find(row.evidence.id).name.by != "tester"
