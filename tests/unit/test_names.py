"""Names mean one thing, rooms and functions stay small, modules do not import in circles or late."""

import ast
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from functools import cache
from pathlib import Path

import pytest

import heartlevel

PACKAGE = Path(heartlevel.__file__).parent
Sources = dict[str, str]  # path in the package to the module's text

# They say nothing of what a thing is; a place is a real one: the office, the home.
BANNED = {"one", "found", "of", "made", "said", "some", "several", "place", "places"}
MOST_LINES, MOST_LINES_OF_A_FILE, MOST_MODULES = 40, 250, 14
# Imported where they are needed: what may not be installed, and what must not be loaded before.
LATE = {
    ("__init__.py", "heartlevel.frames"): "pandas is loaded only for who passes a table",
    ("bulk/inputs/registry.py", "heartlevel.fhir.reading.lines"): "only who reads FHIR has need of it",
    ("bulk/outputs/registry.py", "heartlevel.bulk.outputs.bundles"): "only who writes FHIR has need of it",
    ("command/assess.py", "heartlevel.distributed"): "needs the extra `distributed`",
    ("command/assess.py", "heartlevel.handouts.sheets_for"): "loads what makes pages, which few runs do",
    ("command/assess.py", "heartlevel.report.page"): "loads what makes pages, which few runs do",
    ("command/progress.py", "tqdm"): "only who sees a bar has need of it",
    ("bulk/inputs/spreadsheets.py", "heartlevel.bulk.inputs.workbook"): "needs the extra `sheets`",
    ("handouts/log_workbook.py", "xlsxwriter"): "needs the extra `sheets`",
    ("bundles/bundling.py", "heartlevel.bundles.signing"): "needs the extra `signed`",
    ("report/drawing.py", "matplotlib"): "needs the extra `pages`",
    ("report/page.py", "weasyprint"): "needs the extra `pdf`",
    ("ruling/files/own/units.py", "ucumvert"): "slow to import, and only a number of a clinic's own has need of it",
    ("tables/written_times.py", "pandas"): "slow to import, and only times in zones have need of it",
    ("web/fhir/trusted_clients.py", "jwt"): "needs the extra `cds`",
    ("web/access/signed_tokens.py", "jwt"): "needs the extra `tokens`",
    ("web/tryout/tables.py", "heartlevel.bulk.one_table"): "the image leaves out what reads tables",
    ("web/observing/spans.py", "opentelemetry"): "needs the extra `otel`",
    ("web/server.py", "heartlevel.web.application"): "counters are shared or not when they are imported",
    ("web/server.py", "heartlevel.web.observing.exposition"): "counters are shared or not when it is imported",
}


@cache
def sources() -> Sources:
    """Return the text of every module of the package."""
    return {path.relative_to(PACKAGE).as_posix(): path.read_text() for path in sorted(PACKAGE.rglob("*.py"))}


@cache
def nodes(text: str) -> tuple[ast.AST, ...]:
    """Return everything in a module, from the outside in."""
    return tuple(ast.walk(ast.parse(text)))


def identifiers(text: str) -> Iterator[tuple[int, str]]:
    """Yield every name that a module itself gives, with its line: what others call theirs does not count."""
    for node in nodes(text):
        match node:
            case ast.Name(id=name, ctx=ast.Store()) | ast.Attribute(attr=name, ctx=ast.Store()) | ast.arg(arg=name):
                yield node.lineno, name
            case ast.FunctionDef(name=name) | ast.ClassDef(name=name) | ast.ExceptHandler(name=str(name)):
                yield node.lineno, name
            case ast.MatchAs(name=str(name)) | ast.MatchStar(name=str(name)) | ast.alias(asname=str(name)):
                yield node.lineno, name


def banned_names(texts: Sources) -> Iterator[str]:
    """Yield the names that say nothing."""
    for path, text in texts.items():
        for line, name in sorted(identifiers(text)):
            if name.strip("_") in BANNED:
                yield f"{path}:{line}: `{name}` says nothing of what it is"


