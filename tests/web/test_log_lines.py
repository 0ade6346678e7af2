"""What is logged: one format for the service and gunicorn, ids of requests and traces, nothing that a request held."""

import json
import logging
import subprocess
import sys
from types import SimpleNamespace

import pytest
from gunicorn.config import Config
from hypothesis import given
from hypothesis import strategies as st

from heartlevel.web.application import create_app
from heartlevel.web.observing.logs import JsonLines, WithoutData
from heartlevel.web.observing.trace_context import trace_context
from support import demo, rules, week

# W3C Trace Context, 3.2.4
TRACE, PARENT = "4bf92f3577b34da6a3ce929d0e0e4736", "00f067aa0ba902b7"  # pragma: allowlist secret
TRACEPARENT = f"00-{TRACE}-{PARENT}-01"
MARKER = "zq7marker"


@pytest.fixture(scope="module")
def app():
    return create_app({}, rules())


@pytest.fixture
def lines(caplog):
    """What was logged, as it is written."""
    caplog.set_level(logging.INFO, "heartlevel")
    return lambda: [json.loads(JsonLines().format(record)) for record in caplog.records]


def streamed(client, *sent, **more):
    body = "\n".join(one if isinstance(one, str) else json.dumps(one) for one in sent)
    return client.post("/v1/assessments", data=body, content_type="application/x-ndjson", **more)


def test_a_request_leaves_one_line_with_its_ids_and_what_came_of_it(client, lines):
    headers = {"X-Request-Id": "r-1", "traceparent": TRACEPARENT, "tracestate": "vendor=1,other@here=x"}
    response = client.post("/v1/assessments", json=week(), headers=headers)
    (line,) = lines()
    told = {name: line[name] for name in ("request_id", "trace_id", "method", "route", "status", "level", "logger")}
    assert told == {"request_id": "r-1", "trace_id": TRACE, "method": "POST", "route": "/v1/assessments", "status": 200,
                    "level": "info", "logger": "heartlevel"}  # fmt: skip
    assert line["duration_ms"] > 0 and line["time"].endswith("+00:00")
    assert response.headers["traceparent"] == f"00-{TRACE}-{line['span_id']}-01" and line["span_id"] != PARENT
    assert response.headers["tracestate"] == "vendor=1,other@here=x"


@pytest.mark.parametrize(
    "sent",
    ["", MARKER, TRACEPARENT.upper(), TRACEPARENT + "-00", "ff" + TRACEPARENT[2:], f"00-{'0' * 32}-{PARENT}-01",
     f"00-{TRACE}-{'0' * 16}-01", f"00-{TRACE}-{PARENT}", f"00-{TRACE[:-1]}-{PARENT}-01", f"{TRACEPARENT},{TRACEPARENT}"],
)  # fmt: skip
def test_a_malformed_traceparent_is_replaced_and_its_state_dropped(client, lines, sent):
    """W3C Trace Context, 3.2.2 and 4.3: then a new trace is begun, and tracestate is not to be used."""
    response = client.get("/health", headers={"traceparent": sent, "tracestate": "vendor=1"})
    context = trace_context(response.headers["traceparent"], None)
    (line,) = lines()
    assert context.parent_id == line["span_id"] and context.trace_id == line["trace_id"] != TRACE
    assert "tracestate" not in response.headers and MARKER not in json.dumps(line)


def test_a_version_to_come_is_read_as_far_as_it_is_known():
    """W3C Trace Context, 3.2.4 (versioning): the first four fields are those of version 00."""
    assert trace_context(f"cc-{TRACE}-{PARENT}-03-what.comes", None).traceparent.startswith(f"00-{TRACE}-")
    assert trace_context(f"cc-{TRACE}-{PARENT}-03x", None).trace_id != TRACE


@pytest.mark.parametrize(
    ("state", "is_kept"),
    [("rojo=00f067aa0ba902b7,congo=t61rcWkgMzE", True), ("a=1, b=2", True), ("a=1,,b=2", True), ("1tenant@sys=x", True),
     ("a=1,a=2", False), ("A=1", False), ("a", False), ("a=", False), ("a=x=y", False), ("a=\x7f", False), ("@s=1", False),
     (",".join(f"k{number}=1" for number in range(33)), False), ("", False), (" ", False), ("a=" + "x" * 257, False)],
)  # fmt: skip
def test_a_tracestate_is_passed_on_whole_or_not_at_all(state, is_kept):
    """By the grammar of W3C Trace Context, 3.3.1."""
    assert trace_context(TRACEPARENT, state).state == (state if is_kept else "")


@given(st.text(max_size=80), st.text(max_size=80))
def test_whatever_is_sent_leads_to_a_well_formed_context(traceparent, tracestate):
    context = trace_context(traceparent, tracestate)
    assert trace_context(context.traceparent, None).trace_id == context.trace_id


def test_a_stream_is_logged_once_when_it_is_over(client, lines):
    response = streamed(client, demo()[0], {"subject": {}}, "no json", demo()[1])
    assert lines() == []
    assert len(response.get_data().splitlines()) == 4
    response.close()
    (line,) = lines()
    assert (line["lines"], line["refused_lines"], line["ended"], line["status"]) == (4, 2, "complete", 200)
    assert line["duration_ms"] > 0 and line["request_id"] == response.headers["X-Request-Id"]


