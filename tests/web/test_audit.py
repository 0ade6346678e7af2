"""The audit log: who asked what kind of thing by which rules, and what came of it; nothing that was sent."""

import json
import logging
from datetime import datetime
from pathlib import Path

import pytest
from click.testing import CliRunner

from heartlevel.command.main import main
from heartlevel.decisions.lines import KeptLines, LinesNotKept
from heartlevel.web.application import create_app
from support import demo, rules, week

NAMES = {"time", "request", "trace", "caller", "asked", "method", "route", "fingerprint", "status", "outcome"}


@pytest.fixture
def kept(tmp_path):
    return tmp_path / "audit.ndjson"


@pytest.fixture
def key(tmp_path):
    made = CliRunner().invoke(main, ["keys", "new", "--file", str(tmp_path / "keys.json"), "--scope", "assess"])
    return made.output.strip()


@pytest.fixture
def app(kept, key, tmp_path):
    return create_app({"AUDIT": str(kept), "KEYS": tmp_path / "keys.json"}, rules())


def entries(path) -> list[dict]:
    return [json.loads(line) for line in path.read_text().splitlines()]


def test_what_was_asked_is_kept_with_the_keys_id_and_never_the_key(client, kept, key):
    headers = {"Authorization": f"Bearer {key}", "X-Request-Id": "r-9"}
    client.post("/v1/assessments", json=week(), headers=headers)
    (entry,) = entries(kept)
    assert entry.keys() == NAMES and datetime.fromisoformat(entry["time"]).tzinfo is not None
    _, identity, secret = key.split("_", 2)
    told = {name: entry[name] for name in NAMES - {"time", "trace"}}
    assert told == {"request": "r-9", "caller": f"key:{identity}", "asked": "assess", "method": "POST",
                    "route": "/v1/assessments", "status": 200, "fingerprint": rules().ruleset.fingerprint,
                    "outcome": "answered"}  # fmt: skip
    assert secret not in kept.read_text() and week()["subject"]["id"] not in kept.read_text()
    assert kept.stat().st_mode & 0o077 == 0


@pytest.mark.parametrize(
    ("method", "path", "body", "asked", "status", "outcome"),
    [("POST", "/v1/assessments", {"subject": {}}, "assess", 422, "refused"),
     ("GET", "/v1/rules", None, "rules-read", 403, "denied"),
     ("POST", "/v1/rules/trial", {}, "rules-trial", 403, "denied"), ("GET", "/metrics", None, "metrics", 403, "denied")],
)  # fmt: skip
def test_what_came_of_it_is_kept(client, kept, key, method, path, body, asked, status, outcome):
    client.open(path, method=method, json=body, headers={"Authorization": f"Bearer {key}"})
    (entry,) = entries(kept)
    assert (entry["asked"], entry["status"], entry["outcome"]) == (asked, status, outcome)


def test_who_is_not_known_is_kept_as_unknown_and_their_credential_nowhere(client, kept):
    client.post("/v1/assessments", json=week(), headers={"Authorization": "Bearer hl_deadbeef_marker7"})
    (entry,) = entries(kept)
    assert (entry["caller"], entry["outcome"], entry["fingerprint"]) == ("unknown", "denied", None)
    assert "marker7" not in kept.read_text() and "deadbeef" not in kept.read_text()


def test_what_is_open_to_all_is_not_kept(client, kept):
    for path in ("/health", "/ready", "/v1/openapi.json", "/nothing"):
        client.get(path)
    assert entries(kept) == []


def test_a_stream_is_kept_once_when_it_is_over(client, kept, key):
    body, headers = "\n".join(map(json.dumps, demo()[:3])), {"Authorization": f"Bearer {key}"}
    for read_to_the_end in (True, False):
        response = client.post("/v1/assessments", data=body, content_type="application/x-ndjson", headers=headers)
        if read_to_the_end:
            response.get_data()
        else:
            next(response.response)
        response.close()
    assert [entry["outcome"] for entry in entries(kept)] == ["answered", "client-left"]


def test_nothing_of_a_decision_is_kept_twice(kept, tmp_path):
    decisions = tmp_path / "decisions.ndjson"
    client = create_app({"AUDIT": str(kept), "DECISIONS": str(decisions)}, rules()).test_client()
    client.post("/v1/assessments", json=week())
    (entry,), (decision,) = entries(kept), entries(decisions)
    assert entry.keys() & decision.keys() == {"time", "request", "fingerprint"} and entry["request"] == decision["request"]


def test_standard_output_can_be_where_it_is_kept(capfd):
    create_app({"AUDIT": "-"}, rules()).test_client().get("/v1/rules")
    assert json.loads(capfd.readouterr().out)["route"] == "/v1/rules"


def test_a_service_that_cannot_keep_it_does_not_start(tmp_path):
    with pytest.raises(LinesNotKept, match="lines of the audit log cannot be kept in"):
        create_app({"AUDIT": str(tmp_path / "none" / "audit")}, rules())


def test_what_cannot_be_kept_is_counted_and_said_once(caplog):
    """Of /dev/full every write fails, as on a full disk."""
    lost: list[int] = []
    lines = KeptLines(Path("/dev/full"), "lines of the audit log", lost.append)
    with caplog.at_level(logging.ERROR):
        lines.write(b"{}\n", 1)
        lines.write(b"{}\n", 1)
    assert (lost, len(caplog.records)) == ([1, 1], 1)
