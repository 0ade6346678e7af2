"""`heartlevel rules`: look after rule files."""

import click

from heartlevel.command.rules.analyse import analyse_rules
from heartlevel.command.rules.check import check
from heartlevel.command.rules.diff import diff
from heartlevel.command.rules.explain import explain
from heartlevel.command.rules.format import format_rules
from heartlevel.command.rules.list import list_rules
from heartlevel.command.rules.test import test_rules
from heartlevel.command.rules.try_ import try_


@click.group("rules")
def rules_group() -> None:
    """Look after rule files: check, test and explain them, try changes before they go live."""


for command in (analyse_rules, check, diff, explain, format_rules, list_rules, test_rules, try_):
    rules_group.add_command(command)
