"""What the image is made of: locks, Dockerfile, composition and gunicorn's settings."""

import json
import os
import re
import socket
import subprocess
import sys
import tomllib
from collections.abc import Callable
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from signal import SIGHUP
from threading import Thread
from time import monotonic, sleep

import kubernetes_validate
import pytest
import yaml
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from heartlevel import Rules, version
from heartlevel.web.connections.capacity import Most
from heartlevel.web.settings import strange_names
from load.server import get

TOP = Path(__file__).parents[2]
PROJECT = tomllib.loads((TOP / "pyproject.toml").read_text())
RUNTIME = PROJECT["project"]["dependencies"]
TEST = PROJECT["project"]["optional-dependencies"]["test"]
BUILD = [*PROJECT["build-system"]["requires"], "setuptools"]  # setuptools: durable-rules comes as source only
# What serving needs, by name: the versions are those of the dependencies.
SERVICE_NAMES = [line for line in (TOP / "docker/service.in").read_text().splitlines() if not line.startswith("#")]
EXTRAS = PROJECT["project"]["optional-dependencies"]["tokens"] + PROJECT["project"]["optional-dependencies"]["signed"]
SERVING = [one for one in RUNTIME if canonicalize_name(Requirement(one).name) in SERVICE_NAMES] + EXTRAS
DEMO = [requirement for extra in ("pages", "sheets") for requirement in PROJECT["project"]["optional-dependencies"][extra]]
LOCKS = {
    "docker/requirements.lock": RUNTIME + DEMO, "docker/service.lock": SERVING, "docker/build.lock": BUILD,
    "tests/requirements.lock": RUNTIME + TEST,
}  # fmt: skip
PYTHONS = ["3.11", "3.12"]
ENTRY = re.compile(
    r"(?P<pin>[a-z0-9-]+(?:\[[a-z0-9,-]+\])?==[\w.+!]+(?: ; [^\\\n]+)?)"
    r"(?P<hashes>(?: \\\n    --hash=sha256:[0-9a-f]{64})+)\n"
)
DOCKERFILE = (TOP / "docker/Dockerfile").read_text()
HEALTHCHECK = json.loads(re.search(r"^HEALTHCHECK .*\\\n +CMD (\[.*\])$", DOCKERFILE, re.MULTILINE)[1])
SERVICE = yaml.safe_load((TOP / "docker/compose.yaml").read_text())["services"]["heartlevel"]
PATIENCE_SECONDS = 60


def pins(lock: str, python: str) -> dict[str, str]:
    """Return the versions a lock gives to Linux with a Python, by name."""
    environment = {"python_version": python, "python_full_version": f"{python}.9", "sys_platform": "linux"}
    found = [Requirement(match["pin"]) for match in ENTRY.finditer((TOP / lock).read_text())]
    active = [one for one in found if one.marker is None or one.marker.evaluate(environment)]
    versions = {one.name: str(one.specifier).removeprefix("==") for one in active}
    assert len(versions) == len(active), "a name is pinned twice"
    return versions


@pytest.mark.parametrize("python", PYTHONS)
@pytest.mark.parametrize("lock", LOCKS)
def test_a_lock_holds_a_version_that_satisfies_each_declared_requirement(lock, python):
    held = pins(lock, python)
    wanted = [Requirement(one) for one in LOCKS[lock]]
    amiss = [str(one) for one in wanted if not one.specifier.contains(held.get(canonicalize_name(one.name), "0.dev0"))]
    assert amiss == []


@pytest.mark.parametrize("lock", [lock for lock in LOCKS if lock != "docker/build.lock"])
def test_a_lock_names_as_declared_exactly_what_is_declared(lock):
    declared, name = set(), ""
    for line in (TOP / lock).read_text().splitlines():
        name = re.split(r"==|\[", line)[0] if "==" in line else name
        if line.strip(" #").removeprefix("via ") in ("heartlevel (pyproject.toml)", "-r docker/service.in"):
            declared.add(name)
    assert declared == {canonicalize_name(Requirement(one).name) for one in LOCKS[lock]}


