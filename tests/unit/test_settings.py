"""What the environment sets: names, kinds and limits are checked before anything starts, all mistakes at once."""

import socket
import subprocess
import sys

import pytest
from click.testing import CliRunner

from heartlevel.command.main import main
from heartlevel.web.settings import NAMES, PREFIX, WrongSettings, settings_in


def test_nothing_set_is_every_default():
    values = settings_in({"PATH": "/bin"})
    assert set(values) == set(NAMES)
    assert (values["RULES"], values["LAYERS"], values["RELOAD_SECONDS"]) == (None, "", 2.0)


def test_values_are_of_their_kind():
    values = settings_in({"HEARTLEVEL_MOST_READINGS": "70", "HEARTLEVEL_RELOAD_SECONDS": "0.5", "HEARTLEVEL_RULES": ""})
    assert (values["MOST_READINGS"], values["RELOAD_SECONDS"], values["RULES"]) == (70, 0.5, None)


def test_every_mistake_is_told_at_once_with_what_may_be_meant(tmp_path):
    wrong = {"HEARTLEVEL_LAYER": "clinic", "HEARTLEVEL_LAYERS": f"{tmp_path}:/nowhere", "HEARTLEVEL_MOST_READINGS": "many",
             "HEARTLEVEL_RELOAD_SECONDS": "-1", "HEARTLEVEL_CDS_SETTING": "hospital", "HEARTLEVEL_AUDIT": "/nowhere/audit",
             "HEARTLEVEL_DECISIONS": "/nowhere/decisions", "HEARTLEVEL_TRUSTED_KEYS": "/nowhere"}  # fmt: skip
    with pytest.raises(WrongSettings) as told:
        settings_in(wrong)
    lines = str(told.value).splitlines()
    assert lines[0] == "HEARTLEVEL_LAYER is no setting; did you mean HEARTLEVEL_LAYERS?"
    assert [line.partition(":")[0] for line in lines[1:]] == sorted(set(wrong) - {"HEARTLEVEL_LAYER"})
    assert "/nowhere" in next(line for line in lines if "_LAYERS:" in line)
    done = CliRunner().invoke(main, ["serve"], env=wrong)
    assert (done.exit_code, done.output.splitlines()) == (1, lines)


@pytest.mark.parametrize("name", NAMES)
def test_a_name_without_its_last_letter_is_refused_with_the_right_one(name):
    with pytest.raises(WrongSettings, match=f"did you mean {PREFIX}{name}\\?"):
        settings_in({PREFIX + name[:-1]: "1"})


@pytest.mark.parametrize("arguments", [["rules", "list"], ["serve", "--check"], ["demo"]])
def test_no_command_runs_without_the_layer_whose_name_was_misspelt(arguments):
    done = CliRunner().invoke(main, arguments, env={"HEARTLEVEL_LAYER": "clinic"})
    assert done.exit_code == 1
    assert "did you mean HEARTLEVEL_LAYERS?" in done.output


def test_a_check_says_what_would_run_and_a_mistake_what_would_not(monkeypatch):
    done = CliRunner().invoke(main, ["serve", "--check", "--port", "8080"], env={"HEARTLEVEL_MOST_READINGS": "70"})
    assert done.exit_code == 0
    assert "address: 127.0.0.1:8080, 2 workers" in done.output
    assert "rules: heartlevel, revision" in done.output and "HEARTLEVEL_MOST_READINGS: 70" in done.output
    wrong = CliRunner().invoke(main, ["serve", "--check"], env={"HEARTLEVEL_MOST_READINGS": "none"})
    assert (wrong.exit_code, "HEARTLEVEL_MOST_READINGS" in wrong.output) == (1, True)


def test_a_file_that_lines_are_kept_in_need_not_be_there_yet(tmp_path):
    for name in ("AUDIT", "DECISIONS"):
        assert settings_in({PREFIX + name: str(tmp_path / "kept")})[name] == str(tmp_path / "kept")
        with pytest.raises(WrongSettings, match=f"{PREFIX}{name}: .* cannot be written"):
            settings_in({PREFIX + name: str(tmp_path / "none" / "kept")})
    assert settings_in({PREFIX + "AUDIT": "-"})["AUDIT"] == "-"


def test_probes_need_a_port_that_is_theirs_and_free():
    done = CliRunner().invoke(main, ["serve", "--port", "8080", "--probes-port", "8080", "--check"])
    assert (done.exit_code, "--probes-port" in done.output) == (1, True)
    with socket.create_server(("127.0.0.1", 0)) as taken:
        arguments = ["serve", "--port", "1", "--probes-port", str(taken.getsockname()[1])]
        command = [sys.executable, "-c", "from heartlevel.command.main import main; main()", *arguments]
        done = subprocess.run(command, capture_output=True, text=True, timeout=120)
    assert done.returncode == 1 and "probes cannot be answered there: Address already in use" in done.stderr
    assert "Traceback" not in done.stderr
