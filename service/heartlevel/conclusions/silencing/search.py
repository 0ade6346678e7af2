"""The search for the nearest change of facts that would silence a finding, and the reason it is part of."""

from collections.abc import Iterator, Mapping, Sequence
from heapq import heappop, heappush
from itertools import count, product
from typing import Any, TypeAlias

from heartlevel.assessment import Assessment
from heartlevel.conclusions.silencing.cells import Cell, cells_compared, only_recording_matters, value_wanted
from heartlevel.conclusions.silencing.consequences import Consequences
from heartlevel.ruling.language.conditions import Condition, Group, Mention, Term
from heartlevel.ruling.language.explaining import Row, decoded, rounded_alike, spoken, terms_of, tree
from heartlevel.ruling.language.reference import Verdict
from heartlevel.ruling.language.rules import Rule
from heartlevel.ruling.running.truth import FALSE, TRUE

DECIDED: dict[int, Verdict] = {TRUE: True, FALSE: False}  # anything else is unknown
# A condition that takes more steps than this has no change worth reading.
MOST_STEPS = 5_000


def reason_of(assessment: Assessment, rule: Rule, row: int, subject: int) -> dict[str, Any]:
    """Return why a rule says what it says of a row of its scope and, where it fires, what would silence it."""
    verdicts, columns = assessment.verdicts[rule.scope], assessment.facts[rule.scope]
    rules = {other.id: other for other in verdicts.rules}
    findings = {name: DECIDED.get(code) for name, code in zip(rules, verdicts.outcomes[:, row].tolist(), strict=True)}
    fires = findings[rule.id] is True
    # What a change brings about elsewhere is asked only where one is looked for.
    needed = rules.values() if fires else [rule]
    names = {term.fact.name for other in needed for term in terms_of(other.condition, rules)}
    facts = {name: float(columns[name][row]) for name in sorted(names)}
    known = {name: None if value != value else value for name, value in facts.items()}
    limits = assessment.rules.limits(assessment.guidelines[subject].id, assessment.protocols[subject].id)
    asked = Row(known, limits, rules)
    elsewhere = Consequences(rule, rules, known, limits, findings)
    return {
        "condition": tree(rule.condition, asked, findings),
        "silenced_by": silencing(rule.condition, asked, elsewhere) if fires else [],
    }


def silencing(condition: Condition, row: Row, elsewhere: Consequences | None = None) -> list[dict[str, Any]] | None:
    """Return the changes, to be made together, after which a condition that is true no longer is.

    As few facts as can be, then the smallest sum of relative changes; any values as stated will do. What the person
    is, such as the age, is changed only where nothing else helps. Facts, derived ones too, are taken as free of each
    other. What makes it worse elsewhere is left out, and what brings other findings comes after what brings none.
    Empty where no change helps, None where the search took too long.
    """
    terms: dict[str, list[Term]] = {}
    for term in dict.fromkeys(terms_of(condition, row.rules)):
        terms.setdefault(term.fact.name, []).append(term)
    cells = {name: cells_compared(compared, row) for name, compared in terms.items()}
    of_person = frozenset(name for name, compared in terms.items() if compared[0].fact.scope == "subject")
    allowed = _search(condition, row, cells, of_person, elsewhere)
    if allowed is None:
        return None
    return [_change(terms[name], cells[name], chosen, row) for name, chosen in allowed.items() if 0 not in chosen]


_Allowed: TypeAlias = dict[str, frozenset[int]]  # by fact, the cells it may be in
_Goals: TypeAlias = tuple[tuple[Condition, bool], ...]  # conditions, and what each must not be
# Facts of the person changed, other findings brought about, facts changed, sum of relative changes.
_Cost: TypeAlias = tuple[int, int, int, float]


