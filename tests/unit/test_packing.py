"""What is packed: the project's own folders at the top, and nothing of the same name that lies elsewhere."""

import subprocess
import sys
import tarfile
from importlib.machinery import EXTENSION_SUFFIXES
from pathlib import Path
from shutil import copy, copytree, ignore_patterns
from zipfile import ZipFile

import pytest

from heartlevel.version import VERSION

TOP = Path(__file__).parents[2]
FOLDERS = ("docker", "openapi", "rules", "service")
PAGES = ("DEVELOPERS.md", "README.md")
STRAY = (
    "audit/tests/patients.csv",
    "audit/service/patients.csv",
    "audit/rules/README.md",
    "notes/README.md",
    "patients.csv",
)


@pytest.fixture(scope="module")
def packed(tmp_path_factory) -> dict[str, set[str]]:
    """The names in the source archive and in the wheel, made from a copy with strangers' files about."""
    copied = tmp_path_factory.mktemp("checkout")
    for name in FOLDERS:
        copytree(TOP / name, copied / name, ignore=ignore_patterns("__pycache__"))
    for name in (*PAGES, "pyproject.toml", ".gitignore"):
        copy(TOP / name, copied)
    for name in ("tests/test_some.py", *STRAY):
        (copied / name).parent.mkdir(parents=True, exist_ok=True)
        (copied / name).write_text("subject,systolic\n")
    build = [sys.executable, "-m", "hatchling", "build", "-d", "dist"]
    subprocess.run(build, cwd=copied, check=True, capture_output=True, timeout=600)
    (archive,), (wheel,) = (copied / "dist").glob("*.tar.gz"), (copied / "dist").glob("*.whl")
    with tarfile.open(archive) as opened:
        sources = {name.partition("/")[2] for name in opened.getnames()}
    return {"sdist": sources, "wheel": set(ZipFile(wheel).namelist())}


def test_the_source_archive_has_what_is_at_the_top_alone(packed):
    tops = {name.split("/")[0] for name in packed["sdist"]}
    assert tops == {*FOLDERS, *PAGES, "tests", "pyproject.toml", ".gitignore", "PKG-INFO"}
    assert {"tests/test_some.py", "service/heartlevel/__main__.py", "rules/ruleset.yaml"} <= packed["sdist"]


def test_the_wheel_has_the_package_with_its_rules_and_contract(packed):
    assert {name.split("/")[0] for name in packed["wheel"]} == {"heartlevel", f"heartlevel-{VERSION}.dist-info"}
    assert {"heartlevel/rules/ruleset.yaml", "heartlevel/openapi/openapi.json", "heartlevel/py.typed"} <= packed["wheel"]
    assert f"heartlevel/kernels/judging{EXTENSION_SUFFIXES[0]}" in packed["wheel"]
    assert "service/build_kernels.py" in packed["sdist"] and not any(name.endswith(".so") for name in packed["sdist"])
    assert not any("contract" in name for name in packed["wheel"])
    assert "openapi/contract/whole.py" in packed["sdist"]
    assert not any(name.endswith("patients.csv") for names in packed.values() for name in names)
