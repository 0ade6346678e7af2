"""`heartlevel columns`: a first file that says what the columns of a table mean."""

import sys
from pathlib import Path

import click

from heartlevel.bulk.columns.first_mapping import first_mapping
from heartlevel.bulk.columns.layouts import header_of
from heartlevel.bulk.inputs.input import TableFormat
from heartlevel.bulk.inputs.naming import inputs_of
from heartlevel.bulk.wrong_call import WrongCall
from heartlevel.command.options import loaded, rules_options
from heartlevel.tables.fields import FIELDS, fields_of
from heartlevel.tables.meanings import Mapped

WRONG_CALL = 2


@click.command("columns")
@click.argument("file", type=click.Path(path_type=str))
@rules_options
@click.option("--output", type=click.Path(dir_okay=False, path_type=Path), help="Where to; by default standard output.")
def columns_command(file: str, folder: Path | None, layers: tuple[Path, ...], output: Path | None) -> None:
    """Write a first columns file from the header of FILE, a table.

    It is for `assess --columns`. What is near to the name of a field, or of a fact that rule files declare, is mapped to
    it, units are taken from the header, and the other columns are comments. Look it over: a name is no proof of what is
    in a column.
    """
    try:
        header = _header(file)
        fields = fields_of(loaded(folder, layers).ruleset.choices.form) if folder or layers else FIELDS
        written = first_mapping(header, fields)
        if output is None:
            click.echo(written, nl=False)
            return
        with output.open("x", encoding="utf-8") as out:
            out.write(written)
    except (WrongCall, OSError) as wrong:
        told = f"{wrong.filename}: {wrong.strerror}" if isinstance(wrong, OSError) else str(wrong)
        click.echo(told, err=True)
        sys.exit(WRONG_CALL)


def _header(file: str) -> list[str]:
    sources = inputs_of([file], sys.stdin.buffer, None, True, ())
    if len(sources) != 1 or not isinstance(sources[0].format, TableFormat):
        raise WrongCall(f"{file}: one table is expected, as CSV or Parquet")
    return header_of(sources[0], Mapped())
