"""The three lines as catalogue rows: cards, figure versions, releases, running changes, prototypes, parts.

Promises the same rows for the same generator. Gives `LineRows`, plain catalogue values; who wants what and how many
exist is not here (`variants`).
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from hangtab.catalogue.model import Alias, Card, Change, Character, Figure, Line, Names, PartDef, Prototype, Release
from hangtab.demo.names import Cast, cast_of, slug
from hangtab.domain.subject import Packaging

DISCOVERED = date(2023, 5, 1)  # the raised date on Harbour Master's second card became known only then


def names(text: str) -> Names:
    """Names from `name;alias;de:alias`.

    >>> names("Storm card;de:Sturmkarte").aliases
    (Alias(text='Sturmkarte', language='de'),)
    """
    first, *rest = text.split(";")
    parts = (alias.partition(":") for alias in rest)
    return Names(first, tuple(Alias(t, p) if t else Alias(p) for p, _, t in parts))


@dataclass(frozen=True, slots=True)
class LineRows:
    """All rows of one line; `cast` maps character ids to the table's row."""

    line: Line
    cast: dict[str, Cast]
    characters: tuple[Character, ...]
    figures: tuple[Figure, ...]
    releases: tuple[Release, ...]
    changes: tuple[Change, ...]
    prototypes: tuple[Prototype, ...]
    parts: tuple[PartDef, ...]


@dataclass(frozen=True, slots=True)
class Plan:
    """How a line was made: `release_chance` is the chance of one more card by popularity class (low, middle, high)."""

    line: Line
    prefix: str
    release_chance: tuple[float, float, float]
    territories: tuple[float, float]  # chance of a bilingual, a trilingual card
    sticker_card: str = ""
    exclusive: str = ""
    mail_aways: int = 0
    prototypes: float = 0.0


def _card(row: str) -> Card:
    ident, order, year, width, height, text = row.split("|")
    return Card(ident, names(text), int(order), int(year), float(width), float(height))


_TW_CARDS = (
    (
        "tw-card-1|1|1991|152|229|Lighthouse card;first card;card 1;lighthouse back"
        ";de:Leuchtturmkarte;de:erste Karte;fr:carte phare;nl:vuurtorenkaart"
    ),
    (
        "tw-card-2|2|1993|152|229|Storm card;second card;card 2;storm back"
        ";de:Sturmkarte;de:zweite Karte;fr:carte tempête;nl:stormkaart"
    ),
    (
        "tw-card-3|3|1995|152|241|Breakwater card;third card;card 3;breakwater back"
        ";de:Wellenbrecherkarte;de:dritte Karte;fr:carte brise-lames;nl:golfbrekerkaart"
    ),
    (
        "tw-card-4|4|1997|165|241|Beacon card;fourth card;card 4;beacon back"
        ";de:Bakenkarte;de:vierte Karte;fr:carte balise;nl:bakenkaart"
    ),
)
_LC_CARDS = (
    ("lc-box-1|1|1986|140|200|Striped box;first box;box 1;de:gestreifte Schachtel;fr:boîte rayée;nl:gestreepte doos"),
    "lc-box-2|2|1988|140|200|Star box;second box;box 2;de:Sternschachtel;fr:boîte étoilée;nl:sterrendoos",
)
_SK_CARDS = (
    "sk-card-1|1|1998|178|254|Dawn card;first card;card 1;de:Morgenkarte;fr:carte aube;nl:dageraadkaart",
    "sk-card-2|2|2000|178|254|Noon card;second card;card 2;de:Mittagskarte;fr:carte midi;nl:middagkaart",
    ("sk-card-3|3|2002|178|267|Dusk card;third card;card 3;de:Abendkarte;fr:carte crépuscule;nl:schemerkaart"),
)

PLANS = (
    Plan(
        Line(
            "tidewardens", names("Tidewardens;Tide Wardens;TW;Tidewarden;Tidwardens"), "marrow-pike", 1991, 1997,
            Packaging.CARDED, tuple(_card(c) for c in _TW_CARDS),
        ),
        "tw", (0.4, 0.75, 0.95), (0.85, 0.65), sticker_card="tw-card-2", mail_aways=5, prototypes=0.75,
    ),
    Plan(
        Line(
            "lantern-circus", names("Lantern Circus;LC;Lanterncircus;Lantern Circuss"), "dunmore-novelty", 1986, 1989,
            Packaging.BOXED, tuple(_card(c) for c in _LC_CARDS),
        ),
        "lc", (0.5, 0.85, 1.0), (0.85, 0.0), prototypes=0.3,
    ),
    Plan(
        Line(
            "skyloom", names("Skyloom;Sky Loom;Skylom"), "marrow-pike", 1998, 2002,
            Packaging.CARDED, tuple(_card(c) for c in _SK_CARDS),
        ),
        "sk", (0.45, 0.75, 0.97), (0.85, 0.65), exclusive="kite-fair", mail_aways=3, prototypes=0.4,
    ),
)  # fmt: skip

