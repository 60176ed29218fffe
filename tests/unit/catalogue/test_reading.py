"""The catalogue says what its files say, and names every slip with file, line, key and mend."""

from datetime import date
from decimal import Decimal

import pytest

from hangtab.catalogue import read_catalogue, starter_files, variants
from hangtab.catalogue.model import Alias, Chain, Tier
from hangtab.domain.errors import CatalogueError
from hangtab.domain.subject import Packaging
from tests.unit.catalogue.files import FILES, as_bytes


def problems(change):
    with pytest.raises(CatalogueError) as caught:
        read_catalogue(as_bytes(change=change))
    assert caught.value.problems[0].where == caught.value.where
    return caught.value.problems


def edited(path, old, new):
    assert old in FILES[path]
    return {path: FILES[path].replace(old, new)}


def with_file(path, content):
    return read_catalogue(as_bytes(change={path: content}))


@pytest.fixture(scope="module")
def catalogue():
    return read_catalogue(as_bytes())


def test_names_and_aliases_keep_their_language(catalogue):
    harbour_master = catalogue.characters["harbour-master"]
    assert harbour_master.names.aliases == (Alias("harbor master"), Alias("Hafenmeister", "de"))
    assert harbour_master.kind == "character"
    assert catalogue.characters["keeper"].names.name == "Keeper, old"
    assert catalogue.makers["marrow-pike"].aliases == (Alias("M&P"), Alias("Kürbis und Hecht", "de"))


def test_what_is_left_out_is_filled(catalogue):
    release = catalogue.releases["tw-hm-2"]
    assert release.figure == "harbour-master-f"
    assert release.year == 1993  # its card's
    assert catalogue.releases["tw-hm-1"].year == 1991  # its line's: the card gives none
    assert release.packaging is Packaging.CARDED
    assert catalogue.releases["tw-gull"].packaging is Packaging.BOXED
    assert catalogue.releases["tw-keeper-1"].figure == "keeper-red"


def test_cards_stand_in_order_of_issue(catalogue):
    assert [card.id for card in catalogue.lines["tidewardens"].cards] == ["tw-card-1", "tw-card-2"]


def test_a_chain_runs_from_line_to_change(catalogue):
    expected = Chain("tidewardens", "harbour-master", "harbour-master-f", "tw-hm-2", "hm-2-short")
    assert catalogue.chain("hm-2-short") == expected
    assert catalogue.changes["hm-2-short"].known_since == date(2019, 4, 1)


def test_a_prototype_says_all_that_tells_it_from_another():
    row = "id,character,stage,finish,colours,date_marks,parts,paperwork\n"
    row += "tw-shot,keeper,first shot,unpainted,grey;blue,12 Mar 1994,lamp,sign-off sheet\n"
    found = with_file("lines/tidewardens/prototypes.csv", row).prototypes["tw-shot"]
    assert (found.colours, found.date_marks) == (("grey", "blue"), ("12 Mar 1994",))
    assert (found.parts, found.paperwork) == (("lamp",), ("sign-off sheet",))


def test_a_measure_belongs_to_something_known():
    row = "id,of,what,mm,tolerance_mm\nm-sticker,glow-sticker,diameter,19,0.5\n"
    found = with_file("lines/tidewardens/measures.csv", row).measures["m-sticker"]
    assert (found.of, found.what, found.mm, found.tolerance_mm) == ("glow-sticker", "diameter", 19.0, 0.5)
    with pytest.raises(CatalogueError, match="Unknown of: 'glow-stickr'") as caught:
        with_file("lines/tidewardens/measures.csv", row.replace("glow-sticker", "glow-stickr"))
    assert "line 2" in caught.value.where


def test_a_signature_says_who_signed_and_what():
    content = (
        FILES["features.csv"]
        .replace("aliases\n", "aliases,signer,inscription\n")
        .replace("canadienne\n", "canadienne,,\n")
    )
    content = content.replace(",glow\n", ",glow,,\n") + "signed-2,signature,signed,,no,,sculptor 2,Keep the light\n"
    found = with_file("features.csv", content).features["signed-2"]
    assert (found.signer, found.inscription) == ("sculptor 2", "Keep the light")


