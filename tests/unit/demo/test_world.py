"""A small world: the same for the same seed, true to its own locators, and silent about the truth."""

import csv
import hashlib
import html
from pathlib import Path

import fastexcel
import polars as pl
import pytest

from hangtab.demo import write_world
from hangtab.demo.general import CONDITIONS, FEATURES, FLAWS, WORDS
from hangtab.domain.errors import HangtabError
from hangtab.domain.progress import Step
from hangtab.domain.subject import Packaging, Seal, Subject

LANGUAGES = ("en", "de", "fr", "nl")
ENCODINGS = ("utf-8-sig", "cp1252")


@pytest.fixture(scope="module")
def told(small):
    return pl.read_parquet(small / "truth" / "evidence.parquet")


def prints(folder):
    return {
        str(p.relative_to(folder)): hashlib.sha256(p.read_bytes()).hexdigest() for p in folder.rglob("*") if p.is_file()
    }


def text_of(path):
    for encoding in ENCODINGS:
        try:
            return path.read_text(encoding=encoding)
        except UnicodeDecodeError:
            continue
    raise AssertionError(path)


def test_the_same_seed_gives_the_same_bytes(small, tmp_path):
    write_world(tmp_path / "again", scale=0.05)
    write_world(tmp_path / "other", seed=8, scale=0.05)
    assert prints(tmp_path / "again") == prints(small)
    assert prints(tmp_path / "other") != prints(small)


def test_progress_is_told(tmp_path):
    steps: list[Step] = []
    write_world(tmp_path / "world", scale=0.02, on_step=steps.append)
    assert {s.stage for s in steps} >= {"inventing the lines", "letting the market run", "writing the truth"}


def test_an_earlier_world_is_replaced_and_anything_else_refused(tmp_path):
    write_world(tmp_path, seed=1, scale=0.02)
    stale = tmp_path / "sources" / "stale.csv"
    stale.write_text("old", encoding="utf-8")
    write_world(tmp_path, seed=2, scale=0.02)
    assert not stale.exists()
    (tmp_path / "README.txt").write_text("my holiday", encoding="utf-8")
    with pytest.raises(HangtabError, match="not of a demo world"):
        write_world(tmp_path, scale=0.02)
    assert (tmp_path / "sources").exists()


def test_everything_says_that_it_is_invented(small):
    assert "invented" in (small / "README.txt").read_text(encoding="utf-8")
    for path in (small / "catalogue").rglob("*.toml"):
        assert "invented" in path.read_text(encoding="utf-8"), path


def test_sources_carry_no_truth(small, told):
    words = {w.split(":")[0] for ws in told["wrong"] for w in ws.split(";")} - {"", "bad row"}
    words |= {"true_subject", "said_subject", "crowd", "mood_log", "transplanted", "is_wrong"}
    for path in (small / "sources").rglob("*"):
        if path.suffix in (".csv", ".txt", ".html"):
            text = text_of(path)
            assert not [w for w in words if w in text], path


def test_every_catalogue_line_loads(catalogue):
    assert set(catalogue.lines) == {"tidewardens", "lantern-circus", "skyloom"}
    assert len(catalogue.releases) > 200
    assert set(catalogue.graders) == {"northgate", "plumb"}
    assert catalogue.changes["tw-harbour-master-2-raised-date"].known_since is not None
    assert {"lc-lamplighter", "tw-lamplighter"} <= set(catalogue.characters)


def test_the_day_one_questions_have_their_pieces(catalogue):
    sticky = [
        r for r in catalogue.releases.values() if r.id.startswith("tw-harbour-master") and "glow-sticker" in r.features
    ]
    assert [r.id for r in sticky] == ["tw-harbour-master-2"]
    assert "territory-b" in sticky[0].features
    assert "tw-night-diver-first-shot-unpainted" in catalogue.prototypes
    assert "sk-warp-kite-f-sail" in catalogue.parts


def test_every_word_of_a_seller_is_in_the_catalogue(catalogue):
    words = {(w.role, w.text.casefold()) for w in catalogue.words}
    for role, by in WORDS.items():
        for texts in by.values():
            assert {(role, t.casefold()) for t in texts} <= words
    for rows, known in ((FLAWS, catalogue.flaws), (CONDITIONS, catalogue.conditions), (FEATURES, catalogue.features)):
        for row in rows:
            names = known[row.id].names
            every = {names.name.casefold()} | {a.text.casefold() for a in names.aliases}
            assert {row.names.name.casefold()} | {a.text.casefold() for a in row.names.aliases} <= every, row.id


def test_every_subject_is_one_of_the_catalogue(told, catalogue):
    for column in ("said_subject", "true_subject"):
        for key in told[column].unique():
            if not key:
                continue
            subject = Subject.parse(key)
            assert subject.key == key
            known = subject.thing in catalogue.characters or catalogue.chain(subject.thing)
            assert known
            assert {f.id for f in subject.features} <= set(catalogue.features)
            assert set(subject.flaws) <= set(catalogue.flaws)
            assert {p.id for p in subject.parts} <= set(catalogue.parts)


def test_a_text_names_the_only_thing_that_fits(told):
    for row in told.filter("nameable").iter_rows(named=True):
        assert row["fits"] == Subject.parse(row["said_subject"]).thing


def test_sealed_is_said_only_where_the_title_says_so(told):
    titled = told.filter(pl.col("nameable") & (pl.col("title") != ""))
    sealed = titled.filter(pl.col("said_subject").str.split("|").list.get(2) == Seal.SEALED)
    assert set(sealed["said_subject"].str.split("|").list.get(1)) <= {Packaging.CARDED, Packaging.BOXED}
    stems = pl.col("title").str.to_lowercase().str.contains("seal|versie|scell|verze")
    assert sealed.select(stems.mean()).item() > 0.93  # a slip of the fingers may hit the word itself


