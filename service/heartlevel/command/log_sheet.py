"""`heartlevel log-sheet`: the empty log of a protocol, to print or to fill in on a screen."""

import sys
from collections.abc import Callable, Mapping
from datetime import date, datetime
from pathlib import Path
from typing import Any

import click

from heartlevel.assessment import Rules
from heartlevel.command.options import UNREADABLE, loaded, only_for_owner, rules_options
from heartlevel.handouts.asked_logs import blank_log, log_for
from heartlevel.handouts.log_page import log_page
from heartlevel.handouts.log_sheet import LAST_FIRST_DAY, MOST_DAYS, LogSheet
from heartlevel.handouts.log_workbook import NoTimeZone, log_workbook
from heartlevel.intake.request import RefusedRequest, TooManyReadings
from heartlevel.intake.texts.json_text import NotJson, parsed_json

WRITERS: Mapping[str, Callable[[LogSheet], bytes]] = {".html": log_page, ".xlsx": log_workbook}


@click.command("log-sheet")
@click.argument("output", type=click.Path(dir_okay=False, path_type=Path))
@click.option("--request", "file", type=click.Path(exists=True, dir_okay=False, path_type=Path),
              help="A request (JSON) about the person: its options hold, and what matters most is asked.")  # fmt: skip
@click.option("--subject", help="What the person is called; without, it is to be filled in.")
@click.option("--protocol", help="Id of an averaging protocol, whose days and sittings are laid out.")
@click.option("--guideline", help="Id of a guideline: by its limits it is said when to seek help.")
@click.option("--language", help="Language of the words, such as de.")
@click.option("--time-zone", help="Where the readings are taken, such as Europe/Oslo; a spreadsheet needs it.")
@click.option("--days", type=click.IntRange(1, MOST_DAYS), help="Days; by default as many as the protocol has.")
@click.option(
    "--first-day", type=click.DateTime(["%Y-%m-%d"]), help="Date of the first day; without, dates are to be filled in."
)
@rules_options
def log_sheet_command(
    output: Path, file: Path | None, days: int | None, first_day: datetime | None, folder: Path | None,
    layers: tuple[Path, ...], **asked: Any,
) -> None:  # fmt: skip
    """Write an empty log to OUTPUT: a page to print (.html), or a spreadsheet (.xlsx) that `assess` reads back."""
    if output.suffix.lower() not in WRITERS:
        raise click.BadParameter(f"{output.name}: a name that ends in {' or '.join(WRITERS)} is expected")
    if first_day and first_day.date() > LAST_FIRST_DAY:
        raise click.BadParameter(f"--first-day: {LAST_FIRST_DAY} at the latest")
    try:
        log = _log(loaded(folder, layers), file, asked, days, first_day.date() if first_day else None)
        content = WRITERS[output.suffix.lower()](log)
    except ModuleNotFoundError as missing:
        raise click.ClickException(f"{missing.name} is not installed: pip install 'heartlevel[sheets]'") from missing
    except NoTimeZone as error:
        raise click.UsageError(str(error)) from error
    except NotJson as error:
        raise click.ClickException(f"{file}: {error}") from error
    except TooManyReadings as error:
        raise click.ClickException(f"{file}: {error}") from error
    except RefusedRequest as error:
        click.echo("\n".join([str(error), *map(str, error.problems)]), err=True)
        sys.exit(UNREADABLE)
    with only_for_owner():
        output.write_bytes(content)


def _log(rules: Rules, file: Path | None, asked: Mapping[str, Any], days: int | None, first_day: date | None) -> LogSheet:
    options = {name: value for name, value in asked.items() if value is not None and name != "subject"}
    if file is None and asked["subject"] is None:
        return blank_log(options, rules, days, first_day)
    payload = parsed_json(file.read_bytes()) if file else {"readings": []}
    _put(payload, "options", options)
    _put(payload, "subject", {} if asked["subject"] is None else {"id": asked["subject"]})
    return log_for(payload, rules, days, first_day)


def _put(payload: Any, part: str, more: Mapping[str, Any]) -> None:
    """Put options of the command over those of a request; what is no object there is refused when it is read."""
    if more and isinstance(payload, dict) and isinstance(payload.get(part) or {}, dict):
        payload[part] = {**(payload.get(part) or {}), **more}
