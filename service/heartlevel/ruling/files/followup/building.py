"""From the head of a rule set to what is used in following a person up."""

from collections.abc import Mapping
from typing import Any

from heartlevel.profiles import FollowUp, UsualChange


def follow_up_of(head: Mapping[str, Any]) -> FollowUp | None:
    """Return what the rule set's head says of following up; None where it says nothing."""
    written = head.get("follow_up")
    if not written:
        return None
    return FollowUp(
        pauses=written["longest_pause_days"],
        changes={
            side: _usual_change(figures, written["degrees_of_freedom"]) for side, figures in written["change"].items()
        },
        opposite_seasons_days=written["opposite_seasons_days"],
        season=_both(written["season"]),
        sure_from=written["sure_from"],
        observed_within_days=written["observed_within_days"],
        likely_if_seen=written["observed_share"]["seen"],
        likely_if_not_seen=written["observed_share"]["not_seen"],
        written=written,
    )


def _usual_change(figures: Mapping[str, Any], degrees: float) -> UsualChange:
    return UsualChange(
        between_periods=_both(figures["between_periods"]),
        between_days=_both(figures["between_days"]),
        possible_from=_both(figures["possible_from"]),
        clear_from=_both(figures["clear_from"]),
        degrees=degrees,
    )


def _both(pressures: Mapping[str, float]) -> tuple[float, float]:
    return pressures["systolic"], pressures["diastolic"]
