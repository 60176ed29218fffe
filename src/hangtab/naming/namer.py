"""From a saying to candidates with probabilities, reasons and whether a person must look.

Promises that probabilities of the candidates and of "none of these" sum to at most one (what is left belongs to
candidates too unlikely to be listed), that the text alone decides, and that danger words and lots always wait.
Reads a `Catalogue`. Not here: prices, which only the engine may weigh against a name.
"""

from __future__ import annotations

from collections.abc import Mapping

from hangtab.catalogue.model import Catalogue
from hangtab.domain.name import Candidate, Naming, Reason
from hangtab.domain.subject import Subject
from hangtab.naming.compose import MOST_CANDIDATES, Composer, Weighed
from hangtab.naming.doubt import Doubt, doubt
from hangtab.naming.hearing import Heard, Hearer, Mention
from hangtab.naming.lexicon import Sense, lexicon
from hangtab.naming.match import Matcher
from hangtab.naming.merge import Whole, listen
from hangtab.naming.saying import Saying
from hangtab.naming.sentence import Entry, Sentences
from hangtab.naming.suggest import Suggester, Suggestion
from hangtab.naming.things import Row, things
from hangtab.naming.unknown import Unknowns
from hangtab.naming.weigh import Fit, fit
from hangtab.naming.why import explain

# Nine in ten: a wrong name costs a person more than ten looks (common practice, no source). At .9 the decided names of
# the demo are right more often than nineteen in twenty (tests/journeys/test_naming_truth.py).
DECIDED = 0.9
# Enough for the questions of a day; who names a whole book remembers its names in a shorter form.
MOST_REMEMBERED = 500
# Candidates under a tenth of a per cent tell nobody anything.
LEAST_SHOWN = 1e-3
# A text that fits this many things names none of them.
_MOST_VAGUE = 60
# What narrows a text down although it names no piece.
_TELLING = (Sense.CARD, Sense.FIGURE, Sense.RELEASE, Sense.CHANGE, Sense.STAGE, Sense.FINISH, Sense.PROTOTYPE)
# Log-odds lost by a name that is spelt quite differently (likeness 0); a slip of one letter in ten costs about one.
_SPELLING = 10.0


