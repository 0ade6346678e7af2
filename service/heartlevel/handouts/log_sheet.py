"""The empty log of a protocol: its days, sittings and readings, the questions, and what is known beforehand."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

from heartlevel.assessment import Rules
from heartlevel.handouts.questions import Question, questions_for
from heartlevel.intake.request import Request
from heartlevel.profiles import Protocol
from heartlevel.ruling.language.ruleset import RuleSet
from heartlevel.tables.fields import OPTIONS, SUBJECT, name_in_table

MORNING_AND_EVENING = ("log-morning", "log-evening")
MOST_DAYS = 31
LAST_FIRST_DAY = date.max - timedelta(days=MOST_DAYS)
# What is carried along of the person: without it other limits might be taken when the log is read back.
CARRIED = ("age_years", "pregnant")


@dataclass(frozen=True, slots=True)
class LogSheet:
    """A log to fill in. `fixed` is what holds for all of it, by the names that a table has for fields."""

    language: str
    words: Mapping[str, str]
    protocol: Protocol
    days: int
    first_day: date | None  # None: the dates are to be filled in
    subject: str | None  # None: likewise
    questions: Sequence[Question]
    severe: tuple[int, int]  # mm[Hg], from which on help is to be sought
    maternity: bool
    fixed: Mapping[str, Any] = field(default_factory=dict)

    @property
    def readings(self) -> int:
        """Return how many readings a sitting has."""
        return int(self.protocol.limits["protocol.home.readings_per_sitting"])

    @property
    def sittings(self) -> list[str]:
        """Return what the sittings of a day are called; where they are not two, by their numbers."""
        count = int(self.protocol.limits["protocol.home.sittings_per_day"])
        if count == len(MORNING_AND_EVENING):
            return [self.words[key] for key in MORNING_AND_EVENING]
        return [str(number + 1) for number in range(count)]

    @property
    def dates(self) -> list[date | None]:
        """Return the date of each day; None where it is to be filled in."""
        first = self.first_day
        return [first + timedelta(days=number) if first else None for number in range(self.days)]

    @property
    def instructions(self) -> list[str]:
        """Return how to go about it, by the protocol."""
        home = {name: f"{self.protocol.limits[f'protocol.home.{name}_minutes']:g}" for name in ("rest", "spacing")}
        keys = ("log-how", "log-readings", "log-empty")
        return [self.words[key].format(**home, readings=self.readings) for key in keys]

    @property
    def seek_help(self) -> list[str]:
        """Return when to seek help, by the limits that hold for the person."""
        return seek_help(self.words, self.severe, self.maternity)


def seek_help(words: Mapping[str, str], severe: tuple[int, int], maternity: bool) -> list[str]:
    """Return when to seek help, in words of a language's pages."""
    high = words["help-maternity" if maternity else "help-high"]
    return [words["help-symptoms"], high.format(systolic=severe[0], diastolic=severe[1])]


def severe_limits(ruleset: RuleSet, request: Request) -> tuple[tuple[int, int], bool]:
    """Return from where on a pressure is severe for a person (mm[Hg]), and whether limits of pregnancy hold."""
    guideline = ruleset.guideline_for(request)
    systolic, diastolic = (int(guideline.limits[f"severe.{name}"]) for name in ("systolic", "diastolic"))
    return (systolic, diastolic), guideline.id == ruleset.guidelines[request.guideline].in_pregnancy


def log_sheet(
    rules: Rules,
    request: Request,
    days: int | None = None,
    first_day: date | None = None,
    time_zone: str | None = None,
    answer: Mapping[str, Any] | None = None,
) -> LogSheet:
    """Lay out the log that a request asks for by its options; `answer` is what has been concluded of it before.

    Without `days` it has as many as the protocol.
    """
    ruleset = rules.ruleset
    protocol = ruleset.protocol_for(request)
    severe, maternity = severe_limits(ruleset, request)
    options = {
        "language": request.language,
        "guideline": request.guideline,
        "protocol": protocol.id,
        "time_zone": time_zone,
    }
    known = {name_in_table(OPTIONS, (name,)): value for name, value in options.items()}
    known |= {name_in_table(SUBJECT, (name,)): request.subject.get(name) for name in CARRIED}
    return LogSheet(
        language=request.language,
        words=ruleset.wording[request.language].pages,
        protocol=protocol,
        days=days or int(protocol.limits["protocol.home.days"]),
        first_day=first_day,
        subject=request.subject.get("id"),
        questions=questions_for(ruleset, request.language, answer),
        severe=severe,
        maternity=maternity,
        fixed={"setting": "home"} | {name: value for name, value in known.items() if value is not None},
    )
