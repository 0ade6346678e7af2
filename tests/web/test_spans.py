"""Spans of OpenTelemetry: of each request what was done and how long it took, and nothing that was sent.

Attributes, kinds and names by OpenTelemetry's semantic conventions for HTTP servers (stable since 1.23), from memory.
"""

import json
from contextlib import closing

import pytest
from click.testing import CliRunner
from opentelemetry.sdk.trace.export import SimpleSpanProcessor
from opentelemetry.sdk.trace.export.in_memory_span_exporter import InMemorySpanExporter
from opentelemetry.trace import SpanKind, StatusCode

from heartlevel.command.main import main
from heartlevel.web.application import create_app
from heartlevel.web.observing import spans as spans_module
from heartlevel.web.settings import WrongSettings
from load.collector import collecting
from load.server import served, until
from support import demo, rules, week

TRACE, PARENT = "4bf92f3577b34da6a3ce929d0e0e4736", "00f067aa0ba902b7"  # pragma: allowlist secret
MARKER = "zq7marker"


@pytest.fixture
def app():
    return create_app({"SPANS": True}, rules())


@pytest.fixture
def ended(app):
    """The spans that have ended since, the last one last."""
    memory = InMemorySpanExporter()
    app.extensions["heartlevel-tracing"].pass_to(SimpleSpanProcessor(memory))
    return memory.get_finished_spans


def test_a_request_is_a_span_with_its_parts(client, ended):
    response = client.post("/v1/assessments", json=week())
    receive, assess, whole = ended()
    assert [span.name for span in (receive, assess, whole)] == ["receive the body", "assess", "POST /v1/assessments"]
    assert whole.kind is SpanKind.SERVER and whole.parent is None and whole.status.status_code is StatusCode.UNSET
    told = {"http.request.method": "POST", "http.route": "/v1/assessments", "http.response.status_code": 200}
    assert whole.attributes == {**told, "heartlevel.rules": rules().ruleset.fingerprint}
    assert {span.parent.span_id for span in (receive, assess)} == {whole.context.span_id}
    times = [whole.start_time, receive.start_time, receive.end_time, assess.start_time, assess.end_time, whole.end_time]
    assert times == sorted(times)
    assert response.headers["traceparent"] == f"00-{whole.context.trace_id:032x}-{whole.context.span_id:016x}-01"


def test_a_span_lies_in_its_callers_and_has_the_ids_that_the_log_has(client, ended, caplog):
    caplog.set_level("INFO", "heartlevel")
    client.get("/v1/rules", headers={"traceparent": f"00-{TRACE}-{PARENT}-01"})
    (span,) = ended()
    assert (f"{span.context.trace_id:032x}", f"{span.parent.span_id:016x}") == (TRACE, PARENT)
    (record,) = caplog.records
    assert (record.fields["trace_id"], record.fields["span_id"]) == (TRACE, f"{span.context.span_id:016x}")


def test_a_caller_that_samples_nothing_gets_no_span_and_its_trace_back(client, ended):
    """The sampler of OpenTelemetry's own default goes by its parent."""
    response = client.get("/v1/rules", headers={"traceparent": f"00-{TRACE}-{PARENT}-00"})
    assert ended() == ()
    assert response.headers["traceparent"].startswith(f"00-{TRACE}-") and response.headers["traceparent"].endswith("-00")


def test_a_stream_is_a_span_that_ends_with_it(client, ended):
    body = "\n".join([json.dumps(demo()[0]), json.dumps({"subject": {}}), "no json"])
    response = client.post("/v1/assessments", data=body, content_type="application/x-ndjson")
    assert ended() == ()
    response.get_data()
    (span,) = ended()
    numbers = {name.rpartition(".")[2]: value for name, value in span.attributes.items() if ".stream." in name}
    assert numbers == {"lines": 3, "refused_lines": 2, "ended": "complete"}