@pytest.mark.parametrize("lock", LOCKS)
def test_a_lock_holds_pins_with_hashes_and_nothing_else(lock):
    """So neither an unhashed entry, an option, an address nor a path of some machine can be in it."""
    text = (TOP / lock).read_text()
    left = [line for line in ENTRY.sub("", text).splitlines() if not re.match(r" *#", line)]
    assert (left, "://" in text) == ([], False)


@pytest.mark.parametrize("lock", LOCKS)
def test_a_lock_pins_what_is_asked_for_with_an_extra_under_that_name(lock):
    """pip takes a newer release for `name[extra]` than the one pinned as `name`, and then misses its hash."""
    assert "--no-strip-extras" in (TOP / lock).read_text().splitlines()[1]


@pytest.mark.parametrize("python", PYTHONS)
def test_the_tests_run_with_the_versions_of_the_image(python):
    image, whole, tested = (pins(f"{lock}.lock", python).items() for lock in
                            ("docker/service", "docker/requirements", "tests/requirements"))  # fmt: skip
    assert whole < tested and image < tested
    verifying = {"cffi", "cryptography", "pycparser", "pyjwt"}  # tokens and signatures, the extras that the image has
    assert {name for name, _ in image - whole} == verifying


def copied() -> set[str]:
    """Return what the Dockerfile copies from the checkout."""
    copies = re.findall(r"^COPY (?!--from)(.*) \S+$", DOCKERFILE, re.MULTILINE)
    return {path for one in copies for path in one.split()}


def test_what_the_package_is_built_from_is_copied_and_not_ignored():
    wheel = PROJECT["tool"]["hatch"]["build"]["targets"]["wheel"]
    parts = {*wheel["force-include"], *(str(Path(one).parent) for one in wheel["packages"]), PROJECT["project"]["readme"]}
    ours = {"docker/build.lock", "docker/service.lock", "docker/slim.py", "pyproject.toml"}
    assert copied() == parts | ours
    let_through = {line[1:] for line in (TOP / ".dockerignore").read_text().splitlines() if line.startswith("!")}
    assert let_through == copied()


def test_the_image_is_labelled_and_the_composition_named_with_the_version_of_the_package():
    version = PROJECT["project"]["version"]
    assert f'org.opencontainers.image.version="{version}"' in DOCKERFILE
    assert SERVICE["image"] == f"heartlevel:{version}"


def test_images_are_named_by_digest():
    proxy = yaml.safe_load((TOP / "docker/compose.yaml").read_text())["services"]["proxy"]["image"]
    (base,) = re.findall(r"^ARG PYTHON_IMAGE=(.*)$", DOCKERFILE, re.MULTILINE)
    assert [re.sub(r"[0-9a-f]{64}$", "", image) for image in (base, proxy)] == [
        "docker.io/library/python:3.12-slim@sha256:", "nginx:1.28-alpine@sha256:"
    ]  # fmt: skip
    assert re.findall(r"^FROM (\S+)", DOCKERFILE, re.MULTILINE) == ["${PYTHON_IMAGE}"] * 2


def test_the_source_revision_is_written_into_the_package_and_onto_the_image(tmp_path, monkeypatch):
    assert 'echo "${REVISION}" > service/heartlevel/REVISION' in DOCKERFILE
    monkeypatch.setattr(version, "files", lambda package: tmp_path)
    assert version.source_revision() == "unknown"
    (tmp_path / "REVISION").write_text("0f1e2d\n")
    assert version.source_revision() == "0f1e2d"


def test_what_is_taken_out_of_the_image_is_nothing_of_ours(tmp_path):
    packages = tmp_path / "opt/heartlevel/lib"  # as in the image: the name of ours is also that of the folder above all
    kept = ["heartlevel/tests/a.py", "heartlevel/x.pyi", "scipy/special/b.py", "scipy/linalg/c.py", "other/code.py"]
    gone = ["scipy/stats/d.py", "other/tests/e.py", "other/sub/tests/f.py", "other/g.pyx", "gevent/testing/h.py"]
    for name in kept + gone:
        (packages / name).parent.mkdir(parents=True, exist_ok=True)
        (packages / name).touch()
    subprocess.run([sys.executable, str(TOP / "docker/slim.py"), str(packages)], check=True, capture_output=True)
    assert sorted(str(path.relative_to(packages)) for path in packages.rglob("*.py*")) == sorted(kept)


