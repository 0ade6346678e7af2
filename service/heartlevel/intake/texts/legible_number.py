"""Numbers as somebody who looks at a pressure would read them, however they are written."""

from re import IGNORECASE
from re import compile as pattern

from heartlevel.intake.texts.json_text import each_value
from heartlevel.intake.written import LONGEST_NUMBER, number_written

PAIR = pattern(r"\s*([0-9]{2,3})\s*/\s*([0-9]{2,3})\D*")  # systolic before diastolic, in one text
# One number and no other; a letter at it, but for the first of a unit, may be a digit mistaken.
AMONG_WORDS = pattern(r"(?:\D*[\s~<>=(:])?([0-9]+(?:[.,][0-9]+)?)(?:\s*(?:mm|k)\D*|\s\D*|[^\w\s]\D*)?", IGNORECASE)
MORE_THAN_THREE_DIGITS, MORE_THAN_FOUR_DIGITS = 1_000, 10_000
MOST_NUMBERS = 6  # different ones under a repeated key; of more, the lowest and the highest


def legible_numbers(value: object, name: str) -> list[float]:
    """Return the numbers that somebody who looks at a pressure would read, in order; `name` is systolic or diastolic.

    Of a text it is its only number, or the one of a pair such as 142/88; of a number with a digit too many it is the
    lowest with one left out. There may be several under a repeated key, of which nobody knows which is meant.
    """
    return ends_of(sorted({number for item in each_value(value) if (number := _legible_number(item, name)) is not None}))


def ends_of(numbers: list[float]) -> list[float]:
    """Return the numbers; where they are many, in order the lowest and the highest, since each is paired with others."""
    if len(numbers) <= MOST_NUMBERS:
        return numbers
    ordered = sorted(set(numbers))
    return ordered[: MOST_NUMBERS // 2] + ordered[-MOST_NUMBERS // 2 :] if len(ordered) > MOST_NUMBERS else ordered


def _legible_number(value: object, name: str) -> float | None:
    if isinstance(value, str):
        value = _in_text(value, name) if len(value) <= LONGEST_NUMBER else None
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not 0 <= value < MORE_THAN_FOUR_DIGITS:
        return None
    return float(value) if value < MORE_THAN_THREE_DIGITS else _less_a_digit(value)


def _in_text(text: str, name: str) -> float | None:
    if pair := PAIR.fullmatch(text):
        return float(pair[1 if name == "systolic" else 2])
    number = AMONG_WORDS.fullmatch(text)
    return number_written(number[1]) if number else None


def _less_a_digit(value: float) -> float | None:
    digits = f"{value:.15g}"
    if not digits.isdigit():
        return None
    shorter = {digits[:left_out] + digits[left_out + 1 :] for left_out in range(len(digits))}
    return float(min(number for number in shorter if number[0] != "0"))
