"""The comparisons of all rules about readings, one fact a reading, in several engines; each in a process of its own.

`python tests/bench/engines.py NAME READINGS` prints readings a second of processor time. durable_rules is used as its
hazards demand: no background threads, one sid, a rule that always fires, the state deleted after each fact.
"""

import sys
from collections.abc import Callable
from functools import partial
from pathlib import Path
from time import process_time

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE.parent.parent / "service"), str(HERE)]

import numpy as np  # noqa: E402
from invented import PER_SUBJECT, readings  # noqa: E402

from heartlevel import Rules  # noqa: E402
from heartlevel.assessment import sitting_gaps  # noqa: E402
from heartlevel.facts.reading import columns_of_readings  # noqa: E402
from heartlevel.frames import examined_frame  # noqa: E402
from heartlevel.tables.batches import clean_batches  # noqa: E402
from heartlevel.tables.meanings import Mapped  # noqa: E402

FAR = 1e9
RULES = Rules.load()
PROGRAM = RULES.programs["reading"]


def columns(size: int) -> list[dict[str, np.ndarray]]:
    """Return the facts of invented readings, ready, in batches."""
    table = examined_frame(readings(max(1, size // PER_SUBJECT)), Mapped(), RULES)
    batches = clean_batches(table.examined, RULES.ruleset.choices, partial(sitting_gaps, rules=RULES))
    facts = [columns_of_readings(batch) for batch, _ in batches]
    return [{name: of[name] for name in PROGRAM.facts} for of in facts]


def terms() -> list[tuple[str, float, float]]:
    """Return every comparison as fact and interval, with ends that any number syntax can write."""
    low, high = PROGRAM._low[:, 0], PROGRAM._high[:, 0]
    ends = zip(PROGRAM.terms, np.clip(low, -FAR, FAR).tolist(), np.clip(high, -FAR, FAR).tolist(), strict=True)
    return [(term.fact.name, round(one, 6), round(other, 6)) for term, one, other in ends]


def facts_of(parts: list[dict[str, np.ndarray]]) -> list[dict[str, float]]:
    """Return one fact a reading, without what is unknown."""
    rows = [zip(*(part[name].tolist() for name in part), strict=True) for part in parts]
    return [
        {name: round(value, 6) for name, value in zip(part, row, strict=True) if value == value}
        for part, several in zip(parts, rows, strict=True)
        for row in several
    ]


def heartlevel(parts: list[dict[str, np.ndarray]]) -> Callable[[], object]:
    """All rules, their conditions joined, not only the comparisons."""
    profiles = [np.zeros(len(next(iter(part.values()))), dtype=np.int64) for part in parts]
    return lambda: [PROGRAM.judge(part.__getitem__, one).fired() for part, one in zip(parts, profiles, strict=True)]


def numpy(parts: list[dict[str, np.ndarray]]) -> Callable[[], object]:
    """The comparisons alone, written by hand."""
    wanted = terms()
    return lambda: [[(part[name] >= low) & (part[name] <= high) for name, low, high in wanted] for part in parts]


def python(parts: list[dict[str, np.ndarray]]) -> Callable[[], object]:
    """The comparisons in a loop."""
    wanted, facts = terms(), facts_of(parts)
    return lambda: [[n for n, (name, low, high) in enumerate(wanted) if name in fact and low <= fact[name] <= high]
                    for fact in facts]  # fmt: skip


def durable(parts: list[dict[str, np.ndarray]]) -> Callable[[], object]:
    """One fact asserted a reading."""
    from durable import engine

    class Silent(engine.Host):
        def _run(self) -> None:
            """Start no threads."""

    fired: list[int] = []

    def noting(n: int) -> Callable[[object], None]:
        # By one parameter more it would take the action for an asynchronous one.
        return lambda _: fired.append(n)

    definition = {
        f"t{n}": {"all": [{"m": {"$and": [{"$gte": {name: low}}, {"$lte": {name: high}}]}}],
                  "run": noting(n)}
        for n, (name, low, high) in enumerate(terms())
    }  # fmt: skip
    definition["always"] = {"all": [{"m": {"$ex": {"row": 1}}}], "run": noting(-1)}
    host = Silent()
    host.set_rulesets({"rules": definition})

    def one(fact: dict[str, float]) -> None:
        state = host.assert_fact("rules", {**fact, "row": 1})
        host.delete_state("rules")
        if not state or "exception" in state or -1 not in fired:
            sys.exit("durable_rules failed")
        fired.clear()

    one({})
    facts = facts_of(parts)
    return lambda: [one(fact) for fact in facts]


def clips(parts: list[dict[str, np.ndarray]]) -> Callable[[], object]:
    """One fact of a template a reading, run, retracted. clipspy is not among the project's dependencies."""
    from clips import Environment

    engine, wanted = Environment(), terms()
    names = {name: f"f{n}" for n, name in enumerate(PROGRAM.facts)}
    slots = " ".join(f"(slot {one} (default nil))" for one in names.values())
    engine.build(f"(deftemplate reading {slots})")
    for n, (name, low, high) in enumerate(wanted):
        test = f"(and (numberp ?x) (>= ?x {low}) (<= ?x {high}))"
        engine.build(f"(defrule t{n} (reading ({names[name]} ?x&:{test})) => )")
    template = engine.find_template("reading")

    def one(fact: dict[str, float]) -> None:
        asserted = template.assert_fact(**{names[name]: value for name, value in fact.items()})
        engine.run()
        asserted.retract()

    facts = facts_of(parts)
    return lambda: [one(fact) for fact in facts]


ENGINES = {"heartlevel": heartlevel, "numpy": numpy, "python": python, "clipspy": clips, "durable_rules": durable}


def main(name: str, size: int) -> None:
    parts = columns(size)
    run = ENGINES[name](parts)
    if size >= 100_000:
        run()  # warm
    began = process_time()
    run()
    print(sum(len(next(iter(part.values()))) for part in parts) / (process_time() - began))


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]))
