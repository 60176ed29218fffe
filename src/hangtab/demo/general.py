"""What the catalogue says beside the lines: features, flaws, conditions, words, graders, venues, taxes.

Promises words in English, German, French and Dutch for everything the demo's sellers write. Gives catalogue values.
"""

from __future__ import annotations

from datetime import date
from decimal import Decimal

from hangtab.catalogue.model import (
    ConditionDef,
    FeatureDef,
    FeatureKind,
    FlawDef,
    Grade,
    Grader,
    Names,
    Premium,
    Qualifier,
    Scale,
    SellerFee,
    Site,
    TaxRule,
    Tier,
    Venue,
    Word,
)  # fmt: skip
from hangtab.demo.lines import names
from hangtab.domain.subject import Packaging

FEATURES = (
    FeatureDef(
        "territory-b",
        FeatureKind.TERRITORY,
        names("bilingual card;bilingual;card B;territory B;de:zweisprachig;fr:bilingue;nl:tweetalig"),
    ),
    FeatureDef(
        "territory-d",
        FeatureKind.TERRITORY,
        names("trilingual card;trilingual;card D;territory D;de:dreisprachig;fr:trilingue;nl:drietalig"),
    ),
    FeatureDef(
        "glow-sticker",
        FeatureKind.STICKER,
        names("glow sticker;glow;w/glow sticker;de:Leuchtaufkleber;fr:autocollant lumineux;nl:glow-sticker"),
        "tidewardens",
        transplantable=True,
    ),
    FeatureDef(
        "mail-away",
        FeatureKind.MAIL_AWAY,
        names("mail-away;mailaway;mail away;de:Einsendefigur;fr:offre postale;nl:inzendfiguur"),
    ),
    FeatureDef(
        "kite-fair",
        FeatureKind.EXCLUSIVE,
        names(
            "Kite Fair exclusive;kite fair;de:Drachenfest exklusiv"
            ";fr:exclusivité fête du cerf-volant;nl:vliegerfeest exclusief"
        ),
        "skyloom",
    ),
    FeatureDef(
        "signed",
        FeatureKind.SIGNATURE,
        names("signed by the sculptor;signed;autographed;de:signiert;fr:signé;nl:gesigneerd"),
    ),
)

_C, _B, _L = Packaging.CARDED, Packaging.BOXED, Packaging.LOOSE
# Ids of the starter set that the package ships; listed here are the words that the demo's sellers use.
FLAWS = (
    FlawDef("crease", names("crease;creased;card crease;de:Knick;de:geknickt;fr:pli;fr:pliure;nl:vouw"), (_C, _B)),
    FlawDef(
        "lifted-bubble",
        names("lifted bubble;bubble lift;bubble lifting;de:gelöster Blister;fr:bulle décollée;nl:losse blister"),
        (_C,),
    ),
    FlawDef(
        "dented-bubble",
        names("dented bubble;bubble dent;de:Delle im Blister;fr:bulle enfoncée;nl:deuk in blister"),
        (_C,),
    ),
    FlawDef("yellowing", names("yellowing;yellowed;yellow bubble;de:vergilbt;fr:jauni;nl:vergeeld"), (_C, _B, _L)),
    FlawDef(
        "price-sticker-residue",
        names("price sticker residue;price sticker;de:Preisaufkleber;fr:étiquette de prix;nl:prijssticker"),
        (_C, _B),
    ),
    FlawDef("shelf-wear", names("shelf wear;edge wear;de:Lagerspuren;fr:usure de stockage;nl:opslagsporen"), (_C, _B)),
    FlawDef("fading", names("fading;faded;sun faded;de:verblasst;fr:décoloré;nl:verkleurd"), (_C, _B, _L)),
    FlawDef("torn-card", names("torn card;card tear;de:eingerissen;fr:carte déchirée;nl:gescheurd"), (_C,)),
    FlawDef("crushed-box", names("crushed box;box crush;de:Delle im Karton;fr:boîte écrasée;nl:gedeukte doos"), (_B,)),
    FlawDef(
        "loose-joints", names("loose joints;de:lockere Gelenke;fr:articulations lâches;nl:losse gewrichten"), (_L,)
    ),
    FlawDef("paint-wear", names("paint wear;paint rub;de:Farbabrieb;fr:usure de peinture;nl:verfslijtage"), (_L,)),
)