def test_a_redirect_is_followed_to_its_end(catalogue):
    assert catalogue.chain("tw-old-keeper").release == "tw-keeper-1"


def test_shares_are_exact_with_and_without_quotes(catalogue):
    (premium,) = catalogue.venues["harrow-lane"].premiums
    assert premium.tiers == (Tier(Decimal("0.25"), Decimal(100)), Tier(Decimal("0.20")))
    assert premium.valid_from == date(2015, 1, 1)
    assert catalogue.venues["harrow-lane"].fees[0].fixed == Decimal("2.50")


def test_tax_is_the_newest_rule_of_the_day(catalogue):
    assert catalogue.tax("GB", date(2010, 1, 1)) == Decimal("0.15")
    assert catalogue.tax("GB", date(2011, 1, 4)) == Decimal("0.20")
    assert catalogue.tax("GB", date(2001, 1, 1)) == 0


def test_a_scale_knows_its_positions(catalogue):
    (scale,) = catalogue.graders["northgate"].scales
    assert scale.position("34+") == 85.0
    assert scale.position("35") is None
    assert [name.name for name in scale.subgrades] == ["board", "window", "piece"]


def test_the_own_rows_replace_the_starters(catalogue):
    assert catalogue.flaws["crease"].names.name == "creased card"
    assert [w.role for w in catalogue.words if w.text.casefold() == "loose" and w.language == "en"] == ["lot"]
    assert "near-mint" in catalogue.conditions


def test_the_starter_speaks_four_languages():
    words = read_catalogue({}).words
    roles = {word.role for word in words}
    for language in ("en", "de", "fr", "nl"):
        assert {word.role for word in words if word.language == language} == roles


def test_the_starters_conditions_run_from_worst_to_best():
    conditions = read_catalogue({}).conditions
    order = ["poor", "worn", "fair", "good", "very-good", "excellent", "near-mint", "mint"]
    assert sorted(conditions, key=lambda name: conditions[name].position) == order


def test_the_digest_follows_the_content():
    again = dict(reversed(as_bytes().items()))
    assert read_catalogue(again).digest == read_catalogue(as_bytes()).digest
    other = as_bytes(change=edited("taxes.csv", "0.15", "0.16"))
    assert read_catalogue(other).digest != read_catalogue(as_bytes()).digest


def test_each_combination_is_one_variant(catalogue):
    found = list(variants(catalogue))
    assert len(found) == len(set(found))
    assert [f for thing, _, f in found if thing == "tw-hm-2"] == [
        (),
        ("glow-sticker",),
        ("card-ca",),
        ("card-ca", "glow-sticker"),
    ]
    assert len([1 for thing, _, _ in found if thing == "hm-2-short"]) == 4
    assert ("keeper-grey", Packaging.LOOSE, ()) in found
    assert ("hm-shot", Packaging.PROTOTYPE, ()) in found
    assert len(found) == 3 + 4 + 4 + 4 + 1  # plain releases, one with features, its change, loose, prototype


