"""What /metrics counts: each thing once, by few labels, of all workers, also of those that are gone."""

import json
import os
import subprocess
import sys
from collections import Counter

import pytest
from prometheus_client.parser import text_string_to_metric_families

from heartlevel.web.application import create_app
from heartlevel.web.observing.counters import RULES
from support import demo, rules, week


@pytest.fixture(scope="module")
def app():
    return create_app({}, rules())


@pytest.fixture
def counted(client):
    """Return what was counted since the first call, by name and labels."""
    before = _samples(client.get("/metrics").text)
    return lambda: _samples(client.get("/metrics").text) - before


def _samples(text: str) -> Counter:
    families = text_string_to_metric_families(text)
    samples = [sample for family in families for sample in family.samples]
    return Counter(
        {(sample.name, *(value for _, value in sorted(sample.labels.items()))): sample.value for sample in samples}
    )


def test_an_answer_is_counted_by_what_it_held(client, counted):
    sent = week()
    sent["readings"][0] = {**sent["readings"][0], "shoes": 1}
    answer = client.post("/v1/assessments", json=sent).get_json()
    now = counted()
    assert now["heartlevel_requests_total", "/v1/assessments", "200"] == 1
    assert now["heartlevel_request_seconds_count", "/v1/assessments"] == 1
    assert now["heartlevel_readings_received_total",] == answer["counts"]["received"]
    assert now["heartlevel_readings_total",] == answer["counts"]["assessed"]
    given = Counter(finding["rule"] for finding in answer["findings"])
    assert {key[1]: value for key, value in now.items() if key[0] == "heartlevel_findings_total"} == given
    faults = Counter(fault["code"] for fault in answer["problems"])
    assert {key[1]: value for key, value in now.items() if key[0] == "heartlevel_problems_total"} == faults != {}


@pytest.mark.parametrize(
    ("method", "path", "sent", "kind"),
    [("POST", "/v1/assessments", {"json": {"subject": {}}}, "refused"),
     ("POST", "/v1/assessments", {"data": "{"}, "other-media-type"),
     ("GET", "/nothing", {}, "not-found"), ("PUT", "/health", {}, "method-not-allowed")],
)  # fmt: skip
def test_an_answer_that_is_a_problem_is_counted_by_its_kind(client, counted, method, path, sent, kind):
    answer = client.open(path, method=method, **sent)
    now = counted()
    assert now["heartlevel_problem_answers_total", kind] == 1
    codes = Counter(fault["code"] for fault in answer.get_json().get("problems", []))
    assert {key[1]: value for key, value in now.items() if key[0] == "heartlevel_problems_total"} == codes


def test_lines_of_streams_and_why_a_stream_ended_are_counted(client, counted):
    body = "\n".join([json.dumps(demo()[0]), json.dumps({"subject": {}}), "no json"])
    client.post("/v1/assessments", data=body, content_type="application/x-ndjson").get_data()
    now = counted()
    assert (now["heartlevel_stream_lines_total", "answered"], now["heartlevel_stream_lines_total", "refused"]) == (1, 2)
    assert now["heartlevel_streams_total", "complete"] == 1
    assert now["heartlevel_request_seconds_count", "/v1/assessments"] == 0  # how long it is, is up to the client


def test_what_is_in_hand_is_told_beside_the_most_and_goes_back_to_nothing(app, client):
    def in_hand(kind: str) -> float:
        return _samples(client.get("/metrics").text)["heartlevel_in_hand", kind]

    capacity = app.extensions["heartlevel-capacity"]
    capacity.take_bytes(5)
    with capacity.of_request():
        assert (in_hand("requests"), in_hand("bytes"), in_hand("streams")) == (1, 5, 0)
    capacity.take_bytes(-5)
    response = client.post("/v1/assessments", data=json.dumps(demo()[0]), content_type="application/x-ndjson")
    assert in_hand("streams") == 1
    response.close()
    assert (in_hand("requests"), in_hand("bytes"), in_hand("streams")) == (0, 0, 0)
    most = _samples(client.get("/metrics").text)
    assert [most["heartlevel_in_hand_most", kind] for kind in ("requests", "streams")] == [256, 8]


def test_the_rules_in_force_are_named_and_no_others():
    RULES.clear()  # of this process: applications of other tests told of rules of theirs
    ruleset, client = rules().ruleset, create_app({}, rules()).test_client()
    rules_told = [key[1:] for key in _samples(client.get("/metrics").text) if key[0] == "heartlevel_rules_info"]
    assert rules_told == [(ruleset.fingerprint, "", str(ruleset.revision))]


WORKERS = """
import os
from heartlevel.web.observing.counters import REQUESTS, SECONDS, RULES
from heartlevel.web.observing.exposition import _every_metric, forget_worker

def total(name):
    return sum(sample.value for metric in _every_metric() for sample in metric.samples if sample.name == name)

for number in range(3):
    pid = os.fork()
    if pid == 0:
        REQUESTS.labels("/health", 200).inc(2)
        SECONDS.labels("/health").observe(0.2)
        RULES.labels("1", "f", "").set(1)
        os._exit(0)
    os.waitpid(pid, 0)
    before = total("heartlevel_requests_total"), total("heartlevel_request_seconds_count"), total("heartlevel_rules_info")
    forget_worker(pid)
    after = total("heartlevel_requests_total"), total("heartlevel_request_seconds_count"), total("heartlevel_rules_info")
    assert before == (2 * number + 2, number + 1, 1), before
    assert after == (2 * number + 2, number + 1, 0), after
    assert not [name for name in os.listdir(os.environ["PROMETHEUS_MULTIPROC_DIR"]) if name.endswith(f"_{pid}.db")]
"""


def test_what_workers_counted_stays_when_they_are_gone_and_their_files_do_not(tmp_path):
    environment = {**os.environ, "PROMETHEUS_MULTIPROC_DIR": str(tmp_path)}
    subprocess.run([sys.executable, "-c", WORKERS], env=environment, check=True)
    assert {path.name for path in tmp_path.glob("*_0.db")} == {"counter_0.db", "histogram_0.db"}
