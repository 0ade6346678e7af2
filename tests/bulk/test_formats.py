"""A format is one entry: its endings, its content, what --from and the help call it, and where its faults stand."""

import json
from pathlib import Path

import pytest
from fhir.resources.R4B.bundle import Bundle

from exchange.resources import bundle, patient, pressure
from heartlevel.bulk.inputs.input import RequestFormat
from heartlevel.bulk.inputs.registry import ENDINGS, INPUT_FORMATS, format_by_content, format_of
from heartlevel.bulk.outputs.registry import OUTPUT_FORMATS, output_format
from heartlevel.intake.decoding import Decoded, Undecodable
from support import assess_in_process


@pytest.mark.parametrize("name", INPUT_FORMATS)
def test_the_help_names_every_format_of_input(name):
    shown = " ".join(assess_in_process("--help").stdout.split())
    assert INPUT_FORMATS[name].about in shown and name in shown


@pytest.mark.parametrize("ending", ENDINGS)
@pytest.mark.parametrize("packed", ["", ".gz", ".zst"])
def test_an_ending_tells_the_format_whatever_is_in_the_file(ending, packed):
    assert format_of(Path(f"nowhere{ending.upper()}{packed}"), mapped=False) is ENDINGS[ending]


@pytest.mark.parametrize(
    ("first", "mapped", "name"),
    [
        (b"PAR1\x15", False, "parquet"),
        (b"PAR1\x15", True, "parquet"),
        (b' \n{"subject"', True, "json"),
        (b"[", False, "json"),
        (b"subject,taken_at\n", False, "csv"),
        (b"Patient;Day\n", True, "csv"),
        (b"Patient;Day\n", False, "json"),
        (b"", False, "json"),
    ],
)
def test_a_content_tells_the_format_where_the_name_says_nothing(first, mapped, name):
    assert format_by_content(first, mapped).name == name


@pytest.mark.parametrize("entry", OUTPUT_FORMATS, ids=lambda entry: entry.name)
def test_every_format_of_output_is_chosen_by_what_is_asked_and_the_ending(entry):
    assert output_format(entry.to, Path(f"out{entry.ending}")) is entry


def split_bars(file):
    """Yield the text of each person: a line with the name, then a line a reading."""
    line = 1
    for text in file.read().split(b"\n\n"):
        yield line, text
        line += text.count(b"\n") + 2


def decode_bars(texts, form):
    for line, text in texts:
        name, *rows = text.decode().splitlines()
        if not rows:
            yield Undecodable(line, "not-bars", "no readings follow the name")
            continue
        cells = [row.split("|") for row in rows]
        readings = [{"taken_at": taken_at, "systolic": float(systolic), "diastolic": 80, "setting": "home"}
                    for taken_at, systolic in cells]  # fmt: skip
        origins = {f"/readings/{number}": line + 1 + number for number in range(len(rows))}
        yield Decoded({"subject": {"id": name}, "readings": readings}, {"": line, **origins})


BARS = RequestFormat("bars", "bars", (".bars",), lambda first, mapped: b"|" in first, split_bars, decode_bars)
SENT = """s-1
2026-03-02T07:10:00Z|120
2026-03-02T07:11:00|121

s-2

s-3
2026-03-02T07:10:00Z|122
"""


def test_a_format_more_is_an_entry_more_and_its_faults_stand_in_what_was_sent(tmp_path, monkeypatch):
    monkeypatch.setitem(ENDINGS, ".bars", BARS)
    (tmp_path / "sent.bars").write_text(SENT)
    result = assess_in_process(tmp_path, "--json", "--problems", tmp_path / "problems", "--workers", 2)
    answers = [json.loads(line) for line in result.stdout.splitlines()]
    assert [(answer["subject"]["id"], len(answer["readings"])) for answer in answers] == [("s-1", 1), ("s-3", 1)]
    problems = [json.loads(line) for line in (tmp_path / "problems").read_text().splitlines()]
    assert [(problem["line"], problem["pointer"], problem["code"]) for problem in problems] == [
        (3, "/readings/1/taken_at", "no-offset"), (5, None, "not-bars")]  # fmt: skip
    assert {problem["input"] for problem in problems} == {str(tmp_path / "sent.bars")}


def test_a_bundle_a_line_is_told_from_other_json_and_each_person_in_it_is_assessed(tmp_path):
    bundles = [
        bundle(patient("a"), patient("b"), pressure("1", subject={"reference": "Patient/a"}),
               pressure("2", 225, 130, subject={"reference": "Patient/b"})),
        {"resourceType": "Observation"},
        bundle(patient("c"), pressure("3", 128, 78, subject={"reference": "Patient/c"}, extension=[])),
    ]  # fmt: skip
    sent, out = tmp_path / "people.fhir", tmp_path / "out.ndjson"
    sent.write_text("".join(json.dumps(one) + "\n" for one in bundles), encoding="utf-8")
    assess_in_process(str(sent), "--output", str(out))
    answers = [json.loads(line) for line in out.read_text(encoding="utf-8").splitlines()]
    assert [(one["subject"]["id"], one["urgent"]) for one in answers] == [("a", False), ("b", True), ("c", False)]
    assert format_by_content(sent.read_bytes(), mapped=False).name == "fhir"


def test_answers_are_written_as_a_bundle_a_line_for_requests_and_tables_alike(tmp_path):
    rows = "subject,taken_at,systolic,diastolic,setting,technique.legs_crossed\n"
    rows += "".join(
        f"s-{person},2026-03-0{day}T07:00:00+01:00,12{day},78,home,true\n" for person in (1, 2) for day in (1, 2)
    )
    lines = [{"subject": {"id": f"s-{person}"}, "readings": [
        {"taken_at": f"2026-03-0{day}T07:00:00+01:00", "systolic": 120 + day, "diastolic": 78, "setting": "home",
         "technique": {"legs_crossed": True}} for day in (1, 2)]} for person in (1, 2)]  # fmt: skip
    (tmp_path / "rows.csv").write_text(rows, encoding="utf-8")
    (tmp_path / "lines.ndjson").write_text("".join(json.dumps(line) + "\n" for line in lines), encoding="utf-8")
    written = []
    for name in ("rows.csv", "lines.ndjson"):
        assess_in_process(str(tmp_path / name), "--to", "fhir", "--output", str(tmp_path / "out"))
        written.append((tmp_path / "out").read_text(encoding="utf-8"))
        (tmp_path / "out").unlink()
    assert sorted(written[0].splitlines()) == sorted(written[1].splitlines())  # tables have an order of their own
    for line in written[0].splitlines():
        Bundle.model_validate_json(line)
