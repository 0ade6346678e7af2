"""The statistics of one subject as they stand in the answer."""

from collections import Counter
from collections.abc import Iterator, Sequence
from functools import cached_property
from typing import Any

import numpy as np

from heartlevel.answer.findings import Finding
from heartlevel.answer.numbers import all_rounded, pair, rounded
from heartlevel.answer.sureness import would_change
from heartlevel.assessment import Assessment
from heartlevel.columns import TOLERANCE, Bools
from heartlevel.facts.catalogue import CATALOGUE
from heartlevel.profiles import Category
from heartlevel.statistics.alternatives import WITHOUT_DOUBTFUL
from heartlevel.statistics.averages import QUANTITIES
from heartlevel.statistics.classification import CLASSIFIED, NO_CATEGORY, Probabilities
from heartlevel.statistics.comparisons import PRESSURES
from heartlevel.statistics.patterns import pattern_chances
from heartlevel.statistics.selection import HOME, KEPT, LEFT_OUT, OFFICE, UNUSABLE
from heartlevel.statistics.uncertainty import FEWEST_DAYS, interval95
from heartlevel.vocabulary import LIMITS_UNCLEAR, SETTINGS, UNDETERMINED

# Why an alternative says nothing. What doubtful readings alone may still say, the one by their published errors tells.
MINIMUM_NOT_MET, NONE_SOUND = "protocol-minimum-not-met", "no-sound-readings"
TOO_YOUNG = "below-the-age-the-guideline-classifies"
NO_INTERVAL = f"fewer-than-{FEWEST_DAYS}-days"
# Of every reading.
SHOWN = ("systolic", "diastolic", "mean_arterial", "pulse_pressure")


