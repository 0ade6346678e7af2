"""Device checks sent alone, read as the same checks in an assessment are."""

from types import NoneType

from heartlevel.intake.faults import Problem, problem
from heartlevel.intake.request import Choices, RefusedRequest, Request, checked, items_of, options_of
from heartlevel.intake.schema import DeviceChecks
from heartlevel.vocabulary import EXPLANATIONS

CHECKS = DeviceChecks()
NOBODY = {"id": "nobody"}  # no person is named in such a request, nor in its answer


def read_checks(payload: object, choices: Choices) -> Request:
    """Read an object of device checks and options; the ids of devices are names and nothing more.

    Raises RefusedRequest where options or the outer shape are at fault. A check that cannot be read becomes a
    problem of the request.
    """
    envelope = checked(CHECKS, payload)
    options = envelope.get("options") or {}
    faults, _, as_of = options_of(options, choices)
    given = envelope["device_checks"]
    faults += _no_list(given)
    kept, skipped = items_of(given if isinstance(given, list) else [], "device_checks")
    if faults:
        raise RefusedRequest(faults + skipped)
    guideline = options.get("guideline") or choices.default_guideline
    return Request(
        subject=NOBODY,
        guideline=guideline,
        protocol=options.get("protocol"),
        language=options.get("language") or "en",
        as_of=as_of,
        strict=bool(options.get("strict")),
        explain=options.get("explain") or EXPLANATIONS[0],
        checks=list(kept.values()),
        problems=skipped,
    )


def _no_list(given: object) -> list[Problem]:
    return [] if isinstance(given, (list, NoneType)) else [problem("/device_checks", "not-a-list", given)]
