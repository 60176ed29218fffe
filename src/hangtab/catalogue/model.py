"""What exists, as frozen values: lines, pieces, features, flaws, graders, venues, tax rules.

Promises that ids are unique over the whole catalogue and never mean anything but their row. Reads nothing: `reading`
makes these values from files. Not here: which words name what (naming makes its index from `Names`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from enum import StrEnum

from hangtab.domain.subject import Packaging


@dataclass(frozen=True, slots=True)
class Alias:
    """Another way to write a name; `language` is an ISO 639-1 code or empty for any."""

    text: str
    language: str = ""


@dataclass(frozen=True, slots=True)
class Names:
    """The name that is shown, and the other ways it is written (translations, misspellings, abbreviations)."""

    name: str
    aliases: tuple[Alias, ...] = ()


@dataclass(frozen=True, slots=True)
class Card:
    """A generation of card or box of one line, in order of issue. Sizes in millimetres, 0 when unknown."""

    id: str
    names: Names
    order: int
    year: int
    width_mm: float = 0.0
    height_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class Line:
    """One product line; `packaging` is how its pieces were sold."""

    id: str
    names: Names
    maker: str
    first_year: int
    last_year: int
    packaging: Packaging
    cards: tuple[Card, ...] = ()


@dataclass(frozen=True, slots=True)
class Character:
    """A character, vehicle or playset of a line; `kind` is the word for it."""

    id: str
    line: str
    names: Names
    kind: str = "character"


@dataclass(frozen=True, slots=True)
class Figure:
    """A figure version: the sculpt and paint as such. A loose piece hangs here."""

    id: str
    character: str
    names: Names


@dataclass(frozen=True, slots=True)
class Release:
    """A figure version on one card or in one box.

    `features` lists the feature ids that exist for it (territory cards, stickers, mail-away); each may be present or
    not. `card` is the id of the line's card, empty when the line has only one.
    """

    id: str
    figure: str
    names: Names
    year: int
    packaging: Packaging
    card: str = ""
    features: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Change:
    """A running change of a release. `attribute` recurs over releases ("short-string"); empty when it does not.

    `known_since`: earlier sales of the release are unchecked, not common.
    """

    id: str
    release: str
    names: Names
    attribute: str = ""
    known_since: date | None = None


@dataclass(frozen=True, slots=True)
class Prototype:
    """A prototype: its own kind of thing under a character. `stage` hardcopy, first shot, proof card; `finish` word.

    `colours` of the plastic, `date_marks` on the piece, `parts` that belong to it, `paperwork` that goes with it.
    """

    id: str
    character: str
    names: Names
    stage: str
    finish: str = ""
    colours: tuple[str, ...] = ()
    date_marks: tuple[str, ...] = ()
    parts: tuple[str, ...] = ()
    paperwork: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Measure:
    """One measure of something in the catalogue, in millimetres, with what good pieces differ by either way."""

    id: str
    of: str
    what: str
    mm: float
    tolerance_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class PartDef:
    """One entry of a parts list. `of` is a character, figure or release id; `kind` accessory, paper, insert, tray."""

    id: str
    of: str
    names: Names
    kind: str = "accessory"


class FeatureKind(StrEnum):
    """What sort of feature."""

    TERRITORY = "territory"
    STICKER = "sticker"
    SIGNATURE = "signature"
    MAIL_AWAY = "mail-away"
    EXCLUSIVE = "exclusive"


@dataclass(frozen=True, slots=True)
class FeatureDef:
    """A feature that a piece may carry. `line` limits it to one line; `transplantable` asks for verification.

    A signature may say its `signer` (by role) and its `inscription`.
    """

    id: str
    kind: FeatureKind
    names: Names
    line: str = ""
    transplantable: bool = False
    signer: str = ""
    inscription: str = ""


@dataclass(frozen=True, slots=True)
class FlawDef:
    """A flaw; `packaging` limits it to forms it can occur on (empty: any)."""

    id: str
    names: Names
    packaging: tuple[Packaging, ...] = ()


@dataclass(frozen=True, slots=True)
class ConditionDef:
    """Words for the condition of a raw piece, with a position 0 (worst) to 100 (best)."""

    id: str
    names: Names
    position: float


@dataclass(frozen=True, slots=True)
class Grade:
    """One grade as written ("34+") and its position on the condition axis, 0 to 100."""

    label: str
    position: float


@dataclass(frozen=True, slots=True)
class Qualifier:
    """A mark that a grader adds to a grade ("yellowed")."""

    id: str
    names: Names


@dataclass(frozen=True, slots=True)
class Scale:
    """One scale of a grader.

    `subgrades` are names of sub-grades in the grader's order. `patterns` are templates of how a grade is written:
    `{grader}`, `{grade}`, `{sub}` (three numbers in the order of `subgrades`, split by / or -), `{name}` (one
    sub-grade's name) stand for what they say, the rest is literal text; case and spaces are free. `forms` are the
    packagings it grades.
    """

    id: str
    grades: tuple[Grade, ...]
    subgrades: tuple[Names, ...] = ()
    patterns: tuple[str, ...] = ()
    forms: tuple[Packaging, ...] = ()

    def position(self, label: str) -> float | None:
        """Position of a grade, None when the scale has no such grade."""
        return next((g.position for g in self.grades if g.label == label), None)


@dataclass(frozen=True, slots=True)
class Grader:
    """A grading company with its scales, case generations, qualifiers and the pattern of its certificate numbers."""

    id: str
    names: Names
    scales: tuple[Scale, ...]
    generations: tuple[tuple[str, Names], ...] = ()
    qualifiers: tuple[Qualifier, ...] = ()
    certificate: str = ""  # regular expression, anchored


@dataclass(frozen=True, slots=True)
class Tier:
    """A share of the part of an amount between the tier below's `up_to` and this `up_to` (None: no end)."""

    share: Decimal
    up_to: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Premium:
    """A buyer's premium valid from a date: tiers on the hammer in the venue's currency."""

    valid_from: date
    tiers: tuple[Tier, ...]


@dataclass(frozen=True, slots=True)
class SellerFee:
    """What a venue keeps from the seller, valid from a date: tiers on the price and a fixed amount."""

    valid_from: date
    tiers: tuple[Tier, ...]
    fixed: Decimal = Decimal(0)


@dataclass(frozen=True, slots=True)
class Site:
    """One country's shop front of a venue; `language` ISO 639-1, `zone` an IANA time zone, `host` its invented name."""

    country: str
    currency: str
    zone: str
    language: str
    host: str = ""


@dataclass(frozen=True, slots=True)
class Venue:
    """A place where pieces change hands. `kind`: marketplace, auction house, forum, fair, private.

    `tax_on_premium`: the country's tax is charged on the premium (and is part of what the buyer paid).
    `tax_in_price`: shown prices already hold the tax. `noise`: venue class for the spread of prices.
    """

    id: str
    names: Names
    kind: str
    sites: tuple[Site, ...]
    premiums: tuple[Premium, ...] = ()
    fees: tuple[SellerFee, ...] = ()
    tax_on_premium: bool = False
    tax_in_price: bool = False

    def site(self, country: str) -> Site:
        """The site of a country, the first site when the country is unknown."""
        return next((s for s in self.sites if s.country == country), self.sites[0])


@dataclass(frozen=True, slots=True)
class TaxRule:
    """Rate of a country's sales tax or VAT valid from a date, a share (0.20)."""

    country: str
    valid_from: date
    rate: Decimal


@dataclass(frozen=True, slots=True)
class Word:
    """A word or phrase with a role in titles, in one language.

    Roles: raw, graded, carded, boxed, loose, sealed, opened, resealed, complete, missing ("ohne", "no"), reproduction,
    custom, empty (card or box without the piece), not ("not the"), lot, claimed, verified, query ("?", "maybe"),
    noise (words that mean nothing for the name).
    """

    text: str
    role: str
    language: str = ""


@dataclass(frozen=True, slots=True)
class Chain:
    """The nested path of a thing, root to leaf; empty text where the thing does not go that deep."""

    line: str
    character: str
    figure: str = ""
    release: str = ""
    change: str = ""
    prototype: str = ""


@dataclass(frozen=True)
class Catalogue:
    """Everything that exists, by id. `digest` is the hash of the files it came from."""

    makers: Mapping[str, Names]
    lines: Mapping[str, Line]
    characters: Mapping[str, Character]
    figures: Mapping[str, Figure]
    releases: Mapping[str, Release]
    changes: Mapping[str, Change]
    prototypes: Mapping[str, Prototype]
    parts: Mapping[str, PartDef]
    features: Mapping[str, FeatureDef]
    flaws: Mapping[str, FlawDef]
    conditions: Mapping[str, ConditionDef]
    graders: Mapping[str, Grader]
    venues: Mapping[str, Venue]
    taxes: tuple[TaxRule, ...]
    words: tuple[Word, ...]
    redirects: Mapping[str, str] = field(default_factory=dict)
    measures: Mapping[str, Measure] = field(default_factory=dict)
    digest: str = ""

    def chain(self, thing: str) -> Chain:
        """The path of a thing. Raises KeyError when the catalogue has no such id."""
        thing = self.redirects.get(thing, thing)
        if thing in self.prototypes:
            character = self.characters[self.prototypes[thing].character]
            return Chain(character.line, character.id, prototype=thing)
        change = self.changes.get(thing)
        release = self.releases.get(change.release if change else thing)
        figure = self.figures[release.figure if release else thing]
        character = self.characters[figure.character]
        return Chain(
            character.line, character.id, figure.id, release.id if release else "", change.id if change else ""
        )

    def tax(self, country: str, on: date) -> Decimal:
        """The tax rate of a country on a day, 0 when no rule is known."""
        return tax_rate(self.taxes, country, on)


def tax_rate(taxes: tuple[TaxRule, ...], country: str, on: date) -> Decimal:
    """The newest rate of a country's rules on a day, 0 when no rule is known."""
    rules = [rule for rule in taxes if rule.country == country and rule.valid_from <= on]
    return max(rules, key=lambda rule: rule.valid_from).rate if rules else Decimal(0)
