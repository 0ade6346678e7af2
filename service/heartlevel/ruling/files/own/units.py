"""Whether a unit is one of UCUM's, and which was probably meant."""

from functools import cache

# What units are often called otherwise, in small letters: to their codes.
OTHERWISE_CALLED = {
    "°c": "Cel", "degc": "Cel", "celsius": "Cel", "°f": "[degF]", "degf": "[degF]", "fahrenheit": "[degF]",
    "mmhg": "mm[Hg]", "minute": "min", "minutes": "min", "mins": "min", "second": "s", "seconds": "s", "sec": "s",
    "hour": "h", "hours": "h", "hr": "h", "hrs": "h", "day": "d", "days": "d", "week": "wk", "weeks": "wk",
    "month": "mo", "months": "mo", "year": "a", "years": "a", "yr": "a", "percent": "%", "bpm": "/min",
    "inch": "[in_i]", "inches": "[in_i]", "foot": "[ft_i]", "feet": "[ft_i]", "pound": "[lb_av]", "lb": "[lb_av]",
    "lbs": "[lb_av]", "litre": "L", "liter": "L", "metre": "m", "meter": "m", "gram": "g", "none": "1", "count": "1",
    "lux": "lx", "decibel": "dB", "ohm": "Ohm",
}  # fmt: skip


@cache
def is_unit(code: str) -> bool:
    """Tell whether a text is a unit in UCUM's case-sensitive notation."""
    from ucumvert import InvalidUcumError, parse_ucum  # slow to import, and only a number of one's own has need of it

    try:
        parse_ucum(code)
    except InvalidUcumError:
        return False
    return True


def unit_meant(written: str) -> str | None:
    """Suggest the unit that was probably meant."""
    meant = OTHERWISE_CALLED.get(written.strip().lower())
    return f"did you mean '{meant}'?" if meant else None
