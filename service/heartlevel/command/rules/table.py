"""`heartlevel rules table`: limits and categories of all guidelines side by side, and an edited table as a layer."""

import sys
from datetime import UTC, datetime
from pathlib import Path
from shutil import get_terminal_size
from typing import NoReturn

import click

from heartlevel.command.options import FAILED, loaded, rules_options, show_faults
from heartlevel.ruling.files.directories.reading import NotRead, bytes_of_file
from heartlevel.ruling.files.layers import TOP
from heartlevel.ruling.language.faults import RuleFaults
from heartlevel.ruling.language.ruleset import RuleSet
from heartlevel.ruling.tools.limits.edited import changes_in, table_in
from heartlevel.ruling.tools.limits.layer import layer_file
from heartlevel.ruling.tools.limits.table import as_csv, cells_of
from heartlevel.ruling.tools.limits.view import side_by_side

FILE = click.Path(dir_okay=False, path_type=Path)
LARGEST_TABLE = 1024 * 1024


@click.command("table")
@click.argument("guidelines", nargs=-1)
@rules_options
@click.option("--csv", "target", type=FILE, help="Write the table as CSV, to be edited in a spreadsheet; - is the screen.")
@click.option("--from", "edited", type=FILE, help="An edited CSV: write what it changes as a layer.")
@click.option("--reason", help="Why this clinic differs; needed with --from, and written beside each change.")
@click.option("--name", default="Our limits", show_default=True, help="What the layer calls itself.")
@click.option("--revision", help="The layer's revision; by default today's date.")
@click.option("--output", type=click.Path(file_okay=False, path_type=Path),
              help="Directory of the layer to make; by default its file is shown.")  # fmt: skip
def limits_table(
    guidelines: tuple[str, ...], folder: Path | None, layers: tuple[Path, ...], target: Path | None, edited: Path | None,
    reason: str | None, name: str, revision: str | None, output: Path | None,
) -> None:  # fmt: skip
    """Show limits and categories of GUIDELINES (by default all) side by side, as they are in force.

    With --csv they are written for a spreadsheet; --from takes the edited file back as a layer that sets what differs.
    Cells that are at fault are named by row and column. Empty the cells of a category to take it away; columns and rows
    that are left out stay as they are.
    """
    ruleset = loaded(folder, layers).ruleset
    unknown = [wanted for wanted in guidelines if wanted not in ruleset.guidelines]
    if unknown:
        raise click.UsageError(f"there is no guideline {', '.join(unknown)}; there are {', '.join(ruleset.guidelines)}")
    if edited is not None:
        if not (reason or "").strip():
            raise click.UsageError("--from needs --reason: every change of a layer has one")
        today = datetime.now(UTC).date().isoformat()
        _write_layer(_layer(ruleset, edited, name, revision or today, str(reason)), output)
        return
    columns = list(guidelines or ruleset.guidelines)
    cells = cells_of({column: ruleset.guidelines[column].written for column in columns})
    if target is None:
        click.echo("\n".join(side_by_side(cells, columns, get_terminal_size().columns)))
    elif str(target) == "-":
        click.echo(as_csv(cells, columns), nl=False)
    else:
        target.write_text(as_csv(cells, columns), encoding="utf-8")


def _layer(ruleset: RuleSet, edited: Path, name: str, revision: str, reason: str) -> str:
    """Return the file of the layer that an edited table makes; end the command where there is none to make."""
    guidelines = {identifier: guideline.written for identifier, guideline in ruleset.guidelines.items()}
    try:
        text = bytes_of_file(edited, LARGEST_TABLE).decode("utf-8")
    except (NotRead, UnicodeDecodeError) as error:
        _end(f"{edited}: {error.detail if isinstance(error, NotRead) else 'this is not UTF-8; save it as CSV UTF-8'}")
    table = table_in(text, edited.name, list(guidelines))
    changes = changes_in(table, guidelines)
    if table.faults:
        show_faults(RuleFaults(table.faults))
        sys.exit(FAILED)
    if not changes:
        _end(f"{edited}: nothing in it differs from the rules in force")
    return layer_file(changes, name, revision, reason)


def _write_layer(text: str, output: Path | None) -> None:
    if output is None:
        click.echo(text, nl=False)
        return
    if (output / TOP).exists():
        _end(f"{output / TOP} is there already; make the layer elsewhere, and take from it what you need")
    output.mkdir(parents=True, exist_ok=True)
    (output / TOP).write_text(text, encoding="utf-8")
    click.echo(f"{output / TOP}: look at it, then `heartlevel rules check {output}` and `heartlevel rules diff {output}`")


def _end(line: str) -> NoReturn:
    click.echo(line, err=True)
    sys.exit(FAILED)