_LOOKS = (
    "red coat;de:roter Mantel;fr:manteau rouge;nl:rode jas",
    "blue coat;de:blauer Mantel;fr:manteau bleu;nl:blauwe jas",
    "grey helmet;gray helmet;de:grauer Helm;fr:casque gris;nl:grijze helm",
    "yellow helmet;de:gelber Helm;fr:casque jaune;nl:gele helm",
    "green scarf;de:grüner Schal;fr:écharpe verte;nl:groene sjaal",
    "white scarf;de:weißer Schal;fr:écharpe blanche;nl:witte sjaal",
)
ATTRIBUTES = {
    "short-string": "short string;de:kurze Schnur;fr:ficelle courte;nl:kort touw",
    "raised-date": "raised date;de:erhabenes Datum;fr:date en relief;nl:verhoogde datum",
    "small-logo": "small logo;de:kleines Logo;fr:petit logo;nl:klein logo",
    "frosted-bubble": "frosted bubble;de:mattierte Blase;fr:bulle givrée;nl:matte blister",
    "": "misprinted back;de:Fehldruck hinten;fr:dos mal imprimé;nl:misdruk achterop",
}
_ACCESSORIES = {
    "tw": ("boathook;de:Bootshaken;fr:gaffe;nl:pikhaak", "oar;de:Ruder;fr:rame;nl:roeispaan",
           "hand lamp;de:Handlampe;fr:lampe à main;nl:handlamp",
           "rope coil;de:Seilrolle;fr:rouleau de corde;nl:touwrol"),
    "lc": ("hoop;de:Reifen;fr:cerceau;nl:hoepel", "drum;de:Trommel;fr:tambour;nl:trommel"),
    "sk": ("sail;de:Segel;fr:voile;nl:zeil", "tail;de:Schweif;fr:queue;nl:staart",
           "spindle;de:Spindel;fr:fuseau;nl:spindel"),
}  # fmt: skip
_PAPERS = (
    ("playbill;de:Programmzettel;fr:programme;nl:programmablad", "paper"),
    ("insert;de:Einlage;fr:carton intérieur;nl:inlegkarton", "insert"),
    ("tray;de:Tiefzieheinsatz;fr:plateau;nl:binnenbak", "tray"),
)
_STAGES = (
    ("hardcopy", "unpainted"), ("hardcopy", "painted"), ("first shot", "unpainted"), ("first shot", "painted"),
    ("proof card", ""),
)  # fmt: skip


def line_rows(plan: Plan, rng: np.random.Generator) -> LineRows:
    """Make one line's rows from its plan."""
    cast = {f"{plan.prefix}-{slug(c.names.name)}": c for c in cast_of(plan.line.id)}
    characters = tuple(Character(i, plan.line.id, c.names, c.kind) for i, c in cast.items())
    figures = tuple(f for i, c in cast.items() for f in _figures(i, c, rng))
    releases = tuple(r for i, c in cast.items() for r in _releases(plan, (i, c), figures, rng))
    releases += _mail_aways(plan, cast, figures, rng)
    changes = tuple(ch for r in releases for ch in _changes(r, plan, rng))
    prototypes = tuple(p for i, c in cast.items() for p in _prototypes(plan, i, c, rng))
    parts = _parts(plan, figures, releases, rng)
    return LineRows(plan.line, cast, characters, figures, releases, changes, prototypes, parts)


