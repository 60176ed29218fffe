"""The pages on invented values: what they show, what they refuse, what they never let through."""

import csv
import io
import re
from decimal import Decimal

import pytest
from fastapi.testclient import TestClient

from hangtab.domain.errors import BookError
from hangtab.domain.money import Money
from hangtab.domain.price import AllInPrice, PriceStep, StepKind
from hangtab.web.app import create_app
from hangtab.web.evidence import picture_type, steps
from tests.unit.web.fake_desk import FakeDesk
from tests.unit.web.fake_values import GRADED, HOSTILE, RAW, SHA_PAGE, SHA_PHOTO

QUESTION = "/?q=harbour+master+glow+sticker+34+graded,+territory+B"
PAGES = (
    "/", QUESTION, f"{QUESTION}&price=300", "/?q=night+diver", "/?q=34%2B+yellowed+against+clear", "/sales", "/settle",
    "/settle?id=row:17", "/settle?at=99", "/take-ins", "/evidence/quayside/q0", "/?q=tidewatch", "/nowhere",
)  # fmt: skip


@pytest.fixture
def desk():
    return FakeDesk(title=HOSTILE)


@pytest.fixture
def client(desk):
    return TestClient(create_app(desk), follow_redirects=False)


def plain(html):
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", "", html))


@pytest.mark.parametrize("page", PAGES)
def test_every_page_is_locked_and_carries_no_script_or_style_of_its_own(client, page):
    reply = client.get(page)
    policy = reply.headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert reply.headers["x-content-type-options"] == "nosniff"
    assert HOSTILE not in reply.text
    assert not re.search(r"<style|\sstyle=|\son\w+=|<script(?![^>]*\ssrc=\"/static/)|javascript:", reply.text)
    assert not re.search(r"(?:src|href|action)=\"(?:https?:)?//", reply.text)


def test_hostile_text_is_shown_as_text(client):
    assert "&lt;script&gt;" in client.get("/evidence/quayside/q0").text
    assert "&lt;script&gt;" in client.get(QUESTION).text
    assert "&lt;b&gt;" in client.get("/?q=<b>bold</b>").text


def test_answer_shows_figure_range_and_sum(client):
    page = plain(client.get(QUESTION).text)
    assert "Of ten next sales, eight fall between €142 and €236, five between €160 and €209." in page
    assert "The rest of the market" in page
    rows = re.findall(r'<td class="num">([^<]*)</td><td class="num">([^<]*)</td></tr>', client.get(QUESTION).text)
    counts, moves = [[float(x.replace("−", "-")) for x in column] for column in zip(*rows[:8], strict=True)]
    assert round(sum(counts[:7]), 1) == counts[7] == 100.0
    assert round(sum(moves[:7]), 2) == moves[7]


@pytest.mark.parametrize(
    ("price", "said"),
    [
        ("300", "€300.00, 64 % above the middle"),
        ("90", "€90.00, 51 % below the middle"),
        ("47+18 post", "€65.00, 64 % below"),
    ],
)
def test_a_price_gets_its_place_in_words(client, price, said):
    page = plain(client.get(QUESTION, params={"q": "harbour master", "price": price}).text)
    assert said in page


def test_never_seen_sold_has_a_range_for_a_figure(client):
    page = client.get("/?q=night+diver").text
    assert "wideopen" in page
    assert "No sale is known." in page
    assert "Comparables" not in page


def test_unknown_line_is_refused_with_what_is_known(client):
    reply = client.get("/?q=tidewatch")
    assert reply.status_code == 404
    assert "No line or piece called “Tidewatch”" in reply.text
    assert "Lantern Circus" in reply.text


@pytest.mark.parametrize(
    ("page", "status", "said"),
    [
        (f"{QUESTION}&price=1e309x", 400, "Not a price"),
        (f"{QUESTION}&at=2026-02-31", 400, "Not a day: 2026-02-31"),
        ("/sales?since=2026-02-31", 400, "Not a day"),
        ("/sales?offset=minus", 400, "valid integer"),
        ("/evidence/quayside/../x", 404, "no such"),
        ("/evidence/elsewhere/1", 404, "The book has no such evidence"),
        ("/photo/00", 400, "no such photo"),
        (f"/photo/{SHA_PAGE}", 400, "no such photo"),
        ("/source/00", 400, "no such source"),
        ("/nowhere", 404, "There is no such page"),
        ("/static/fonts/Other.ttf", 404, "No such face"),
    ],
)
def test_stated_failures_have_their_status_and_say_what(client, page, status, said):
    reply = client.get(page)
    assert reply.status_code == status
    assert said in plain(reply.text)


def test_a_failing_book_still_gets_its_error_page(desk, monkeypatch):
    def fail(*_, **__):
        raise BookError("The book is of a newer version", where="demo.hangtab", mend="Update Hangtab")

    for name in ("info", "sales"):
        monkeypatch.setattr(desk, name, fail)
    reply = TestClient(create_app(desk)).get("/sales")
    assert reply.status_code == 503
    assert "The book is of a newer version" in reply.text


