"""`heartlevel serve`: answer over HTTP."""

import click

from heartlevel.command.options import ended_by_faults
from heartlevel.web.server import run


@click.command()
@click.option("--host", default="127.0.0.1", show_default=True)
@click.option("--port", default=8000, show_default=True, type=click.IntRange(1, 65535))
@click.option("--workers", default=2, show_default=True, type=click.IntRange(1, 64))
@click.option("--probes-port", type=click.IntRange(1, 65535), help="Answer /health, /ready and /metrics there too.")
def serve(host: str, port: int, workers: int, probes_port: int | None) -> None:
    """Serve over HTTP with gunicorn.

    HEARTLEVEL_RULES names another directory of rule files, HEARTLEVEL_LAYERS a clinic's own over it (several, lowest
    first, are parted as in PATH).
    """
    with ended_by_faults():
        run(f"{host}:{port}", workers, (host, probes_port) if probes_port else None)
