"""Take-in names, levels and keeps what sources bring; renaming and levelling anew build on the same book."""

from decimal import Decimal
from hashlib import sha256

from hangtab.domain.evidence import PostageKind
from hangtab.domain.progress import ignore_step
from hangtab.intake import SourceFile
from hangtab.levelling import learn_postage
from hangtab.naming import Namer, Saying
from hangtab.usecases.levels import book_guess, relevel
from hangtab.usecases.naming import rename_all
from hangtab.usecases.take_in import remembering, stored_name, take_in

HEAD = "Date,Title,Price (EUR),Postage\n"
TITLES = ("Tidewardens Keeper northgate 34", "Keeper creased card")
PIXELS = b"\x89PNG\r\n\x1a\n" + bytes(64)
PAGE = """<html><head><script type="application/ld+json">{"@context": "https://schema.org", "@type": "Product",
"name": "Tidewardens Keeper northgate 34", "offers": {"@type": "Offer", "price": "47.00", "priceCurrency": "EUR",
"availability": "SoldOut"}}</script></head>
<body><img src="one_files/front.png" alt="front"><p>Sold 2 March 2025</p></body></html>"""


def csv(*postages, day=1):
    """A file with one sale per postage, all for 100, under two titles in turn."""
    rows = (f"2025-0{1 + i % 9}-{day:02},{TITLES[i % 2]},100,{p}\n" for i, p in enumerate(postages))
    return SourceFile("sales.csv", (HEAD + "".join(rows)).encode(), {})


def totals(book):
    return {s.evidence.id: s.price.total.amount for s in book.evidence()}


def test_a_remembered_name_is_the_name_of_the_evidence_itself(parts):
    take_in(parts, [csv(*["5"] * 4)], ignore_step)
    name = remembering(parts)
    for stored in parts.book.evidence():
        fresh = stored_name(parts, parts.namer.name(Saying.of(stored.evidence)))
        assert name(stored.evidence) == name(stored.evidence) == fresh == stored.name


def test_each_wording_is_read_once(parts, monkeypatch):
    read = []
    named = Namer.name
    monkeypatch.setattr(Namer, "name", lambda self, saying: read.append(saying) or named(self, saying))
    take_in(parts, [csv(*["5"] * 6)], ignore_step)
    assert parts.book.evidence_count() == 6
    assert len(read) == len({*read}) == 2
    assert rename_all(parts, ignore_step) == 0
    assert len(read) == 4


def test_unknown_postage_is_what_the_book_says_is_usual(parts):
    take_in(parts, [csv("10", "10", "10", "10", "10", "")], ignore_step)
    assert set(totals(parts.book).values()) == {Decimal("110.00")}
    before = book_guess(parts)
    assert before == learn_postage(s.evidence for s in parts.book.evidence())
    # Dearer postage in a later source moves the estimate of the earlier sale, and nothing that was stated.
    take_in(parts, [csv(*["30"] * 9, day=2)], ignore_step)
    unknown = {f.id for f in parts.book.facts() if f.postage.kind is PostageKind.UNKNOWN}
    assert len(unknown) == 1
    assert {totals(parts.book)[i] for i in unknown} == {Decimal("130.00")}
    assert sorted(v for i, v in totals(parts.book).items() if i not in unknown) == [110] * 5 + [130] * 9
    assert relevel(parts, ignore_step) == 1
    assert relevel(parts, ignore_step, everything=True) == 15


def test_a_page_and_its_photo_are_kept_together(parts):
    page = SourceFile("one.html", PAGE.encode(), {"one_files/front.png": PIXELS, "one_files/logo.png": b"other"})
    (receipt,) = take_in(parts, [page], ignore_step).receipts
    assert receipt.new == 1
    (stored,) = parts.book.evidence()
    photo = sha256(PIXELS).hexdigest()
    assert stored.evidence.photos == (photo,)
    assert parts.book.source(photo).data == PIXELS
    # The photo is part of the page's take-in, not one of its own.
    assert [row.source for row in parts.book.take_ins()] == [receipt.source]
