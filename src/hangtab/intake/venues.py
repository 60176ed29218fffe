"""Which venue and which of its sites a text or an address means.

A venue the catalogue does not know keeps its own name, made short and plain. Not here: what a venue charges
(levelling).
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from hangtab.catalogue.model import Site, Venue
from hangtab.intake.words import country_code, plain

_HOST = re.compile(r"(?:https?:)?//(?:www\.)?([^/:?#\s]+)|^(?:www\.)?([\w-]+(?:\.[\w-]+)+)", re.IGNORECASE)
_LISTING = re.compile(r"(?:[/=#]|^)([\w-]*\d[\w-]*)(?:\.html?)?/?(?:[?#].*)?$", re.IGNORECASE)
_LONGEST_NAME = 60
_MOST_KNOWN = 10_000


@dataclass(frozen=True)
class Places:
    """Venues by plain name and by host."""

    venues: Mapping[str, Venue]
    names: Mapping[str, str]
    hosts: Mapping[str, tuple[str, str]]
    _known: dict[str, tuple[str, str]] = field(default_factory=dict, compare=False, repr=False)  # texts seen before

    @classmethod
    def of(cls, venues: Mapping[str, Venue]) -> Places:
        """Index the catalogue's venues; longer names first."""
        names = {plain(v.id): v.id for v in venues.values()}
        for venue in venues.values():
            names.update({plain(n): venue.id for n in (venue.names.name, *(a.text for a in venue.names.aliases))})
        ordered = dict(sorted(names.items(), key=lambda pair: -len(pair[0])))
        hosts: dict[str, tuple[str, str]] = {}
        for venue in venues.values():
            for site in (s for s in venue.sites if s.host):
                shared = site.host.lower() in hosts  # one host for several countries does not tell which
                hosts[site.host.lower()] = (venue.id, "" if shared else site.country)
        return cls(venues, ordered, hosts)

    def venue(self, text: str) -> str:
        """Id of the venue a text names; "" when it names none of the catalogue's."""
        bare = plain(text)
        if bare in self.names:
            return self.names[bare]
        padded = f" {bare} "
        return next((i for name, i in self.names.items() if name and f" {name} " in padded), "")

    def named(self, text: str) -> tuple[str, str]:
        """Venue id and country that a text names ("Quayside DE"), each "" when it does not."""
        if text not in self._known:
            if len(self._known) > _MOST_KNOWN:
                self._known.clear()
            self._known[text] = self.in_name(text)
        return self._known[text]

    def private(self) -> str:
        """Id of the only venue for sales between two people, "" when there is none or more than one."""
        found = [v.id for v in self.venues.values() if v.kind == "private"]
        return found[0] if len(found) == 1 else ""

    def at(self, address: str) -> tuple[str, str]:
        """Venue id and country of a web address, both "" when its host is not known."""
        found = _HOST.search(address.strip())
        host = (found[1] or found[2]).lower() if found else ""
        while host:
            if host in self.hosts:
                return self.hosts[host]
            host = host.partition(".")[2]
        return "", ""

    def site(self, venue: str, country: str, currency: str) -> Site | None:
        """The site that a country or a currency singles out; None when neither does."""
        sites = self.venues[venue].sites if venue in self.venues else ()
        if country:
            return next((s for s in sites if s.country == country), None)
        fitting = [s for s in sites if s.currency == currency] if currency else list(sites)
        return fitting[0] if len(fitting) == 1 else None

    def in_name(self, name: str) -> tuple[str, str]:
        """Venue id and country that a file's name mentions ("quayside-de-2024.csv"), each "" when it does not."""
        stem = re.sub(r"\.\w+$", "", name.rsplit("/", 1)[-1])
        venue = self.venue(re.sub(r"(?<=\D)(?=\d)|(?<=\d)(?=\D)", " ", stem))
        sites = self.venues[venue].sites if venue else ()
        known = {s.country for s in sites}
        words = plain(stem).split()
        return venue, next((c for w in words if (c := country_code(w)) in known), "")


def short_name(text: str) -> str:
    """A plain id for a venue outside the catalogue.

    >>> short_name("Dock Fair (Spring)")
    'dock-fair-spring'
    """
    return plain(text)[:_LONGEST_NAME].strip().replace(" ", "-")


def listing_in(address: str) -> str:
    """The listing id at the end of a web address, "" when there is none.

    >>> listing_in("https://quayside.example/item/q-1234?ref=mail")
    'q-1234'
    """
    path = re.sub(r"[?#].*$", "", address.strip())
    found = _LISTING.search(path)
    return found[1] if found and "/" in path.partition("//")[2] else ""