def test_a_client_that_leaves_a_stream_is_told_of_once_and_at_info(client, lines):
    response = streamed(client, *demo()[:3])
    next(response.response)
    response.close()
    (line,) = lines()
    assert (line["ended"], line["level"]) == ("client-left", "info")


def test_a_stream_that_is_ended_says_why(app, lines):
    app.extensions["heartlevel-stopping"] = lambda: True
    try:
        streamed(app.test_client(), demo()[0]).get_data()
    finally:
        app.extensions["heartlevel-stopping"] = lambda: False
    (line,) = lines()
    assert (line["ended"], line["lines"]) == ("stopping", 0)


def test_an_exception_is_logged_with_kind_and_place_and_without_its_text():
    try:
        raise ValueError(MARKER)
    except ValueError as error:
        record = logging.LogRecord("x", logging.ERROR, "", 1, "it failed", (), (type(error), error, None))
    line = json.loads(JsonLines().format(record))
    assert line["error"].startswith(f"ValueError at {__file__}:") and MARKER not in json.dumps(line)


def test_a_name_of_a_file_that_is_no_text_can_be_logged():
    line = json.loads(JsonLines().format(logging.LogRecord("x", logging.INFO, "", 1, "%s", ("a\udcff",), None)))
    assert line["message"] == r"a\udcff"


@pytest.fixture
def gunicorns(caplog):
    """gunicorn's log, as any handler of it sees it, and as it is written."""
    log = WithoutData(Config())
    log.error_log.addHandler(caplog.handler)
    yield log
    log.error_log.removeHandler(caplog.handler)


def from_module(name: str, log: WithoutData, *message: object) -> None:
    """Log as a module of that name does."""
    exec("log.warning(*message)", {"__name__": name, "log": log, "message": message})


def test_gunicorns_workers_quote_nothing_and_say_where_it_happened(gunicorns, caplog):
    from_module("gunicorn.workers.base", gunicorns, "Invalid request from ip=%s: %s", "10.0.0.1", MARKER)
    from_module("gunicorn.http.wsgi", gunicorns, f"Invalid HTTP method: {MARKER!r}")
    first, second = (json.loads(JsonLines().format(record)) for record in caplog.records)
    assert (first["message"], first["level"]) == ("gunicorn has something to say at gunicorn.workers.base:1", "warning")
    assert "gunicorn.http.wsgi:1" in second["message"] and MARKER not in caplog.text


def test_gunicorn_says_of_its_processes_what_it_always_said(gunicorns, caplog):
    from_module("gunicorn.arbiter", gunicorns, "Booting worker with pid: %s", 7)
    from_module("gunicorn.arbiter", gunicorns, "Exception during worker exit:\n%s", f"ValueError: {MARKER}")
    assert [record.getMessage() for record in caplog.records] == [
        "Booting worker with pid: 7",
        "Exception during worker exit:",
    ]


def test_gunicorns_own_line_for_a_request_is_never_written(gunicorns, caplog):
    config = Config()
    config.set("accesslog", "-")
    gunicorns.setup(config)
    caplog.clear()
    environ = {"REQUEST_METHOD": MARKER, "RAW_URI": MARKER, "SERVER_PROTOCOL": MARKER}
    gunicorns.access(SimpleNamespace(status="200", headers=[]), SimpleNamespace(headers=[]), environ, None)
    assert caplog.records == []


@pytest.mark.parametrize("path", ["/v1/assessments", f"/{MARKER}", f"/v1/rules/{MARKER}"])
def test_no_part_of_a_request_is_in_any_line(client, caplog, lines, path):
    headers = {"X-Request-Id": f"{MARKER} !", "traceparent": MARKER, "tracestate": f"{MARKER}=1", "User-Agent": MARKER,
               "Authorization": f"Bearer {MARKER}", "If-Match": f'"{MARKER}"', f"X-{MARKER}": "1"}  # fmt: skip
    subject = {**week(), "subject": {"id": MARKER}, MARKER: 1}
    for method, sent in (("POST", {"json": subject}), ("GET", {}), (MARKER.upper(), {}), ("POST", {"data": f"{{{MARKER}"})):
        client.open(path, method=method, headers=headers, query_string={MARKER: "1"}, **sent)
    assert len(lines()) >= 4 and MARKER not in json.dumps(lines()).lower() and MARKER not in caplog.text.lower()


LIBRARY = """
import logging, warnings
from heartlevel.web.observing.logs import write_logs

write_logs()
write_logs()
logging.getLogger("some.library").warning("cannot read %s", "zq7marker")
logging.getLogger("some.library").info("zq7marker")
warnings.warn("zq7marker", RuntimeWarning)
logging.getLogger("heartlevel").info("ours")
"""


def test_what_libraries_warn_of_is_told_in_the_same_format_by_its_place_alone():
    done = subprocess.run([sys.executable, "-c", LIBRARY], capture_output=True, text=True, check=True)
    told = [(line["level"], line["message"]) for line in map(json.loads, done.stderr.splitlines())]
    assert told == [
        ("warning", "some.library has something to say at __main__:7"),
        ("warning", "py.warnings has something to say at __main__:9"),
        ("info", "ours"),
    ]
