"""The reason of a finding: its condition as a tree with values, and the nearest change of facts that would silence it.

A change is told, not advised: it says how far the facts are from another outcome.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from heapq import heappop, heappush
from itertools import count, pairwise
from math import inf, isnan, nextafter
from typing import Any, TypeAlias

from heartlevel.assessment import Assessment
from heartlevel.columns import TOLERANCE
from heartlevel.facts.catalogue import CATALOGUE, Fact
from heartlevel.ruling.explaining import WORDS, Row, decoded, rounded_alike, spoken, terms_of, tree
from heartlevel.ruling.language import Condition, Group, Limit, Mention, Term
from heartlevel.ruling.reference import Verdict
from heartlevel.ruling.ruleset import Rule
from heartlevel.ruling.truth import FALSE, TRUE

VERDICTS: dict[int, Verdict] = {TRUE: True, FALSE: False}  # anything else is unknown
# Whether someone takes medicine is not to be altered to quieten a rule.
NEVER_CHANGED = frozenset({"on_treatment"})
# A condition that takes more steps than this has no change worth reading.
MOST_STEPS = 5_000
# A change of a flag, a choice, or of what was not recorded has no size: it counts for more than any of a number.
WHOLE = 2.0


def reason_of(assessment: Assessment, rule: Rule, row: int, subject: int) -> dict[str, Any]:
    """Return why a rule says what it says of a row of its scope and, where it fires, what would silence it."""
    verdicts, columns = assessment.verdicts[rule.scope], assessment.facts[rule.scope]
    rules = {one.id: one for one in verdicts.rules}
    facts = {term.fact.name: float(columns[term.fact.name][row]) for term in terms_of(rule.condition, rules)}
    known = {name: None if value != value else value for name, value in facts.items()}
    limits = assessment.rules.limits(assessment.guidelines[subject].id, assessment.protocols[subject].id)
    asked = Row(known, limits, rules)
    findings = {name: VERDICTS.get(code) for name, code in zip(rules, verdicts.outcomes[:, row].tolist(), strict=True)}
    fires = findings[rule.id] is True
    return {
        "condition": tree(rule.condition, asked, findings),
        "silenced_by": silencing(rule.condition, asked) if fires else [],
    }


@dataclass(frozen=True, slots=True)
class _Cell:
    """Values of a fact that no comparison tells apart."""

    value: float | None  # the one nearest to the row's; only the row's own can be None
    far: float = 0.0  # from the row's value, relative to the sum of both: at most 1, and growing with the distance
    place: int = -1  # among the cells of a number, in ascending order
    bounds: tuple[tuple[str, float] | None, tuple[str, float] | None] = (None, None)


@dataclass(frozen=True, slots=True)
class _Cut:
    """A number at which a comparison changes: `at` is the smallest float above the cut."""

    at: float
    value: float = 0.0
    below: str = ""
    above: str = ""


def silencing(condition: Condition, row: Row) -> list[dict[str, Any]] | None:
    """Return the changes, to be made together, after which a condition that is true no longer is.

    As few facts as can be, then the smallest sum of relative changes; any values as stated will do. What the person
    is, such as the age, is changed only where nothing else helps. Facts, derived ones too, are taken as free of each
    other. Empty where no change helps, None where the search took too long.
    """
    terms: dict[str, list[Term]] = {}
    for term in dict.fromkeys(terms_of(condition, row.rules)):
        terms.setdefault(term.fact.name, []).append(term)
    cells = {name: _cells(several, row) for name, several in terms.items()}
    allowed = _search(condition, row, cells)
    if allowed is None:
        return None
    return [_change(terms[name], cells[name], chosen, row) for name, chosen in allowed.items() if 0 not in chosen]


def _cells(terms: Sequence[Term], row: Row) -> list[_Cell]:
    """Return the cells a fact can be in, the one it is in now first."""
    fact = terms[0].fact
    now = row.facts.get(fact.name)
    if fact.name in NEVER_CHANGED:
        return [_Cell(now)]
    if fact.kind == "number":
        return [_Cell(now), *_ranges(fact, _cuts(terms, row.limits), now)]
    codes = range(2 if fact.kind == "flag" else len(fact.names))
    return [_Cell(now), *(_Cell(float(code), WHOLE) for code in codes if code != now)]


def _cuts(terms: Sequence[Term], limits: Mapping[str, float]) -> list[_Cut]:
    cuts: dict[float, _Cut] = {}
    for term in terms:
        if term.operator == "known":
            continue
        first, last = (limits[one.name] if isinstance(one, Limit) else one for one in (term.values[0], term.values[-1]))
        if isnan(first) or isnan(last):  # a limit that the guideline does not publish cuts nothing
            continue
        if term.operator not in ("above", "at_most"):
            cuts.setdefault(first - TOLERANCE, _Cut(first - TOLERANCE, first, "below", "at_least"))
        if term.operator not in ("below", "at_least"):
            at = nextafter(last + TOLERANCE, inf)
            cuts.setdefault(at, _Cut(at, last, "at_most", "above"))
    return sorted(cuts.values(), key=lambda cut: cut.at)


def _ranges(fact: Fact, cuts: Sequence[_Cut], now: float | None) -> Iterator[_Cell]:
    """Yield the ranges between the cuts that can be recorded and that the value is not in."""
    for place, (low, high) in enumerate(pairwise([_Cut(-inf), *cuts, _Cut(inf)])):
        bottom, top = max(low.at, fact.low), min(nextafter(high.at, -inf), fact.high)
        if bottom > top or (now is not None and low.at <= now < high.at):
            continue
        bounds = (low.above, low.value) if low.above else None, (high.below, high.value) if high.below else None
        value = _closest(0.0 if now is None else now, bottom, top, (low.value, high.value))
        far = WHOLE if now is None else abs(value - now) / (abs(value) + abs(now))
        yield _Cell(value, far, place, bounds)


def _closest(now: float, bottom: float, top: float, written: tuple[float, float]) -> float:
    """Return the value of a range closest to another; the written bound where it is within the range."""
    if bottom <= now <= top:
        return now
    edge, value = (bottom, written[0]) if now < bottom else (top, written[1])
    return value if bottom <= value <= top else edge


_Allowed: TypeAlias = dict[str, frozenset[int]]  # by fact, the cells it may be in
_Goals: TypeAlias = tuple[tuple[Condition, bool], ...]  # conditions, and what each must not be
_Cost: TypeAlias = tuple[int, int, float]  # facts of the person changed, facts changed, sum of relative changes


def _search(condition: Condition, row: Row, cells: Mapping[str, list[_Cell]]) -> _Allowed | None:
    """Find the cheapest cells that keep the condition from being true: cheapest first, so the first found is it."""
    order = count()
    heap: list[tuple[_Cost, int, _Allowed, _Goals]] = [((0, 0, 0.0), next(order), {}, ((condition, True),))]
    for _ in range(MOST_STEPS):
        if not heap:
            return {}
        *_, allowed, goals = heappop(heap)
        if not goals:
            return allowed
        for narrowed, left in _steps(goals, allowed, row, cells):
            heappush(heap, (_cost(narrowed, cells), next(order), narrowed, left))
    return None


def _cost(allowed: _Allowed, cells: Mapping[str, list[_Cell]]) -> _Cost:
    changed = [name for name, chosen in allowed.items() if 0 not in chosen]
    of_person = sum(CATALOGUE[name].scope == "subject" for name in changed)
    return of_person, len(changed), sum(min(cells[name][one].far for one in allowed[name]) for name in changed)


def _steps(
    goals: _Goals, allowed: _Allowed, row: Row, cells: Mapping[str, list[_Cell]]
) -> Iterator[tuple[_Allowed, _Goals]]:
    """Yield the ways to go on from the first goal."""
    (goal, avoided), *rest = goals
    match goal:
        case Term():
            name = goal.fact.name
            fitting = {place for place, one in enumerate(cells[name]) if row.outcome(goal, one.value) is not avoided}
            if both := allowed.get(name, frozenset(range(len(cells[name])))) & fitting:
                yield {**allowed, name: both}, tuple(rest)
        case Mention(rule):
            yield allowed, ((row.rules[rule].condition, avoided), *rest)
        case Group(kind, parts):
            inner = [(part, avoided if kind != "none" else not avoided) for part in parts]
            # `any` is kept from being true only by all its parts, `all` and `none` by one of them; else the reverse.
            for several in [inner] if (kind == "any") == avoided else [[one] for one in inner]:
                yield allowed, (*several, *rest)


def _change(terms: Sequence[Term], cells: Sequence[_Cell], chosen: frozenset[int], row: Row) -> dict[str, Any]:
    fact, now = terms[0].fact, cells[0].value
    said = [row.outcome(term, now) for term in terms]
    shown = rounded_alike(now, lambda one: [row.outcome(term, one) for term in terms] == said)
    to, words = _target(fact, cells, chosen)
    derived = {} if fact.formula == "recorded" else {"formula": fact.formula}
    text = f"{fact.name}: {words} instead of {spoken(fact, shown)}"
    return {"fact": fact.name, "unit": fact.unit, "from": decoded(fact, shown), "to": to, "text": text, **derived}


def _target(fact: Fact, cells: Sequence[_Cell], chosen: frozenset[int]) -> tuple[dict[str, Any], str]:
    """Return what the fact is to be, as operators with values and in words."""
    if len(chosen) == len(cells) - 1 and cells[0].value is None:
        return {"known": True}, "any value"
    if fact.kind == "number":
        return _bounds(fact, cells, chosen)
    values = [cells[place].value for place in sorted(chosen)]
    names = [decoded(fact, value) for value in values]
    to = {"equals": names[0]} if len(names) == 1 else {"one_of": names}
    return to, " or ".join(spoken(fact, value) for value in values)


def _bounds(fact: Fact, cells: Sequence[_Cell], chosen: frozenset[int]) -> tuple[dict[str, Any], str]:
    """Return the bounds of the nearest cell and of those next to it that will do as well."""
    places = {cells[one].place: cells[one] for one in chosen}
    low = high = min((cells[one] for one in chosen), key=lambda one: (one.far, -one.place))  # from 0, rather upwards
    while low.place - 1 in places:
        low = places[low.place - 1]
    while high.place + 1 in places:
        high = places[high.place + 1]
    found = [one for one in (low.bounds[0], high.bounds[1]) if one is not None]
    if found == [("at_least", found[0][1]), ("at_most", found[0][1])]:
        found = [("equals", found[0][1])]
    return dict(found), " and ".join(WORDS[relation].format(spoken(fact, value)) for relation, value in found)
