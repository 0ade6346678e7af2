"""The summary in a terminal: the days as a small plot, colour where somebody sees it, the usual cautions once."""

import io
import json
from datetime import date, timedelta
from statistics import fmean

import pytest
from click import unstyle
from hypothesis import given, settings
from hypothesis import strategies as st

from heartlevel.assessment import assess_requests
from heartlevel.command.summary import summaries, summary
from heartlevel.command.terminal.day_plot import BROAD, LIMIT, MARGIN, THIN, DayMeans, day_means, plotted
from heartlevel.command.terminal.look import Look, look_of
from heartlevel.conclusions.conclude import conclude
from heartlevel.intake.request import read
from support import answer, as_ndjson, assess_in_process, examples, reading, requests, rules, week

URGENT = week(pressures=[(196, 124), (194, 122)])


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def concluded(payload: dict):
    return conclude(assess_requests([read(payload, rules().ruleset.choices)], rules()))


def shown(payload: dict, look: Look) -> str:
    (text,) = summaries(concluded(payload), rules(), look=look)
    return text


@pytest.mark.parametrize(("stream", "environment", "coloured"), [
    (Terminal(), {}, True), (Terminal(), {"NO_COLOR": ""}, True), (Terminal(), {"NO_COLOR": "1"}, False),
    (Terminal(), {"TERM": "dumb"}, False), (io.StringIO(), {}, False),
])  # fmt: skip
def test_colour_is_for_terminals_whose_owner_wants_it(stream, environment, coloured):
    """NO_COLOR: 'when present and not an empty string' (no-color.org)."""
    assert look_of(stream, environment).colour == coloured


@pytest.mark.parametrize(("columns", "width"), [("60", 60), ("10", 40), ("400", 100)])
def test_the_width_is_that_of_the_terminal_within_what_can_be_read(monkeypatch, columns, width):
    monkeypatch.setenv("COLUMNS", columns)
    assert look_of(io.StringIO()).width == width
    lines = assess_in_process("-", "--workers", "1", given=json.dumps(URGENT)).stdout.splitlines()
    assert max(map(len, lines)) <= max(
        width, max(len(line) for line in lines if "mmHg  " in line or line.startswith("s-1"))
    )


def test_colour_adds_nothing_but_colour():
    plain, coloured = (shown(URGENT, Look(80, colour)) for colour in (False, True))
    assert "\x1b[" in coloured and "\x1b[" not in plain
    assert unstyle(coloured) == plain
    assert "\x1b[31m\x1b[1mURGENT" in coloured


def test_nothing_is_coloured_in_a_file_or_a_pipe(tmp_path):
    piped = assess_in_process("-", "--workers", "1", given=json.dumps(URGENT))
    assess_in_process("-", "--workers", "1", "--to", "summary", "--output", tmp_path / "told", given=json.dumps(URGENT))
    assert "\x1b" not in piped.stdout + (tmp_path / "told").read_text()


@pytest.mark.parametrize("languages", [["en"], ["de"], ["es", "en"]])
def test_the_usual_cautions_are_said_once_in_the_language_of_the_answers(languages):
    sent = [{**one, "options": {**one["options"], "language": languages[number % len(languages)]}}
            for number, one in enumerate(requests(4))]  # fmt: skip
    text = " ".join(assess_in_process("-", "--workers", "1", given=as_ndjson(sent)).stdout.split())
    for language, wording in rules().ruleset.wording.items():
        assert [text.count(" ".join(caution.split())) for caution in wording.cautions] == (
            [int(language in languages)] * len(wording.cautions)
        )


def test_cautions_of_summaries_in_a_file_are_said_beside_it(tmp_path):
    result = assess_in_process("-", "--to", "summary", "--output", tmp_path / "told", given=json.dumps(week()))
    assert "This is not a diagnosis." in result.stderr


def test_answers_for_programs_have_no_cautions_beside_them():
    result = assess_in_process("-", "--json", given=json.dumps(week()))
    assert len(result.stdout.splitlines()) == 1 and "diagnosis" not in result.stderr


def test_the_means_of_days_are_those_of_the_readings_used():
    payload = week(3, pressures=[(128, 82), (126, 81)])
    payload["readings"][0] |= {"technique": {"body_position": "standing"}, "systolic": 160}
    payload["readings"].append(reading("2026-03-09T10:00:00+01:00", 160, 100, setting="office"))
    means = day_means(concluded(payload), 0)
    used = {one["id"]: one["systolic"] for one in answer(payload)["readings"] if one["reliability"] != "unusable"}
    by_day = [fmean(value for name, value in used.items() if name.startswith(f"r-{day}-")) for day in range(3)]
    assert (means.setting, list(means.days)) == ("home", [date(2026, 3, day) for day in (1, 2, 3)])
    assert means.systolic == pytest.approx(by_day)
    assert means.limits == (130, 80)


@pytest.mark.parametrize("payload", [week(1), {**week(), "readings": []}])
def test_a_single_day_is_not_plotted(payload):
    assert day_means(concluded(payload), 0) is None
    assert "Days, home" not in shown(payload, Look())


FEW = st.lists(st.tuples(st.integers(0, 80), st.floats(90, 240), st.floats(20, 70)), min_size=2, max_size=40)
LIMITS = st.sampled_from([(130.0, 80.0), (135.0, 85.0), (float("nan"), float("nan"))])


@settings(max_examples=examples(100), deadline=None)
@given(FEW, LIMITS, st.integers(40, 100))
def test_each_day_has_a_bar_that_is_broad_only_at_a_limit_and_all_of_it_fits(few, limits, width):
    by_day = {day: (systolic, systolic - difference) for day, systolic, difference in few}
    days = [date(2026, 1, 1) + timedelta(days=day) for day in sorted(by_day)]
    high, low = ([by_day[day][number] for day in sorted(by_day)] for number in (0, 1))
    lines, told = plotted(DayMeans("home", days, high, low, limits), width)
    assert all(len(line) <= width and line.strip() for line in lines)
    assert told == days[-len(told) :]
    begins = days[-1].toordinal() - max(len(line) - MARGIN for line in lines) // 2
    columns = ["".join(line.ljust(width)[number] for line in lines) for number in range(MARGIN - 1, width)]
    bars = {number // 2: column for number, column in enumerate(columns) if set(column) & set("".join([*BROAD, *THIN]))}
    assert len(bars) == len(told) and begins <= told[0].toordinal()
    for day, column in zip(told, [bars[number] for number in sorted(bars)], strict=True):
        number = days.index(day)
        at_limit = high[number] >= limits[0] or low[number] >= limits[1]
        assert bool(set(column) & set(BROAD)) == at_limit
        assert not (set(column) - set(BROAD if at_limit else THIN) - {LIMIT, " "})


def test_a_summary_without_days_is_that_of_the_answer_alone():
    text = shown(week(), Look())
    without = summary(answer(week()), rules())
    assert [line for line in text.splitlines() if line not in without.splitlines()] == text.splitlines()[4:9]