LINE = "lines/tidewardens"
SLIPS = [
    # path, old text, new text, where, what, mend
    (
        f"{LINE}/releases.csv",
        "tw-keeper-1,keeper,",
        "tw-keeper-1,keper,",
        f"{LINE}/releases.csv, line 4, key character",
        "Unknown character: 'keper'",
        "did you mean keeper?",
    ),
    (
        f"{LINE}/releases.csv",
        "keeper-red",
        "keeper-blue",
        f"{LINE}/releases.csv, line 4, key figure",
        "Unknown figure",
        "figures.csv",
    ),
    (
        f"{LINE}/releases.csv",
        "tw-keeper-1,keeper,keeper-red",
        "tw-keeper-1,gull-boat,keeper-red",
        f"{LINE}/releases.csv, line 4, key figure",
        "Figure of another character",
        "gull-boat",
    ),
    (
        f"{LINE}/releases.csv",
        "card-ca; glow",
        "card-cx; glow",
        f"{LINE}/releases.csv, line 3, key features",
        "Unknown feature: 'card-cx'",
        "did you mean card-ca?",
    ),
    (
        f"{LINE}/releases.csv",
        "tw-card-1,1992",
        "tw-card-1,92",
        f"{LINE}/releases.csv, line 4, key year",
        "Cannot be used: '92'",
        "four digits",
    ),
    (f"{LINE}/releases.csv", "boxed", "bagged", f"{LINE}/releases.csv, line 5, key packaging", "'bagged'", "boxed"),
    (
        f"{LINE}/releases.csv",
        "tw-hm-2,harbour",
        "tw-hm-1,harbour",
        f"{LINE}/releases.csv, line 3, key id",
        "Id used twice: 'tw-hm-1'",
        "line 2",
    ),
    (
        f"{LINE}/releases.csv",
        "tw-hm-2,harbour",
        "TW HM 2,harbour",
        f"{LINE}/releases.csv, line 3, key id",
        "Cannot be used: 'TW HM 2'",
        "small letters",
    ),
    (
        f"{LINE}/characters.csv",
        "gull-boat,",
        "keeper-red,",
        f"{LINE}/figures.csv, line 3, key id",
        "Id used twice",
        "own",
    ),
    (
        f"{LINE}/characters.csv",
        "id,name,kind",
        "id,names,kind",
        f"{LINE}/characters.csv, line 1, key names",
        "Unknown column: 'names'",
        "did you mean name?",
    ),
    (
        f"{LINE}/characters.csv",
        '"Keeper, old"',
        "Keeper, old, grey",
        f"{LINE}/characters.csv, line 3",
        "6 cells under 4 column names",
        "quotes",
    ),
    (f"{LINE}/characters.csv", '"Keeper, old"', '"Keeper, old', f"{LINE}/characters.csv, line 3", "Not CSV", "quote"),
    (
        f"{LINE}/changes.csv",
        "2019-04-01",
        "2019-02-31",
        f"{LINE}/changes.csv, line 2, key known_since",
        "Not a date: '2019-02-31'",
        "a day that exists",
    ),
    (
        f"{LINE}/changes.csv",
        "tw-hm-2",
        "tw-hm-3",
        f"{LINE}/changes.csv, line 2, key release",
        "Unknown release",
        "tw-hm-",
    ),
    (
        f"{LINE}/prototypes.csv",
        "first shot",
        "",
        f"{LINE}/prototypes.csv, line 2, key stage",
        "No value for 'stage'",
        "proof",
    ),
    (f"{LINE}/parts.csv", "harbour-master", "nobody", f"{LINE}/parts.csv, line 2, key of", "Unknown of", "release"),
    (
        f"{LINE}/line.toml",
        '"marrow-pike"',
        '"marow-pike"',
        f"{LINE}/line.toml, line 4, key maker",
        "Unknown maker",
        "did you mean marrow-pike?",
    ),
    (
        f"{LINE}/line.toml",
        "last_year = 1997",
        "last_year = 1987",
        f"{LINE}/line.toml, line 6, key last_year",
        "before the first",
        "Exchange",
    ),
    (
        f"{LINE}/line.toml",
        "order = 1",
        "order = 2",
        f"{LINE}/line.toml, line 18, key cards.order",
        "Two cards of order 2",
        "order of issue",
    ),
    (
        f"{LINE}/line.toml",
        "order = 1",
        'order = "first"',
        f"{LINE}/line.toml, line 18, key cards.order",
        "Cannot be used: 'first'",
        "from 1",
    ),
    (
        f"{LINE}/line.toml",
        "width_mm",
        "widht_mm",
        f"{LINE}/line.toml, line 19, key cards.widht_mm",
        "Unknown key",
        "did you mean width_mm?",
    ),
    (
        f"{LINE}/line.toml",
        'name = "Tidewardens"',
        "name = Tidewardens",
        f"{LINE}/line.toml, line 2",
        "Not TOML",
        "quotes",
    ),
    (
        f"{LINE}/line.toml",
        'id = "tidewardens"',
        'id = "tidewarden"',
        f"{LINE}/line.toml, line 1, key id",
        "folder of 'tidewardens'",
        "rename the folder",
    ),
    (
        "graders/northgate.toml",
        '"34+" = 85',
        '"34+" = 79',
        "graders/northgate.toml, line 22, key scales.grades.34",
        "out of order",
        "Give 34",
    ),
    (
        "graders/northgate.toml",
        '"34+" = 85',
        '"34+" = 185',
        "graders/northgate.toml, line 21, key scales.grades.34+",
        "Cannot be used: 185",
        "0, the worst, to 100",
    ),
    (
        "graders/northgate.toml",
        "{grader} {grade}",
        "{grader} {garde}",
        "graders/northgate.toml, line 16, key scales.patterns",
        "Unknown placeholder {garde}",
        "did you mean grade?",
    ),
    (
        "graders/northgate.toml",
        '"{sub}"',
        '"sub"',
        "graders/northgate.toml, line 16, key scales.patterns",
        "Pattern without a grade",
        "{sub}",
    ),
    (
        "graders/northgate.toml",
        "'[0-9]{6}'",
        "'[0-9'",
        "graders/northgate.toml, line 3, key certificate",
        "Not a regular expression",
        "[0-9]{8}",
    ),
    (
        "venues/harrow-lane.toml",
        "0.20 }",
        "1.20 }",
        "venues/harrow-lane.toml, line 15, key premiums.tiers.share",
        "Cannot be used: 1.20",
        "share from 0 to 1",
    ),
    (
        "venues/harrow-lane.toml",
        "share = 0.20",
        'share = "0.20", up_to = "80"',
        "venues/harrow-lane.toml, line 15, key premiums.tiers.up_to",
        "Tier ends at 80",
        "above 100",
    ),
    (
        "venues/harrow-lane.toml",
        ', up_to = "100"',
        "",
        "venues/harrow-lane.toml, line 15, key premiums.tiers",
        "A tier without an end before the last",
        "up_to",
    ),
    (
        "venues/harrow-lane.toml",
        '"GBP"',
        '"pounds"',
        "venues/harrow-lane.toml, line 8, key sites.currency",
        "Cannot be used: 'pounds'",
        "ISO 4217",
    ),
    (
        "venues/harrow-lane.toml",
        '"auction house"',
        '"bazaar"',
        "venues/harrow-lane.toml, line 3, key kind",
        "'bazaar'",
        "fair",
    ),
    (
        "venues/harrow-lane.toml",
        "tax_on_premium = true",
        'tax_on_premium = "yes"',
        "venues/harrow-lane.toml, line 4, key tax_on_premium",
        "'yes'",
        "true or false",
    ),
    (
        "features.csv",
        "tidewardens,yes",
        "tidewarden,yes",
        "features.csv, line 3, key line",
        "Unknown line",
        "did you mean tidewardens?",
    ),
    ("taxes.csv", "0.15", "15 %", "taxes.csv, line 2, key rate", "'15 %'", "0.20 for 20 %"),
    ("words.csv", "noise", "static", "words.csv, line 2, key role", "'static'", "noise"),
    (
        "catalogue.toml",
        '"tw-keeper-1"',
        '"tw-keeper-9"',
        "catalogue.toml, line 8, key redirects.tw-old-keeper",
        "Redirect to nothing",
        "exists",
    ),
    (
        "catalogue.toml",
        "tw-old-keeper =",
        "tw-hm-1 =",
        "catalogue.toml, line 8, key redirects.tw-hm-1",
        "Redirected id still in use",
        "never used again",
    ),
]


