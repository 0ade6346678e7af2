"""What is to be said of Observations that are read: interpretations, long periods, and cuffs known by a name alone."""

from collections.abc import Iterator, Sequence

from heartlevel.fhir.codes import Codes
from heartlevel.fhir.issues import INFORMATION, WARNING, Issue
from heartlevel.fhir.names import CRITICAL_INTERPRETATIONS, CUFF_SIZE, LOINC
from heartlevel.fhir.reading.devices import cuff_meanings
from heartlevel.fhir.reading.element import Element
from heartlevel.intake.written import time_written

# Common practice: a measurement takes a minute or two, repeats of a visit a few more. Nothing but a remark hangs on it.
LONGEST_MEASUREMENT_HOURS = 1
CRITICAL = "was sent as critical ({code}); readings are judged here by their numbers alone, so look at what lies behind it"
INTERPRETED = "interpretations {code}: {count}; readings are judged here by their numbers alone"
LONG = "lasted {hours:.0f} hours, and was read as one reading taken when it began; an average is no reading"
NAMED_CUFF = "a cuff's size by name says no circumference: send cuff.arm_min_cm and cuff.arm_max_cm"


def remarks_on(observations: Sequence[Element], codes: Codes) -> Iterator[Issue]:
    """Yield what is to be said, the same of several Observations once, at the first of them."""
    yield from _of_interpretations(observations)
    for observation in observations:
        period = observation.choice("effective")
        start, end = (time_written(period.part(name).text or "") for name in ("start", "end"))
        if start and end and (start.tzinfo is None) == (end.tzinfo is None):
            hours = (end - start).total_seconds() / 3600
            if hours > LONGEST_MEASUREMENT_HOURS:
                yield Issue(WARNING, "informational", LONG.format(hours=hours), period.at)
    cuffs = (part.choice("value") for observation in observations for part in observation.each("component")
             if part.part("code").has_code(LOINC, CUFF_SIZE))  # fmt: skip
    unknown = next((cuff for cuff in cuffs if not list(cuff_meanings(cuff, codes))), None)
    if unknown is not None:
        yield Issue(INFORMATION, "not-supported", NAMED_CUFF, unknown.at)


def _of_interpretations(observations: Sequence[Element]) -> Iterator[Issue]:
    """Yield each critical interpretation by itself, and others once a code."""
    others: dict[str, list[str]] = {}
    for observation in observations:
        for part in (observation, *observation.each("component")):
            for interpretation in part.each("interpretation"):
                for code in dict.fromkeys(code for _, code in interpretation.codings()):
                    if code in CRITICAL_INTERPRETATIONS:
                        yield Issue(WARNING, "informational", CRITICAL.format(code=code), interpretation.at)
                    else:
                        others.setdefault(code, []).append(interpretation.at)
    for code, expressions in others.items():
        yield Issue(INFORMATION, "informational", INTERPRETED.format(count=len(expressions), code=code), expressions[0])
