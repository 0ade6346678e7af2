"""All shipped patients and the invented practice, chained by the rule engine from readings to conclusions: the service's
columns say the same of every reading, sitting, person, device check and comparison.
"""

import numpy as np
import pytest
from click.testing import CliRunner

from heartlevel import assessment
from heartlevel.chaining import held as holding
from heartlevel.chaining.held import held_to_engine
from heartlevel.command.main import main
from heartlevel.intake.request import read
from heartlevel.statistics.classification import NO_CATEGORY
from support import demo, rules


def test_columns_agree_with_the_engine_on_every_patient_and_the_practice():
    result = CliRunner().invoke(main, ["rules", "test", "--engine"])
    assert result.exit_code == 0, result.output
    counts = [int(word.strip(":")) for word in result.output.splitlines()[-1].split() if word.strip(":").isdigit()]
    people, readings, outcomes, conclusions, differing = counts
    assert differing == 0
    assert people > 220 and readings > 3500 and outcomes > 300_000 and conclusions > 7000, counts


@pytest.fixture(scope="module")
def few():
    """Some of the practice, among them technique at fault, and home and office compared."""
    return [read(payload, rules().ruleset.choices) for payload in demo()[:4]]


def differences(few) -> str:
    return "\n".join(held_to_engine(few, rules()).differences)


def test_some_of_the_practice_agrees(few):
    held = held_to_engine(few, rules())
    assert (held.subjects, held.differences) == (4, [])


@pytest.mark.parametrize("scope", ["reading", "series"])
def test_a_wrong_table_is_found(few, monkeypatch, scope):
    program = rules().programs[scope]
    monkeypatch.setattr(program, "_tables", 2 - program._tables)
    assert f"({scope}) " in differences(few)


@pytest.mark.parametrize(
    ("module", "name", "wrong", "words"),
    [
        (assessment, "reliability_of", lambda batch, *_: np.full(batch.size, 1), "reliability"),
        (holding, "conclude", None, "category"),
        (assessment, "fitness_of", None, "fit"),
    ],
)
def test_a_wrong_conclusion_is_found(few, monkeypatch, module, name, wrong, words):
    monkeypatch.setattr(module, name, wrong or spoilt(getattr(module, name)))
    assert words in differences(few)


def spoilt(honest):
    """The same, with every category taken away, or every side made unfit."""

    def wrong(*arguments):
        result = honest(*arguments)
        if hasattr(result, "category"):
            result.category.category[:] = NO_CATEGORY
        else:
            result.fit[:] = ~result.fit
        return result

    return wrong