@pytest.mark.parametrize(("path", "old", "new", "where", "what", "mend"), SLIPS, ids=range(len(SLIPS)))
def test_a_slip_is_named_with_its_place_and_mend(path, old, new, where, what, mend):
    found = problems(edited(path, old, new))
    assert where in [p.where for p in found]
    problem = next(p for p in found if p.where == where)
    assert what in problem.what
    assert mend in problem.mend


def test_all_problems_of_all_files_come_in_one_go():
    change = {
        **edited("taxes.csv", "0.15", "much"),
        **edited("venues/harrow-lane.toml", '"GBP"', "12"),
        **edited(f"{LINE}/releases.csv", "tw-gull,gull-boat", "tw-gull,gul-boat"),
        **edited("features.csv", "sticker,glow", "sparkle,glow"),
    }
    found = problems(change)
    # The feature of a bad row is still known: its slip is told once.
    assert {p.where.partition(",")[0] for p in found} == {
        "features.csv", "taxes.csv", "venues/harrow-lane.toml", f"{LINE}/releases.csv",
    }  # fmt: skip
    assert len(found) == 4


def test_a_missing_column_is_told_once():
    text = "country,valid_from\nGB,2008-12-01\nGB,2011-01-04\n"
    (problem,) = problems({"taxes.csv": text})
    assert (problem.what, problem.where) == ("No column 'rate'", "taxes.csv, line 1, key rate")


