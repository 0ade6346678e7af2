"""The nginx of `docker/proxy.conf` before the real server: TLS, callers by certificate, slow clients, streams.

Skipped where there is no nginx.
"""

import os
import shutil
import socket
import ssl
import subprocess
import time
from collections.abc import Iterator
from contextlib import ExitStack, closing
from datetime import UTC, datetime, timedelta
from http.client import HTTPSConnection
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric.ec import SECP256R1, generate_private_key
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat
from cryptography.x509.oid import NameOID

from load.server import free_port, served
from support import as_ndjson, week

NGINX = shutil.which("nginx", path="/usr/sbin:/usr/bin:/usr/local/bin")
CONF = Path(__file__).parents[2] / "docker" / "proxy.conf"
STALLED, LONGEST_WAIT, PATIENCE = 60, 2.0, 60  # connections (the proxy takes 64 of a caller); seconds; seconds
BEGUN = (
    b"POST /v1/assessments HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\nContent-Length: 5000\r\n\r\n{"
)
# Started by root it would change its user, who cannot write to the tests' folder.
IN_FRONT = "daemon off;" + (" user root;" if os.geteuid() == 0 else "")
pytestmark = pytest.mark.skipif(NGINX is None, reason="there is no nginx")


def certificate(folder: Path, name: str, host: str) -> None:
    """Write a key and a certificate that it signed itself."""
    key, subject = generate_private_key(SECP256R1()), x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, host)])
    now = datetime.now(UTC)
    signed = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=1))
        .add_extension(x509.SubjectAlternativeName([x509.DNSName(host)]), critical=False)
        .add_extension(x509.BasicConstraints(ca=True, path_length=None), critical=True)
        .sign(key, hashes.SHA256())
    )
    (folder / f"{name}.pem").write_bytes(signed.public_bytes(Encoding.PEM))
    (folder / f"{name}.key").write_bytes(key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption()))


class Proxy:
    """A running proxy; its clients show a certificate unless told otherwise."""

    def __init__(self, port: int, certificates: Path) -> None:
        self.port, self._certificates = port, certificates

    def trust(self, shows_certificate: bool = True) -> ssl.SSLContext:
        trust = ssl.create_default_context(cafile=self._certificates / "server.pem")
        if shows_certificate:
            trust.load_cert_chain(self._certificates / "clients.pem", self._certificates / "clients.key")
        return trust

    def ask(self, path: str, body: bytes | None = None, kind: str = "application/json", **how) -> tuple[int, bytes]:
        with closing(HTTPSConnection("localhost", self.port, timeout=PATIENCE, context=self.trust(**how))) as connection:
            connection.request("POST" if body else "GET", path, body, {"Content-Type": kind})
            response = connection.getresponse()
            return response.status, response.read()

    def stalled(self) -> socket.socket:
        """Return a connection that has sent the beginning of a body."""
        raw = socket.create_connection(("localhost", self.port), PATIENCE)
        connection = self.trust().wrap_socket(raw, server_hostname="localhost")
        connection.sendall(BEGUN)
        return connection


@pytest.fixture(scope="module")
def proxy(tmp_path_factory) -> Iterator[Proxy]:
    folder, port = tmp_path_factory.mktemp("proxy"), free_port()
    certificate(folder, "server", "localhost")
    certificate(folder, "clients", "clients")
    with served(folder, HEARTLEVEL_BEHIND_PROXY="1") as server:
        conf = CONF.read_text().replace("/tmp/", f"{folder}/").replace("/etc/heartlevel", str(folder))
        conf = conf.replace("heartlevel:8000", f"127.0.0.1:{server.port}").replace("listen 8443", f"listen {port}")
        (folder / "proxy.conf").write_text(conf.replace("/dev/stdout", str(folder / "access")))
        running = subprocess.Popen([NGINX, "-c", folder / "proxy.conf", "-g", IN_FRONT], stderr=subprocess.PIPE)
        try:
            until_it_listens(running, port)
            yield Proxy(port, folder)
        finally:
            running.terminate()
            running.communicate(timeout=PATIENCE)


def until_it_listens(running: subprocess.Popen, port: int) -> None:
    last = time.monotonic() + PATIENCE
    while running.poll() is None and time.monotonic() < last:
        try:
            return socket.create_connection(("localhost", port), 1).close()
        except ConnectionRefusedError:
            time.sleep(0.05)
    raise AssertionError(running.communicate(timeout=PATIENCE)[1].decode())


def test_only_who_shows_a_certificate_is_answered_and_counters_are_not_for_callers(proxy):
    assert proxy.ask("/health")[0] == 200
    assert proxy.ask("/health", shows_certificate=False)[0] == 400
    assert proxy.ask("/metrics")[0] == 404


def test_a_stream_that_is_sent_whole_before_it_is_read_is_answered_whole(proxy):
    status, answers = proxy.ask("/v1/assessments", as_ndjson([week()] * 400), "application/x-ndjson")
    assert (status, answers.count(b"\n"), answers.count(b'"conclusion"')) == (200, 400, 400)


def test_clients_that_stall_keep_nobody_waiting(proxy):
    body = as_ndjson([week()])
    with ExitStack() as held:
        for _ in range(STALLED):
            held.enter_context(closing(proxy.stalled()))
        begun = time.monotonic()
        assert proxy.ask("/v1/assessments", body)[0] == 200
        assert time.monotonic() - begun < LONGEST_WAIT