def test_the_layer_that_is_mounted_loads():
    assert SERVICE["environment"]["HEARTLEVEL_LAYERS"] == SERVICE["volumes"][0].split(":")[1]
    (layer,) = Rules.load(layers=[TOP / "docker" / SERVICE["volumes"][0].split(":")[0]]).ruleset.layers
    assert layer.id == "our-clinic"


def test_the_image_runs_as_a_number_other_than_root_and_without_a_shell():
    last = DOCKERFILE.rpartition("\nFROM ")[2]
    (user,) = re.findall(r"^USER (\S+)$", last, re.MULTILINE)
    assert all(int(number) > 0 for number in user.split(":"))
    calls = [json.loads(one) for one in re.findall(r"^(?:ENTRYPOINT|CMD) (.*)$", last, re.MULTILINE)]
    assert calls == [["heartlevel"], ["serve", "--host", "0.0.0.0"]]


def test_every_download_of_the_build_is_checked_against_a_lock():
    downloads = re.findall(r"pip\S* .*?\b(?:install|wheel) (.*?)(?: \\)?$", DOCKERFILE, re.MULTILINE)
    offline = [one for one in downloads if "--no-index" in one or "--no-build-isolation --no-deps ." in one]
    hashed = [one for one in downloads if "--require-hashes" in one]
    assert len(hashed) == 2 and len(offline) + len(hashed) == len(downloads)


def test_the_composition_takes_every_right_away_that_the_service_does_not_need():
    assert SERVICE["read_only"] is True
    assert SERVICE["cap_drop"] == ["ALL"] and not {"cap_add", "privileged", "user"} & SERVICE.keys()
    assert SERVICE["security_opt"] == ["no-new-privileges:true"]
    assert SERVICE["tmpfs"] == ["/tmp:size=160m,mode=1777,noexec,nosuid,nodev"]
    assert re.fullmatch(r"\d+[mg]", SERVICE["mem_limit"]) and SERVICE["pids_limit"] > 0
    assert all(port.startswith("127.0.0.1:") for port in SERVICE["ports"])


def test_answers_kept_for_streams_fit_into_the_room_that_the_composition_gives():
    kept = int(SERVICE["environment"]["HEARTLEVEL_STREAM_KEPT_BYTES"])
    workers = int(SERVICE["command"][SERVICE["command"].index("--workers") + 1])
    (room,) = re.findall(r"size=(\d+)m", SERVICE["tmpfs"][0])
    assert kept * Most().streams * workers <= int(room) * 1_000_000


def test_what_the_composition_sets_are_settings():
    assert strange_names(SERVICE["environment"]) == []


def manifests() -> list[dict]:
    return [*yaml.safe_load_all((TOP / "docker/kubernetes.yaml").read_text())]


@pytest.mark.parametrize("manifest", manifests(), ids=lambda manifest: manifest["kind"])
def test_manifests_are_as_kubernetes_describes_them(manifest):
    """By its own OpenAPI schema, which kubernetes-validate carries."""
    kubernetes_validate.validate(manifest, "1.34", strict=True)


def test_what_manifests_name_is_there():
    (deployment,) = [manifest for manifest in manifests() if manifest["kind"] == "Deployment"]
    (container,) = deployment["spec"]["template"]["spec"]["containers"]
    assert container["image"] == SERVICE["image"]
    assert strange_names({setting["name"]: setting["value"] for setting in container["env"]}) == []
    values = {setting["name"]: setting["value"] for setting in container["env"]}
    mounts = [mount["mountPath"] for mount in container["volumeMounts"]]
    assert {mounts.count(str(Path(values[name]).parent)) + mounts.count(values[name])
            for name in ("HEARTLEVEL_KEYS", "HEARTLEVEL_LAYERS")} == {1}  # fmt: skip


