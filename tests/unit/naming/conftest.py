# ruff: noqa: E501 - a catalogue by hand reads best as a table, one row a line
"""A small invented catalogue, by hand, so that these tests rest on nothing but the model."""

from datetime import date

import pytest

from hangtab.catalogue.model import (
    Alias,
    Card,
    Catalogue,
    Change,
    Character,
    ConditionDef,
    FeatureDef,
    FeatureKind,
    Figure,
    FlawDef,
    Grade,
    Grader,
    Line,
    Names,
    PartDef,
    Prototype,
    Qualifier,
    Release,
    Scale,
    Word,
)  # fmt: skip
from hangtab.domain.subject import Packaging
from hangtab.naming import Namer


def names(text):
    first, *rest = text.split(";")
    pairs = [(t, p) if t else (p, "") for p, _, t in (r.partition(":") for r in rest)]
    return Names(first, tuple(Alias(t, language) for t, language in pairs))


def by_id(*rows):
    return {row.id: row for row in rows}


CARDED, BOXED, LOOSE = Packaging.CARDED, Packaging.BOXED, Packaging.LOOSE
TW_CARDS = tuple(
    Card(f"tw-card-{n}", names(text), n, 1989 + 2 * n)
    for n, text in enumerate(("first card;de:erste Karte", "second card;card 2;de:zweite Karte", "third card"), 1)
)
FORTY = Scale(
    "forty",
    tuple(
        Grade(f"{n}{p}", min(2.5 * n + (1 if p else 0), 100))
        for n in range(2, 41, 2)
        for p in ("", "+")
        if n < 40 or not p
    ),
    (names("board"), names("window"), names("piece")),
    ("{grader} {grade}", "{grader} {grade} ({sub})", "{name} {grade}", "graded {grade}"),
    (CARDED, BOXED),
)
FORTY_LOOSE = Scale("forty-loose", FORTY.grades, (), ("{grader} {grade}",), (LOOSE,))
TWELVE = Scale(
    "twelve",
    tuple(Grade(f"{n / 2:g}", n * 4.0) for n in range(2, 25)),
    (),
    ("{grader} {grade}", "PB{grade}"),
    (CARDED, BOXED, LOOSE),
)
WORDS = {
    "graded": "graded;de:gegradet", "carded": "carded;MOC", "boxed": "boxed;MIB", "loose": "loose;de:lose", "raw": "ungraded",
    "sealed": "sealed", "opened": "opened", "resealed": "resealed", "complete": "complete", "missing": "no;missing;de:ohne;de:fehlt",
    "reproduction": "repro;reproduction", "custom": "custom", "empty": "empty card;card only", "not": "not the;not a;not",
    "lot": "lot;bundle;in one lot", "query": "maybe", "noise": "rare;the;of;with;a;l@@k",
}  # fmt: skip


def words():
    for role, text in WORDS.items():
        for part in text.split(";"):
            language, colon, rest = part.partition(":")
            yield Word(rest, role, language) if colon else Word(part, role)