CONDITIONS = (
    ConditionDef("mint", names("mint;de:neuwertig;fr:comme neuf;nl:nieuwstaat"), 95.0),
    ConditionDef("near-mint", names("near mint;NM;de:fast neuwertig;fr:proche du neuf;nl:vrijwel nieuw"), 85.0),
    ConditionDef(
        "excellent", names("excellent condition;EXC;de:Topzustand;fr:excellent état;nl:uitstekende staat"), 75.0
    ),
    ConditionDef(
        "very-good", names("very good condition;VGC;de:sehr gut erhalten;fr:très bon état;nl:zeer goede staat"), 62.0
    ),
    ConditionDef("good", names("good condition;de:gut erhalten;fr:bon état;nl:goede staat"), 48.0),
    ConditionDef("fair", names("fair condition;de:gebraucht;fr:état moyen;nl:redelijke staat"), 34.0),
    ConditionDef("worn", names("played with;well worn;de:stark bespielt;fr:très usé;nl:bespeeld"), 24.0),
    ConditionDef("poor", names("poor condition;de:schlechter Zustand;fr:mauvais état;nl:slechte staat"), 10.0),
)

# role -> language -> phrases. The first phrase of each is the one sellers write most.
WORDS: dict[str, dict[str, tuple[str, ...]]] = {
    "raw": {"en": ("ungraded", "raw"), "de": ("ungegradet",), "fr": ("non gradé",), "nl": ("ongegradeerd",)},
    "graded": {"en": ("graded",), "de": ("bewertet", "gegradet"), "fr": ("noté",), "nl": ("gegradeerd",)},
    "carded": {"en": ("carded", "on card"), "de": ("auf Karte",), "fr": ("sur carte",), "nl": ("op kaart",)},
    "boxed": {"en": ("boxed", "in box"), "de": ("in OVP", "im Karton"), "fr": ("en boîte",), "nl": ("in doos",)},
    "loose": {"en": ("loose",), "de": ("lose",), "fr": ("sans emballage",), "nl": ("los",)},
    "sealed": {"en": ("factory sealed", "sealed"), "de": ("versiegelt",), "fr": ("scellé",), "nl": ("verzegeld",)},
    "opened": {"en": ("opened",), "de": ("geöffnet",), "fr": ("ouvert",), "nl": ("geopend",)},
    "complete": {"en": ("complete",), "de": ("komplett",), "fr": ("complet",), "nl": ("compleet",)},
    "missing": {"en": ("no", "missing", "without"), "de": ("ohne",), "fr": ("sans",), "nl": ("zonder",)},
    "reproduction": {"en": ("reproduction",), "de": ("Reproduktion",), "fr": ("reproduction",), "nl": ("reproductie",)},
    "custom": {"en": ("custom",), "de": ("Eigenbau",), "fr": ("custom",), "nl": ("zelfgemaakt",)},
    "empty": {"en": ("empty card",), "de": ("leere Karte",), "fr": ("carte vide",), "nl": ("lege kaart",)},
    "not": {"en": ("not the",), "de": ("nicht der",), "fr": ("pas le",), "nl": ("niet de",)},
    "lot": {"en": ("lot of", "bundle of"), "de": ("Konvolut",), "fr": ("lot de",), "nl": ("partij",)},
    "verified": {
        "en": ("on the label",),
        "de": ("auf dem Label",),
        "fr": ("sur l'étiquette",),
        "nl": ("op het label",),
    },
    "noise": {
        "en": ("rare", "vintage", "look", "wow", "nice", "figure", "toy", "hard to find"),
        "de": ("selten", "Rarität", "Figur", "Spielzeug", "Dachbodenfund", "toll"),
        "fr": ("rare", "figurine", "jouet", "ancien", "introuvable"),
        "nl": ("zeldzaam", "figuur", "speelgoed", "zoldervondst"),
    },
}


def word_rows() -> tuple[Word, ...]:
    """The words as catalogue rows."""
    return tuple(Word(t, role, lang) for role, by in WORDS.items() for lang, texts in by.items() for t in texts)


def _northgate_grades() -> tuple[Grade, ...]:
    labels = [f"{n}{plus}" for n in range(20, 40, 2) for plus in ("", "+")] + ["40"]
    return tuple(Grade(label, round(5.0 + 4.75 * k, 2)) for k, label in enumerate(labels))


def _plumb_grades() -> tuple[Grade, ...]:
    halves = [6 + k / 2 for k in range(13)]
    return tuple(Grade(f"{h:g}", round(10.0 + 7.5 * k, 2)) for k, h in enumerate(halves))


