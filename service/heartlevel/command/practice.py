"""`heartlevel practice`: what the result tables of many people tell a practice, without naming anybody."""

import sys
from pathlib import Path

import click

from heartlevel.answer.whole import as_json
from heartlevel.command.options import loaded, only_for_owner, rules_options
from heartlevel.intake.faults import near
from heartlevel.practice.disclosure import SMALLEST_GROUP
from heartlevel.practice.figures import practice_figures
from heartlevel.practice.folder import Folder, NoPracticeTables
from heartlevel.practice.page import practice_page
from heartlevel.ruling.language.ruleset import DEFAULT_LANGUAGE

WRONG_CALL = 2


@click.command("practice")
@click.argument("tables", type=click.Path(exists=True, file_okay=False, path_type=Path))
@rules_options
@click.option(
    "--to", type=click.Choice(["html", "json"]), default="html", show_default=True, help="A page, or its figures."
)
@click.option("--output", type=click.Path(dir_okay=False, path_type=Path), help="Where to; by default standard output.")
@click.option("--language", default=DEFAULT_LANGUAGE, show_default=True, help="Language of the page's words, such as de.")
@click.option("--smallest-group", "smallest", type=click.IntRange(2), default=SMALLEST_GROUP, show_default=True,
              help="Nothing is told of fewer people than this.")  # fmt: skip
def practice_command(
    tables: Path, folder: Path | None, layers: tuple[Path, ...], to: str, output: Path | None, smallest: int, language: str
) -> None:
    """Show what the result tables of many people tell a practice, without naming anybody.

    TABLES is the folder of `assess --to tables`.

    How many people were assessed, what is urgent, which faults are the commonest and what they cost, which devices
    disagree, and how groups differ. No person is named. Titles are those of the rules given, by default the shipped ones.
    """
    rules = loaded(folder, layers).ruleset
    if language not in rules.wording:
        raise click.BadParameter(f"{language!r} is no language of the rules ({near(language, rules.wording)})")
    try:
        figures = practice_figures(Folder(tables), rules, smallest)
    except NoPracticeTables as wrong:
        click.echo(str(wrong), err=True)
        sys.exit(WRONG_CALL)
    content = as_json(figures) + b"\n" if to == "json" else practice_page(figures, rules, language)
    if output is None:
        click.echo(content, nl=False)
    else:
        with only_for_owner():
            output.write_bytes(content)