def test_the_composition_asks_for_health_as_the_image_does():
    assert SERVICE["healthcheck"]["test"] == ["CMD", *HEALTHCHECK]


class Ready(BaseHTTPRequestHandler):
    """Answers /ready with the status of its server, anything else with 404."""

    def do_GET(self):
        self.send_response(self.server.status if self.path == "/ready" else 404)
        self.end_headers()

    def log_message(self, *_):
        """Keep the tests' output clean."""


@pytest.mark.parametrize(("status", "healthy"), [(200, True), (503, False), (404, False)])
def test_the_health_check_passes_only_if_the_service_is_ready(status, healthy):
    with HTTPServer(("127.0.0.1", 0), Ready) as server:
        server.status = status
        Thread(target=server.handle_request, daemon=True).start()
        assert (check_health(server.server_port) == 0) is healthy


def test_the_health_check_fails_if_nothing_listens():
    assert check_health(free_port()) != 0


def check_health(port: int) -> int:
    program = HEALTHCHECK[2].replace("8000", str(port))
    return subprocess.run([sys.executable, "-c", program], capture_output=True, timeout=30).returncode


def free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return one.getsockname()[1]


GUNICORN = [sys.executable, "-m", "gunicorn", "-c", str(TOP / "docker/gunicorn.conf.py")]
APPLICATION = "heartlevel.web.application:create_app()"


def surroundings(scratch: Path, **more: str) -> dict[str, str]:
    decisive = ("PROMETHEUS_MULTIPROC_DIR", "WEB_CONCURRENCY", "GUNICORN_CMD_ARGS", "HEARTLEVEL_RULES")
    kept = {name: value for name, value in os.environ.items() if name not in decisive}
    return {**kept, "TMPDIR": str(scratch), **more}


def test_gunicorn_takes_its_settings_from_the_file_and_finds_the_application(tmp_path):
    call = [*GUNICORN, "--print-config", "--workers", "3", APPLICATION]
    done = subprocess.run(call, capture_output=True, text=True, timeout=PATIENCE_SECONDS, env=surroundings(tmp_path))
    assert done.returncode == 0, done.stderr
    shown = dict(re.findall(r"^(\w+) += (.*)$", done.stdout, re.MULTILINE))
    assert (shown["preload_app"], shown["workers"], shown["bind"]) == ("True", "3", "['127.0.0.1:8000']")
    assert "_forget" in shown["child_exit"]
    assert list(tmp_path.iterdir()) == []


def test_a_gunicorn_of_ones_own_counts_over_all_workers_and_clears_up(tmp_path):
    port = free_port()
    with (tmp_path / "log").open("wb") as log:
        call = [*GUNICORN, "--bind", f"127.0.0.1:{port}", APPLICATION]
        process = subprocess.Popen(call, stdout=log, stderr=log, env=surroundings(tmp_path, WEB_CONCURRENCY="2"))
    try:
        wait_until(lambda: check_health(port) == 0, process)
        assert {get(port, "/health")[0] for _ in range(40)} == {200}
        assert b'heartlevel_requests_total{route="/health",status="200"} 40.0\n' in get(port, "/metrics")[1]
        process.send_signal(SIGHUP)  # the settings are read again and the workers replaced
        wait_until(lambda: (tmp_path / "log").read_bytes().count(b"Booting worker") == 4, process)
        wait_until(lambda: check_health(port) == 0, process)
        assert b'heartlevel_requests_total{route="/health",status="200"} 40.0\n' in get(port, "/metrics")[1]
        assert len(list(tmp_path.glob("heartlevel-metrics-*"))) == 1
        assert re.search(r"core file size +[01] +[01] ", Path(f"/proc/{process.pid}/limits").read_text())
    finally:
        process.terminate()
        assert process.wait(PATIENCE_SECONDS) == 0
    assert list(tmp_path.glob("heartlevel-metrics-*")) == []


def wait_until(holds: Callable[[], bool], process: subprocess.Popen) -> None:
    last = monotonic() + PATIENCE_SECONDS
    while not holds():
        assert process.poll() is None and monotonic() < last
        sleep(0.1)
