"""Saved pages to evidence: structured data, visible text, photos beside them, and pages that mean harm."""

import hashlib
import json
import warnings

import pytest

from hangtab.domain.errors import Problem, SourceError
from hangtab.domain.evidence import Kind, PostageKind
from hangtab.domain.money import Money
from hangtab.intake import Media, raw_excerpt, visible_text
from hangtab.intake.structured import Item, items
from hangtab.intake.visible import LARGEST_PAGE, parsed

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import extruct

# The "Executive Anvil" sample of schema.org Product markup, as search engines' documentation printed it for years
# (read in third-party copies).
ANVIL = {
    "@context": "https://schema.org/",
    "@type": "Product",
    "name": "Executive Anvil",
    "sku": "0446310786",
    "brand": {"@type": "Brand", "name": "ACME"},
    "offers": {
        "@type": "Offer",
        "url": "https://example.com/anvil",
        "priceCurrency": "USD",
        "price": "119.99",
        "priceValidUntil": "2020-11-20",
        "itemCondition": "https://schema.org/UsedCondition",
        "availability": "https://schema.org/InStock",
    },
}
MICRODATA = """<div itemscope itemtype="https://schema.org/Product"><span itemprop="name">Night diver, carded</span>
<img itemprop="image" src="a.png"><meta itemprop="sku" content="GB-1">
<div itemprop="offers" itemscope itemtype="https://schema.org/Offer"><span itemprop="price" content="47.00">£47</span>
<meta itemprop="priceCurrency" content="GBP"><link itemprop="availability" href="https://schema.org/SoldOut">
<time itemprop="availabilityEnds" datetime="2025-11-03">3 Nov</time>
<span itemprop="seller" itemscope itemtype="https://schema.org/Person"><b itemprop="name">seller 12</b></span>
</div></div>"""
GERMAN = """<!doctype html><html lang="de"><head><title>x</title>
<link rel="canonical" href="https://de.quayside.example/listing/DE-9"></head><body><nav>Quayside DE</nav>
<h1>Nachttaucher <script>alert(1)</script>auf Karte</h1><img src="DE-9_files/photo.png">
<dl><dt>Zuschlag</dt><dd>47,00 €</dd><dt>Versand</dt><dd>6,50 €</dd><dt>Beendet</dt><dd>19.11.2025</dd></dl>
<p>7 Gebote</p><p>Verkäufer: seller 12</p><p>Als Kind gekauft, in der Schublade aufbewahrt.</p></body></html>"""


def page(data):
    return f'<html><head><script type="application/ld+json">{json.dumps(data)}</script></head><body></body></html>'


def test_json_ld_of_the_anvil(take):
    reading, fact = take("anvil.html", page(ANVIL))[0]
    assert (fact.title, fact.kind, fact.ask) == ("Executive Anvil", Kind.ASK, Money(11999, "USD"))
    assert fact.listing == "0446310786"
    assert next(f.where for f in reading.fields if f.name == "price") == "JSON-LD offers.price"


@pytest.mark.parametrize("path", ["name", "sku", "offers.price", "offers.priceCurrency", "offers.availability"])
def test_json_ld_as_an_independent_library_reads_it(path):
    """Against extruct 0.18 (scrapinghub), which reads schema.org syntaxes by other code."""
    html = page(ANVIL)
    theirs = extruct.extract(html, syntaxes=["json-ld"], uniform=True)["json-ld"][0]
    assert items(parsed(html.encode()))[0].get(path) == Item("", theirs).get(path)


@pytest.mark.parametrize(
    "path",
    ["name", "sku", "image", "offers.price", "offers.priceCurrency", "offers.availabilityEnds", "offers.seller.name"],
)
def test_microdata_as_an_independent_library_reads_it(path):
    """Against extruct 0.18; nested scopes, and values by attribute as the HTML standard has them."""
    theirs = extruct.extract(MICRODATA, syntaxes=["microdata"], uniform=True)["microdata"][0]
    assert items(parsed(MICRODATA.encode()))[0].get(path) == Item("", theirs).get(path) != ""


def test_microdata_becomes_a_sale(take):
    _, fact = take("quayside-gb.html", f"<body>{MICRODATA}</body>")[0]
    assert (fact.kind, fact.price, str(fact.when)) == (Kind.SALE, Money(4700, "GBP"), "2025-11-03")


def test_labelled_lines_in_german_with_a_photo(take):
    photo = b"\x89PNG..."
    _, fact = take("DE-9.html", GERMAN, {"DE-9_files/photo.png": photo})[0]
    assert (fact.kind, fact.price, str(fact.when)) == (Kind.AUCTION, Money(4700, "EUR"), "2025-11-19")
    assert (fact.postage.kind, fact.postage.amount) == (PostageKind.PAID, Money(650, "EUR"))
    assert fact.id == "quayside/DE-9"
    assert fact.photos == (hashlib.sha256(photo).hexdigest(),)
    assert fact.title == "Nachttaucher auf Karte"


