"""`heartlevel rules format` writes only what it can keep, in one step, and with --check nothing at all."""

import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner

from heartlevel.command.rules import format as command
from heartlevel.command.rules.format import format_rules
from heartlevel.resources import shipped
from heartlevel.ruling.files.loading import load
from support import rules

LOOSE = "# A clinic's layer.\nrevision:   '1'   # first\nname: Clinic\n"
TIDY = "# A clinic's layer.\nname: Clinic\nrevision: '1'  # first\n"


@pytest.fixture
def layer(tmp_path) -> Path:
    (tmp_path / "layer.yaml").write_text(LOOSE)
    return tmp_path / "layer.yaml"


def run(*arguments: object):
    return CliRunner().invoke(format_rules, [str(one) for one in arguments])


def test_a_file_is_formatted_and_named_and_the_second_time_left_alone(layer):
    first, second = run(layer), run(layer)
    assert (first.exit_code, first.stdout) == (0, f"{layer}: formatted\n")
    assert (second.exit_code, second.stdout) == (0, "")
    assert layer.read_text() == TIDY


def test_check_lists_the_file_writes_nothing_and_ends_with_1(layer):
    result = run("--check", layer.parent)
    assert (result.exit_code, result.stdout) == (1, f"{layer}: not in the layout\n")
    assert layer.read_text() == LOOSE
    run(layer)
    assert run("--check", layer.parent).exit_code == 0


def test_a_directory_keeps_its_fingerprint_when_all_its_files_are_formatted(tmp_path):
    folder = Path(shutil.copytree(shipped("rules"), tmp_path / "rules"))
    path = folder / "reading" / "heart-level.yaml"
    path.write_text(path.read_text().replace("  effect: none\n", "  effect:    none\n"))
    assert run(folder).exit_code == 0
    assert "effect:    none" not in path.read_text()
    assert load(folder).fingerprint == rules().ruleset.fingerprint
    assert run("--check", folder).exit_code == 0


@pytest.mark.parametrize(
    ("text", "place"),
    [("name: Clinic\nname: Clinic\n", ":2:1: repeated-key"), ("name: [\n", ":2:1: not-yaml"), ("name: !x y\n", ":1:1: tag"),
     ("name: &x Clinic\n", ":1:7: not-yaml"), ("changes: [ # here\n]\n", ":1:1: left alone"), ("", ":1:1: left alone")],
)  # fmt: skip
def test_a_file_that_cannot_be_kept_is_named_and_left_alone_and_others_are_formatted(layer, text, place):
    other = layer.parent / "clinic" / "layer.yaml"
    other.parent.mkdir()
    other.write_text(LOOSE)
    layer.write_text(text)
    result = run(layer, other)
    assert result.exit_code == 1
    assert f"{layer}{place}" in result.stderr
    assert (layer.read_text(), other.read_text()) == (text, TIDY)


def test_bytes_that_are_no_text_are_left_alone(layer):
    layer.write_bytes(b"name: \xff\n")
    assert "not-utf-8" in run(layer).stderr
    assert layer.read_bytes() == b"name: \xff\n"


def test_a_file_in_no_folder_of_rules_is_left_alone(tmp_path):
    (tmp_path / "other.yaml").write_text("b:   1\na: 2\n")
    result = run(tmp_path / "other.yaml")
    assert result.exit_code == 1 and "in no folder of rules" in result.stderr
    assert (tmp_path / "other.yaml").read_text() == "b:   1\na: 2\n"


def test_a_text_that_reads_differently_is_never_put_in_a_files_place(layer, monkeypatch):
    monkeypatch.setattr(command, "formatted", lambda text, block: text.replace("'1'", "'2'"))
    result = run(layer)
    assert result.exit_code == 1 and "content would not stay the same" in result.stderr
    assert layer.read_text() == LOOSE
    assert list(layer.parent.iterdir()) == [layer]


def test_a_file_that_cannot_be_replaced_stays_whole_and_nothing_is_left_beside_it(layer, monkeypatch):
    def full(path, target):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "replace", full)
    result = run(layer)
    assert result.exit_code == 1 and "No space left" in result.stderr
    assert layer.read_text() == LOOSE
    assert list(layer.parent.iterdir()) == [layer]


def test_mode_and_link_of_a_file_stay(layer, tmp_path):
    layer.chmod(0o640)
    (tmp_path / "clinic").mkdir()
    link = tmp_path / "clinic" / "layer.yaml"
    link.symlink_to(layer)
    assert run(link).exit_code == 0
    assert link.is_symlink() and layer.read_text() == TIDY
    assert layer.stat().st_mode & 0o777 == 0o640


def test_without_a_path_only_a_check_of_the_shipped_rules_is_made():
    assert run().exit_code == 2
    assert run("--check").exit_code in (0, 1)


def test_a_path_that_is_not_there_is_a_wrong_call(tmp_path):
    assert run(tmp_path / "no.yaml").exit_code == 2