def _figures(ident: str, cast: Cast, rng: np.random.Generator) -> list[Figure]:
    two = cast.kind == "character" and cast.popularity >= 7 and ident != "sk-warp-kite"
    if not two:
        return [Figure(f"{ident}-f", ident, cast.names)]
    pair = 2 * int(rng.integers(len(_LOOKS) // 2))
    return [Figure(f"{ident}-f{k + 1}", ident, names(_LOOKS[pair + k])) for k in range(2)]


def _releases(
    plan: Plan, who: tuple[str, Cast], figures: tuple[Figure, ...], rng: np.random.Generator
) -> list[Release]:
    ident, cast = who
    own = [f for f in figures if f.character == ident]
    level = 2 if cast.popularity >= 7 else 1 if cast.popularity >= 4 else 0
    chance = plan.release_chance[level]
    cards = plan.line.cards
    first = 0 if level else int(rng.integers(len(cards)))
    packaging = Packaging.BOXED if cast.kind != "character" else plan.line.packaging
    rows: list[Release] = []
    for k, card in enumerate(cards[first:]):
        if k and rng.random() > chance:
            break
        shown = own if len(own) == 1 else own[:1] if k == 0 else own if k == 1 and cast.popularity >= 9 else own[1:]
        for j, figure in enumerate(shown):
            tail = f"{card.order}{'b' if j else ''}"
            features = _features(plan, card, cast, rng)
            if j:  # the promotion ran on the first version only
                features = tuple(f for f in features if f != "glow-sticker")
            year = card.year + int(rng.integers(2))
            rows.append(Release(f"{ident}-{tail}", figure.id, Names(""), year, packaging, card.id, features))
    return rows


def _features(plan: Plan, card: Card, cast: Cast, rng: np.random.Generator) -> tuple[str, ...]:
    draws = rng.random(4)
    has = {
        "territory-b": draws[0] < plan.territories[0],
        "territory-d": draws[1] < plan.territories[1],
        "glow-sticker": card.id == plan.sticker_card and cast.kind == "character"
        and (draws[2] < 0.7 or cast.popularity >= 9),
        plan.exclusive or "none": bool(plan.exclusive) and draws[2] < 0.12,
        "signed": cast.popularity >= 8 and draws[3] < 0.5,
    }  # fmt: skip
    if cast.popularity >= 9:
        has["territory-b"] = plan.territories[0] > 0
    return tuple(k for k, v in has.items() if v)


def _mail_aways(
    plan: Plan, cast: dict[str, Cast], figures: tuple[Figure, ...], rng: np.random.Generator
) -> tuple[Release, ...]:
    people = [i for i, c in cast.items() if c.kind == "character"]
    chosen = rng.choice(len(people), plan.mail_aways, replace=False)
    return tuple(
        Release(
            f"{people[k]}-mail",
            next(f.id for f in figures if f.character == people[k]),
            names("mail-away;de:Einsendefigur;fr:offre postale;nl:inzendfiguur"),
            plan.line.first_year + 2,
            Packaging.BOXED,
            "",
            ("mail-away",),
        )
        for k in sorted(chosen)
    )


def _changes(release: Release, plan: Plan, rng: np.random.Generator) -> list[Change]:
    if release.id == "tw-harbour-master-2":
        return [
            Change(f"{release.id}-raised-date", release.id, names(ATTRIBUTES["raised-date"]), "raised-date", DISCOVERED)
        ]
    draw, pick = rng.random(), int(rng.integers(len(ATTRIBUTES)))
    if draw > 0.42 or not release.card:
        return []
    attribute = "short-string" if plan.prefix == "sk" and draw < 0.2 else list(ATTRIBUTES)[pick]
    ident = f"{release.id}-{attribute or 'misprint'}"
    return [Change(ident, release.id, names(ATTRIBUTES[attribute]), attribute)]


def _prototypes(plan: Plan, ident: str, cast: Cast, rng: np.random.Generator) -> list[Prototype]:
    draws = rng.random(len(_STAGES))
    if cast.popularity < 4 and ident != "tw-night-pilot":
        return []
    wanted = ident == "tw-night-diver"
    rows = []
    for (stage, finish), draw in zip(_STAGES, draws, strict=True):
        if wanted or draw < plan.prototypes * 0.55:
            tail = slug(f"{stage} {finish}")
            rows.append(Prototype(f"{ident}-{tail}", ident, Names(f"{stage} {finish}".strip()), stage, finish))
    return rows


def _parts(
    plan: Plan, figures: tuple[Figure, ...], releases: tuple[Release, ...], rng: np.random.Generator
) -> tuple[PartDef, ...]:
    rows: list[PartDef] = []
    pool = _ACCESSORIES[plan.prefix]
    for figure in figures:
        first = 0 if "kite" in figure.id else int(rng.integers(len(pool)))
        for text in dict.fromkeys((pool[first], pool[(first + 1) % len(pool)])):
            part = names(text)
            rows.append(PartDef(f"{figure.id}-{slug(part.name)}", figure.id, part, "accessory"))
    for release in releases if plan.prefix == "lc" else ():
        rows += [PartDef(f"{release.id}-{k}", release.id, names(text), k) for text, k in _PAPERS]
    return tuple(rows)
