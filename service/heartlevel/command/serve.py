"""`heartlevel serve`: answer over HTTP."""

import sys

import click

from heartlevel.command.options import FAILED, ended_by_faults
from heartlevel.decisions.log import DecisionsNotKept
from heartlevel.web.server import run


@click.command()
@click.option("--host", default="127.0.0.1", show_default=True)
@click.option("--port", default=8000, show_default=True, type=click.IntRange(1, 65535))
@click.option("--workers", default=2, show_default=True, type=click.IntRange(1, 64))
def serve(host: str, port: int, workers: int) -> None:
    """Serve over HTTP with gunicorn.

    HEARTLEVEL_RULES names another directory of rule files, HEARTLEVEL_LAYERS a clinic's own over it (several, lowest
    first, are parted as in PATH), HEARTLEVEL_DECISIONS a file to append what was decided to, without data.
    """
    try:
        with ended_by_faults():
            run(f"{host}:{port}", workers)
    except DecisionsNotKept as error:
        click.echo(str(error), err=True)
        sys.exit(FAILED)
