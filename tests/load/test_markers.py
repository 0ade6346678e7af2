"""Nothing of a request is in anything that a real server writes: markers are planted at every door, and looked for."""

import gzip
import json
import socket
import struct
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing, suppress
from datetime import UTC, datetime, timedelta
from http.client import HTTPException
from itertools import cycle
from pathlib import Path

import jwt
import pytest
from click.testing import CliRunner
from cryptography.hazmat.primitives.asymmetric import ec

from heartlevel.command.main import main
from heartlevel.web.access.scopes import SCOPES
from heartlevel.web.application import create_app
from load.collector import Collector, collecting
from load.marked import ACCEPTED, HEADERS, JSON, KINDS, MARKER, MARKS, bodies, documents, raw, table, understood
from load.server import Server, get, served, until
from support import assess_in_process, rules

ISSUER, CLIENT, AUDIENCE = "https://login.example", "https://records.example", "heartlevel"
PRIVATE = ec.generate_private_key(ec.SECP384R1())


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    return tmp_path_factory.mktemp("marked")


@pytest.fixture(scope="module")
def collector() -> Iterator[Collector]:
    with collecting() as running:
        yield running


@pytest.fixture(scope="module")
def key(folder) -> str:
    scopes = [word for scope in SCOPES for word in ("--scope", scope)]
    return CliRunner().invoke(main, ["keys", "new", "--file", str(folder / "keys.json"), *scopes]).output.strip()


@pytest.fixture(scope="module")
def server(folder, key, collector) -> Iterator[Server]:
    """A server that writes all that it can write."""
    public = {
        **json.loads(jwt.algorithms.ECAlgorithm.to_jwk(PRIVATE.public_key())),
        "kid": "k",
        "use": "sig",
        "alg": "ES384",
    }
    (folder / "jwks.json").write_text(json.dumps({"keys": [public]}))
    (folder / "trust.json").write_text(json.dumps({"audience": AUDIENCE, "issuers": {CLIENT: {"keys": [public]}}}))
    environment = {
        "KEYS": folder / "keys.json", "JWKS": folder / "jwks.json", "JWT_ISSUER": ISSUER, "JWT_AUDIENCE": AUDIENCE,
        "CDS_TRUST": folder / "trust.json", "AUDIT": folder / "audit", "DECISIONS": folder / "decisions",
    }  # fmt: skip
    settings = {f"HEARTLEVEL_{name}": str(value) for name, value in environment.items()}
    with served(folder, probes=True, **settings, **collector.settings()) as running:
        yield running


def signed(**more: object) -> str:
    now = datetime.now(UTC)
    claims = {
        "iss": CLIENT,
        "aud": AUDIENCE,
        "iat": now,
        "exp": now + timedelta(minutes=5),
        "jti": MARKER,
        "sub": MARKER,
        **more,
    }
    return jwt.encode(claims, PRIVATE, "ES384", headers={"kid": "k"})


def strange_credentials() -> list[str]:
    return [
        MARKER, f"Basic {MARKER}", f"Bearer {MARKER}", f"Bearer hl_{MARKER}_{MARKER}", f"Bearer {MARKER}.{MARKER}.{MARKER}",
        f"Bearer {jwt.encode({'sub': MARKER, 'iss': MARKER}, MARKER * 4, headers={'kid': MARKER})}",
        f"Bearer {signed(aud=MARKER)}", f"Bearer {signed(iss=ISSUER, scope=MARKER)}", f"Bearer {signed(exp=0)}", "Bearer é",
    ]  # fmt: skip


def routes() -> list[tuple[str, str]]:
    """Return method and path of every route there is, with a marker where a path can hold one."""
    app, paths = create_app({}, rules()), []
    for rule in app.url_map.iter_rules():
        path = rule.rule.replace("<rule:name>", MARKER).replace("<name>", MARKER)
        paths += [(method, path) for method in sorted(rule.methods - {"HEAD"})]
    paths += [("GET", f"/{MARKER}"), ("POST", f"/v1/{MARKER}"), (MARKER.upper(), "/v1/rules"), ("DELETE", "/v1/rules")]
    return [(method, f"{path}?{MARKER}={MARKER}") for method, path in paths]


