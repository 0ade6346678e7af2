"""What a release consists of: made twice it is the same, and whoever changes a byte of it is found out."""

import json
import subprocess
import sys
from hashlib import sha256
from pathlib import Path
from shutil import which
from zipfile import ZipFile

import pytest
from packaging.tags import sys_tags

from heartlevel.version import VERSION

TOP = Path(__file__).parents[2]
pytestmark = [
    pytest.mark.skipif(which("ssh-keygen") is None, reason="signs by OpenSSH"),
    pytest.mark.skipif(not (TOP / ".git").exists(), reason="is made of what is committed"),
]
WHEEL, SOURCES = f"heartlevel-{VERSION}-{next(sys_tags())}.whl", f"heartlevel-{VERSION}.tar.gz"


@pytest.fixture(scope="module")
def key(tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("key") / "key"
    subprocess.run(["ssh-keygen", "-q", "-t", "ed25519", "-N", "", "-f", str(path)], check=True)
    path.with_name("allowed").write_text(f"maintainers {path.with_suffix('.pub').read_text()}")
    return path


def released(folder: Path, key: Path) -> Path:
    subprocess.run([sys.executable, str(TOP / ".ci/release"), str(folder), str(key)], check=True, capture_output=True)
    return folder


@pytest.fixture(scope="module")
def release(tmp_path_factory, key) -> Path:
    return released(tmp_path_factory.mktemp("release"), key)


def is_sound(folder: Path, key: Path) -> bool:
    """Check a release as docker/RELEASE.md says."""
    allowed, sums = str(key.with_name("allowed")), (folder / "SHA256SUMS").read_bytes()
    who = ["-f", allowed, "-I", "maintainers", "-n", "heartlevel-release", "-s", "SHA256SUMS.sig"]
    verified = subprocess.run(["ssh-keygen", "-Y", "verify", *who], cwd=folder, input=sums, capture_output=True)
    checked = subprocess.run(["sha256sum", "--quiet", "--check", "SHA256SUMS"], cwd=folder, capture_output=True)
    return verified.returncode == checked.returncode == 0


def test_it_is_made_of_one_revision_and_says_so(release):
    revision = subprocess.run(
        ["git", "rev-parse", "HEAD"], cwd=TOP, check=True, capture_output=True, text=True
    ).stdout.strip()
    statement = json.loads((release / "provenance.json").read_text())
    assert statement["predicate"]["buildDefinition"]["resolvedDependencies"][0]["digest"] == {"gitCommit": revision}
    told = {subject["name"]: subject["digest"]["sha256"] for subject in statement["subject"]}
    assert told == {name: sha256((release / name).read_bytes()).hexdigest() for name in (WHEEL, SOURCES)}
    assert ZipFile(release / WHEEL).read("heartlevel/REVISION").decode().strip() == revision


def test_made_again_it_is_the_same_to_the_byte(release, key, tmp_path):
    again = released(tmp_path, key)
    assert [(again / name).read_bytes() == (release / name).read_bytes() for name in (WHEEL, SOURCES)] == [True, True]


@pytest.mark.parametrize("changed", [WHEEL, SOURCES, "provenance.json", "SHA256SUMS"])
def test_a_changed_byte_is_found_out(release, key, changed):
    assert is_sound(release, key)
    content = (release / changed).read_bytes()
    (release / changed).write_bytes(content[:-1] + bytes([content[-1] ^ 1]))
    try:
        assert not is_sound(release, key)
    finally:
        (release / changed).write_bytes(content)
