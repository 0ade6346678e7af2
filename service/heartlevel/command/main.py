"""`heartlevel`: its commands. Each is imported only when it is called, since serving needs less than assessing files."""

from importlib import import_module
from os import environ

import click

from heartlevel.collector import collector_off
from heartlevel.version import VERSION, source_revision
from heartlevel.web.settings import strange_names

# By name: where the command is defined, and its line in the help.
COMMANDS = {
    "assess": ("heartlevel.command.assess:assess_command", "Assess FILES: files, folders, globs; `-` is standard input."),
    "columns": (
        "heartlevel.command.columns:columns_command",
        "Write a first columns file from the header of FILE, a table.",
    ),
    "demo": ("heartlevel.command.demo:demo", "Assess an invented practice: a line a person, or PEOPLE in full."),
    "device-check": (
        "heartlevel.command.device_check:device_check",
        "Hold devices against references: FILE is a request to /v1/device-checks, `-` standard input; prints its answer.",
    ),
    "keys": ("heartlevel.command.keys:keys_group", "Make, list and revoke the keys of callers."),
    "log-sheet": (
        "heartlevel.command.log_sheet:log_sheet_command",
        "Write an empty log to OUTPUT: a page to print (.html), or a spreadsheet (.xlsx) that `assess` reads back.",
    ),
    "practice": (
        "heartlevel.command.practice:practice_command",
        "Show what the result tables of many people tell a practice, without naming anybody.",
    ),
    "rules": (
        "heartlevel.command.rules.group:rules_group",
        "Look after rule files: check, test and explain them, try changes before they go live.",
    ),
    "serve": ("heartlevel.command.serve:serve", "Serve over HTTP with gunicorn."),
}
NOT_IN_THE_IMAGE = ("pandas", "pyarrow", "tqdm")


class Commands(click.Group):
    """A group that knows its commands by COMMANDS alone until one of them is called."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the names of the commands."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import a command, or say which library this installation has not."""
        if cmd_name not in COMMANDS:
            return None
        module, _, attribute = COMMANDS[cmd_name][0].partition(":")
        try:
            with collector_off():
                command: click.Command = getattr(import_module(module), attribute)
        except ModuleNotFoundError as missing:
            if missing.name not in NOT_IN_THE_IMAGE:
                raise
            left_out = f"{cmd_name} needs {missing.name}, which is not installed; the image of the service leaves it out"
            raise click.ClickException(left_out) from missing
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the commands' lines into the help."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, line) for name, (_, line) in COMMANDS.items()])


@click.group(cls=Commands)
@click.version_option(VERSION, message=f"%(prog)s %(version)s, source revision {source_revision()}")
@click.pass_context
def main(ctx: click.Context) -> None:
    """Judge blood-pressure readings taken at home and in the office. Not a diagnosis."""
    # `serve` tells of strange names among all else that is wrong.
    if ctx.invoked_subcommand != "serve" and (strange := strange_names(environ)):
        raise click.ClickException("\n".join(strange))
