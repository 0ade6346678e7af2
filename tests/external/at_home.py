"""Home readings by which protocols are tried."""

from heartlevel import answer_to
from support import average, rules, week


def at_home(protocol, days, readings=2, rule_set=None):
    pressures = tuple((130 - place, 80) for place in range(readings))
    found = answer_to(week(days=days, pressures=pressures, options={"protocol": protocol}), rule_set or rules())
    whole = average(found)
    left_out = {one["because"]: len(one["readings"]) for one in whole.get("left_out", [])}
    return whole["readings"], left_out, found["coverage"]["enough_for_protocol"]


FIRST_DAY, BEYOND = "first-days-discarded", "beyond-readings-per-sitting"
