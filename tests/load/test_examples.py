"""The examples for integrators, run as they stand against the real server."""

import importlib.util
import json
import shutil
import subprocess
import sys
from pathlib import Path
from threading import Event

import pytest

from load.server import served
from support import answer, as_ndjson, demo, rules, week

EXAMPLES = Path(__file__).parents[2] / "service" / "examples"
COMMANDS = {"assess.sh": ["sh"], "assess.py": [sys.executable], "assess.mjs": ["node"]}


@pytest.fixture(scope="module")
def address(tmp_path_factory):
    with served(tmp_path_factory.mktemp("examples"), workers=1) as running:
        yield f"http://127.0.0.1:{running.port}"


@pytest.fixture(scope="module")
def client():
    spec = importlib.util.spec_from_file_location("example_of_a_client", EXAMPLES / "assess.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_every_example_is_run_here():
    assert {path.name for path in EXAMPLES.iterdir() if path.is_file()} == set(COMMANDS)


@pytest.mark.parametrize("name", COMMANDS)
def test_an_example_gets_the_answers_of_the_service(address, tmp_path, name):
    request, people = tmp_path / "request.json", tmp_path / "people.ndjson"
    request.write_text(json.dumps(week()))
    people.write_bytes(as_ndjson([*demo()[:3], {"readings": 1}]))
    command = [shutil.which(COMMANDS[name][0]) or COMMANDS[name][0], EXAMPLES / name, address, request, people]
    run = subprocess.run(command, capture_output=True, timeout=120)
    assert (run.returncode, run.stderr) == (0, b"")
    first, pinned, *others, refused = [json.loads(line) for line in run.stdout.splitlines() if line]
    assert first == pinned == answer(week())
    assert others == [answer(payload) for payload in demo()[:3]]
    assert (refused["line"], {fault["pointer"] for fault in refused["problems"]}) == (4, {"/readings", "/subject"})


def test_requests_are_sent_while_answers_are_read(address, client):
    answered, count = Event(), 300

    def requests():
        yield from (week() for _ in range(count))
        assert answered.wait(60)  # the first answer comes before the last request is sent
        yield from (week() for _ in range(10))

    received = 0
    for line in client.Service(address).assess_all(requests()):
        answered.set()
        received += line["subject"]["id"] == "s-1"
    assert received == count + 10


def test_rules_that_are_not_in_force_are_refused_with_those_that_are(address, client):
    with pytest.raises(client.Refused) as refused:
        client.Service(address).assess(week(), '"sha256:0"')
    assert refused.value.status == 412 and rules().ruleset.fingerprint in refused.value.problem["detail"]


def test_a_refused_request_is_not_sent_again_and_says_why(address, client, monkeypatch):
    monkeypatch.setattr(client.time, "sleep", lambda seconds: pytest.fail("it was sent again"))
    with pytest.raises(client.Refused) as refused:
        client.Service(address).assess({"readings": []})
    assert [fault["pointer"] for fault in refused.value.problem["problems"]] == ["/subject"]


def test_a_service_that_does_not_answer_is_asked_again(client, monkeypatch):
    waited = []
    monkeypatch.setattr(client.time, "sleep", waited.append)
    with pytest.raises(OSError, match="refused"):
        client.Service("http://127.0.0.1:9").assess(week())
    assert waited == [1.0, 2.0, 4.0]