def definitions(text: str) -> Iterator[tuple[int, str]]:
    """Yield the public functions and classes of a module, with their lines."""
    for node in ast.iter_child_nodes(nodes(text)[0]):
        if isinstance(node, (ast.FunctionDef, ast.ClassDef)) and not node.name.startswith("_"):
            yield node.lineno, node.name


def doubled_names(texts: Sources) -> Iterator[str]:
    """Yield the public functions and classes that two modules define, at each of their lines."""
    where: dict[str, list[str]] = {}
    for path, text in texts.items():
        if path != "__init__.py":  # the public face may give what it wraps its name
            for line, name in definitions(text):
                where.setdefault(name, []).append(f"{path}:{line}")
    for name, lines in where.items():
        for line in lines if len(lines) > 1 else []:
            others = ", ".join(other for other in lines if other != line)
            yield f"{line}: `{name}` is defined in {others} too"


def lines_of_code(function: ast.FunctionDef) -> int:
    """Count a function's lines without its docstring."""
    docstring = function.body[0] if ast.get_docstring(function) is not None else None
    length = (function.end_lineno or 0) - function.lineno + 1
    return length - ((docstring.end_lineno or 0) - docstring.lineno + 1 if docstring else 0)


def oversized(texts: Sources) -> Iterator[str]:
    """Yield functions, files and folders that are too large."""
    folders = Counter(path.rpartition("/")[0] for path in texts if not path.endswith("__init__.py"))
    for folder, modules in folders.items():
        if modules > MOST_MODULES:
            yield f"{folder}/: {modules} modules; at most {MOST_MODULES}"
    for path, text in texts.items():
        length = len(text.splitlines())
        if length > MOST_LINES_OF_A_FILE:
            yield f"{path}:{length}: longer than {MOST_LINES_OF_A_FILE} lines"
        for node in nodes(text):
            if isinstance(node, ast.FunctionDef) and lines_of_code(node) > MOST_LINES:
                yield f"{path}:{node.lineno}: `{node.name}` has {lines_of_code(node)} lines; at most {MOST_LINES}"


def targets(node: ast.AST) -> list[str]:
    """Return what an import names: modules, or things in them."""
    match node:
        case ast.Import(names=names):
            return [alias.name for alias in names]
        case ast.ImportFrom(module=str(module), names=names, level=0):
            return [f"{module}.{alias.name}" for alias in names]
        case ast.ImportFrom():
            raise ValueError(f"line {node.lineno}: write the import in full")
    return []


def module_of(target: str, modules: Iterable[str]) -> str | None:
    """Return the path of the module that an import's target is or lies in; None if it is none of ours."""
    inside = target.removeprefix("heartlevel.").replace(".", "/") if target.startswith("heartlevel.") else ""
    paths = [f"{inside}.py", f"{inside}/__init__.py"]
    holder = inside.rpartition("/")[0]
    paths += [f"{holder}.py", f"{holder}/__init__.py"] if holder else ["__init__.py"] if inside else []
    return next((path for path in paths if path in modules), None)


def import_circles(texts: Sources) -> Iterator[str]:
    """Yield each import that leads back to the module itself; a late one only hides a circle."""
    graph: dict[str, dict[str, int]] = {path: {} for path in texts}
    for path, text in texts.items():
        for node in nodes(text):
            for target in targets(node):
                if (module := module_of(target, texts)) and module != path:
                    graph[path].setdefault(module, node.lineno)
    for path, imports in graph.items():
        for module, line in imports.items():
            if path in reached(graph, module):
                yield f"{path}:{line}: importing {module} leads back here"


def reached(graph: dict[str, dict[str, int]], start: str) -> set[str]:
    """Return all modules that are loaded with one."""
    loaded: set[str] = set()
    waiting = [start]
    while waiting:
        module = waiting.pop()
        if module not in loaded:
            loaded.add(module)
            waiting += graph[module]
    return loaded


