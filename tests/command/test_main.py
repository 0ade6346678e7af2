"""The group of commands: what its help says, and what it does where a library is left out."""

import subprocess
import sys

import pytest
from click import Context
from click.testing import CliRunner
from pandas import DataFrame
from pyarrow import parquet

from heartlevel.command.main import COMMANDS, main
from heartlevel.version import VERSION
from support import as_ndjson, as_rows, requests


@pytest.mark.parametrize("name", COMMANDS)
def test_the_help_says_of_a_command_what_the_command_says(name):
    command = main.get_command(Context(main), name)
    assert command.name == name
    assert command.get_short_help_str(limit=200).removesuffix(".") == COMMANDS[name][1].removesuffix(".")


def test_the_help_names_every_command():
    text = CliRunner().invoke(main, ["--help"]).stdout
    assert all(f"\n  {name} " in text for name in COMMANDS)


def test_a_command_that_is_not_there_is_a_wrong_call():
    result = CliRunner().invoke(main, ["asess"])
    assert result.exit_code == 2 and "No such command 'asess'" in result.stderr


@pytest.mark.parametrize(("library", "status"), [("pyarrow", 1), ("durable", None)])
def test_a_library_that_the_image_leaves_out_is_named_and_no_other_error_is_hidden(library, status, monkeypatch):
    def fail(module):
        raise ModuleNotFoundError(f"No module named {library!r}", name=library)

    monkeypatch.setattr("heartlevel.command.main.import_module", fail)
    result = CliRunner().invoke(main, ["assess", "x.csv"])
    if status is None:
        assert isinstance(result.exception, ModuleNotFoundError)
    else:
        assert result.exit_code == status and f"assess needs {library}, which is not installed" in result.stderr


def test_the_package_runs_as_the_command():
    done = subprocess.run([sys.executable, "-m", "heartlevel", "--version"], capture_output=True, text=True, timeout=60)
    assert (done.returncode, done.stdout, done.stderr) == (0, f"heartlevel {VERSION}, source revision unknown\n", "")


@pytest.mark.parametrize("kind", ["ndjson", "csv", "parquet"])
def test_what_is_slow_to_import_and_not_asked_for_is_not_imported(kind, tmp_path):
    sent, answers = tmp_path / f"sent.{kind}", tmp_path / "answers"
    frame = DataFrame(as_rows(requests(2))).drop(columns="options.time_zone")  # pandas knows when clocks skip hours
    match kind:
        case "ndjson":
            sent.write_bytes(as_ndjson(requests(2)))
        case "csv":
            frame.to_csv(sent, index=False)
        case "parquet":
            frame.to_parquet(sent)
    program = (
        "import atexit, sys; from heartlevel.command.main import main; atexit.register(lambda: "
        "print({'pandas', 'jinja2', 'tqdm', 'heartlevel.fhir'} & sys.modules.keys())); main()"
    )
    done = subprocess.run(
        [sys.executable, "-c", program, "assess", str(sent), "--to", "tables", "--output", str(answers)],
        capture_output=True, text=True,
    )  # fmt: skip
    assert done.stdout == "set()\n", done.stderr
    assert parquet.read_metadata(answers / "subjects.parquet").num_rows == 2
