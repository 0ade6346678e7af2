"""How much of an answer is written: `options.detail`, through every door."""

import gzip
import json
import re
from pathlib import Path

import pytest
from fhir.resources.R4B.bundle import Bundle
from pyarrow import parquet

from exchange.resources import parameters, patient, pressure
from heartlevel.answer.detail import in_detail
from heartlevel.answer.whole import as_json
from heartlevel.fhir.call import bundle_for
from heartlevel.fhir.codes import codes_of
from heartlevel.vocabulary import DETAILS_WRITTEN
from heartlevel.web.application import create_app
from support import answer, as_ndjson, assess_in_process, demo, demo_answers, rules, week
from web.test_contract import validator

TITLES = {"conclusion": "ConclusionAnswer", "brief": "BriefAnswer", "full": "Answer"}
LESS = ("conclusion", "brief")


@pytest.fixture(scope="module")
def app():
    return create_app({"TESTING": False}, rules())


def asking(payload: dict, detail: str | None) -> dict:
    return {**payload, "options": {**payload.get("options", {}), "detail": detail}}


@pytest.mark.parametrize("detail", [None, "full"])
def test_without_a_word_all_of_it_is_written(detail):
    assert as_json(answer(asking(week(), detail))) == as_json(answer(week()))


@pytest.mark.parametrize("detail", LESS)
def test_every_level_is_as_described_and_is_told_from_the_others(detail):
    for whole in demo_answers():
        written = in_detail(whole, detail)
        assert [level for level, title in TITLES.items() if validator(title).is_valid(written)] == [detail]
        validator("AnswerAsAsked").validate(written)


@pytest.mark.parametrize("detail", LESS)
def test_every_level_has_what_is_urgent_the_problems_how_sure_and_the_cautions(detail):
    for whole in demo_answers():
        written = in_detail(whole, detail)
        for name in ("subject", "urgent", "problems", "cautions"):
            assert written[name] == whole[name]
        assert written["urgency"]["level"] == whole["urgency"]["level"]
        for reader in ("clinician", "patient"):
            assert written["conclusion"][reader] == whole["conclusion"][reader]
        for name in ("category", "reason", "sureness", "certainty", "no_probability"):
            assert written["classification"].get(name) == whole["classification"].get(name)
        assert written["pattern"]["sureness"] == whole["pattern"]["sureness"]
        assert written["made_with"]["rules"]["fingerprint"] == whole["made_with"]["rules"]["fingerprint"]


def test_words_of_what_is_urgent_stand_first_in_the_conclusion_that_is_written_alone():
    urgent = [whole for whole in demo_answers() if whole["urgent"]]
    assert urgent
    for whole in urgent:
        assert whole["urgency"]["text"] in in_detail(whole, "conclusion")["conclusion"]["clinician"][0]


def test_details_that_were_not_recorded_are_named_once_for_each_share():
    for whole in demo_answers():
        together = in_detail(whole, "brief")["undocumented"]
        assert len({entry["share"] for entry in together}) == len(together)
        apart = [{"item": item, "share": entry["share"]} for entry in together for item in entry["items"]]
        assert sorted(apart, key=str) == sorted(whole["undocumented"], key=str)


def test_the_page_for_integrators_tells_the_sizes_that_answers_have():
    page = (Path(__file__).parents[2] / "service" / "INTEGRATING.md").read_text("utf-8")
    for detail in DETAILS_WRITTEN:
        (told,) = re.findall(rf"^\| `{detail}`.* \| ([\d.]+) kB", page, re.MULTILINE)
        assert round(len(as_json(answer(asking(week(), detail)))) / 1000, 1) == float(told)


def test_the_page_tells_what_takes_the_room_of_a_conclusion():
    page = " ".join((Path(__file__).parents[2] / "service" / "INTEGRATING.md").read_text("utf-8").split())
    alone = answer(asking(week(), "conclusion"))
    size = {name: len(as_json({name: part})) - len("{}") for name, part in alone.items()}
    cautions, sentences, names = (size[name] for name in ("cautions", "conclusion", "made_with"))
    rest = len(as_json(alone)) - cautions - sentences - names
    told = re.search(
        r"cautions take ([\d.]+), the sentences ([\d.]+), the rules' names ([\d.]+) and all else ([\d.]+)", page
    )
    assert [float(part) for part in told.groups()] == [round(part / 1000, 2) for part in (cautions, sentences, names, rest)]
    assert f"it comes as {len(gzip.compress(as_json(alone), 6)) / 1000:.1f} kB" in page