def test_the_place_of_a_field_is_its_characters_in_the_visible_text(take):
    reading, _ = take("DE-9.html", GERMAN)[0]
    text = visible_text(GERMAN.encode())
    spans = [f for f in reading.fields if f.where.startswith("visible text ")]
    assert {"price", "postage", "ended", "bids", "seller"} <= {f.name for f in spans}
    for f in spans:
        start, end = map(int, f.where.removeprefix("visible text ").split("-"))
        assert text[start:end] == f.text


def test_what_it_sold_for_goes_before_a_structured_ask(take):
    sold = {**ANVIL, "offers": {**ANVIL["offers"], "availability": "https://schema.org/SoldOut"}}
    html = page(sold).replace("<body>", "<body><p>Sold for $47.00</p><p>Sold on 3 Nov 2025</p>")
    _, fact = take("a.html", html)[0]
    assert (fact.kind, fact.price, fact.ask) == (Kind.SALE, Money(4700, "USD"), Money(11999, "USD"))


@pytest.mark.parametrize(
    ("words", "kind"),
    [
        ("<p>Sold for £47</p><p>Sold on 3 Nov 2025</p>", Kind.SALE),
        ("<p>Asked £60</p><p>Ended without a buyer on</p><p>3 Nov 2025</p>", Kind.UNSOLD),
        ("<p>Asked £60</p><p>Sold by an accepted offer, price hidden, on</p><p>3 Nov 2025</p>", Kind.OFFER),
        ("<p>Start price: £60</p><p>Ended without a bid on</p><p>3 Nov 2025</p>", Kind.START),
        ("<p>Asked £60</p><p>Still on offer, seen on</p><p>3 Nov 2025</p>", Kind.ASK),
    ],
)
def test_outcomes_in_words(take, words, kind):
    _, fact = take("quayside-gb.html", f"<h1>Night diver</h1>{words}<p>Sold as seen, questions welcome.</p>")[0]
    assert (fact.kind, str(fact.when)) == (kind, "2025-11-03")


def test_a_script_in_a_title_is_text(take):
    title = "<script>alert('x')</script> night diver"
    html = page({**ANVIL, "name": title})
    assert take("a.html", html.replace("</script> night", "<\\/script> night"))[0][1].title == title


def test_script_is_not_visible_text():
    assert visible_text(b"<p>a<style>b</style><script>c</script><!-- d --> e</p>") == "a e"


def test_a_page_nested_deeper_than_the_stack_is_read():
    assert visible_text(b"<div>" * 1_900 + b"x" + b"<p>y" * 5_000).startswith("x\ny")


def test_a_page_nested_beyond_reason_is_refused():
    with pytest.raises(SourceError, match="nested more than 2,000 elements deep"):
        visible_text(b"<div>" * 100_000 + b"x" + b"</div>" * 100_000)


def test_json_ld_that_is_no_json_or_endless_is_left_aside(take):
    for bad in ("{", "[" * 100_000, '{"@type": "Product", "offers": ' * 5_000):
        html = f'<script type="application/ld+json">{bad}</script><h1>Night diver</h1><p>Sold for £4</p>'
        _, fact = take("a.html", html)[0]
        assert isinstance(fact, Problem)
        assert fact.what == "Date is missing"


def test_a_page_of_more_than_20_mb_is_refused(take):
    with pytest.raises(SourceError, match="larger than 20 MB"):
        take("a.html", b"<html>" + b" " * LARGEST_PAGE)


def test_a_page_of_several_products_gives_each(take):
    two = [ANVIL, {**ANVIL, "name": "Small Anvil", "sku": "2"}]
    assert [(r.locator, f.title) for r, f in take("a.html", page(two))] == [
        ("page, item 1", "Executive Anvil"),
        ("page, item 2", "Small Anvil"),
    ]


def test_the_excerpt_of_a_page_marks_what_was_read(take):
    reading, _ = take("DE-9.html", GERMAN)[0]
    excerpt = raw_excerpt(GERMAN.encode(), Media.HTML, reading.locator, None, reading.fields)
    marked = {m.name: excerpt.text[m.start : m.end] for m in excerpt.marks}
    assert marked["price"] == "47,00 €"
    assert marked["postage"] == "6,50 €"


def test_the_excerpt_of_structured_data_stands_below_the_text(take):
    html = page(ANVIL)
    reading, _ = take("a.html", html)[0]
    excerpt = raw_excerpt(html.encode(), Media.HTML, "page", None, reading.fields)
    assert "JSON-LD offers.price: 119.99" in excerpt.text
    assert {excerpt.text[m.start : m.end] for m in excerpt.marks if m.name == "price"} == {"119.99"}
