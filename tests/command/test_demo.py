"""`heartlevel demo`: the practice as a table, a person in full, and every answer for a program."""

import json
import re

import pytest
from click.testing import CliRunner

from heartlevel.command import demo as showing
from heartlevel.command.demo import MOST_REPORTS
from heartlevel.command.main import main
from heartlevel.command.summary import summary
from support import demo_answers, rules

CAUTIONS = rules().ruleset.wording["en"].cautions


@pytest.fixture(autouse=True, scope="module")
def rules_loaded_once():
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(showing, "loaded", lambda folder, layers: rules())
        yield


@pytest.fixture(autouse=True)
def pages(monkeypatch, tmp_path):
    """Have the folder for pages that is made where none is named be one that goes away."""
    monkeypatch.setattr(showing, "mkdtemp", lambda prefix: str(tmp_path))
    return tmp_path


@pytest.fixture(scope="module")
def shown(tmp_path_factory):
    """What the command does without arguments, and the folder of its pages; most of its time is in these."""
    folder = tmp_path_factory.mktemp("shown")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(showing, "mkdtemp", lambda prefix: str(folder))
        return run(), folder


def run(*arguments: str):
    return CliRunner().invoke(main, ["demo", *arguments])


def rows(text: str) -> dict[str, list[str]]:
    """The cells of the table by person, cut where the headings begin."""
    lines = text.splitlines()
    (headings,) = [line for line in lines if line.split()[:2] == ["person", "urgent"]]
    begins = [found.start() for found in re.finditer(r"\S+(?: \S+)*", headings)]
    cells = [[line[a:b].strip() for a, b in zip(begins, [*begins[1:], None], strict=True)] for line in lines]
    return {row[0]: row for row in cells if re.fullmatch(r"s-\d+", row[0])}


def test_the_practice_fits_a_screen_or_two(shown):
    result, _ = shown
    lines = result.stdout.splitlines()
    assert (result.exit_code, result.stderr) == (0, "")
    assert len(lines) <= 70 and max(map(len, lines)) <= 100


def test_each_person_has_one_line_with_what_the_answer_concludes(shown):
    table = rows(shown[0].stdout)
    assert list(table) == [answer["subject"]["id"] for answer in demo_answers()]
    for answer in demo_answers():
        _, urgent, category, pattern, step = table[answer["subject"]["id"]]
        assert (urgent == "URGENT", pattern) == (answer["urgent"], answer["pattern"]["label"])
        given = answer["classification"]
        if given["category"] is None:
            assert given["reason"].replace("-", " ").startswith(category.removeprefix("none: ").removesuffix(" …"))
        else:
            assert (category.removesuffix(" ?"), category.endswith(" ?")) == (given["title"], not given["holds"])
        first, *others = answer["next_steps"]
        assert step == first["code"].replace("-", " ") + (f" (+{len(others)})" if others else "")


def test_the_urgent_are_counted_and_the_way_on_is_said(shown):
    text = shown[0].stdout
    urgent = sum(answer["urgent"] for answer in demo_answers())
    assert text.startswith(
        f"Harbour Lane, an invented practice. People: {len(demo_answers())}; with something urgent: {urgent}."
    )
    assert "`heartlevel demo s-07`" in text
    assert all(caution in " ".join(text.split()) for caution in CAUTIONS)


def test_people_who_are_named_are_shown_in_full():
    text = run("s-07", "s-01").stdout
    by_name = {answer["subject"]["id"]: answer for answer in demo_answers()}
    for name in ("s-07", "s-01"):
        in_full = summary(by_name[name], rules(), everything=True).splitlines()
        assert [line for line in in_full if line not in text.splitlines()] == []
    assert "s-02" not in text


def test_a_name_that_is_not_there_is_a_wrong_call_with_the_nearest_one():
    result = run("s-7")
    assert (result.exit_code, result.stdout) == (2, "")
    assert "nobody in this practice is called 's-7' (did you mean 's-" in result.stderr


def test_every_answer_can_be_read_by_a_program():
    result = run("--json")
    assert [json.loads(line) for line in result.stdout.splitlines()] == demo_answers()
    assert all(caution in " ".join(result.stderr.split()) for caution in CAUTIONS)
    assert json.loads(run("s-03", "--json").stdout)["subject"] == {"id": "s-03"}


def test_what_other_rules_cannot_answer_is_said_and_costs_nobody_else(tmp_path, monkeypatch):
    practice = tmp_path / "practice.ndjson"
    asked = {"subject": {"id": "s-02"}, "readings": [], "options": {"guideline": "no-such"}}
    practice.write_text('{"subject": {"id": "s-01"}, "readings": []}\n' + json.dumps(asked) + "\n")
    monkeypatch.setattr(showing, "HARBOUR_LANE", practice)
    result = run()
    assert result.exit_code == 0 and "\ns-01 " in result.stdout and "\ns-02" not in result.stdout
    assert result.stderr.startswith("demo:2: ") and "/options/guideline" in result.stderr


def test_the_pages_of_the_practice_are_written_and_named(shown, tmp_path):
    result, pages = shown
    assert f"Pages in {pages}:" in " ".join(result.stdout.split())
    people = [answer["subject"]["id"] for answer in demo_answers()]
    reports = {f"report-{name}.html" for name in people[:MOST_REPORTS]}
    assert {path.name for path in pages.iterdir()} == {f"{name}.html" for name in people} | {"log.html"} | reports
    assert all(path.read_bytes().startswith(b"<!DOCTYPE html>") for path in pages.iterdir())
    run("s-07", "--json", "--pages", str(tmp_path / "named"))
    assert {path.name for path in (tmp_path / "named").iterdir()} == {"s-07.html", "report-s-07.html", "log.html"}


def test_answers_for_a_program_come_without_pages_unless_they_are_wanted(pages):
    run("--json")
    assert list(pages.iterdir()) == []


def test_texts_around_the_table_keep_to_the_width_of_the_terminal(monkeypatch, tmp_path):
    monkeypatch.setenv("COLUMNS", "60")
    lines = run("--pages", str(tmp_path / "p")).stdout.splitlines()
    last = max(number for number, line in enumerate(lines) if re.match(r"s-\d+ ", line))
    texts = [line for line in lines[last + 1 :] if line and str(tmp_path) not in line]
    assert len(texts) > 10 and max(map(len, texts)) <= 60