class Figures:
    """Everything numeric about the subjects of an assessment, computed once for all of them."""

    def __init__(self, assessment: Assessment) -> None:
        """Prepare the arrays that several subjects' answers are read from."""
        self.of = assessment
        averages, others = assessment.averages, assessment.alternatives
        ends = interval95(averages.day_mean, averages.standard_error, averages.day_count)
        shown = np.stack([averages.mean, averages.sd, averages.day_mean, *ends], axis=-1)
        # By selection, group and quantity: mean, standard deviation, mean of days, low and high end.
        self.shown = all_rounded(shown.transpose(1, 2, 0, 3)[: len(assessment.selection.averages)])
        self.readings, self.days = (of.astype(np.int64).tolist() for of in (averages.readings, averages.days))
        columns = assessment.facts["reading"]
        self.pressures = all_rounded(np.stack([columns[name] for name in SHOWN], axis=1))
        self.of_alternatives = all_rounded(others.mean.transpose(2, 1, 0))  # by group and name
        self.patterns = pattern_chances(assessment.sureness.long_run, assessment.guidelines)

    def averages(self, subject: int) -> list[dict[str, Any]]:
        """Return every average of a subject that has readings."""
        found, first = [], subject * len(SETTINGS)
        for group, setting in enumerate(SETTINGS, start=first):
            for row, basis in enumerate(self.of.selection.averages):
                if self.readings[row][group]:
                    found.append({"setting": setting, "basis": basis, **self._average(row, group)})
                    if basis == "protocol":
                        found[-1]["left_out"] = self._left_out(group)
        return found

    def _average(self, row: int, group: int) -> dict[str, Any]:
        whole: dict[str, Any] = {"readings": self.readings[row][group], "days": self.days[row][group]}
        for name, (mean, sd, mean_of_days, low, high) in zip(QUANTITIES, self.shown[row][group], strict=True):
            if mean is not None:
                whole[name] = {"mean": mean, "sd": sd, "mean_of_days": mean_of_days, "interval95": None}
                if low is None:
                    whole[name]["no_interval"] = NO_INTERVAL
                else:
                    whole[name]["interval95"] = [low, high]
        return whole

    def _left_out(self, group: int) -> list[dict[str, Any]]:
        batch, reasons = self.of.batch, self.of.selection.left_out
        found: dict[str, list[str]] = {}
        rows = batch.rows_of(group // len(SETTINGS))
        mine = (batch.group_of[rows] == group) & (reasons[rows] != KEPT)
        for row in (rows.start + np.flatnonzero(mine)).tolist():
            found.setdefault(LEFT_OUT[reasons[row]], []).append(batch.names[row])
        return [{"because": reason, "readings": names} for reason, names in sorted(found.items())]

    def coverage(self, subject: int) -> dict[str, Any]:
        """Return how the home readings lie over days and hours."""
        columns, batch = self.of.facts["series"], self.of.batch
        counted = ("days", "mornings", "evenings", "work_days", "free_days")
        rows = batch.rows_of(subject)
        home = (batch.setting[rows] == HOME) & (self.of.reliability[rows] != UNUSABLE)
        hours = Counter(batch.hour[rows][home].astype(np.int64).tolist())
        return {
            **{name: int(columns[f"home_{name}"][subject]) for name in counted},
            "by_hour": {str(hour): hours[hour] for hour in sorted(hours)},
            "enough_for_protocol": bool(columns["home_enough_for_protocol"][subject]),
        }

    def undocumented(self, subject: int) -> list[dict[str, Any]]:
        """Return the facts whose absence kept a rule undecided, with the share of readings concerned."""
        rows, (names, wanting) = self.of.batch.rows_of(subject), self._wanting
        if rows.start == rows.stop:
            return []
        shares = zip(names, wanting[:, rows].mean(axis=1).tolist(), strict=True)
        found = [{"item": name, "share": rounded(share, 3)} for name, share in shares if share]
        return sorted(found, key=lambda one: (-one["share"], one["item"]))

    @cached_property
    def _wanting(self) -> tuple[list[str], Bools]:
        """The facts that could have been recorded, and by row of each the readings where a rule lacked it."""
        undecided = self.of.verdicts["reading"].undecided
        names = [name for name in undecided if CATALOGUE[name].asked]
        rows = np.array([undecided[name] for name in names], dtype=np.bool_)
        return names, rows.reshape(len(names), self.of.batch.size)

    def pattern(self, subject: int, findings: Sequence[Finding]) -> dict[str, Any]:
        """Return how home and office compare, as the rules decided it."""
        deciding = [one for one in findings if one.rule.pattern]
        columns = self.of.facts["series"]
        difference = {name: columns[f"office_minus_home_{name}"][subject] for name in PRESSURES}
        category = {name: self._category("protocol", subject, name) for name in ("office", "home")}
        return {
            **category,
            "label": deciding[0].rule.pattern if len(deciding) == 1 else UNDETERMINED,
            "because": [one.name for one in deciding],
            "office_minus_home": {
                name: {"mean": rounded(value), "interval95": self._difference(place, subject)}
                for place, (name, value) in enumerate(difference.items())
                if value == value
            },
            **self._pattern_chances(subject),
        }

    def _pattern_chances(self, subject: int) -> dict[str, Any]:
        """Return the probability of each pattern at each pair of limits; why not, where there is none."""
        reason = self._unclassified(subject) or (None if self.patterns[subject] else NO_INTERVAL)
        if reason:
            return {"chances": None, "no_chances": reason}
        return {"chances": [
            {"limits": one.limits, "probability": {name: rounded(chance, 3) for name, chance in one.probability.items()}}
            for one in self.patterns[subject]
        ]}  # fmt: skip

    def _difference(self, quantity: int, subject: int) -> list[float | None] | None:
        """Return the 95 % interval of office − home by Welch's method; None unless both have enough days."""
        of, first = self.of.averages, subject * len(SETTINGS)
        at = [(quantity, of.row("protocol"), first + setting) for setting in (OFFICE, HOME)]
        days, errors = [of.day_count[one] for one in at], [of.standard_error[one] for one in at]
        if min(days) < FEWEST_DAYS or not sum(errors) > 0:
            return None
        variance = sum(error**2 for error in errors)
        parts = sum(error**4 / (count - 1) for error, count in zip(errors, days, strict=True))
        low, high = interval95(
            np.array(of.day_mean[at[0]] - of.day_mean[at[1]]),
            np.array(variance**0.5),
            np.array(max(variance**2 / parts + 1, FEWEST_DAYS)),
        )
        return pair(float(low), float(high))

    def _category(self, selection: str, subject: int, setting: str) -> str | None:
        group = subject * len(SETTINGS) + SETTINGS.index(setting)
        place = int(self.of.classified.category[self.of.averages.row(selection), group])
        if place == NO_CATEGORY or self._unclassified(subject):
            return None
        return self.of.guidelines[subject].categories[setting][place].id

    def _unclassified(self, subject: int) -> str | None:
        """Return why a person is not classified, whatever the readings; None for who is."""
        if self.of.batch.requests[subject].unclear:
            return LIMITS_UNCLEAR
        age = self.of.batch.subjects["age_years"][subject]
        return TOO_YOUNG if age < self.of.guidelines[subject].adults_from_years else None

    def classification(self, subject: int) -> dict[str, Any]:
        """Return the category of the best average there is, and whether other selections would change it."""
        guideline, columns = self.of.guidelines[subject], self.of.facts["series"]
        enough = [name for name in CLASSIFIED if columns[f"{name}_enough_for_protocol"][subject] == 1]
        whole: dict[str, Any] = {"guideline": guideline.id, "category": None}
        if reason := self._unclassified(subject):
            return {**whole, "reason": reason}
        if not enough:
            return {**whole, "reason": "too-few-readings"}
        setting = enough[0]
        group = subject * len(SETTINGS) + SETTINGS.index(setting)
        category = self._category("protocol", subject, setting)
        alternatives = list(self._alternatives(group, guideline.categories[setting]))
        title = {one.id: one.title for one in guideline.categories[setting]}.get(category or "")
        words = self.of.rules.wording[self.of.batch.requests[subject].language].categories
        return {
            **whole,
            "setting": setting,
            "basis": "protocol",
            **self._mean("protocol", group),
            "category": category,
            "title": title and words.get(title, title),
            "raised": self._raised(subject, setting, group),
            **_chances(self.of.sureness.probabilities, group),
            **self._with_usual_errors(setting, group),
            "holds": not _changing(category, alternatives),
            "would_change": self._would_change(subject, category, alternatives),
            "alternatives": alternatives,
        }

    def _raised(self, subject: int, setting: str, group: int) -> bool:
        limits, row = self.of.guidelines[subject].limits, self.of.averages.row("protocol")
        return any(
            bool(self.of.averages.mean[place, row, group] >= limits[f"{setting}.hypertension.{name}"] - TOLERANCE)
            for place, name in enumerate(PRESSURES)
        )

    def _with_usual_errors(self, setting: str, group: int) -> dict[str, Any]:
        """Return what is probable if home technique is as usual where it was not recorded, if the rules say what is."""
        excess, chances = self.of.sureness.usual_excess, self.of.sureness.with_usual_errors
        if excess is None or chances is None or setting != SETTINGS[HOME]:
            return {}
        mean, sd = excess.mean[:, group], np.sqrt(excess.variance[:, group])
        too_high = {name: {"mean": rounded(mean[place]), "sd": rounded(sd[place])} for place, name in enumerate(PRESSURES)}
        return {"with_usual_errors": {"too_high_by": too_high, **_chances(chances, group)}}

    def _alternatives(self, group: int, levels: Sequence[Category]) -> Iterator[dict[str, Any]]:
        of = self.of.alternatives
        for row, name in enumerate(of.names):
            if of.applies[row, group]:
                place = int(self.of.classified.of_alternatives[row, group])
                means = dict(zip(PRESSURES, self.of_alternatives[group][row], strict=True))
                one = {"name": name, **means, "category": None if place == NO_CATEGORY else levels[place].id}
                reason = NONE_SOUND if name == WITHOUT_DOUBTFUL else MINIMUM_NOT_MET
                yield one if of.enough[row, group] else {**one, "reason": reason}

    def _would_change(self, subject: int, category: str | None, alternatives: Sequence[dict[str, Any]]) -> str | None:
        request = self.of.batch.requests[subject]
        texts = self.of.rules.wording[request.language].sureness
        titles = {name: one.title for name, one in self.of.rules.protocols.items()}
        return would_change(texts, _changing(category, alternatives), titles)

    def _mean(self, selection: str, group: int) -> dict[str, Any]:
        row = self.of.averages.row(selection)
        return {name: rounded(self.of.averages.mean[place, row, group]) for place, name in enumerate(PRESSURES)}


def _chances(of: Probabilities, group: int) -> dict[str, Any]:
    """Return how probable each limit is to be reached and each category to be the true one; null for too few days."""
    limits, categories = (
        {name: rounded(chance, 3) for name, chance in found[group].items()} for found in (of.of_limit, of.of_category)
    )
    found = {"probability_at_or_above": limits, "category_probability": categories or None}
    return found if categories else {**found, "no_probability": NO_INTERVAL}


def _changing(category: str | None, alternatives: Sequence[dict[str, Any]]) -> list[str]:
    """Return the alternatives that change the category; one that gives a reason says nothing."""
    return [one["name"] for one in alternatives if one["category"] != category and "reason" not in one]