def test_a_week_is_a_ninth_and_a_third_as_long():
    lengths = {detail: len(as_json(answer(asking(week(), detail)))) for detail in DETAILS_WRITTEN}
    cautions = len(json.dumps(answer(week())["cautions"]))
    assert lengths["conclusion"] - cautions < 1100  # 28 readings: 1.1 kB beside the cautions
    assert lengths["conclusion"] < lengths["brief"] / 2 < lengths["full"] / 6


@pytest.mark.parametrize("detail", LESS)
def test_http_and_lines_write_what_is_asked(client, detail):
    payload = asking(demo()[0], detail)
    alone = client.post("/v1/assessments", json=payload).get_json()
    assert alone == in_detail(demo_answers()[0], detail) == answer(payload)
    lines = client.post("/v1/assessments", data=as_ndjson([payload, demo()[0]]), content_type="application/x-ndjson")
    assert [json.loads(line) for line in lines.data.splitlines()] == [alone, demo_answers()[0]]


@pytest.mark.parametrize("detail", LESS)
def test_files_write_what_is_asked(tmp_path, detail):
    path, output = tmp_path / "sent.ndjson", tmp_path / "answers.parquet"
    path.write_bytes(as_ndjson([asking(demo()[0], detail)]))
    expected = in_detail(demo_answers()[0], detail)
    assert json.loads(assess_in_process(path, "--to", "ndjson").stdout) == expected
    assert assess_in_process(path, "--output", output).exit_code in (0, 10, 20, 30)
    (row,) = parquet.read_table(output).to_pylist()
    assert (json.loads(row["answer"]), row["readings"]) == (expected, len(demo_answers()[0]["readings"]))


@pytest.mark.parametrize("detail", LESS)
def test_an_answer_to_resources_as_json_is_as_asked_with_problems_by_fhirpath(client, detail):
    sent = parameters(patient(), pressure("o-1"), pressure("o-2", "x", day=2), detail=("Code", detail))
    response = client.post("/v1/fhir/assessments", json=sent, headers={"Accept": "application/json"})
    validator("FhirAnswers").validate(response.get_json())
    (written,) = response.get_json()["answers"]
    assert written["detail"] == detail
    assert written["problems"][0]["places"][0].startswith("Parameters.parameter[0].resource.entry[2]")


KINDS = {
    "full": {"Observation", "Device", "DetectedIssue"}, "brief": {"Observation", "DetectedIssue", "Device"},
    "conclusion": {"Device"},
}  # fmt: skip


@pytest.mark.parametrize("detail", DETAILS_WRITTEN)
def test_a_bundle_has_less_in_it_too_and_says_so(detail):
    for number in (0, 10, 24):
        bundle, whole = bundle_for(asking(demo()[number], detail), rules(), codes_of(), recorded="2026-03-09T07:00:00Z")
        Bundle.model_validate(bundle)
        resources = [entry["resource"] for entry in bundle["entry"]]
        addresses = {entry["fullUrl"] for entry in bundle["entry"]}
        references = json.dumps(resources).split('"reference": "')[1:]
        assert {text.partition('"')[0] for text in references} <= addresses
        kinds = {resource["resourceType"] for resource in resources}
        always = {"Patient", "DiagnosticReport", "Communication", "Provenance", "OperationOutcome", "Condition"}
        assert kinds - always <= KINDS[detail]
        readings = [one for one in resources if one["resourceType"] == "Observation" and "effectiveDateTime" in one]
        assert len(readings) == (len(whole["readings"]) if detail == "full" else 0)
        (report,) = (one for one in resources if one["resourceType"] == "DiagnosticReport")
        assert report["conclusion"] == " ".join(whole["conclusion"]["clinician"])
        assert ("`detail` is" in json.dumps(bundle)) == (detail != "full")
        priorities = {one.get("priority") for one in resources if one["resourceType"] == "Communication"}
        assert bool(priorities - {"routine"}) == (
            whole["urgency"]["level"] in ("now", "same-day", "cannot-be-told", "within-days")
        )


def test_a_level_that_is_none_is_refused_with_those_there_are(client):
    response = client.post("/v1/assessments", json=asking(week(), "briefly"))
    (problem,) = response.get_json()["problems"]
    assert (response.status_code, problem["pointer"], problem["hint"]) == (422, "/options/detail", "did you mean 'brief'?")