def imports_in_functions(text: str) -> dict[tuple[int, str], None]:
    """Return what is imported inside functions, with its line."""
    if not any(targets(node) and node.col_offset for node in nodes(text)):
        return {}
    functions = [node for node in nodes(text) if isinstance(node, ast.FunctionDef)]
    inner = (node for function in functions for node in ast.walk(function))
    return dict.fromkeys((node.lineno, target) for node in inner for target in targets(node))


def late_imports(texts: Sources) -> Iterator[str]:
    """Yield imports inside functions, but for those in LATE."""
    for path, text in texts.items():
        for line, target in imports_in_functions(text):
            if not any(path == where and f"{target}.".startswith(f"{what}.") for where, what in LATE):
                yield f"{path}:{line}: {target} is imported inside a function"


CHECKS: dict[str, Callable[[Sources], Iterator[str]]] = {
    "names": banned_names, "definitions": doubled_names, "sizes": oversized, "circles": import_circles,
    "imports": late_imports,
}  # fmt: skip


@pytest.mark.parametrize("check", CHECKS)
def test_the_package_is_as_it_should_be(check):
    faults = list(CHECKS[check](sources()))
    assert not faults, "\n" + "\n".join(faults)


def test_every_late_import_of_the_list_is_there():
    late = {(path, target) for path, text in sources().items() for _, target in imports_in_functions(text)}
    for path, what in LATE:
        assert any(where == path and f"{target}.".startswith(f"{what}.") for where, target in late), (path, what)


@pytest.mark.parametrize(
    ("check", "texts", "fault"),
    [
        ("names", {"a.py": "total = sum(one for one in [])"}, "a.py:1: `one` says nothing of what it is"),
        ("names", {"a.py": "def place(index): ..."}, "a.py:1: `place` says nothing of what it is"),
        ("names", {"a.py": "def f(of): ..."}, "a.py:1: `of` says nothing of what it is"),
        ("names", {"a.py": "class A:\n    said: str"}, "a.py:2: `said` says nothing of what it is"),
        ("names", {"a.py": "self.some = 1"}, "a.py:1: `some` says nothing of what it is"),
        ("names", {"a.py": "import x as found"}, "a.py:1: `found` says nothing of what it is"),
        ("names", {"a.py": "match x:\n    case [*_made]:\n        pass"}, "a.py:2: `_made` says nothing of what it is"),
        ("sizes", {"a.py": "x = 1\n" * 251}, "a.py:251: longer than 250 lines"),
        ("sizes", {"a.py": "def f():\n    '''T.'''\n" + "    x = 1\n" * 40}, "a.py:1: `f` has 41 lines; at most 40"),
        ("sizes", {f"b/m{number}.py": "" for number in range(15)}, "b/: 15 modules; at most 14"),
        ("imports", {"a.py": "def f():\n    from math import inf"}, "a.py:2: math.inf is imported inside a function"),
    ],
)  # fmt: skip
def test_a_fault_is_found_with_its_line(check, texts, fault):
    assert list(CHECKS[check](texts)) == [fault]


def test_a_name_defined_twice_is_found_at_both_lines():
    texts = {"a.py": "def f(): ...\ndef _g(): ...", "b.py": "def _g(): ...\nclass f: ...", "__init__.py": "def f(): ..."}
    assert list(doubled_names(texts)) == ["a.py:1: `f` is defined in b.py:2 too", "b.py:2: `f` is defined in a.py:1 too"]


def test_a_circle_of_imports_is_found_wherever_it_is_entered():
    texts = {
        "a.py": "from heartlevel.b.c import x", "b/__init__.py": "", "b/c.py": "import os\nfrom heartlevel import d",
        "d.py": "def f():\n    import heartlevel.a", "e.py": "from heartlevel.a import y",
    }  # fmt: skip
    assert list(import_circles(texts)) == [
        "a.py:1: importing b/c.py leads back here",
        "b/c.py:2: importing d.py leads back here",
        "d.py:2: importing a.py leads back here",
    ]


def test_what_others_call_theirs_is_no_fault():
    assert list(banned_names({"a.py": "x = other.place + other.found(of=1)"})) == []
