"""Changes of layers that may be meant and are unusual: each has to be answered with a reason."""

from collections.abc import Iterator

from heartlevel.ruling.files.source import mapping
from heartlevel.ruling.language.faults import Entry
from heartlevel.ruling.language.ruleset import Change, RuleSet
from heartlevel.ruling.safety.remarks import Unusual
from heartlevel.vocabulary import EFFECTS, PATTERNS

TEXTS = ("title", "explanation", "advice")
SURENESS = ("almost_certain", "probable")


def unusual_changes(base: RuleSet, laid: RuleSet) -> Iterator[Unusual]:
    """Yield each change that takes away or rewords what matters most."""
    for layer in laid.layers:
        for index, change in enumerate(layer.changes):
            written = layer.entry.part("changes", index)
            for detail in _details(base, laid, change):
                yield Unusual(change.kind, change.id, written, _path(written), detail)


def _path(written: Entry) -> tuple[str, ...]:
    return ("off",) if written.item.get("off") else ("set",)


def _details(base: RuleSet, laid: RuleSet, change: Change) -> Iterator[str]:
    if change.kind == "rule":
        yield from _of_a_rule(base, laid, change)
    if change.kind == "ruleset":
        yield from _of_sureness(base, laid, change)
    if change.kind == "wording" and change.id in base.wording:
        yield from _of_texts(base, laid, change)


def _of_a_rule(base: RuleSet, laid: RuleSet, change: Change) -> Iterator[str]:
    before = {rule.id: rule for rule in base.every_rule()}.get(change.id)
    after = {rule.id: rule for rule in laid.every_rule()}.get(change.id)
    if before is None:
        return
    if change.off and (before.severity == "high" or before.effect_name == "unusable"):
        yield f"'{before.id}' is of high severity or makes readings unusable, and would be silent"
    if after is not None and after.effect < before.effect == EFFECTS.index("unusable"):
        yield f"readings that '{before.id}' makes unusable would be averaged"
    if before.urgent and any(name in change.replaced for name in TEXTS):
        yield f"the texts of the urgent rule '{before.id}' would be others"


def _of_sureness(base: RuleSet, laid: RuleSet, change: Change) -> Iterator[str]:
    if not any(field.startswith("sureness") for field in change.replaced):
        return
    for name, (before, after) in _least(base, laid).items():
        if after < before:
            yield f"{name} would be said from {after:g} on, below from {before:g}"


def _least(*rulesets: RuleSet) -> dict[str, list[float]]:
    """Return from which probability on each word of sureness, and each pattern, is said by each rule set."""
    words = {name.replace("_", " "): [getattr(ruleset.sureness, name) for ruleset in rulesets] for name in SURENESS}
    return words | {label: [ruleset.sureness.least_of_pattern(label) for ruleset in rulesets] for label in PATTERNS}


def _of_texts(base: RuleSet, laid: RuleSet, change: Change) -> Iterator[str]:
    before, after = base.wording[change.id], laid.wording[change.id]
    steps = {rule.next_step for rule in base.every_rule() if rule.urgent and rule.next_step}
    for name in sorted(steps):
        if before.next_steps[name] != after.next_steps.get(name):
            yield f"the next step '{name}' of urgent rules would be said otherwise"
        if before.next_steps_for_patient.get(name) != after.next_steps_for_patient.get(name):
            yield f"the next step '{name}' of urgent rules would be said otherwise to the person measured"
    if before.urgency != after.urgency:
        yield "how urgent it is would be said otherwise"
    if any(field.split(".")[0] == "conclusion" for field in change.replaced):
        yield "the sentences of the conclusion would be others"
    urgent = {rule.id for rule in base.every_rule() if rule.urgent}
    for name in sorted(urgent & mapping(after.written, "rules").keys()):
        if mapping(before.written, "rules", name) != mapping(after.written, "rules", name):
            yield f"the texts of the urgent rule '{name}' would be others"