def rows_of(path):
    """Cells by locator."""
    if path.suffix == ".csv":
        text = text_of(path)
        lines = list(csv.reader(text.splitlines(), delimiter=";" if ";" in text.splitlines()[0] else ","))
        return {f"row {k}": cells for k, cells in enumerate(lines, start=1)}
    if path.suffix == ".xlsx":
        book = fastexcel.read_excel(path)
        found = {}
        for name in book.sheet_names:
            frame = book.load_sheet(name, header_row=None, skip_rows=0, dtypes="string").to_polars()
            for k, cells in enumerate(frame.iter_rows(), start=1):
                found[f"sheet {name}, row {k}"] = [c or "" for c in cells]
        return found
    if path.suffix == ".txt":
        return {f"line {k}": [line] for k, line in enumerate(path.read_text(encoding="utf-8").splitlines(), start=1)}
    return {"page": [html.unescape(path.read_text(encoding="utf-8"))]}


def test_every_locator_names_the_row_that_was_written(small, told):
    for (name,), rows in told.group_by("file"):
        cells = rows_of(small / "sources" / name)
        for row in rows.iter_rows(named=True):
            there = cells[row["locator"]]
            if not row["title"]:  # a list that tells the piece by columns
                assert row["listing"] in there
            elif name.endswith((".txt", ".html")):
                assert row["title"].casefold() in there[0].casefold()
            else:
                assert row["title"].encode("cp1252", "replace").decode("cp1252") in there or row["title"] in there


def test_no_row_of_a_source_is_without_its_truth(small, told):
    known = set(zip(told["file"], told["locator"], strict=True))
    exports = list((small / "sources" / "quayside").rglob("*.csv"))
    assert exports
    for path in exports:
        name = str(path.relative_to(small / "sources"))
        for locator in list(rows_of(path))[1:]:
            assert (name, locator) in known


def test_sources_come_in_every_dress(small):
    files = {str(p.relative_to(small / "sources")): p for p in (small / "sources").rglob("*") if p.is_file()}
    heads = {text_of(p).splitlines()[0] for n, p in files.items() if n.endswith(".csv")}
    assert any("Verkaufspreis;Preisvorstellung" in h for h in heads)
    assert any("Prix de vente;Prix demandé" in h for h in heads)
    assert any("Sold for,Asked" in h for h in heads)
    raw = [p.read_bytes() for n, p in files.items() if n.endswith(".csv")]
    assert any(b.startswith(b"\xef\xbb\xbf") for b in raw)
    assert any(b"\xe4ufer" in b for b in raw)  # "Verkäufer" in Windows-1252
    pages = [p.read_text(encoding="utf-8") for n, p in files.items() if n.endswith(".html")]
    assert any("application/ld+json" in p for p in pages)
    assert any("itemprop" in p for p in pages)
    assert any("itemprop" not in p and "ld+json" not in p for p in pages)


def test_a_script_in_a_title_is_written_as_text(small):
    pages = [p.read_text(encoding="utf-8") for p in (small / "sources" / "saved").rglob("*.html")]
    marked = [p for p in pages if "alert(" in p]
    assert len(marked) == 1
    assert "&lt;script&gt;alert" in marked[0]
    assert "<script>alert" not in marked[0].replace("<script>alert('not run')<\\/script>", "")


def test_each_page_has_a_small_photo_beside_it(small):
    for page in (small / "sources" / "saved").rglob("*.html"):
        (photo,) = page.with_name(f"{page.stem}_files").iterdir()
        assert photo.stat().st_size < 25_000
        assert Path(f"{page.stem}_files") / photo.name == Path(
            page.read_text(encoding="utf-8").split('src="')[1].split('"')[0]
        )


def test_one_listing_is_both_exported_and_saved(told):
    twice = told.filter(pl.col("evidence") != "").group_by("evidence").agg(pl.col("file").unique())
    both = twice.filter(pl.col("file").list.len() > 1)["file"].to_list()
    assert any(any("saved/" in f for f in files) and any(f.endswith(".csv") for f in files) for files in both)


def test_a_month_was_exported_twice(small, told):
    again = told.filter(pl.col("file").str.contains("december-again"))
    assert len(again) > 0
    first = told.filter(pl.col("evidence").is_in(again["evidence"].to_list()) & ~pl.col("file").str.contains("again"))
    assert set(first["evidence"]) == set(again["evidence"])


def test_bad_rows_are_there_and_known(small, told):
    bad = told.filter("bad_row")
    assert set(bad["wrong"].str.extract("bad row: (.*)")) == {
        "letter for zero", "impossible date", "no date", "no price", "too large"
    }  # fmt: skip


def test_worths_stand_at_the_end_of_the_world(small):
    worths = pl.read_parquet(small / "truth" / "worths.parquet")
    assert len(worths) > 100
    assert (worths["middle"] > 0).all()
    assert set(worths["currency"]) == {"EUR"}
    assert {str(d) for d in worths["at"]} == {"2026-10-30"}
    assert (worths["sold"] <= worths["draws"]).all()
    assert (worths["sold"] > 0).all()
    for key in worths["subject"]:
        assert Subject.parse(key).key == key


def test_what_sells_is_dearer_than_what_would_without_a_start_price(small):
    """A start price keeps the cheapest auctions from being sales, and lifts those with one bidder."""
    worths = pl.read_parquet(small / "truth" / "worths.parquet")
    lift = (worths["middle"] / worths["unreserved"]).log()
    assert 0.05 < lift.mean() < 0.2
    assert (lift > -0.1).all()
