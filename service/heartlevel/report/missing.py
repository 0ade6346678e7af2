"""What was not recorded, for a reader: facts that one answer would have told stand together, by topic, commonest first."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from heartlevel.facts.catalogue import Fact

OTHER = "missing-other"  # facts of a clinic's own rules
# Facts by the words that name them on a page, and these by topic. Of a clinic's own facts it says the meaning.
TOPICS: Mapping[str, Mapping[str, tuple[str, ...]]] = {
    "missing-cuff": {
        "missing-cuff-size": (
            "arm_circumference_cm", "wrist_circumference_cm", "cuff_arm_min_cm", "cuff_arm_max_cm", "cuff_bladder_width_cm",
            "cuff_bladder_length_cm", "cuff_width_to_arm", "cuff_length_to_arm", "arm_above_cuff_range_cm",
            "arm_below_cuff_range_cm",
        ),
        "missing-cuff-place": ("site", "side", "placement", "device_placement"),
        "missing-cuff-fit": (
            "cuff_mark_in_range", "cuff_mark_over_artery", "fingers_under_top_edge", "fingers_under_bottom_edge",
            "cuff_tightness_difference",
        ),
        "missing-bare-arm": ("bare_arm",),
        "missing-cuff-shape": ("cuff_shape", "arm_tapered"),
        "missing-spared-arm": ("arm_to_avoid",),
    },
    "missing-posture": {
        "missing-arm-height": ("arm_level", "arm_height_cm", "hydrostatic_offset_mmhg", "wrist_held_by_other_hand"),
        "missing-arm-rest": ("arm_supported", "arm_relaxed"),
        "missing-back-and-legs": ("back_supported", "feet_flat", "legs_crossed"),
        "missing-body-position": ("body_position",),
    },
    "missing-before": {
        "missing-rest": ("rested_minutes",),
        "missing-talking": ("talking",),
        "missing-bladder": ("full_bladder",),
        "missing-stimulants": ("minutes_since_caffeine", "minutes_since_nicotine", "minutes_since_exercise"),
        "missing-circumstances": (
            "circumstance_after_meal", "circumstance_after_alcohol", "circumstance_cold", "circumstance_pain",
            "circumstance_stress", "circumstance_quiet", "circumstance_unwell", "circumstance_poor_sleep",
            "circumstance_travel", "circumstance_night_shift", "circumstance_work_day", "circumstance_free_day",
        ),
        "missing-asleep": ("asleep",),
        "missing-treatment-time": ("hours_since_medicine", "hours_since_dialysis"),
    },
    "missing-device": {
        "missing-validation": ("independently_validated",),
        "missing-method": ("method",),
        "missing-inflation": ("inflation", "pumped_by_measured_arm"),
        "missing-status": (
            "status_body_movement", "status_cuff_loose", "status_irregular_pulse", "status_position_improper",
            "status_pulse_out_of_range",
        ),
        "missing-range": ("device_range_low", "device_range_high", "above_device_range", "below_device_range"),
    },
    "missing-readings": {
        "missing-selection": ("selected_from",),
        "missing-taken-by": ("taken_by", "observed"),
        "missing-pulse": ("pulse",),
    },
    "missing-person": {
        "missing-age": ("age_years",),
        "missing-pregnancy": ("pregnant", "days_since_birth"),
        "missing-rhythm": ("irregular_pulse_known",),
        "missing-health": ("fainting", "frail"),
        "missing-treatment": ("on_treatment",),
    },
}  # fmt: skip
NAMED = {fact: (topic, item) for topic, items in TOPICS.items() for item, facts in items.items() for fact in facts}
ORDER = {fact: number for number, fact in enumerate(NAMED)}


@dataclass(frozen=True, slots=True)
class MissingShare:
    """What was not recorded in one share of the readings, in words."""

    at: str  # JSON Pointer of the share
    items: list[str]


@dataclass(frozen=True, slots=True)
class MissingTopic:
    """What was not recorded of one topic, the largest share first."""

    title: str
    shares: list[MissingShare]


def missing_topics(answer: Mapping[str, Any], words: Mapping[str, str], facts: Mapping[str, Fact]) -> list[MissingTopic]:
    """Return what an answer has as undocumented, by topic, that with the largest share first.

    Of facts that are told in the same words the largest share is told: so many readings at least lack something of it.
    """
    entries = answer["undocumented"]
    topics: dict[str, dict[str, int]] = {}  # where the answer has the largest share of each item, by topic
    for number in sorted(range(len(entries)), key=lambda number: _rank(entries[number]["item"])):
        topic, text = _named(entries[number]["item"], words, facts)
        items = topics.setdefault(topic, {})
        if text not in items or entries[items[text]]["share"] < entries[number]["share"]:
            items[text] = number
    order = sorted(topics, key=lambda topic: -max(entries[number]["share"] for number in topics[topic].values()))
    return [MissingTopic(words[topic], list(_shares(topics[topic], entries))) for topic in order]


def _rank(fact: str) -> int:
    return ORDER.get(fact, len(ORDER))


def _named(fact: str, words: Mapping[str, str], facts: Mapping[str, Fact]) -> tuple[str, str]:
    topic, item = NAMED.get(fact, (OTHER, ""))
    return topic, words[item] if item else facts[fact].meaning


def _shares(items: Mapping[str, int], entries: Sequence[Mapping[str, Any]]) -> Iterator[MissingShare]:
    """Yield items of a topic, given by their entries' numbers, those of one share together."""
    alike: dict[float, list[str]] = {}
    for text, number in items.items():
        alike.setdefault(entries[number]["share"], []).append(text)
    for share in sorted(alike, reverse=True):
        yield MissingShare(f"/undocumented/{items[alike[share][0]]}/share", alike[share])
