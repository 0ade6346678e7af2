"""The parameters of a rule as they stand in its file: each a number that the condition compares facts of one unit with."""

from collections.abc import Iterable, Iterator, Mapping

from heartlevel.intake.faults import abridged, near
from heartlevel.ruling.files.fields import KEBAB_CASE
from heartlevel.ruling.files.source import PLAIN_NUMBER
from heartlevel.ruling.language.conditions import Condition, Parameter, Term, leaves_of, parameters_in
from heartlevel.ruling.language.faults import Entry, RuleFault

FIELD = "parameters"


def parameters_of(rule: Entry, faults: list[RuleFault]) -> dict[str, Parameter]:
    """Return a rule's parameters by name; those with mistakes are left out, and the mistakes added to `faults`."""
    written = rule.item.get(FIELD)
    if written is not None and not isinstance(written, dict):
        faults.append(rule.fault((FIELD,), "not-an-object", f"found {abridged(written)}; expected numbers by name"))
    numbers = {
        name: value
        for name, value in (written if isinstance(written, dict) else {}).items()
        if value is not None or not rule.sets(FIELD, name)  # a layer leaves one out by setting it to null
    }
    mistaken = {name: fault for name, value in numbers.items() if (fault := _mistake(rule, name, value)) is not None}
    faults += mistaken.values()
    return {name: Parameter(value, name) for name, value in numbers.items() if name not in mistaken}


def _mistake(rule: Entry, name: str, value: object) -> RuleFault | None:
    at = (FIELD, name)
    if not KEBAB_CASE.fullmatch(name):
        return rule.fault(at, "not-a-name", f"'{name}' is no name of a parameter", "as in `least-share`, with hyphens")
    if value is None:
        return rule.fault(at, "null", f"{name} has no value")
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return rule.fault(at, "not-a-number", f"{name}: found {abridged(value)}; a parameter is a number", PLAIN_NUMBER)
    return None


def parameters_elsewhere(rules: Iterable[Entry]) -> dict[str, Parameter]:
    """Return what rules can say of the parameters of others, `rule.name`: those of rules that are switched off too.

    Items may be unchecked; what is at fault is left out, and named where it stands.
    """
    return {
        (name := f"{rule.item.get('id')}.{own}"): Parameter(value, name)
        for rule in rules
        if isinstance(rule.item, dict)
        for own, value in parameters_of(rule, []).items()
    }


def misused(rule: Entry, parameters: Mapping[str, Parameter], condition: Condition) -> Iterator[RuleFault]:
    """Yield each parameter that is compared with facts of two units, and each that the condition does not compare with.

    Where a layer changed the condition, that is the place of the latter: it either keeps the parameter or sets it to null.
    """
    yield from _of_two_units(rule, condition)
    used = parameters_in(condition)
    for name in parameters.keys() - used:
        taken_away = rule.sets("when") and not rule.sets(FIELD, name)
        detail = f"'{name}' plays no part in the rule's `when`" + (" any more" if taken_away else "")
        hint = f"where it is not wanted: `parameters: {{{name}: null}}`" if taken_away else near(name, sorted(used))
        yield rule.fault(("when",) if taken_away else (FIELD, name), "unused-parameter", detail, hint)


def _of_two_units(rule: Entry, condition: Condition) -> Iterator[RuleFault]:
    units: dict[str, dict[str, str]] = {}
    for term in (leaf for leaf in leaves_of(condition) if isinstance(leaf, Term)):
        for value in (value for value in term.values if isinstance(value, Parameter)):
            units.setdefault(value.name, {}).setdefault(term.fact.unit or "1", term.fact.name)
    for name, facts in units.items():
        if len(facts) > 1:
            compared = " and ".join(f"{fact} ({unit})" for unit, fact in facts.items())
            yield rule.fault((FIELD, name), "wrong-value", f"'{name}' is compared with {compared}",
                             "compare what has the same unit")  # fmt: skip
