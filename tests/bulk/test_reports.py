"""Reports of a whole run, beside what else it writes."""

import json

from click.testing import CliRunner

from heartlevel.command.main import main
from support import week


def people(folder, *names: str):
    path = folder / "people.ndjson"
    path.write_text("".join(json.dumps({**week(), "subject": {"id": name}}) + "\n" for name in names))
    return str(path)


def run(*arguments: str):
    return CliRunner().invoke(main, ["assess", *arguments, "--workers", "1"])


def test_each_person_has_a_report_and_a_sheet_where_both_are_asked_for(tmp_path):
    options = ("--page", str(tmp_path / "reports"), "--patient-sheet", str(tmp_path / "sheets"))
    result = run(people(tmp_path, "s-1", "s-2"), *options)
    assert result.exit_code == 0, result.output
    for folder, title in (("reports", "Blood pressure report"), ("sheets", "Your blood pressure")):
        pages = sorted((tmp_path / folder).iterdir())
        assert [page.name for page in pages] == ["s-1.html", "s-2.html"]
        assert all(title in page.read_text() for page in pages)


def test_one_file_holds_one_report(tmp_path):
    assert run(people(tmp_path, "s-1"), "--page", str(tmp_path / "one.html")).exit_code == 0
    refused = run(people(tmp_path, "s-1", "s-2"), "--page", str(tmp_path / "two.html"))
    assert (refused.exit_code, "name a folder" in refused.output) == (2, True)


def test_what_is_not_installed_is_named_before_anything_is_written(tmp_path, monkeypatch):
    monkeypatch.setattr("heartlevel.command.assess.find_spec", lambda module: None if module == "weasyprint" else object())
    refused = run(people(tmp_path, "s-1"), "--page", str(tmp_path / "one.pdf"))
    assert (refused.exit_code, "heartlevel[pdf]" in refused.output) == (2, True)
    assert not (tmp_path / "one.pdf").exists()
