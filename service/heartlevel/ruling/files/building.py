"""From entries of rule files to rules that can be run: conditions read, sentences and examples checked, an order found."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from graphlib import CycleError, TopologicalSorter
from itertools import chain
from typing import Any

from heartlevel.facts.catalogue import CATALOGUE, VISIBLE, Fact
from heartlevel.intake.faults import near
from heartlevel.intake.schema import Reading
from heartlevel.ruling.files.parameters.reading import misused, parameters_of
from heartlevel.ruling.files.parsing import ConditionParser
from heartlevel.ruling.files.sentences import NO_LIMITS, RuleSentences, sentence
from heartlevel.ruling.files.source import repeated_names
from heartlevel.ruling.language.conditions import MOST_LEAVES, Condition, Mention, Parameter, Term, leaves_of
from heartlevel.ruling.language.faults import Entry, RuleFault
from heartlevel.ruling.language.rules import Citation, Consequence, Example, Rule, RuleUrgency, Shift
from heartlevel.ruling.language.template import Template
from heartlevel.vocabulary import DIRECTIONS, EFFECTS, URGENCY_LEVELS

OF_NO_READING = ("series", "device", "comparison")  # scopes whose rules concern no single reading
READING_FIELDS = tuple(Reading().fields)
AS_WRITTEN = ("id", "scope", "severity", "next_step", "field", "pattern", "told_in")
OTHERWISE_URGENT = {"kind": "other", "level": "same-day"}


def facts_of(scope: str, catalogue: Mapping[str, Fact] = CATALOGUE) -> dict[str, Fact]:
    """Return the facts of a catalogue that rules of a scope may speak of."""
    return {name: fact for name, fact in catalogue.items() if fact.scope in VISIBLE[scope]}


def build_rules(
    by_scope: Mapping[str, Sequence[Entry]],
    ids: Mapping[str, frozenset[str]],
    catalogue: Mapping[str, Fact],
    limits: frozenset[str],
    next_steps: frozenset[str],
    elsewhere: Mapping[str, Parameter],
    faults: list[RuleFault],
) -> dict[str, tuple[Rule, ...]]:
    """Build the rules of every scope, each after those it mentions; mistakes are added to `faults`.

    `elsewhere` are the parameters of other rules by `rule.name`. `ids` are those of each scope's rules, of those at
    fault too: to mention one of these is no second mistake.
    """
    faults += [*repeated_names(chain.from_iterable(by_scope.values()), "id"), *_wrong_scopes(by_scope)]
    return {
        scope: _Builder(scope, ids[scope], catalogue, limits, next_steps, elsewhere, faults).build(rows)
        for scope, rows in by_scope.items()
    }


def _wrong_scopes(by_scope: Mapping[str, Sequence[Entry]]) -> Iterator[RuleFault]:
    for scope, entries in by_scope.items():
        for entry in entries:
            if entry.item["scope"] != scope:
                detail = f"a rule in the folder {scope} has scope {scope}, not {entry.item['scope']}"
                yield entry.fault(("scope",), "wrong-scope", detail)


class _Builder:
    """Builds the rules of one scope."""

    def __init__(
        self, scope: str, ids: frozenset[str], catalogue: Mapping[str, Fact], limits: frozenset[str],
        next_steps: frozenset[str], elsewhere: Mapping[str, Parameter], faults: list[RuleFault],
    ) -> None:  # fmt: skip
        self.scope, self.ids, self.limits, self.next_steps, self.faults = scope, ids, limits, next_steps, faults
        self.catalogue, self.facts, self.elsewhere = catalogue, facts_of(scope, catalogue), elsewhere

    def build(self, entries: Sequence[Entry]) -> tuple[Rule, ...]:
        own = [entry for entry in entries if entry.item["scope"] == self.scope]  # others speak of other facts
        built = {rule.id: rule for rule in map(self._rule, own) if rule is not None}
        self.faults += _same_conditions(built.values())
        mentioned = {
            name: sorted({leaf.rule for leaf in rule.leaves if isinstance(leaf, Mention)} & built.keys())
            for name, rule in sorted(built.items())
        }
        try:
            return tuple(built[name] for name in TopologicalSorter(mentioned).static_order())
        except CycleError as error:
            circle = error.args[1]
            detail = f"mentions itself: {' → '.join(circle)}"
            self.faults += [entry.fault(("when",), "cycle", detail) for entry in entries if entry.item["id"] in circle]
            return ()

    def _rule(self, entry: Entry) -> Rule | None:
        before = len(self.faults)
        parameters = parameters_of(entry, self.faults)
        if len(self.faults) > before:  # what compares with one at fault, or shows it, is no second mistake
            return None
        condition = self._condition(entry, parameters)
        if condition is not None:  # else what it compares with is not known
            self.faults += misused(entry, parameters, condition)
        shown = {**self.elsewhere, **parameters}
        title = sentence(entry.part("title"), {}, NO_LIMITS, self.faults, parameters=shown)
        explanation, advice = (self._sentence(entry, key, shown) for key in ("explanation", "advice"))
        self.faults += chain(self._wrong_effects(entry), self._wrong_errors(entry))
        self.faults += chain(self._wrong_consequences(entry), self._wrong_examples(entry))
        if condition is None or title is None or explanation is None or advice is None or len(self.faults) > before:
            return None
        return _rule(entry, parameters, condition, RuleSentences(title.filled({}, {}), explanation, advice))

    def _sentence(self, entry: Entry, key: str, parameters: Mapping[str, Parameter]) -> Template | None:
        return sentence(entry.part(key), self.facts, self.limits, self.faults, parameters=parameters)

    def _condition(self, entry: Entry, parameters: Mapping[str, Parameter]) -> Condition | None:
        known = {**self.elsewhere, **parameters}
        parser = ConditionParser(entry, self.catalogue, self.facts, self.limits, self.ids, known, self.faults)
        condition = parser.condition(entry.item["when"], ("when",))
        leaves = 0 if condition is None else len(leaves_of(condition))
        if leaves > MOST_LEAVES:
            detail = f"{leaves} comparisons; a rule has at most {MOST_LEAVES}"
            hint = "put some of them into a rule of their own and mention it with `finding`"
            self.faults.append(entry.fault(("when",), "too-many-comparisons", detail, hint))
        return condition

    def _wrong_effects(self, entry: Entry) -> Iterator[RuleFault]:
        item, step, field = entry.item, entry.item.get("next_step"), entry.item.get("field")
        if self.scope in OF_NO_READING and item["effect"] != "none":
            detail = f"a {self.scope} rule concerns no single reading; its effect is none"
            yield entry.fault(("effect",), "wrong-effect", detail)
        if step is not None and step not in self.next_steps:
            detail = f"'{step}' is no next step of every wording"
            yield entry.fault(("next_step",), "unknown-name", detail, near(step, self.next_steps))
        if field is not None and (self.scope != "reading" or field not in READING_FIELDS):
            detail = f"'{field}' is no field of a reading"
            yield entry.fault(("field",), "unknown-name", detail, near(field, READING_FIELDS))
        if item.get("urgency") is not None and not item.get("urgent"):
            yield entry.fault(("urgency",), "wrong-value", "only an urgent rule says how urgent its findings are")
        if item.get("pattern") is not None and self.scope != "comparison":
            yield entry.fault(("pattern",), "wrong-scope", "only a rule of the comparison can name a pattern")
        if item.get("told_in") is not None and (item.get("urgent") or item["effect"] != "none" or self.scope == "device"):
            detail = "what is urgent, what changes a reading's reliability and what is said of a device is always a finding"
            yield entry.fault(("told_in",), "wrong-effect", detail, "leave `told_in` out")

    def _wrong_errors(self, entry: Entry) -> Iterator[RuleFault]:
        errors = entry.item.get("expected_error") or {}
        if entry.item.get("usual_share") is not None and (not errors or self.scope in OF_NO_READING):
            detail = "how often a fault of readings is there stands beside its expected_error"
            yield entry.fault(("usual_share",), "wrong-value", detail)
        for pressure, shift in errors.items():
            at = ("expected_error", pressure)
            bounds, amount = (shift or {}).get("range"), (shift or {}).get("amount")
            if shift is None:
                yield entry.fault(at, "null", "leave it out, or say how far off the reading may be")
            elif (bounds is None) == (amount is None):
                yield entry.fault(at, "wrong-value", "give either a range or an amount")
            elif bounds is not None and (len(bounds) != 2 or bounds[0] > bounds[1]):
                yield entry.fault(at, "wrong-value", "a range is [lowest, highest]")
            elif amount is not None and (amount not in self.facts or self.facts[amount].unit != "mm[Hg]"):
                detail = f"'{amount}' is no pressure among this scope's facts"
                yield entry.fault((*at, "amount"), "unknown-fact", detail, near(amount, self.facts))

    def _wrong_consequences(self, entry: Entry) -> Iterator[RuleFault]:
        directing = {name for name, fact in self.facts.items() if fact.names == DIRECTIONS} | {*DIRECTIONS}
        for index, item in enumerate(entry.item.get("consequence") or ()):
            at, reads = ("consequence", index), item["reads"]
            if self.scope in ("device", "comparison"):
                yield entry.fault(at, "wrong-scope", "only rules of readings, sittings and series speak of sides")
            if reads not in directing:
                detail = f"'{reads}' is neither high, low nor either, nor a fact that tells one of them"
                yield entry.fault((*at, "reads"), "unknown-name", detail, near(reads, sorted(directing)))
            if (item.get("share") is None) != (self.scope in OF_NO_READING):
                detail = "rules of readings and sittings, and no others, say from which share of the readings on"
                yield entry.fault((*at, "share"), "wrong-value", detail)

    def _wrong_examples(self, entry: Entry) -> Iterator[RuleFault]:
        examples = entry.item["examples"]
        for wanted in {"fires", "silent"} - {example["expect"] for example in examples}:
            yield entry.fault(("examples",), "missing-example", f"no example says `expect: {wanted}`")
        for index in range(len(examples)):
            yield from self._wrong_example(entry.part("examples", index))

    def _wrong_example(self, example: Entry) -> Iterator[RuleFault]:
        given = example.item["given"]
        if not isinstance(given, dict):
            yield example.fault(("given",), "not-an-object", "expected facts by name")
            return
        for name, value in given.items():
            try:
                self.facts[name].encoded(value)
            except KeyError:
                detail = f"'{name}' is no fact of this scope"
                yield example.fault(("given", name), "unknown-fact", detail, near(name, self.facts))
            except (TypeError, ValueError):
                yield example.fault(("given", name), "wrong-value", f"{name} takes no such value")
        for name in example.item.get("findings") or ():
            if name not in self.ids:
                detail = f"'{name}' is no rule of this scope"
                yield example.fault(("findings",), "unknown-finding", detail, near(name, sorted(self.ids)))


def _same_conditions(rules: Iterable[Rule]) -> Iterator[RuleFault]:
    first: dict[Condition, str] = {}
    for rule in rules:
        other = first.setdefault(rule.condition, rule.id)
        if other != rule.id:
            yield rule.entry.fault(("when",), "same-condition", f"'{rule.id}' has the condition of '{other}'")


def _rule(entry: Entry, parameters: Mapping[str, float], condition: Condition, texts: RuleSentences) -> Rule:
    """Return the rule of an entry that has no faults."""
    item, leaves = entry.item, leaves_of(condition)
    as_written = {name: item.get(name) for name in AS_WRITTEN}
    compared = [leaf.fact.name for leaf in leaves if isinstance(leaf, Term)]
    errors = {pressure: _shift(shift) for pressure, shift in (item.get("expected_error") or {}).items()}
    amounts = [shift.amount for shift in errors.values() if shift.amount is not None]
    return Rule(
        **as_written,
        parameters={name: float(value) for name, value in parameters.items()},
        condition=condition,
        leaves=leaves,
        effect=EFFECTS.index(item["effect"]),
        by_device=bool(item.get("by_device")),
        urgency=_urgency(item.get("urgency") or OTHERWISE_URGENT) if item.get("urgent") else None,
        **texts._asdict(),
        consequences=tuple(map(_consequence, item.get("consequence") or ())),
        expected_error=errors,
        usual_share=item.get("usual_share") or 0.0,
        sources=tuple(Citation(source["cite"], source["standing"]) for source in item["sources"]),
        examples=tuple(map(_example, item["examples"])),
        shown_facts=tuple(dict.fromkeys([*compared, *texts.explanation.facts(), *texts.advice.facts(), *amounts])),
        entry=entry,
    )


def _urgency(item: Mapping[str, Any]) -> RuleUrgency:
    level, in_maternity = item["level"], item.get("in_maternity") or item["level"]
    return RuleUrgency(item["kind"], URGENCY_LEVELS.index(level), URGENCY_LEVELS.index(in_maternity))


def _shift(shift: Mapping[str, Any]) -> Shift:
    low, high = shift.get("range") or (None, None)
    return Shift(shift["reads"], None if low is None or high is None else (low, high), shift.get("amount"))


def _consequence(item: Mapping[str, Any]) -> Consequence:
    return Consequence(item["does"], tuple(item["sides"]), item["reads"], item.get("share") or 0.0)


def _example(example: Mapping[str, Any]) -> Example:
    return Example(**{**example, "findings": tuple(example.get("findings") or ())})