class Namer:
    """Names texts with one catalogue. `popularity` maps things to prior log-odds; without it all are alike."""

    def __init__(self, catalogue: Catalogue, popularity: Mapping[str, float] | None = None) -> None:
        """Build the index once."""
        self._catalogue = catalogue
        self._popularity = dict(popularity or {})
        self._things = things(catalogue)
        self._lexicon = lexicon(catalogue)
        self._matcher = Matcher(self._lexicon)
        self._hearer = Hearer(catalogue, self._matcher)
        self._composer = Composer(catalogue, self._things)
        self._sentences = Sentences(catalogue)
        self._unknowns = Unknowns(catalogue)
        self._suggester = Suggester(self._lexicon, self._matcher)
        self._remembered: dict[tuple[Saying, str], Naming] = {}

    def name(self, saying: Saying | str, about: Subject | None = None) -> Naming:
        """The candidates of a saying (a plain text is taken as a question), likeliest first.

        `about`: the piece under discussion; where the text names none, it is that one ("34+ yellowed").
        """
        saying = Saying.ask(saying) if isinstance(saying, str) else saying
        key = (saying, about.key if about else "")
        known = self._remembered.get(key)
        if known is None:
            if len(self._remembered) >= MOST_REMEMBERED:
                self._remembered.clear()
            known = self._remembered[key] = self._name(saying, about)
        return known

    def sentence(self, subject: Subject) -> str:
        """The canonical sentence of a subject."""
        return self._sentences.sentence(subject)

    def entry(self, subject: Subject) -> Entry:
        """The subject as a reference book prints it."""
        return self._sentences.entry(subject)

    def nearest(self, text: str, limit: int = 3) -> tuple[str, ...]:
        """Names of lines and pieces most like a text, for "Did you mean ...?"."""
        return self._unknowns.nearest(text, limit)

    def suggest(self, text: str, limit: int = 8) -> tuple[Suggestion, ...]:
        """What a person who typed this far may be going to ask, likeliest first; short of a name, nothing."""
        found: dict[str, Suggestion] = {}
        for completed in self._suggester.complete(text):
            for candidate in self.name(Saying.ask(completed)).candidates:
                found.setdefault(candidate.subject.key, Suggestion(candidate.text, candidate.subject))
            if len(found) >= limit:
                break
        return tuple(found.values())[:limit]

    def _name(self, saying: Saying, about: Subject | None) -> Naming:
        exact = self._by_key(saying.title)
        if exact is not None:
            return Naming((Candidate(exact, self.sentence(exact), 1.0),), 0.0, decided=True)
        whole = listen(saying, self._hearer)
        heard = whole.heard
        fits = self._fits(heard, saying.title, about)
        weighed = self._composer.weigh(fits, heard)
        unknown = self._unknowns.find(heard, saying.title) if not about else ""
        doubts = doubt(whole, [w.fit for w in weighed], unknown=unknown, asked=saying.asked)
        shown = [w for w in weighed[:MOST_CANDIDATES] if w.weight >= LEAST_SHOWN]
        candidates = tuple(self._candidate(w, whole, doubts) for w in shown)
        first = candidates[0].probability if candidates else 0.0
        decided = first >= DECIDED and not doubts.waits
        why = "" if decided else explain(self._catalogue, candidates, doubts)
        return Naming(candidates, doubts.none, decided, doubts.lot is not None, unknown, why)

    def _by_key(self, text: str) -> Subject | None:
        """The subject when the text is a canonical key."""
        if text.count("|") != 7:  # noqa: PLR2004 - a key has eight fields
            return None
        try:
            subject = Subject.parse(text.strip())
            self.sentence(subject)
        except (ValueError, KeyError):
            return None
        return subject

    def _fits(self, heard: Heard, title: str, about: Subject | None) -> list[Fit]:
        named = heard.named.get(Sense.CHARACTER, [])
        fits = [
            self._spelt(row, mention, heard)
            for mention in named
            for key in mention.ids
            for row in self._things.rows.get(key, ())
        ]
        spelt_out = _by_id(title, [f.row for f in fits])
        if spelt_out:
            return [f for f in fits if f.row in spelt_out]
        if fits:
            return _once(fits)
        if about is not None:
            return self._about(heard, about)
        return self._vague(heard)

    def _spelt(self, row: Row, mention: Mention, heard: Heard) -> Fit:
        found = fit(row, heard, self._things, self._popularity)
        found.odds -= _SPELLING * (1.0 - mention.reason.sure)
        return found

    def _about(self, heard: Heard, about: Subject) -> list[Fit]:
        rows = [r for rows in self._things.rows.values() for r in rows if r.id == about.thing]
        return [fit(r, heard, self._things, self._popularity) for r in rows if r.packaging is about.packaging]

    def _vague(self, heard: Heard) -> list[Fit]:
        """Things that fit although no piece is named: "nine glow stickers"; empty when that is half the catalogue."""
        said = {key for sense in _TELLING for mention in heard.named.get(sense, ()) for key in mention.ids}
        said.update(key for feature in heard.features for key in feature.ids)
        rows = dict.fromkeys(row for key in sorted(said) for row in self._things.holding.get(key, ()))
        fits = [fit(row, heard, self._things, self._popularity) for row in rows]
        best = max((f.odds for f in fits), default=0.0)
        near = [f for f in fits if f.odds >= best - 1.0]
        return near if len(near) <= _MOST_VAGUE else []

    def _candidate(self, weighed: Weighed, whole: Whole, doubts: Doubt) -> Candidate:
        subject = self._composer.subject(weighed, whole.heard)
        against = [*weighed.fit.against, *doubts.against]
        told = {(r.start, r.end, r.text) for r in against}
        for reason in whole.heard.reasons:
            if reason.kind == "grade" and weighed.grading is None:
                told.add((reason.start, reason.end, reason.text))
                against.append(reason)
        speaks = tuple(r for r in whole.heard.reasons if (r.start, r.end, r.text) not in told)
        silent = tuple(Reason("", f"no {what} is said", what) for what in weighed.fit.silent)
        return Candidate(
            subject,
            self.sentence(subject),
            weighed.weight * (1.0 - doubts.none),
            speaks,
            (*against, *silent),
        )


def _once(fits: list[Fit]) -> list[Fit]:
    """Each row once, where two phrases name it the better spelt one."""
    best: dict[tuple[str, str], Fit] = {}
    for found in fits:
        key = (found.row.id, found.row.packaging)
        if key not in best or best[key].odds < found.odds:
            best[key] = found
    return list(best.values())


def _by_id(title: str, rows: list[Row]) -> list[Row]:
    """Rows whose id stands in the text, as canonical sentences write it where names do not tell twins apart."""
    if " id " not in title:
        return []
    words = {w.strip(",") for w in title.split()}
    return [r for r in rows if r.id in words or (r.change and r.release in words and r.change in words)]