def test_a_defect_is_marked_as_a_failure_without_its_text(app, client, ended, monkeypatch):
    def fail(*_):
        raise ValueError(MARKER)

    monkeypatch.setattr(app.extensions["heartlevel-together"], "answer", fail)
    assert client.post("/v1/assessments", json=week()).status_code == 500
    whole = ended()[-1]
    assert whole.status.status_code is StatusCode.ERROR and whole.attributes["error.type"] == "500"
    assert MARKER not in "".join(span.to_json() for span in ended())


def test_what_the_caller_did_wrong_is_no_failure(client, ended):
    client.post("/v1/assessments", json={"subject": {}})
    assert ended()[-1].status.status_code is StatusCode.UNSET
    assert ended()[-1].attributes["http.response.status_code"] == 422


@pytest.mark.parametrize("path", ["/v1/assessments", f"/{MARKER}", f"/v1/rules/{MARKER}"])
def test_no_part_of_a_request_is_in_any_span(client, ended, path):
    headers = {"X-Request-Id": MARKER, "tracestate": f"{MARKER}=1", "traceparent": f"00-{TRACE}-{PARENT}-01",
               "User-Agent": MARKER, "Authorization": f"Bearer {MARKER}", "baggage": f"{MARKER}=1"}  # fmt: skip
    subject = {**week(), "subject": {"id": MARKER}, MARKER: 1}
    for method, sent in (("POST", {"json": subject}), ("GET", {}), (MARKER.upper(), {}), ("POST", {"data": f"{{{MARKER}"})):
        client.open(path, method=method, headers=headers, query_string={MARKER: "1"}, **sent)
    assert len(ended()) >= 4 and MARKER not in "".join(span.to_json() for span in ended()).lower()


def test_probes_on_their_own_port_leave_no_spans(client, ended):
    client.get("/health", environ_base={"heartlevel.from_probes": True})
    assert ended() == ()


def test_without_the_extra_it_does_not_start_and_says_what_is_missing(monkeypatch):
    monkeypatch.setattr(spans_module, "find_spec", lambda name: None)
    with pytest.raises(WrongSettings, match="SPANS needs the extra `otel`"):
        create_app({"SPANS": True}, rules())
    done = CliRunner().invoke(main, ["serve", "--check"], env={"HEARTLEVEL_SPANS": "true"})
    assert done.exit_code == 1 and "needs the extra `otel`" in done.output


@pytest.fixture
def collector():
    with collecting() as running:
        yield running


def test_the_workers_of_a_server_send_their_spans_while_they_run_and_the_last_when_they_end(tmp_path, collector):
    def ask(server) -> None:
        with closing(server.connection()) as connection:
            connection.request("POST", "/v1/assessments", json.dumps(week()), {"Content-Type": "application/json"})
            assert connection.getresponse().status == 200

    def count() -> int:
        return sum(span.name == "POST /v1/assessments" for _, span in collector.spans())

    with served(tmp_path, OTEL_SERVICE_NAME="bp", **collector.settings()) as server:
        for _ in range(6):
            ask(server)
        until(lambda: count() == 6, server)
        ask(server)
        assert server.stop() == 0
    assert count() == 7
    names = {(pair.key, pair.value.string_value) for resource, _ in collector.spans() for pair in resource.attributes}
    assert ("service.name", "bp") in names


def test_a_collector_that_is_not_there_delays_nobody_and_is_told_in_the_services_own_format(tmp_path):
    environment = {"HEARTLEVEL_SPANS": "true", "OTEL_BSP_SCHEDULE_DELAY": "100", "OTEL_EXPORTER_OTLP_TIMEOUT": "1",
                   "OTEL_EXPORTER_OTLP_ENDPOINT": "http://127.0.0.1:9"}  # fmt: skip
    with served(tmp_path, workers=1, **environment) as server:
        assert server.get("/v1/rules")[0] == 200
        until(lambda: b"opentelemetry" in server.log.read_bytes(), server)
        assert server.get("/v1/rules")[0] == 200
        assert server.stop() == 0
    lines = [json.loads(line) for line in server.log.read_text().splitlines()]
    assert {"warning", "error"} & {line["level"] for line in lines if line["logger"].startswith("opentelemetry")}
