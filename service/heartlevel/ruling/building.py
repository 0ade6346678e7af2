"""From the written rules to rules that can be run: conditions read, sentences checked, order found."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from graphlib import CycleError, TopologicalSorter
from itertools import chain
from typing import Any

from heartlevel.facts.catalogue import CATALOGUE, VISIBLE, Fact
from heartlevel.intake.faults import near
from heartlevel.intake.schema import Reading
from heartlevel.ruling.language import Condition, Mention, Parser, Term, leaves_of
from heartlevel.ruling.ruleset import Citation, Example, Rule, Shift
from heartlevel.ruling.source import Origin, Path_, RuleFault, Written, repeated_names
from heartlevel.ruling.template import ENGLISH, Template, TemplateFault, Unpaired, Voice, WrongForms
from heartlevel.ruling.truth import MOST_LEAVES
from heartlevel.vocabulary import EFFECTS

READING_FIELDS = tuple(Reading().fields)


def facts_of(scope: str) -> dict[str, Fact]:
    """Return the facts that rules of a scope may speak of."""
    return {name: fact for name, fact in CATALOGUE.items() if fact.scope in VISIBLE[scope]}


def sentence(
    written: Written, facts: Mapping[str, Fact], limits: frozenset[str], faults: list[RuleFault], voice: Voice = ENGLISH
) -> Template | None:
    """Take a written sentence apart; None if it cannot be filled, with the mistake added to `faults`."""
    file, path, text = written
    try:
        return Template(text, facts, limits, voice)
    except WrongForms as fault:
        faults.append(file.fault(path, "wrong-plural", str(fault)))
    except Unpaired as fault:
        faults.append(file.fault(path, "unknown-placeholder", str(fault)))
    except TemplateFault as fault:
        hint = near(str(fault).removeprefix("limit:"), limits if "limit:" in str(fault) else facts)
        detail = f"'{{{fault}}}' is no fact of this scope and no limit"
        faults.append(file.fault(path, "unknown-placeholder", detail, hint))
    return None


def build_rules(
    by_scope: Mapping[str, Sequence[Written]],
    known: Mapping[str, frozenset[str]],
    limits: frozenset[str],
    next_steps: frozenset[str],
    faults: list[RuleFault],
) -> dict[str, tuple[Rule, ...]]:
    """Build the rules of every scope, each after those it mentions; mistakes are added to `faults`.

    `known` are the ids of each scope's rules, of those at fault too: to mention one of these is no second mistake.
    """
    faults += [*repeated_names(chain.from_iterable(by_scope.values()), "id"), *_wrong_scopes(by_scope)]
    builders = [_Builder(scope, rules, known[scope], limits, next_steps, faults) for scope, rules in by_scope.items()]
    return {one.scope: one.build() for one in builders}


def _wrong_scopes(by_scope: Mapping[str, Sequence[Written]]) -> Iterator[RuleFault]:
    for scope, rules in by_scope.items():
        for file, path, item in rules:
            if item["scope"] != scope:
                detail = f"a rule in the folder {scope} has scope {scope}, not {item['scope']}"
                yield file.fault((*path, "scope"), "wrong-scope", detail)


class _Builder:
    """Builds the rules of one scope."""

    def __init__(
        self,
        scope: str,
        written: Sequence[Written],
        ids: frozenset[str],
        limits: frozenset[str],
        next_steps: frozenset[str],
        faults: list[RuleFault],
    ) -> None:
        self.scope, self.written, self.limits, self.next_steps = scope, written, limits, next_steps
        self.faults = faults
        self.ids = ids
        self.facts = facts_of(scope)

    def build(self) -> tuple[Rule, ...]:
        here = [one for one in self.written if one[2]["scope"] == self.scope]  # others speak of other facts
        built = {rule.id: rule for rule in map(self._rule, here) if rule is not None}
        self.faults += _same_conditions(built.values())
        mentioned = {
            name: sorted({leaf.rule for leaf in rule.leaves if isinstance(leaf, Mention)} & built.keys())
            for name, rule in sorted(built.items())
        }
        try:
            return tuple(built[name] for name in TopologicalSorter(mentioned).static_order())
        except CycleError as error:
            self._cycle(error.args[1])
            return ()

    def _cycle(self, members: Sequence[str]) -> None:
        for file, path, item in self.written:
            if item["id"] in members:
                self.faults.append(file.fault((*path, "when"), "cycle", f"mentions itself: {' → '.join(members)}"))

    def _rule(self, written: Written) -> Rule | None:
        file, path, item = written
        before = len(self.faults)
        condition = self._condition(file, path, item)
        explanation, advice = (
            sentence((file, (*path, key), item[key]), self.facts, self.limits, self.faults)
            for key in ("explanation", "advice")
        )
        self._check_effects(file, path, item)
        self._check_examples(file, path, item)
        if condition is None or explanation is None or advice is None or len(self.faults) > before:
            return None
        leaves = leaves_of(condition)
        compared = [leaf.fact.name for leaf in leaves if isinstance(leaf, Term)]
        errors = {pressure: _shift(shift) for pressure, shift in (item.get("expected_error") or {}).items()}
        amounts = [shift.amount for shift in errors.values() if shift.amount is not None]
        return Rule(
            id=item["id"],
            scope=self.scope,
            title=item["title"],
            condition=condition,
            leaves=leaves,
            effect=EFFECTS.index(item["effect"]),
            severity=item["severity"],
            urgent=bool(item.get("urgent")),
            explanation=explanation,
            advice=advice,
            next_step=item.get("next_step"),
            field=item.get("field"),
            pattern=item.get("pattern"),
            expected_error=errors,
            usual_share=item.get("usual_share") or 0.0,
            sources=tuple(Citation(source["cite"], source["standing"]) for source in item["sources"]),
            examples=tuple(map(_example, item["examples"])),
            shown_facts=tuple(dict.fromkeys([*compared, *explanation.facts(), *advice.facts(), *amounts])),
            origin=file,
            path=path,
            written=item,
        )

    def _condition(self, file: Origin, path: Path_, item: dict[str, Any]) -> Condition | None:
        parser = Parser(self.scope, self.limits, self.ids)
        condition = parser.condition(item["when"], (*path, "when"))
        self.faults += [file.fault(one.path, one.code, one.detail, one.hint) for one in parser.faults]
        if condition is not None and len(leaves_of(condition)) > MOST_LEAVES:
            detail = f"{len(leaves_of(condition))} comparisons; a rule has at most {MOST_LEAVES}"
            hint = "put some of them into a rule of their own and mention it with `finding`"
            self.faults.append(file.fault((*path, "when"), "too-many-comparisons", detail, hint))
        return condition

    def _check_effects(self, file: Origin, path: Path_, item: dict[str, Any]) -> None:
        def fault(key: str, code: str, detail: str, hint: str | None = None) -> None:
            self.faults.append(file.fault((*path, key), code, detail, hint))

        if self.scope in ("series", "device") and item["effect"] != "none":
            fault("effect", "wrong-effect", f"a {self.scope} rule concerns no single reading; its effect is none")
        step = item.get("next_step")
        if step is not None and step not in self.next_steps:
            fault("next_step", "unknown-name", f"'{step}' is no next step of every wording", near(step, self.next_steps))
        field = item.get("field")
        if field is not None and (self.scope != "reading" or field not in READING_FIELDS):
            fault("field", "unknown-name", f"'{field}' is no field of a reading", near(field, READING_FIELDS))
        if item.get("pattern") is not None and self.scope != "series":
            fault("pattern", "wrong-scope", "only a series rule can name a pattern")
        self._check_expected_error(file, path, item)

    def _check_expected_error(self, file: Origin, path: Path_, item: dict[str, Any]) -> None:
        of_readings = item.get("expected_error") and self.scope not in ("series", "device")
        if item.get("usual_share") is not None and not of_readings:
            detail = "how often a fault of readings is there stands beside its expected_error"
            self.faults.append(file.fault((*path, "usual_share"), "wrong-value", detail))
        for pressure, shift in (item.get("expected_error") or {}).items():
            at = (*path, "expected_error", pressure)
            if shift is None:
                self.faults.append(file.fault(at, "null", "leave it out, or say how far off the reading may be"))
                continue
            bounds, amount = shift.get("range"), shift.get("amount")
            if (bounds is None) == (amount is None):
                self.faults.append(file.fault(at, "wrong-value", "give either a range or an amount"))
            elif bounds is not None and (len(bounds) != 2 or bounds[0] > bounds[1]):
                self.faults.append(file.fault(at, "wrong-value", "a range is [lowest, highest]"))
            elif amount is not None and (amount not in self.facts or self.facts[amount].unit != "mm[Hg]"):
                detail = f"'{amount}' is no pressure among this scope's facts"
                self.faults.append(file.fault((*at, "amount"), "unknown-fact", detail, near(amount, self.facts)))

    def _check_examples(self, file: Origin, path: Path_, item: dict[str, Any]) -> None:
        expected = {one["expect"] for one in item["examples"]}
        for wanted in ("fires", "silent"):
            if wanted not in expected:
                detail = f"no example says `expect: {wanted}`"
                self.faults.append(file.fault((*path, "examples"), "missing-example", detail))
        for place, example in enumerate(item["examples"]):
            self._check_given(file, (*path, "examples", place), example)

    def _check_given(self, file: Origin, path: Path_, example: dict[str, Any]) -> None:
        given = example["given"]
        if not isinstance(given, dict):
            self.faults.append(file.fault((*path, "given"), "not-an-object", "expected facts by name"))
            return
        for name, value in given.items():
            at = (*path, "given", name)
            try:
                self.facts[name].encoded(value)
            except KeyError:
                detail = f"'{name}' is no fact of this scope"
                self.faults.append(file.fault(at, "unknown-fact", detail, near(name, self.facts)))
            except (TypeError, ValueError):
                self.faults.append(file.fault(at, "wrong-value", f"{name} takes no such value"))
        for name in example.get("findings") or ():
            if name not in self.ids:
                detail = f"'{name}' is no rule of this scope"
                hint = near(name, sorted(self.ids))
                self.faults.append(file.fault((*path, "findings"), "unknown-finding", detail, hint))


def _same_conditions(rules: Iterable[Rule]) -> Iterator[RuleFault]:
    seen: dict[Condition, str] = {}
    for rule in rules:
        other = seen.setdefault(rule.condition, rule.id)
        if other != rule.id:
            yield rule.fault(("when",), "same-condition", f"'{rule.id}' has the condition of '{other}'")


def _shift(shift: Mapping[str, Any]) -> Shift:
    low, high = shift.get("range") or (None, None)
    return Shift(shift["reads"], None if low is None or high is None else (low, high), shift.get("amount"))


def _example(example: Mapping[str, Any]) -> Example:
    names = (example.get(key) for key in ("guideline", "protocol"))
    return Example(example["given"], example["expect"], tuple(example.get("findings") or ()), *names)
