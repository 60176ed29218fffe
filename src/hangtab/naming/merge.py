"""The title, the columns and the description of one saying, as one `Heard`.

Promises that the title is believed first, a column beside it, and the description only where both are silent, since
descriptions speak of other pieces too. What title and columns contradict is kept as a conflict. Reads `Saying`.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from hangtab.domain.name import Reason
from hangtab.naming.hearing import FeatureHeard, Heard, Hearer, Mention, from_elsewhere
from hangtab.naming.saying import Saying

_GRADE_COLUMNS = ("grader", "grade", "subgrades", "qualifier", "generation", "certificate")
_GRADE = "grade"
# A column that says nothing.
_EMPTY = frozenset({"", "-", "n/a", "none", "no", "unknown", "?"})
_ANSWER_ROLES = frozenset({"loose", "carded", "boxed", "raw", "graded", "sealed", "opened", "resealed"})


@dataclass(slots=True)
class Whole:
    """Everything heard, and where title and columns contradict each other (pairs: title's word, column's word)."""

    heard: Heard
    conflicts: list[tuple[Reason, Reason]] = field(default_factory=list)


def listen(saying: Saying, hearer: Hearer) -> Whole:
    """Hear all texts of a saying."""
    whole = Whole(hearer.hear(saying.title, asked=saying.asked))
    for column, text in _columns(saying):
        _add(whole, _elsewhere(_hear_column(column, text, hearer)), silent_only=False)
    if saying.description:
        _add(whole, _elsewhere(hearer.hear(saying.description)), silent_only=True)
    if saying.year is not None:
        year = saying.year
        whole.heard.years.append((year, Reason(str(year), str(year), "year", 0.9)))
    if saying.quantity > 1 and whole.heard.lot is None:
        whole.heard.lot = Reason(str(saying.quantity), str(saying.quantity), "lot", 0.9)
    return whole


def _hear_column(column: str, text: str, hearer: Hearer) -> Heard:
    """A column's text; one that means nothing by itself is read after its column's name ("territory B")."""
    heard = hearer.hear(text, about_grade=column == _GRADE)
    return heard if heard.reasons else hearer.hear(f"{column} {text}")


def _columns(saying: Saying) -> Iterable[tuple[str, str]]:
    """Name and text of each column; those of the grade are read as one, since "34" alone means little."""
    said = [(name.lower(), text.strip()) for name, text in saying.said]
    said = [(name, text) for name, text in said if text.lower() not in _EMPTY]
    grade = [text for column in _GRADE_COLUMNS for name, text in said if name == column]
    if saying.certificate and saying.certificate not in grade:
        grade.append(saying.certificate)
    if grade:
        yield _GRADE, ", ".join(grade)
    yield from ((name, text) for name, text in said if name not in _GRADE_COLUMNS)


def _elsewhere(heard: Heard) -> Heard:
    """The same facts with places that do not point into the title."""
    for sense, mentions in heard.named.items():
        heard.named[sense] = [m._replace(reason=from_elsewhere(m.reason)) for m in mentions]
    heard.denied = [m._replace(reason=from_elsewhere(m.reason)) for m in heard.denied]
    heard.features = [f._replace(reason=from_elsewhere(f.reason)) for f in heard.features]
    heard.grades = [g._replace(start=-1, end=-1) for g in heard.grades]
    heard.reasons = [from_elsewhere(r) for r in heard.reasons]
    heard.years = [(y, from_elsewhere(r)) for y, r in heard.years]
    heard.roles = {role: from_elsewhere(r) for role, r in heard.roles.items()}
    heard.dangers = [from_elsewhere(r) for r in heard.dangers]
    heard.lot = from_elsewhere(heard.lot) if heard.lot else None
    heard.left = []
    return heard


def _add(whole: Whole, more: Heard, *, silent_only: bool) -> None:
    """Join facts of a column or, with `silent_only`, of the description."""
    heard = whole.heard
    for sense, mentions in more.named.items():
        own = heard.named.get(sense, [])
        if own and silent_only:
            continue
        whole.conflicts += _against(own, mentions)
        heard.named[sense] = own + [m for m in mentions if m.reason.text not in {o.reason.text for o in own}]
    _add_features(heard.features, more.features)
    if more.grades and not (silent_only and (heard.grades or "raw" in heard.roles)):
        _add_grades(whole, more)
    heard.graded = heard.graded or more.graded
    heard.parts += more.parts
    known = {flaw.id for flaw in heard.flaws}
    heard.flaws += [f for f in more.flaws if f.id not in known]
    heard.notes += more.notes
    for role, reason in more.roles.items():
        if not (silent_only and role in _ANSWER_ROLES and heard.roles.keys() & _ANSWER_ROLES):
            heard.roles.setdefault(role, reason)
    heard.years = heard.years or more.years
    heard.dangers += more.dangers
    heard.lot = heard.lot or (None if silent_only else more.lot)
    heard.denied += more.denied
    heard.reasons += more.reasons


def _against(own: list[Mention], others: list[Mention]) -> list[tuple[Reason, Reason]]:
    """Pairs where no title's mention agrees with a column's."""
    if not own:
        return []
    return [(own[0].reason, other.reason) for other in others if not any(o.ids & other.ids for o in own)]


def _add_features(own: list[FeatureHeard], others: list[FeatureHeard]) -> None:
    for other in others:
        same = [k for k, f in enumerate(own) if set(f.ids) & set(other.ids)]
        if not same:
            own.append(other)
            continue
        first = own[same[0]]
        both = tuple(i for i in first.ids if i in other.ids)
        state = other.state if other.state is not first.state else first.state
        own[same[0]] = first._replace(ids=both, state=state, doubted=first.doubted and other.doubted)


def _add_grades(whole: Whole, more: Heard) -> None:
    heard = whole.heard
    said = {(o.grading.grader, o.grading.grade) for o in heard.grades}
    new = {(o.grading.grader, o.grading.grade) for o in more.grades}
    if said and not said & new:
        own, other = heard.grades[0], more.grades[0]
        pair = [Reason(f"{o.grading.grader} {o.grading.grade}", o.grading.key(), "grade") for o in (own, other)]
        whole.conflicts.append((pair[0], pair[1]))
        heard.grades = heard.grades + more.grades
    elif said:
        # Both may know more: the title the grade, the column the grader.
        heard.grades = [o for o in heard.grades if (o.grading.grader, o.grading.grade) in new]
    else:
        heard.grades = more.grades