def statuses_asked(server: Server, requests: Iterator[tuple[str, str, bytes | None, dict[str, str]]]) -> list[int]:
    """Return how requests were answered, one after the other on as few connections as the server allows."""
    statuses = []
    with closing(server.connection()) as connection:
        for method, path, body, headers in requests:
            try:
                connection.request(method, path, body, {**HEADERS, **headers})
                response = connection.getresponse()
                response.read()
                statuses.append(response.status)
            except (HTTPException, ConnectionError):  # closed after an answer that ends a connection
                connection.close()
    return statuses


def written(server: Server, folder: Path, collector: Collector, key: str) -> dict[str, bytes]:
    """Return everything that the service has written and tells of itself, by where."""
    files = {str(path): path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    told = {path: get(server.probes_port, path)[1] for path in ("/metrics", "/ready", "/health")}
    return {**files, **told, "spans": b"".join(collector.bodies)}


def leaks(texts: dict[str, bytes]) -> list[tuple[str, bytes]]:
    """Return where a marker is, with what stands around it."""
    places = [(name, text, text.lower().find(mark)) for name, text in texts.items() for mark in MARKS]
    return [(name, text[max(at - 150, 0) : at + 50]) for name, text, at in places if at >= 0]


def attacked_raw(port: int, sent: bytes) -> bytes:
    with closing(socket.create_connection(("127.0.0.1", port), timeout=60)) as client, suppress(ConnectionError):
        client.sendall(sent)
        client.shutdown(socket.SHUT_WR)
        pieces = []
        while piece := client.recv(1 << 16):
            pieces.append(piece)
        return b"".join(pieces)
    return b""


@pytest.fixture(scope="module")
def attacked(server, key) -> dict[str, list]:
    """All that was sent, by the kind of door, with how it was answered."""
    ours, kinds, accepted = {"Authorization": f"Bearer {key}"}, cycle(KINDS), cycle(ACCEPTED)
    client = {"Authorization": f"Bearer {signed()}"}
    every, some = routes(), [body for body, more in bodies() if not more][:2]

    def understood_requests():
        for method, path, body, more in understood():
            yield method, path, body, {**(client if path.startswith("/cds-services") else ours), **more}

    def at_every_route():
        for method, path in every:
            trusted = client if path.startswith("/cds-services") else ours
            for body, more in bodies() if method == "POST" else [(None, {})]:
                for kind in dict.fromkeys((JSON, next(kinds))):
                    yield method, path, body, {**trusted, "Content-Type": kind, "Accept": next(accepted), **more}

    def credentials():
        for method, path in every:
            for credential in strange_credentials() if method != "OPTIONS" else []:
                yield method, path, some[0] if method == "POST" else None, {"Authorization": credential.encode("latin-1")}

    return {
        "understood": statuses_asked(server, understood_requests()),
        "routes": statuses_asked(server, at_every_route()),
        "credentials": statuses_asked(server, credentials()),
        "raw": [attacked_raw(server.port, sent) for sent in raw(ours["Authorization"])],
        "raw to probes": [attacked_raw(server.probes_port, sent) for sent in raw(ours["Authorization"])],
    }


def test_every_door_was_tried_and_none_failed(attacked):
    assert len(attacked["routes"]) > 500 and len(attacked["credentials"]) > 200 and len(attacked["raw"]) > 50
    others = [status for status in attacked["understood"] if status != 200]
    assert set(others) <= {406, 422} and others.count(406) <= 1 and others.count(422) == 1  # no PDF; the trial at fault
    assert {200, 400, 404, 405, 415, 422} <= set(attacked["routes"])
    assert set(attacked["credentials"]) <= {200, 304, 400, 401, 403, 404, 405, 412}
    assert [status for status in attacked["routes"] if status >= 500] == []
    assert not [answer for answer in attacked["raw"] if b" 500 " in answer[:20]]


def test_no_marker_is_in_anything_that_was_written(server, folder, collector, key, attacked):
    until(lambda: len(collector.spans()) > 900, server)
    texts = written(server, folder, collector, key)
    assert {"log", "audit", "decisions"} <= {Path(name).name for name in texts}
    assert all(len(texts[str(folder / name)].splitlines()) > 50 for name in ("log", "audit"))
    assert len(texts[str(folder / "decisions")].splitlines()) > 20
    assert leaks(texts) == []


def test_all_that_was_logged_is_a_line_of_json_without_a_traceback(server, attacked):
    lines = [json.loads(line) for line in server.log.read_text().splitlines()]
    assert [line for line in lines if line["level"] in ("error", "critical")] == []


def test_no_process_leaves_its_memory_behind(server):
    """Of a limit of 1 nothing is dumped to a file, nor to a program (core(5); fs/coredump.c of Linux)."""
    for pid in (server.process.pid, *server.workers()):
        (limit,) = [line for line in Path(f"/proc/{pid}/limits").read_text().splitlines() if "core file size" in line]
        assert {int(word) for word in limit.split() if word.isdigit()} <= {0, 1} and "unlimited" not in limit, limit


FAILING = """
import threading, time
from heartlevel.web.server import prepare_process
prepare_process()
import gevent
from gevent import monkey
from heartlevel.web.observing.failures import tell_failures
from heartlevel.web.observing.logs import write_logs

def fail():
    raise ValueError("zq7marker")

class Thrown:
    __del__ = lambda self: fail()

write_logs()
tell_failures()
gevent.spawn(fail)
gevent.sleep(0.01)
thread = threading.Thread(target=fail)
thread.start()
thread.join()
Thrown()
monkey.get_original("_thread", "start_new_thread")(fail, ())
time.sleep(0.1)
fail()
"""


def test_what_nobody_handles_is_told_by_kind_and_place():
    """In greenlets, threads of both kinds, what is thrown away and the process itself Python quotes the exception."""
    done = subprocess.run([sys.executable, "-c", FAILING], capture_output=True, text=True)
    messages = [json.loads(line)["message"] for line in done.stderr.splitlines()]
    kinds = ["a greenlet", "a thread", "something nobody waits for", "something nobody waits for", "a process"]
    assert messages == [f"{kind} failed: ValueError at <string>:11" for kind in kinds]


def test_a_client_that_leaves_or_says_nothing_to_the_probes_leaves_one_line(tmp_path):
    with served(tmp_path, workers=1, probes=True) as own:
        with closing(socket.create_connection(("127.0.0.1", own.probes_port))) as client:
            client.sendall(f"GET /ready HTTP/1.1\r\n{MARKER}".encode())
            client.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))  # reset, not closed
        until(lambda: b"a connection for probes was closed" in own.log.read_bytes(), own)
        lines = [json.loads(line) for line in own.log.read_text().splitlines()]
    assert {line["level"] for line in lines} == {"info"} and MARKER not in str(lines)


