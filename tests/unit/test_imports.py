"""Imports go one way, as DEVELOPERS.md says; the engine and the web framework each have one importer."""

import ast
import re
from functools import cache
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

import heartlevel

PACKAGE = Path(heartlevel.__file__).parent
DEVELOPERS = PACKAGE.parents[1] / "DEVELOPERS.md"
FOUNDATIONS = ["version", "resources", "collector", "kernels"]  # they import nothing of the package
ONLY_IN = {"durable": ["ruling.running.engine"], "flask": ["web"], "werkzeug": ["web"], "gunicorn": ["web"],
           "prometheus_client": ["web"], "opentelemetry": ["web.observing.spans"]}  # fmt: skip
# The engine's program is run in a child process, never imported.
NEVER_IMPORTED = "heartlevel.ruling.running.engine"


def documented() -> list[str]:
    """Read the order from the sentence that states it."""
    (sentence,) = re.findall(r"Imports go one way: (.*?)\.\n", DEVELOPERS.read_text(), re.DOTALL)
    return re.findall(r"\w+", " ".join(re.findall(r"`([^`]+)`", sentence)))


ORDER = FOUNDATIONS + documented()


@cache
def modules() -> dict[str, str]:
    """Return the source of every module under its name in the package; the public face is not part of the chain."""
    sources = {path.relative_to(PACKAGE): path.read_text() for path in sorted(PACKAGE.rglob("*.py"))}
    named = {".".join(path.with_suffix("").parts).removesuffix(".__init__"): text for path, text in sources.items()}
    return {name: text for name, text in named.items() if name != "__init__"}


@cache
def imported(name: str, source: str) -> frozenset[str]:
    """Return the full names of everything a module imports, anywhere in it."""
    found = set()
    holder = f"heartlevel.{name}".split(".")
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            found |= {one.name for one in node.names}
        elif isinstance(node, ast.ImportFrom):
            way = [*holder[: len(holder) - node.level], *filter(None, [node.module])] if node.level else [node.module]
            found |= {".".join([*map(str, way), one.name]) for one in node.names}
    return frozenset(found)


def faults_of(name: str, source: str) -> list[str]:
    """Return what a module imports and must not."""
    mine = name.split(".")[0]
    left = ORDER[: ORDER.index(mine)] if mine in ORDER else []
    found = []
    for target in sorted(imported(name, source)):
        outermost, *rest = target.split(".")
        to_the_right = outermost == "heartlevel" and rest[0] not in [mine, *left]
        elsewhere = not any(f"{name}.".startswith(f"{one}.") for one in ONLY_IN.get(outermost, [name]))
        if to_the_right or elsewhere or f"{target}.".startswith(NEVER_IMPORTED + "."):
            found.append(target)
    return found


def test_the_order_is_documented_and_names_every_module():
    assert ORDER[4:7] == ["vocabulary", "columns", "profiles"]
    assert len(ORDER) == len(set(ORDER))
    assert {name.split(".")[0] for name in modules()} == set(ORDER)


@pytest.mark.parametrize("name", sorted(modules()))
def test_a_module_imports_only_from_its_left(name):
    assert faults_of(name, modules()[name]) == []


@pytest.mark.parametrize("package", sorted(ONLY_IN))
def test_what_only_one_place_may_import_is_imported_there(package):
    importers = {name for name, text in modules().items()
                 if any(one.split(".")[0] == package for one in imported(name, text))}  # fmt: skip
    assert importers
    assert all(name.startswith(tuple(ONLY_IN[package])) for name in importers)


@pytest.mark.parametrize(
    ("name", "source", "fault"),
    [
        ("intake.batch", "from heartlevel.facts.reading import Readings", "heartlevel.facts.reading.Readings"),
        ("statistics.averages", "def f():\n    import heartlevel.ruling.files.loading", "heartlevel.ruling.files.loading"),
        ("facts.series", "from ..answer import whole", "heartlevel.answer.whole"),
        ("ruling.files.loading", "from heartlevel import assessment", "heartlevel.assessment"),
        ("answer.whole", "from heartlevel import answer_to", "heartlevel.answer_to"),
        ("web.routes", "from heartlevel.command.main import main", "heartlevel.command.main.main"),
        ("vocabulary", "from heartlevel.columns import Floats", "heartlevel.columns.Floats"),
        ("ruling.running.truth", "from durable import engine", "durable.engine"),
        (
            "ruling.running.truth",
            "from heartlevel.ruling.running.engine import table",
            "heartlevel.ruling.running.engine.table",
        ),
        ("ruling.running.truth", "from heartlevel.ruling.running import engine", "heartlevel.ruling.running.engine"),
        ("one_call", "if True:\n    from flask import request", "flask.request"),
        ("webbed", "import flask", "flask"),
        ("command.main", "from werkzeug.exceptions import HTTPException", "werkzeug.exceptions.HTTPException"),
    ],
)
def test_a_wrong_import_is_found_wherever_it_stands(name, source, fault):
    assert faults_of(name, f"import json\nfrom typing import Any\n{source}\n") == [fault]


@cache
def rooms() -> dict[str, set[str]]:
    """Return the folders that say in their docstring which of the others beside them they may import, and which."""
    may: dict[str, set[str]] = {}
    for path in sorted(PACKAGE.rglob("__init__.py")):
        sentence = re.search(r"^May import(?: no other room|: ([\w, ]+))\.$", path.read_text(), re.MULTILINE)
        if sentence:
            name = ".".join(path.parent.relative_to(PACKAGE).parts)
            may[name] = {f"{name.rpartition('.')[0]}.{other}" for other in re.findall(r"\w+", sentence[1] or "")}
    return may


def strangers(name: str, source: str) -> set[str]:
    """Return the rooms that a module imports from though its own room does not say that it may."""
    own = name.rpartition(".")[0]
    targets = {target.removeprefix("heartlevel.") for target in imported(name, source)}
    named = {room for room in rooms() for target in targets if f"{target}.".startswith(f"{room}.")}
    siblings = {room for room in named if room.rpartition(".")[0] == own.rpartition(".")[0]}
    return siblings - {own} - rooms()[own]


def test_rooms_can_be_put_in_an_order_in_which_each_imports_from_those_before_it():
    assert {name for name in rooms() if name.startswith("ruling.")} == {
        f"ruling.{path.parent.name}" for path in (PACKAGE / "ruling").glob("*/__init__.py")
    }
    TopologicalSorter(rooms()).prepare()  # raises CycleError
    assert set().union(*rooms().values()) <= set(rooms())


@pytest.mark.parametrize("name", sorted(name for name in modules() if name.rpartition(".")[0] in rooms()))
def test_a_module_imports_only_from_the_rooms_that_its_own_names(name):
    assert strangers(name, modules()[name]) == set()


def test_an_import_from_another_room_is_found():
    source = "from heartlevel.ruling.files import source\nfrom heartlevel.ruling.tools.reach import reached"
    assert strangers("ruling.language.rules", source) == {"ruling.files", "ruling.tools"}
    assert strangers("ruling.tools.analysis", source) == set()


def test_a_right_import_is_no_fault():
    assert faults_of("answer.whole", "from heartlevel.assessment import Rules\nfrom . import figures\nimport numpy") == []
    assert faults_of("ruling.running.engine", "from durable import engine") == []
    assert faults_of("web.routes", "from flask import request") == []