def _search(
    condition: Condition,
    row: Row,
    cells: Mapping[str, list[Cell]],
    of_person: frozenset[str],
    elsewhere: Consequences | None,
) -> _Allowed | None:
    """Find the cheapest cells that keep the condition from being true: the cheapest are tried first."""
    order = count()
    start: tuple[_Cost, int, _Allowed, _Goals | None] = ((0, 0, 0, 0.0), next(order), {}, ((condition, True),))
    heap = [start]
    for _ in range(MOST_STEPS):
        if not heap:
            return {}
        *_, allowed, goals = heappop(heap)
        if goals is None or (not goals and elsewhere is None):
            return allowed
        if not goals and elsewhere is not None and (bearable := _bearable(allowed, cells, elsewhere)):
            # Once more into the heap, at the price of what else it brings about, and then it is done.
            heappush(heap, (_cost(bearable[0], cells, of_person, bearable[1]), next(order), bearable[0], None))
        for narrowed, left in _steps(goals, allowed, row, cells) if goals else ():
            heappush(heap, (_cost(narrowed, cells, of_person), next(order), narrowed, left))
    return None


def _bearable(allowed: _Allowed, cells: Mapping[str, list[Cell]], elsewhere: Consequences) -> tuple[_Allowed, int] | None:
    """Keep of the cells those that make nothing worse, with the number of findings they bring; None if none is left."""
    changed = [
        name for name, chosen in allowed.items() if 0 not in chosen and not only_recording_matters(cells[name], chosen)
    ]
    near_first = [sorted(allowed[name], key=[cell.far for cell in cells[name]].__getitem__) for name in changed]

    def brought(numbers: Sequence[int]) -> int | None:
        values = {name: cells[name][number].value for name, number in zip(changed, numbers, strict=True)}
        return elsewhere.milder_findings(values)

    counted = [(new, numbers) for numbers in product(*near_first) if (new := brought(numbers)) is not None]
    if not counted:
        return None
    fewest, best = min(counted, key=lambda choice: choice[0])
    kept = dict(allowed)
    for at, name in enumerate(changed):
        others = ((*best[:at], number, *best[at + 1 :]) for number in near_first[at])
        kept[name] = frozenset(numbers[at] for numbers in others if brought(numbers) == fewest)
    return kept, fewest


def _cost(allowed: _Allowed, cells: Mapping[str, list[Cell]], of_person: frozenset[str], brought: int = 0) -> _Cost:
    changed = [name for name, chosen in allowed.items() if 0 not in chosen]
    far = sum(min(cells[name][number].far for number in allowed[name]) for name in changed)
    return len(of_person.intersection(changed)), brought, len(changed), far


def _steps(
    goals: _Goals, allowed: _Allowed, row: Row, cells: Mapping[str, list[Cell]]
) -> Iterator[tuple[_Allowed, _Goals]]:
    """Yield the ways to go on from the first goal."""
    (goal, avoided), *rest = goals
    match goal:
        case Term():
            name = goal.fact.name
            fitting = {number for number, cell in enumerate(cells[name]) if row.outcome(goal, cell.value) is not avoided}
            if both := allowed.get(name, frozenset(range(len(cells[name])))) & fitting:
                yield {**allowed, name: both}, tuple(rest)
        case Mention(rule):
            yield allowed, ((row.rules[rule].condition, avoided), *rest)
        case Group(kind, parts):
            inner = [(part, avoided if kind != "none" else not avoided) for part in parts]
            # `any` is kept from being true only by all its parts, `all` and `none` by one of them; else the reverse.
            for together in [inner] if (kind == "any") == avoided else [[part] for part in inner]:
                yield allowed, (*together, *rest)


def _change(terms: Sequence[Term], cells: Sequence[Cell], chosen: frozenset[int], row: Row) -> dict[str, Any]:
    fact, now = terms[0].fact, cells[0].value
    outcomes = [row.outcome(term, now) for term in terms]
    shown = rounded_alike(now, lambda value: [row.outcome(term, value) for term in terms] == outcomes)
    to, words = value_wanted(fact, cells, chosen)
    derived = {} if fact.formula == "recorded" else {"formula": fact.formula}
    text = f"{fact.name}: {words} instead of {spoken(fact, shown)}"
    return {"fact": fact.name, "unit": fact.unit, "from": decoded(fact, shown), "to": to, "text": text, **derived}