def test_question_about_sales_goes_to_the_list(client):
    reply = client.get("/?q=all+harbour+master+sales+since+last+autumn")
    assert reply.status_code == 303
    assert reply.headers["location"].startswith("/sales?thing=harbour-master&since=2026-09-01&said=")


def test_sales_file_has_no_formula_and_numbers_stay_numbers(client):
    rows = list(csv.DictReader(io.StringIO(client.get("/sales.csv").text)))
    assert len(rows) == 240
    titles = {r["title"] for r in rows}
    assert '\'=HYPERLINK("x")' in titles
    assert not [t for r in rows for t in r.values() if t and t[0] in "=+-@\t\r"]
    assert {bool(re.fullmatch(r"\d+\.\d\d", r["all_in"])) for r in rows if r["all_in"]} == {True}


def test_sales_are_filtered_sorted_and_paged(client):
    assert "240 found" in client.get("/sales").text
    page = client.get("/sales?venue=harrow-lane&order=-all_in").text
    assert "80 found" in page
    prices = [float(p) for p in re.findall(r'<td class="num">(\d+\.\d\d)</td>', page)]
    assert prices == sorted(prices, reverse=True)
    assert "101 to 200 of 240" in client.get("/sales?offset=100").text
    assert "No sale in the book answers to this" in client.get("/sales?q=zzz").text


def test_evidence_opens_down_to_its_source_and_photo(client):
    page = client.get("/evidence/quayside/q0").text
    for said in ("Hammer, £", "× 1.1526", "171.62", f"/photo/{SHA_PHOTO}", f"/source/{SHA_PAGE}", "<mark"):
        assert said in page
    fragment = client.get("/evidence/quayside/q0/open").text
    assert fragment.lstrip().startswith('<div class="open">')
    assert client.get("/evidence/elsewhere/1/open").text.lstrip().startswith('<div class="error"')


def test_a_rate_has_as_many_digits_as_its_total_can_show():
    """204.00 paid at a rate of thirty digits: the product of the shown figures is the shown total to the cent."""
    rate = Decimal("0.616903146206045650832819247")
    paid, total = Money.of("204.00", "CAD"), Money.of("125.85", "EUR")
    said = (
        PriceStep(StepKind.PAID, "Paid", paid),
        PriceStep(StepKind.RATE, "Reference rate of 28 Nov 2025", rate=rate),
        PriceStep(StepKind.ALL_IN, "All-in price", total),
    )
    shown = steps(AllInPrice(total, total, said))
    assert [s["label"] for s in shown] == [
        "Paid, C$",
        "Reference rate of 28 Nov 2025, €\u00a0for\u00a0C$1",
        "All-in price, €",
    ]
    assert shown[1]["figure"] == "× 0.616903"
    assert round(Decimal("204.00") * Decimal("0.616903"), 2) == total.amount


def test_a_source_leaves_only_as_a_plain_download(client):
    reply = client.get(f"/source/{SHA_PAGE}")
    assert reply.headers["content-type"].startswith("text/plain")
    assert reply.headers["content-disposition"] == "attachment; filename*=UTF-8''lot%20318.html"
    assert client.get(f"/photo/{SHA_PHOTO}").headers["content-type"] == "image/png"


def test_settle_takes_sets_aside_and_undoes(client, desk):
    page = client.get("/settle").text
    assert page.count('type="radio"') == 3
    form = {"id": "quayside/q77", "at": "1"}
    assert (
        client.post("/settle", data={**form, "act": "take", "choice": RAW.key}).headers["location"]
        == "/settle?at=1&done=taken"
    )
    client.post("/settle", data={**form, "act": "none", "choice": GRADED.key})
    client.post("/settle", data={**form, "act": "aside"})
    assert [c for _, c in desk.settled] == [RAW.key, "none", "aside"]
    assert client.post("/settle/undo").headers["location"] == "/settle?id=quayside%2Fq77&done=undone"
    assert len(desk.settled) == 2
    assert client.post("/settle", data={**form, "act": "take"}).status_code == 400


def test_take_ins_are_listed_and_undone(client, desk):
    assert "spring.xlsx" in client.get("/take-ins").text
    assert client.post("/take-ins/3/undo").headers["location"] == "/take-ins?undone=386"
    assert desk.undone == [3]
    assert "Taken back: 386 pieces of evidence." in client.get("/take-ins?undone=386").text


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "https://evil.example"},
        {"Origin": "null"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
    ],
)
def test_forms_from_other_sites_are_refused(client, desk, headers):
    assert client.post("/settle/undo", headers=headers).status_code == 403
    assert client.post("/settle", data={"id": "x", "act": "aside"}, headers=headers).status_code == 403
    assert desk.settled == []