@pytest.fixture(scope="session")
def catalogue():
    return Catalogue(
        makers={"marrow-pike": names("Marrow & Pike")},
        lines=by_id(
            Line("tidewardens", names("Tidewardens;Tide Wardens"), "marrow-pike", 1991, 1997, CARDED, TW_CARDS),
            Line("lantern-circus", names("Lantern Circus"), "dunmore", 1986, 1989, BOXED),
            Line("skyloom", names("Skyloom"), "marrow-pike", 1998, 2002, CARDED),
        ),
        characters=by_id(
            Character("tw-harbour-master", "tidewardens", names("Harbour Master;harbor master;de:Hafenmeister;fr:Maître du port")),
            Character("tw-harbour-pilot", "tidewardens", names("Harbour Pilot;de:Hafenlotse")),
            Character("tw-night-diver", "tidewardens", names("Night Diver;de:Nachttaucher")),
            Character("tw-lamplighter", "tidewardens", names("Lamplighter")),
            Character("lc-lamplighter", "lantern-circus", names("Lamplighter;de:Laternenanzünder")),
            Character("sk-warp-kite", "skyloom", names("Warp Kite;de:Kettendrachen"), "vehicle"),
        ),
        figures=by_id(
            Figure("tw-harbour-master-f1", "tw-harbour-master", names("red coat")),
            Figure("tw-harbour-master-f2", "tw-harbour-master", names("blue coat")),
            Figure("tw-harbour-pilot-f", "tw-harbour-pilot", names("Harbour Pilot")),
            Figure("tw-night-diver-f", "tw-night-diver", names("Night Diver")),
            Figure("tw-lamplighter-f", "tw-lamplighter", names("Lamplighter")),
            Figure("lc-lamplighter-f", "lc-lamplighter", names("Lamplighter")),
            Figure("sk-warp-kite-f", "sk-warp-kite", names("Warp Kite")),
        ),
        releases=by_id(
            Release("tw-harbour-master-1", "tw-harbour-master-f1", names(""), 1991, CARDED, "tw-card-1", ("territory-b",)),
            Release("tw-harbour-master-2", "tw-harbour-master-f1", names(""), 1993, CARDED, "tw-card-2", ("glow-sticker", "territory-b", "territory-d")),
            Release("tw-harbour-master-3", "tw-harbour-master-f2", names(""), 1995, CARDED, "tw-card-3", ("territory-b",)),
            Release("tw-harbour-pilot-1", "tw-harbour-pilot-f", names(""), 1991, CARDED, "tw-card-1"),
            Release("tw-night-diver-2", "tw-night-diver-f", names(""), 1993, CARDED, "tw-card-2", ("glow-sticker", "territory-d")),
            Release("tw-night-diver-mail", "tw-night-diver-f", names("mail-away"), 1993, BOXED, "", ("mail-away",)),
            Release("tw-lamplighter-1", "tw-lamplighter-f", names(""), 1992, CARDED, "tw-card-1"),
            Release("lc-lamplighter-1", "lc-lamplighter-f", names(""), 1987, BOXED),
            Release("sk-warp-kite-1", "sk-warp-kite-f", names(""), 1998, BOXED),
        ),
        changes=by_id(
            Change("tw-harbour-master-2-raised-date", "tw-harbour-master-2", names("raised date"), "raised-date", date(2023, 5, 1)),
            Change("tw-harbour-pilot-1-short-string", "tw-harbour-pilot-1", names("short string"), "short-string"),
        ),
        prototypes=by_id(
            Prototype("tw-night-diver-first-shot", "tw-night-diver", names(""), "first shot", "unpainted"),
            Prototype("tw-night-diver-first-shot-p", "tw-night-diver", names(""), "first shot", "painted"),
            Prototype("tw-night-diver-hardcopy", "tw-night-diver", names(""), "hardcopy", "unpainted"),
        ),
        parts=by_id(
            PartDef("sk-warp-kite-f-sail", "sk-warp-kite-f", names("sail;de:Segel")),
            PartDef("sk-warp-kite-f-tail", "sk-warp-kite-f", names("tail")),
            PartDef("tw-harbour-master-f1-boathook", "tw-harbour-master-f1", names("boathook")),
        ),
        features=by_id(
            FeatureDef("territory-b", FeatureKind.TERRITORY, names("Territory B;bilingual;bilingual card")),
            FeatureDef("territory-d", FeatureKind.TERRITORY, names("Territory D;trilingual")),
            FeatureDef("glow-sticker", FeatureKind.STICKER, names("glow sticker;de:Leuchtsticker"), "tidewardens", transplantable=True),
            FeatureDef("mail-away", FeatureKind.MAIL_AWAY, names("mail-away")),
            FeatureDef("signed", FeatureKind.SIGNATURE, names("signed by the sculptor;signed")),
        ),
        flaws=by_id(
            FlawDef("crease", names("crease;creased"), (CARDED, BOXED)),
            FlawDef("yellowing", names("yellowing;yellowed"), (CARDED, BOXED, LOOSE)),
        ),
        conditions=by_id(ConditionDef("near-mint", names("near mint"), 85.0), ConditionDef("worn", names("worn"), 24.0)),
        graders=by_id(
            Grader(
                "northgate", names("Northgate;NG"), (FORTY, FORTY_LOOSE),
                (("first", names("first case")), ("second", names("second case"))),
                (Qualifier("yellowed", names("yellowed")),), r"^N\d{7}$",
            ),
            Grader("plumb", names("Plumb"), (TWELVE,), (), (), r"^P-\d{6}$"),
        ),
        venues={},
        taxes=(),
        words=tuple(words()),
    )  # fmt: skip


@pytest.fixture(scope="session")
def namer(catalogue):
    return Namer(catalogue)
