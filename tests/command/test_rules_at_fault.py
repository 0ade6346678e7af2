from click.testing import CliRunner

from heartlevel.command.main import main


def test_rules_at_fault_stop_the_command_with_their_place(tmp_path):
    (tmp_path / "ruleset.yaml").write_text("name: mine\n")
    result = CliRunner().invoke(main, ["demo", "--rules", str(tmp_path)])
    assert result.exit_code == 1
    assert "ruleset.yaml:1:1" in result.stderr
