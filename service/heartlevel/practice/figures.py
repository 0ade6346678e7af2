"""The figures of a practice as they are written: numbers rounded, small groups withheld, what to act on first."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from heartlevel.conclusions.numbers import rounded
from heartlevel.practice.device_checks import CheckedDevices, checked_devices
from heartlevel.practice.differences import MeanDifference
from heartlevel.practice.disclosure import SMALLEST_GROUP, number_told, told_counts
from heartlevel.practice.faults import FaultCosts, fault_costs
from heartlevel.practice.folder import Folder, NoPracticeTables
from heartlevel.practice.groups import (
    END_IN_ZERO,
    IN_DOUBT,
    READINGS,
    SET_ASIDE,
    ComparedGroups,
    GroupDifference,
    PeopleOfGroup,
    compared_groups,
)
from heartlevel.practice.people import PeopleCounts, people_counts
from heartlevel.ruling.language.rules import Rule
from heartlevel.ruling.language.ruleset import DEFAULT_LANGUAGE, RuleSet
from heartlevel.version import VERSION
from heartlevel.vocabulary import PRESSURES, SCOPES

SHARE_DECIMALS, HOLDING = 3, 0.95


def practice_figures(folder: Folder, rules: RuleSet, smallest: int = SMALLEST_GROUP) -> dict[str, Any]:
    """Return what a practice may be told of its people; raises NoPracticeTables where they are too few."""
    people = people_counts(folder)
    if people.people < smallest:
        raise NoPracticeTables(f"{people.people} people are assessed there; nothing is told of fewer than {smallest}")
    steps = rules.wording[DEFAULT_LANGUAGE].next_steps
    of_rules = {rule.id: rule for scope in SCOPES for rule in rules.rules[scope]}
    faults = fault_costs(folder, of_rules)
    shown = [fault for fault in faults if fault.people >= smallest]
    return {
        "made_with": {
            "service": VERSION,
            "rules": {"revision": rules.revision, "fingerprint": rules.fingerprint},
            "tables_by_other_rules": sorted(people.rules - {rules.fingerprint}),
            "smallest_group": smallest,
        },
        "act_first": act_first(people, shown, smallest),
        "people": _people(people),
        "readings": {name.removeprefix("readings_"): count for name, count in people.readings.items()},
        "urgent": {
            "people": people.urgent,
            "levels": {name: n for name, n in people.urgency.items() if n and name != "none"},
        },
        "categories": _categories(people, smallest),
        "faults": [_fault(fault, of_rules.get(fault.rule), steps, smallest) for fault in shown],
        "faults_withheld": len(faults) - len(shown),
        "device_checks": _devices(checked_devices(folder, smallest), smallest),
        "groups": _groups(compared_groups(folder, smallest)),
    }


def act_first(people: PeopleCounts, faults: Sequence[FaultCosts], smallest: int) -> list[dict[str, Any]]:
    """Return what a clinic can act on, first what is urgent, then what costs most people a category.

    `code` is `urgent`, `no-category` (`about` is the reason) or `fault` (`about` is the rule); `people` how many.
    """
    reasons = told_counts(people.reasons, smallest).items()
    causes = [{"code": "no-category", "about": reason, "people": count} for reason, count in reasons if count][:1]
    if faults:
        costliest = min(faults, key=lambda fault: (*(-part for part in fault.cost), fault.rule))
        fault = {"code": "fault", "about": costliest.rule, "people": costliest.people}
        causes.insert(0 if costliest.without_category >= people.reasons.total() / 2 else len(causes), fault)
    urgent = [{"code": "urgent", "about": None, "people": people.urgent}] if people.urgent else []
    return [*urgent, *causes]


def _people(people: PeopleCounts) -> dict[str, int]:
    return {"assessed": people.people, "assessments": people.assessments}


def _categories(people: PeopleCounts, smallest: int) -> dict[str, Any]:
    return {
        "with": people.categories.total(),
        "without": people.reasons.total(),
        "by_category": told_counts(people.categories, smallest),
        "without_because": told_counts(people.reasons, smallest),
        "readings_not_documented": told_counts(people.not_documented, smallest),
        "doubtful_readings_alone": number_told(people.doubtful_alone, smallest),
    }


def _fault(fault: FaultCosts, rule: Rule | None, steps: Mapping[str, str], smallest: int) -> dict[str, Any]:
    """Write what a fault costs; a rule that is in force no more has neither title nor step."""
    return {
        "rule": fault.rule,
        "title": rule and rule.title,
        "next_step": steps[rule.next_step] if rule and rule.next_step else None,
        "kind": fault.kind,
        "people": fault.people,
        "readings": fault.readings,
        "readings_set_aside": fault.set_aside,
        "readings_doubtful": fault.doubtful,
        "people_without_category": number_told(fault.without_category, smallest),
        "off_by": {
            name: ends and [rounded(end) for end in ends] for name, ends in zip(PRESSURES, fault.off_by, strict=True)
        },
    }


def _devices(checked: CheckedDevices, smallest: int) -> dict[str, Any]:
    return {
        "checks": checked.verdicts.total(),
        "people_by_verdict": told_counts(checked.people, smallest),
        "shared_devices": [
            {
                "device": device.device,
                "people": device.people,
                "verdicts": dict(sorted(device.verdicts.items())),
                "systolic_bias": [rounded(min(device.systolic_biases)), rounded(max(device.systolic_biases))]
                if device.systolic_biases
                else None,
            }
            for device in checked.shared
        ],
    }


def _groups(compared: Sequence[ComparedGroups]) -> dict[str, Any]:
    """Write all groupings; intervals are widened so that all of them together hold what they are of."""
    intervals = sum(len(list(_estimates(difference))) for groups in compared for difference in groups.differences)
    share = 1 - (1 - HOLDING) / max(intervals, 1)
    return {
        "intervals": intervals,
        "groupings": [
            {
                "by": groups.grouping.column,
                "where": groups.grouping.room,
                "groups_withheld": groups.withheld,
                "groups": [_group(group) for group in groups.groups],
                "differences": [_difference(difference, share) for difference in groups.differences],
            }
            for groups in compared
        ],
    }


def _group(group: PeopleOfGroup) -> dict[str, Any]:
    return {
        "name": group.name,
        "people": group.people,
        "readings": int(group.figures[READINGS].sum()),
        "doubtful": rounded(group.share(IN_DOUBT), SHARE_DECIMALS),
        "set_aside": rounded(group.share(SET_ASIDE), SHARE_DECIMALS),
        "systolic_ends_in_zero": rounded(group.share(END_IN_ZERO), SHARE_DECIMALS),
    }


def _estimates(difference: GroupDifference) -> Iterator[MeanDifference]:
    yield from difference.all_people
    yield from difference.within or ()


def _difference(difference: GroupDifference, share: float) -> dict[str, Any]:
    within = difference.within and {"people": difference.people_in_both, **_by_pressure(difference.within, share)}
    return {
        "group": difference.group,
        "from_the_others": _by_pressure(difference.all_people, share),
        "within_people": within,
    }


def _by_pressure(differences: Sequence[MeanDifference], share: float) -> Mapping[str, Any]:
    return {name: _interval(difference, share) for name, difference in zip(PRESSURES, differences, strict=True)}


def _interval(difference: MeanDifference, share: float) -> dict[str, Any]:
    low, high = (rounded(end) for end in difference.interval(share))
    if low is None or high is None:
        return {"mean": rounded(difference.mean), "interval95_together": None, "differs": False}
    differs = not low <= 0 <= high  # as it is told: an end at 0.0 is no difference
    return {"mean": rounded(difference.mean), "interval95_together": [low, high], "differs": differs}