def files_of_values(folder: Path) -> dict[str, Path]:
    """Write a file of each kind, the values in it marked; names of fields, which a command tells, are plain."""
    lines = "\n".join(map(json.dumps, documents().values())).replace(f'"{MARKER}":', '"unknown":')
    contents = {
        "requests.ndjson": f'{lines}\n{{"subject": {MARKER}\n'.encode(), "table.csv": table(),
        "cut.ndjson.gz": gzip.compress(lines.encode())[:-40], "no.parquet": b"PAR1" + MARKS[0] + b"PAR1",
        "no.xlsx": b"PK" + MARKS[0], "bundle.fhir.json": json.dumps(documents()["bundle"]).encode(),
    }  # fmt: skip
    for name, content in contents.items():
        (folder / name).write_bytes(content)
    return {name: folder / name for name in contents}


def test_a_command_tells_no_value_where_it_says_what_could_not_be_read(tmp_path):
    statuses = {}
    for name, path in files_of_values(tmp_path).items():
        kept = {what: tmp_path / f"{name}.{what}" for what in ("output", "problems", "decisions")}
        options = [word for what, file in kept.items() for word in (f"--{what}", str(file))]
        done = assess_in_process(str(path), *options, "--workers", "1")
        statuses[name] = done.exit_code
        told = {what: kept[what].read_bytes() for what in ("problems", "decisions") if kept[what].exists()}
        assert leaks({**told, "stderr": done.stderr.encode()}) == [], name
        assert {file.stat().st_mode & 0o777 for file in kept.values() if file.exists()} <= {0o600}
    assert 0 not in statuses.values(), statuses  # there was something to tell of each