_SUBS = (
    names("board;card;de:Karton;fr:carton;nl:karton"), names("window;bubble;de:Fenster;fr:fenêtre;nl:venster"),
    names("piece;figure;de:Stück;fr:pièce;nl:stuk"),
)  # fmt: skip
_PATTERNS = (
    "{grader} {grade}",
    "{grade} {grader}",
    "graded {grade}",
    "{grade} graded",
    "{grader} graded {grade}",
    "bewertet {grade}",
    "gegradet {grade}",
    "noté {grade}",
    "gegradeerd {grade}",
)
_SUB_PATTERNS = ("{grader} {grade} ({sub})", "{grader} {grade} {sub}", "{name} {grade}")  # fmt: skip
_QUALIFIERS = (
    Qualifier("yellowed", names("yellowed;de:vergilbt;fr:jauni;nl:vergeeld")),
    Qualifier("bowed", names("bowed;de:gewölbt;fr:gondolé;nl:kromgetrokken")),
    Qualifier("discoloured", names("discoloured;discolored;de:verfärbt;fr:taché;nl:vlekkerig")),
)
GRADERS = (
    Grader(
        "northgate", names("Northgate;NG;North Gate;Northgate Grading"),
        (
            Scale("forty", _northgate_grades(), _SUBS, (*_PATTERNS, *_SUB_PATTERNS), (_C, _B)),
            Scale("forty-loose", _northgate_grades(), (), _PATTERNS, (_L,)),
        ),
        (("first", names("first case;old case;de:alte Hülle;fr:ancien étui;nl:oude houder")),
         ("second", names("second case;new case;de:neue Hülle;fr:nouvel étui;nl:nieuwe houder"))),
        _QUALIFIERS, r"N\d{7}",
    ),
    Grader(
        "plumb", names("Plumb;Plumb Grading;PLB"),
        (Scale("twelve", _plumb_grades(), (), (*_PATTERNS, "{grader} {grade}/12"), (_C, _B, _L)),),
        (), _QUALIFIERS[:1], r"P-\d{6}",
    ),
)  # fmt: skip


def _tiers(*rows: tuple[str, str | None]) -> tuple[Tier, ...]:
    return tuple(Tier(Decimal(share), Decimal(up) if up else None) for share, up in rows)


VENUES = (
    Venue(
        "quayside", names("Quayside;Quay side"), "marketplace",
        (
            Site("US", "USD", "America/New_York", "en", "us.quayside.example"),
            Site("GB", "GBP", "Europe/London", "en", "gb.quayside.example"),
            Site("CA", "CAD", "America/Toronto", "en", "ca.quayside.example"),
            Site("DE", "EUR", "Europe/Berlin", "de", "de.quayside.example"),
        ),
        fees=(
            SellerFee(date(2018, 1, 1), _tiers(("0.10", None)), Decimal("0.30")),
            SellerFee(date(2023, 3, 1), _tiers(("0.13", "2500"), ("0.03", None)), Decimal("0.30")),
        ),
    ),
    Venue(
        "harrow-lane", names("Harrow Lane;Harrow Lane Rooms"), "auction house",
        (Site("GB", "GBP", "Europe/London", "en", "harrow-lane.example"),),
        premiums=(
            Premium(date(2018, 1, 1), _tiers(("0.20", "5000"), ("0.15", None))),
            Premium(date(2023, 7, 1), _tiers(("0.25", "1000"), ("0.20", "10000"), ("0.12", None))),
        ),
        fees=(SellerFee(date(2018, 1, 1), _tiers(("0.15", None))),),
        tax_on_premium=True,
    ),
    Venue(
        "swap-shed", names("The Swap Shed;Swap Shed;the shed"), "forum",
        (
            Site("US", "USD", "America/New_York", "en", "swap-shed.example"),
            Site("GB", "GBP", "Europe/London", "en", "swap-shed.example"),
            Site("CA", "CAD", "America/Toronto", "en", "swap-shed.example"),
            Site("DE", "EUR", "Europe/Berlin", "de", "swap-shed.example"),
        ),
    ),
    Venue("private", names("private;private sale;in person"), "private", (Site("DE", "EUR", "Europe/Berlin", "de"),)),
)  # fmt: skip

TAXES = (
    TaxRule("GB", date(2011, 1, 4), Decimal("0.20")), TaxRule("DE", date(2007, 1, 1), Decimal("0.19")),
    TaxRule("DE", date(2020, 7, 1), Decimal("0.16")), TaxRule("DE", date(2021, 1, 1), Decimal("0.19")),
    TaxRule("NL", date(2012, 10, 1), Decimal("0.21")), TaxRule("FR", date(2014, 1, 1), Decimal("0.20")),
)  # fmt: skip
MAKERS = {"marrow-pike": Names("Marrow & Pike"), "dunmore-novelty": Names("Dunmore Novelty")}
