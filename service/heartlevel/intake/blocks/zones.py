"""Names of time zones."""

from functools import cache
from zoneinfo import available_timezones

from heartlevel.intake.faults import near


@cache
def known_zones() -> frozenset[str]:
    """Return all names of zones."""
    return frozenset(available_timezones())


def near_zone(name: str) -> str | None:
    """Return a hint at the zone that a name may mean."""
    by_city = {zone.rpartition("/")[2].lower(): zone for zone in sorted(known_zones())}
    zone = by_city.get(name.rpartition("/")[2].lower().replace(" ", "_"))
    return f"did you mean '{zone}'?" if zone else near(name, sorted(known_zones()))
