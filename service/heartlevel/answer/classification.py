"""The category and the pattern of one subject as they stand in the answer, with how sure each is."""

from collections.abc import Iterator, Mapping, Sequence
from functools import cached_property
from typing import Any

import numpy as np

from heartlevel.answer.sides import category_title, even_so, sides_of_pattern
from heartlevel.conclusions.category import NO_CATEGORY_REASONS, NO_SETTING, levels_of, silent_because
from heartlevel.conclusions.conclude import Conclusions
from heartlevel.conclusions.numbers import all_rounded, mappings_rounded
from heartlevel.conclusions.pattern import LABELS
from heartlevel.conclusions.sureness import NO_PROBABILITY, ErrorInIt
from heartlevel.profiles import Category
from heartlevel.statistics.alternatives import BY_PROTOCOL
from heartlevel.statistics.classification import CLASSIFIED, NO_CATEGORY, Probabilities
from heartlevel.statistics.sureness.patterns import Chances
from heartlevel.vocabulary import MEASURED_SIDES, PRESSURES, SETTINGS, SURENESSES

CHANCE_DECIMALS = 3


class Classifications:
    """Category and pattern of each subject; numbers are rounded for all of them at once."""

    def __init__(self, conclusions: Conclusions) -> None:
        """Round what several subjects' answers are read from."""
        self.conclusions, self.assessment = conclusions, conclusions.assessment
        # By subject and name, the means that each alternative has in the setting that is classified.
        means = self.assessment.alternatives.mean[:, :, conclusions.category.group]
        self.of_alternatives = all_rounded(means.transpose(2, 1, 0))
        difference, categories = conclusions.office_minus_home, conclusions.category
        self.differences = all_rounded(np.array([difference.mean, difference.low, difference.high]).transpose(2, 1, 0))
        self.means = all_rounded(categories.mean.T)
        self.certainty = all_rounded(conclusions.sureness.certainty, CHANCE_DECIMALS)
        others = self.assessment.alternatives
        by_group = (others.applies, others.enough, self.assessment.classified.of_alternatives)
        # By subject and name: applies, says something, and its category.
        self.alternatives = np.array([column[:, categories.group] for column in by_group]).transpose(2, 1, 0).tolist()
        self.changes = categories.changes.T.tolist()

    def pattern(self, subject: int) -> dict[str, Any]:
        """Return how home and office compare, as the rules decided it."""
        conclusions = self.conclusions
        deciding = [finding for finding in conclusions.findings[subject] if finding.rule.pattern]
        between = {
            name: {"mean": mean, "interval95": None if low is None else [low, high]}
            for name, (mean, low, high) in zip(PRESSURES, self.differences[subject], strict=True)
        }
        return {
            **{setting: self._category_in(setting, subject) for setting in ("office", "home")},
            "label": LABELS[conclusions.pattern[subject]],
            "settled": LABELS[conclusions.pattern_settled[subject]],
            "because": [finding.name for finding in deciding],
            **sides_of_pattern(conclusions, subject),
            "office_minus_home": {name: both for name, both in between.items() if both["mean"] is not None},
            **self._pattern_chances(subject),
        }

    def _category_in(self, setting: str, subject: int) -> str | None:
        number = self.conclusions.category.within(setting, subject)
        return _category_id(self.assessment.guidelines[subject].categories[setting], number)

    def _pattern_chances(self, subject: int) -> dict[str, Any]:
        """Return the probability of each pattern at each pair of limits; why not, where there is none."""
        probable = self.conclusions.patterns_probable
        unknown = probable.unknown[subject]
        sureness = {"sureness": SURENESSES[probable.sureness[subject]]}
        if unknown:
            return {**sureness, "chances": None, "no_chances": unknown}
        chances, as_measured = self._chances_of_patterns
        return {**sureness, "chances": chances[subject], "chances_as_measured": as_measured[subject]}

    @cached_property
    def _chances_of_patterns(self) -> list[list[list[dict[str, Any]]]]:
        """The chances of each subject's patterns, and those with no error taken off that readings share."""
        both = (self.conclusions.patterns_probable.chances, self.conclusions.patterns_as_measured)
        return [_written_chances(by_subject) for by_subject in both]

    def classification(self, subject: int) -> dict[str, Any]:
        """Return the category of the best average there is, and whether other selections would change it."""
        conclusions, guideline = self.conclusions, self.assessment.guidelines[subject]
        categories = conclusions.category
        number = int(categories.setting[subject])
        if number == NO_SETTING:
            reason = NO_CATEGORY_REASONS[categories.reason[subject]]
            return {"guideline": guideline.id, "category": None, "reason": reason}
        setting, group = SETTINGS[number], int(categories.group[subject])
        side, category = int(categories.side[subject]), int(categories.category[subject])
        levels = levels_of(self.assessment, subject, side)
        return {
            "guideline": guideline.id,
            "category": _category_id(levels, category),
            "side": MEASURED_SIDES[side],
            "setting": setting,
            "basis": "protocol",
            **dict(zip(PRESSURES, self.means[subject], strict=True)),
            "title": self._title(levels, category, subject),
            "raised": bool(categories.raised[subject]),
            **self._sureness(subject),
            "even_so": even_so(conclusions, subject),
            "holds": bool(categories.holds[subject]),
            "would_change": self._would_change(subject),
            "alternatives": list(self._alternatives(subject, group, levels)),
        }

    def _title(self, levels: Sequence[Category], number: int, subject: int) -> str | None:
        if number == NO_CATEGORY:
            return None
        return category_title(self.conclusions, subject, levels[number].title)

    def _sureness(self, subject: int) -> dict[str, Any]:
        """Return the one probability, in words too, and what plays a part in it."""
        own = self.conclusions.sureness
        unknown = NO_PROBABILITY[own.unknown[subject]]
        chances, as_measured = self._chances
        return {
            **chances[subject],
            **({"no_probability": unknown} if unknown else {}),
            "sureness": SURENESSES[own.word[subject]],
            "certainty": self.certainty[subject],
            "errors_in_it": [self._error(subject, error) for error in self.conclusions.errors_in_it[subject]],
            "sharpened_by": own.sharpened_by[subject],
            "as_measured": as_measured[subject],
        }

    @cached_property
    def _chances(self) -> list[list[dict[str, Any]]]:
        """The chances of each subject's classified average, and those with no error taken off that readings share."""
        groups = self.conclusions.category.group.tolist()
        both = (self.assessment.sureness.probabilities, self.conclusions.as_measured)
        return [_chances(probabilities, groups) for probabilities in both]

    def _error(self, subject: int, error: ErrorInIt) -> dict[str, Any]:
        wording = self.assessment.rules.wording[self.assessment.batch.requests[subject].language]
        rule = wording.rules.get(error.code)
        whole = {"code": error.code, "known": error.known, "reads": error.reads}
        if error.mean is not None and error.sd is not None:
            whole |= {
                name: {"mean": mean, "sd": sd} for name, mean, sd in zip(PRESSURES, error.mean, error.sd, strict=True)
            }
        return {**whole, "text": rule.title if rule else wording.sureness.get(f"error-{error.code}")}

    def _alternatives(self, subject: int, group: int, levels: Sequence[Category]) -> Iterator[dict[str, Any]]:
        names = self.assessment.alternatives.names
        if SETTINGS[group % len(SETTINGS)] not in CLASSIFIED:
            return
        told = zip(names, self.of_alternatives[subject], self.alternatives[subject], strict=True)
        for name, (systolic, diastolic), (applies, enough, category) in told:
            if applies:
                named = _category_id(levels, category)
                alternative = {"name": name, "systolic": systolic, "diastolic": diastolic, "category": named}
                if not enough:
                    alternative["reason"] = silent_because(name)
                yield alternative

    def _would_change(self, subject: int) -> str | None:
        """Return one sentence that names the alternatives which change the category; None where no text is written."""
        texts = self.assessment.rules.wording[self.assessment.batch.requests[subject].language].sureness
        names, changes = self.assessment.alternatives.names, self.changes[subject]
        changing = [name for name, does in zip(names, changes, strict=True) if does]
        sentence = texts.get("changes" if changing else "holds")
        if sentence is None:
            return None
        return sentence.replace("{alternatives}", "; ".join(self._spoken(texts, name) for name in changing))

    def _spoken(self, texts: Mapping[str, str], alternative: str) -> str:
        if alternative.startswith(BY_PROTOCOL):
            protocol = self.assessment.rules.protocols[alternative.removeprefix(BY_PROTOCOL)]
            return texts.get("by-protocol", alternative).replace("{protocol}", protocol.title)
        return texts.get(alternative, alternative)


def _category_id(levels: Sequence[Category], number: int) -> str | None:
    return None if number == NO_CATEGORY else levels[number].id


def _written_chances(by_subject: Sequence[Sequence[Chances]]) -> list[list[dict[str, Any]]]:
    every = [pair.probability for own in by_subject for pair in own]
    told = iter(mappings_rounded(every, CHANCE_DECIMALS))
    return [[{"limits": pair.limits, "probability": next(told)} for pair in own] for own in by_subject]


def _chances(probabilities: Probabilities, groups: Sequence[int]) -> list[dict[str, Any]]:
    """Return how probable each limit is to be reached and each category to be the true one; null where that is unknown."""
    of_limit, of_category = (
        mappings_rounded([by_group[group] for group in groups], CHANCE_DECIMALS)
        for by_group in (probabilities.of_limit, probabilities.of_category)
    )
    return [
        {"probability_at_or_above": limits, "category_probability": categories or None}
        for limits, categories in zip(of_limit, of_category, strict=True)
    ]
