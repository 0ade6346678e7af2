"""`heartlevel device-check`: hold devices against references, without readings."""

import sys
from collections.abc import Iterable
from pathlib import Path
from typing import IO, NoReturn

import click

from heartlevel.answer.whole import as_json
from heartlevel.command.options import UNREADABLE, loaded, rules_options
from heartlevel.intake.request import RefusedRequest
from heartlevel.intake.texts.json_text import NotJson, parsed_json
from heartlevel.one_call import device_answer_to


@click.command("device-check")
@click.argument("file", type=click.File("rb"))
@rules_options
def device_check(file: IO[bytes], folder: Path | None, layers: tuple[Path, ...]) -> None:
    """Hold devices against references: FILE is a request to /v1/device-checks, `-` standard input; prints its answer."""
    rules = loaded(folder, layers)
    try:
        answer = device_answer_to(parsed_json(file.read()), rules)
    except NotJson as error:
        _unreadable([str(error)])
    except RefusedRequest as error:
        _unreadable([str(error), *map(str, error.problems)])
    else:
        click.echo(as_json(answer))
        sys.exit(UNREADABLE if answer["problems"] else 0)


def _unreadable(lines: Iterable[str]) -> NoReturn:
    for line in lines:
        click.echo(line, err=True)
    sys.exit(UNREADABLE)
