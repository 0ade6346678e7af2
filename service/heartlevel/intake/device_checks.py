"""Device checks sent alone, read as the same checks in an assessment are."""

from heartlevel.intake.blocks.oversized import not_lists
from heartlevel.intake.fields import Anything, Block, about, part
from heartlevel.intake.request import (
    Choices,
    RefusedRequest,
    Request,
    checked,
    empty_request,
    items_of,
    options_of,
)
from heartlevel.intake.schema import Options


class DeviceChecks(Block):
    """Device checks alone, without anyone's readings."""

    device_checks = Anything(**about("devices checked against a reference", required=True))
    options = part(Options, "how to judge")


CHECKS = DeviceChecks()
NOBODY = {"id": "nobody"}  # such a request names no person, nor does its answer


def read_checks(payload: object, choices: Choices) -> Request:
    """Read an object of device checks and options; device ids name devices that are described nowhere.

    Raises RefusedRequest where options or the outer shape are at fault. A check that cannot be read becomes a
    problem of the request.
    """
    envelope = checked(CHECKS, payload)
    options = envelope.get("options") or {}
    faults, _, as_of = options_of(options, choices)
    given = envelope["device_checks"]
    faults += not_lists(envelope, ["device_checks"])
    kept, skipped = items_of(given if isinstance(given, list) else [], "device_checks", choices.form)
    if faults:
        raise RefusedRequest(faults + skipped)
    request = empty_request(NOBODY, options, choices, as_of)
    request.checks, request.problems = list(kept.values()), skipped
    return request
