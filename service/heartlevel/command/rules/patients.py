"""Patients as `heartlevel rules test` and `rules check` show them: which come out otherwise, and how."""

from collections.abc import Iterator, Sequence
from pathlib import Path

from heartlevel.assessment import Rules
from heartlevel.ruling.files.loading import load
from heartlevel.ruling.language.faults import RuleFaults
from heartlevel.ruling.running.verdicts import programs_of
from heartlevel.vignettes.judging import JudgedVignette, judged_patients, patients_in_force, unknown_names


def judged_in_force(
    rules: Rules, folder: Path | None, layers: Sequence[Path]
) -> tuple[list[JudgedVignette], list[JudgedVignette]]:
    """Judge the patients who must come out as written, and return those below whose answer the layer on top changes.

    `folder` and `layers` are where the rules were loaded from. Raises RuleFaults.
    """
    required, below = patients_in_force(rules.ruleset, folder)
    faults = list(unknown_names(rules.ruleset, required))
    if faults:
        raise RuleFaults(faults)
    judged = judged_patients(rules, [*required, *below])
    differing = wrong_patients(judged[len(required) :])
    return judged[: len(required)], _changed(differing, folder, layers[:-1]) if differing else []


def _changed(differing: Sequence[JudgedVignette], folder: Path | None, layers: Sequence[Path]) -> list[JudgedVignette]:
    """Leave out those who come out in the same way below."""
    ruleset = load(folder, layers)
    before = judged_patients(Rules(ruleset, programs_of(ruleset)), [judged.vignette.entry for judged in differing])
    return [
        judged
        for judged, known in zip(differing, before, strict=True)
        if (judged.differences, judged.refused) != (known.differences, known.refused)
    ]


def lines_of_patient(judged: JudgedVignette) -> Iterator[str]:
    """Yield what is shown of a patient who comes out otherwise than written."""
    who = judged.vignette.who
    at = next(judged.faults())
    yield f"{at.file}:{at.line}: {who}"
    yield from (f"    {refusal.detail.removeprefix(f'{who!r}: ')}" for refusal in judged.refused)
    for difference in judged.differences:
        name, hint = ".".join(map(str, difference.path)), f" ({difference.hint})" if difference.hint else ""
        yield from (f"  - {name}: {difference.expected}", f"  + {name}: {difference.came}{hint}")


def wrong_patients(judged: Sequence[JudgedVignette]) -> list[JudgedVignette]:
    """Return those who come out otherwise than written."""
    return [patient for patient in judged if patient.refused or patient.differences]


def changed_outcomes(changed: Sequence[JudgedVignette]) -> Iterator[str]:
    """Yield, for each patient whose answer the layer on top changes, how it comes out now."""
    for judged in changed:
        changes = "; ".join([*map(str, judged.differences), *(fault.detail for fault in judged.refused)])
        at = judged.vignette.entry.fault(("who",), "wrong-patient", "")
        yield f"{at.file}:{at.line}: '{judged.vignette.who}' comes out otherwise: {changes}"