@pytest.mark.parametrize("encoding", ["utf-16", "latin-1"])
def test_another_encoding_is_told(encoding):
    text = FILES[f"{LINE}/characters.csv"].replace("Hafenmeister", "Häfenmeister").encode(encoding)
    found = problems({f"{LINE}/characters.csv": text})
    first = next(p for p in found if "UTF-8" in p.what)
    assert first.where == f"{LINE}/characters.csv, line {1 if encoding == 'utf-16' else 2}"
    assert first.mend == "Save the file as UTF-8"


def test_a_byte_order_mark_and_windows_line_ends_are_fine(catalogue):
    windows = {path: b"\xef\xbb\xbf" + text.encode().replace(b"\n", b"\r\n") for path, text in FILES.items()}
    assert read_catalogue(windows).releases == catalogue.releases
    assert read_catalogue(windows).graders == catalogue.graders


@pytest.mark.parametrize("cell", ["x" * 10_000_000, '"' + "x" * 10_000_000, '"' + "x\n" * 5_000_000 + '"'])
def test_a_cell_of_ten_megabytes_is_refused(cell):
    found = problems({"flaws.csv": f"id,name\ncrease,{cell}\n"})
    assert found[0].where.startswith("flaws.csv, line 2")
    assert all(len(p.what) < 200 for p in found)


@pytest.mark.parametrize(
    "text",
    [
        "name = 'x", "[[sites]", "a = 1\na = 2", "x = 2026-02-31", "x = 1e999999999999999999999", "x = nan", "x = inf",
        "[makers]\nid = 3", "makers = 3", "redirects = [1]", "cards = [1]", "\x00", "[" * 5000, "x = " + "[" * 5000,
        "[redirects]\na = 'b'\nb = 'a'",
    ],
)  # fmt: skip
def test_malformed_toml_is_a_problem_not_a_crash(text):
    assert any(p.where.startswith("catalogue.toml, line ") for p in problems({"catalogue.toml": text}))


@pytest.mark.parametrize("path", ["lines/Tide Wardens/line.toml", "venue/x.toml", "notes.csv", "lines/a/b/line.toml"])
def test_a_file_out_of_place_is_told(path):
    assert path in [p.where for p in problems({path: ""})]


def test_a_line_without_its_file_is_told():
    found = problems({f"{LINE}/line.toml": None})
    assert "A folder of a line without line.toml" in [p.what for p in found]


def test_an_empty_list_says_its_columns():
    found = problems({f"{LINE}/parts.csv": ""})
    assert [p.what for p in found] == ["No column 'id'", "No column 'of'", "No column 'name'"]


def test_the_starter_files_are_in_the_package():
    assert set(starter_files()) == {"words.csv", "flaws.csv", "conditions.csv"}
