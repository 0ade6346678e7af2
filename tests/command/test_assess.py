"""The command as a shell calls it: what it prints and the status it ends with."""

import json
import os
import re

import pytest
from click.testing import CliRunner

from heartlevel import answer_to
from heartlevel.command import assess as assessing
from heartlevel.command.demo import HARBOUR_LANE
from heartlevel.command.main import main
from support import as_ndjson, assess_in_process, demo, requests, rules, week

QUIET = week()
URGENT = week(pressures=[(196, 124), (194, 122)])
UNREADABLE = {**week(), "devices": [{"id": 5}]}


@pytest.fixture(autouse=True)
def rules_loaded_once(monkeypatch):
    monkeypatch.setattr(assessing, "loaded", lambda folder, layers: rules())


def run(*arguments: str, given: str | bytes | None = None):
    return CliRunner().invoke(main, list(arguments), input=given)


@pytest.mark.parametrize(
    ("payloads", "status"),
    [([QUIET], 0), ([URGENT], 10), ([UNREADABLE], 20), ([URGENT, UNREADABLE], 30), ([QUIET, {"subject": 1}], 20)],
)
def test_the_status_says_what_was_found(payloads, status):
    lines = "\n".join(map(json.dumps, payloads))
    assert run("assess", "-", "--json", given=lines).exit_code == status


def test_a_request_over_several_lines_is_one_request():
    result = run("assess", "-", "--json", given=json.dumps(QUIET, indent=2))
    assert (result.exit_code, len(result.stdout.splitlines())) == (0, 1)


def test_files_are_answered_in_turn(tmp_path):
    paths = []
    for number, payload in enumerate(demo()[:2]):
        paths.append(tmp_path / f"{number}.json")
        paths[-1].write_text(json.dumps(payload))
    answers = [json.loads(line) for line in run("assess", "--json", *map(str, paths)).stdout.splitlines()]
    assert [one["subject"] for one in answers] == [{"id": payload["subject"]["id"]} for payload in demo()[:2]]


def test_what_is_wrong_goes_to_standard_error_with_its_line():
    result = run("assess", "-", "--json", given="{\n" + json.dumps({"subject": {"id": "x"}, "reading": []}))
    assert result.stdout == ""
    assert result.stderr.splitlines() == [
        "<stdin>:1: not JSON: column 2",
        "<stdin>:2: the request cannot be assessed",
        "<stdin>:2: /reading: no field of that name is defined here (did you mean 'readings'?)",
        "<stdin>:2: /readings: required, but not there; expected a value",
    ]


def test_a_file_that_is_not_there_is_a_wrong_call():
    assert run("assess", "no-such-file").exit_code == 2


def test_a_summary_begins_with_the_conclusion_and_is_in_the_language_asked_for():
    spanish, german = ({**QUIET, "options": {**QUIET["options"], "language": language}} for language in ("es", "de"))
    for payload, word, average in ((QUIET, "readings", r"\d\.\d/"), (spanish, "lecturas", r"\d,\d/"),
                                   (german, "Messungen", r"\d,\d/")):  # fmt: skip
        head, conclusion, *more = run("assess", "-", given=json.dumps(payload)).stdout.splitlines()
        assert any(re.search(average, line) for line in more)
        (sentence, *_) = answer_to(payload, rules())["conclusion"]["clinician"]
        assert head.startswith(f"s-1  {word} {len(QUIET['readings'])} (") and conclusion.strip() in sentence


def test_a_summary_of_an_ordinary_person_fits_a_screen_and_all_is_shown_on_request():
    short, whole = (run("assess", *more, str(HARBOUR_LANE)).stdout for more in ([], ["--all"]))
    answers = [answer_to(json.loads(line), rules()) for line in HARBOUR_LANE.read_text().splitlines()]
    ordinary = [text for answer, text in zip(answers, short.split("\n\n"), strict=False) if len(answer["findings"]) <= 15]
    lengths = sorted(len(text.splitlines()) for text in ordinary)
    assert len(ordinary) >= 30 and lengths[-1] <= 28 and lengths[len(lengths) * 3 // 4] <= 25
    titles = [finding["title"] for answer in answers for finding in answer["findings"]]
    assert all(title in " ".join(whole.split()) for title in titles)


def test_the_demo_file_is_a_file_to_assess():
    assert run("assess", str(HARBOUR_LANE)).exit_code == 30


SAME = {"systolic": 130, "diastolic": 80}
CHECK = {"device": "d", "pairs": [{"device": SAME, "reference": SAME}]}


@pytest.mark.parametrize(
    ("given", "status", "said"),
    [(json.dumps({"device_checks": [CHECK]}), 0, ""), (json.dumps({"device_checks": [CHECK, 5]}), 20, ""),
     (json.dumps({"device_checks": 5}), 20, "/device_checks"), ("{", 20, "not JSON: line 1, column 2")],
)  # fmt: skip
def test_device_checks_are_answered_from_a_file(given, status, said):
    result = run("device-check", "-", given=given)
    assert (result.exit_code, said in result.stderr) == (status, True)
    if not said:
        assert json.loads(result.stdout)["device_checks"][0]["verdict"] == "undecided"


@pytest.mark.parametrize("kind", ["ndjson", "findings", "tables", "fhir"])
def test_what_is_written_of_people_is_for_its_owner_alone(tmp_path, kind):
    (tmp_path / "sent.ndjson").write_bytes(as_ndjson(requests(2)))
    ways = {"--output": tmp_path / "told", "--problems": tmp_path / "problems"}
    before = os.umask(0o022)
    try:
        done = assess_in_process(tmp_path / "sent.ndjson", "--to", kind, *(part for way in ways.items() for part in way))
        assert os.umask(0o022) == 0o022
    finally:
        os.umask(before)
    assert done.exit_code in (0, 10), done.output
    written = [path for path in tmp_path.rglob("*") if path.name != "sent.ndjson"]
    assert len(written) >= 2 and {path.stat().st_mode & 0o077 for path in written} == {0}
