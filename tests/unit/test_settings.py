"""What the environment sets: names, kinds and limits are checked before anything starts, all mistakes at once."""

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
             "HEARTLEVEL_RELOAD_SECONDS": "-1", "HEARTLEVEL_CDS_SETTING": "hospital"}  # fmt: skip
    with pytest.raises(WrongSettings) as told:
        settings_in(wrong)
    lines = str(told.value).splitlines()
    assert lines[0] == "HEARTLEVEL_LAYER is no setting; did you mean HEARTLEVEL_LAYERS?"
    assert [line.partition(":")[0] for line in lines[1:]] == sorted(set(wrong) - {"HEARTLEVEL_LAYER"})
    assert "/nowhere" in lines[2]


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