def test_other_host_names_are_refused(client):
    assert client.get("/", headers={"Host": "rebound.example"}).status_code == 400
    assert client.get("/", headers={"Host": "127.0.0.1:8000"}).status_code == 200


def test_api_keeps_the_contract(client):
    said = client.get("/api/worth", params={"text": "harbour master 34", "price": "65"}).json()
    assert list(said["middle"]) == ["median", "mean", "ranges"]
    assert said["verdict"]["price"] == 65
    assert said["subject"]["key"] == GRADED.key
    assert list(client.get("/api/name", params={"text": "harbour master"}).json()[0]) == [
        "subject",
        "text",
        "probability",
        "for",
        "against",
    ]
    assert len(client.get("/api/subjects?limit=2").json()) == 2
    assert client.get("/api/suggest?text=night").json()[0]["kind"] == "release"
    assert client.get("/api/sales?venue=quayside").json()["total"] == 80
    refused = client.get("/api/worth?text=tidewatch")
    assert (refused.status_code, sorted(refused.json())) == (404, ["mend", "what", "where"])
    assert client.get("/api/worth?text=a+against+b").status_code == 404


def test_api_is_described(client):
    paths = client.get("/api/openapi.json").json()["paths"]
    assert sorted(paths) == [
        "/api/name",
        "/api/sales",
        "/api/subjects",
        "/api/suggest",
        "/api/track-record",
        "/api/worth",
    ]


def test_theme_can_be_fixed():
    assert 'data-theme="dark"' in TestClient(create_app(FakeDesk(), theme="dark")).get("/").text
    assert "data-theme" not in TestClient(create_app(FakeDesk())).get("/").text


def test_fonts_and_style_come_from_here(client):
    assert client.get("/static/fonts/FiraSans-Regular.ttf").headers["content-type"] == "font/ttf"
    css = client.get("/static/book.css").text
    assert not re.search(r"https?://|@import", css)


def test_several_pieces_get_no_single_worth(client):
    page = client.get("/?q=nine+stickers+in+one+lot").text
    assert "cannot be valued as one" in page
    assert 'class="figure' not in page
    assert client.get("/api/worth?text=nine+in+one+lot").status_code == 404


def test_a_question_about_the_last_piece_keeps_it(client):
    first = client.get("/?q=harbour+master").text
    about = re.search(r'name="about" value="([^"]+)"', first)[1]
    assert about == GRADED.key
    assert "names no piece" in client.get("/?q=34%2B").text
    answered = client.get("/", params={"q": "34+", "about": about}).text
    assert "Read as about" in answered
    # A price alone is about it as well.
    assert "€65.00" in client.get("/", params={"price": "47 + 18 post", "about": about}).text


def test_a_comparable_that_is_another_piece_says_which(client):
    page = client.get("/?q=harbour+master").text
    assert page.count('<span class="sub piece">no glow sticker</span>') == 1


def test_a_fit_is_begun_by_a_form_of_this_site_only(client, desk):
    assert "Twelve newer pieces of evidence and one answer since the fit." in client.get("/sales").text
    assert client.post("/fit", headers={"sec-fetch-site": "cross-site"}).status_code == 403
    assert desk.fits == 0
    back = client.post("/fit", headers={"referer": "http://testserver/sales?q=diver"}, follow_redirects=False)
    assert (back.status_code, back.headers["location"], desk.fits) == (303, "/sales?q=diver", 1)
    elsewhere = client.post("/fit", headers={"referer": "http://evil.example//x"}, follow_redirects=False)
    assert elsewhere.headers["location"] == "/"
    assert "A new fit is being made" in client.get("/").text
    assert client.get("/fit/state").json()["fitting"] is True


def test_what_narrows_the_list_can_be_dropped(client):
    page = client.get("/sales?thing=harbour-master&thing=glow-sticker&graded=yes").text
    assert "<b>Harbour Master</b>" in page
    assert 'href="/sales?thing=harbour-master&amp;graded=yes"' in page


def test_a_photo_is_told_by_its_bytes(client):
    assert picture_type(b"\x89PNG\r\n\x1a\n...") == "image/png"
    assert picture_type(b"\xff\xd8\xff\xe0") == "image/jpeg"
    assert picture_type(b"RIFF....WEBPVP8 ") == "image/webp"
    assert client.get(f"/photo/{SHA_PAGE}").status_code == 400


def test_a_failure_of_the_program_still_has_a_page(desk, monkeypatch):
    monkeypatch.setattr(desk, "take_ins", lambda: 1 / 0)
    page = TestClient(create_app(desk), raise_server_exceptions=False).get("/take-ins")
    assert page.status_code == 500
    assert "default-src 'none'" in page.headers["content-security-policy"]
    assert "The program failed here" in page.text
    assert "ZeroDivisionError" not in page.text
