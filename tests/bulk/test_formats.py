"""A format is one entry: its endings, its content, what --from and the help call it, and where its faults stand."""

import json
from pathlib import Path

import pytest
from fhir.resources.R4B.bundle import Bundle

from exchange.resources import bundle, patient, pressure
from heartlevel.bulk.inputs.input import RequestFormat
from heartlevel.bulk.inputs.registry import ENDINGS, INPUT_FORMATS, format_by_content, format_of
from heartlevel.bulk.outputs.registry import OUTPUT_FORMATS, output_format
from heartlevel.fhir.call import fhir_answers
from heartlevel.fhir.codes import codes_of
from heartlevel.fhir.issues import WARNING
from heartlevel.intake.decoding import Decoded, Undecodable
from heartlevel.intake.texts.json_text import parsed_json
from support import assess_in_process, rules


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


def problems_of(folder: Path, name: str, *texts: str) -> list[dict]:
    (folder / name).write_text("".join(text + "\n" for text in texts), encoding="utf-8")
    assess_in_process(str(folder / name), "--output", str(folder / "out"), "--problems", str(folder / "problems"))
    (folder / "out").unlink()
    return [json.loads(line) for line in (folder / "problems").read_text(encoding="utf-8").splitlines()]


def test_what_the_service_warns_of_in_a_bundle_is_told_of_one_in_a_file_too(tmp_path):
    """HL7 v3 ObservationInterpretation: HH is critically high."""
    critical = {"coding": [{"system": "http://terminology.hl7.org/CodeSystem/v3-ObservationInterpretation", "code": "HH"}]}
    sent = bundle(patient("a"), pressure("1", subject={"reference": "Patient/a"}, interpretation=[critical]),
                  pressure("2", subject={"reference": "Patient/a"}, status="entered-in-error"))  # fmt: skip
    text = json.dumps(sent)
    twice = text.replace('"id": "a"', '"id": "a", "active": true, "active": true', 1)
    costly = text.replace('"value": 128', '"value": 128, "value": 150', 1)
    assert len({text, twice, costly}) == 3
    for body in (text, twice, costly):
        issues = fhir_answers(parsed_json(body.encode()), rules(), codes_of()).issues
        warned = [issue for issue in issues if issue.severity == WARNING and issue.code is None]
        told = [problem for problem in problems_of(tmp_path, "people.fhir", body) if problem["code"].startswith("fhir-")]
        expected = [(f"fhir-{issue.type}", f"{issue.expression}: {issue.text}") for issue in warned]
        assert [(problem["code"], problem["detail"]) for problem in told] == expected and len(told) >= 2
        assert {problem["line"] for problem in told} == {1}


def test_a_bundle_about_nobody_and_what_is_no_bundle_are_told_with_how_urgent_they_are(tmp_path):
    severe = json.dumps(pressure("2", 225, 130, subject={"reference": "Patient/b"}))
    problems = problems_of(tmp_path, "people.fhir", json.dumps(bundle()), severe)
    assert [(problem["line"], problem["code"]) for problem in problems] == [(1, "nobody"), (2, "not-fhir")]
    assert [problem["urgency"] for problem in problems] == ["none", "same-day"]


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
