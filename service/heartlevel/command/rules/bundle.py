"""`heartlevel rules bundle`: the rules in force in one file, approved and signed."""

from datetime import UTC, datetime
from pathlib import Path
from typing import IO

import click

from heartlevel.bundles.bundling import Approval, laid_out, packed
from heartlevel.command.options import ended_by_faults, loaded, rules_options


@click.command()
@click.argument("target", type=click.Path(path_type=Path))
@click.option("--approver", required=True, help="Who approves these rules.")
@click.option("--date", "day", type=click.DateTime(["%Y-%m-%d"]), help="Day of the approval; by default today.")
@click.option("--key", type=click.File("rb"), help="Private Ed25519 key (PEM) to sign with; `openssl genpkey` makes one.")
@rules_options
def bundle(
    target: Path, approver: str, day: datetime | None, key: IO[bytes] | None, folder: Path | None,
    layers: tuple[Path, ...],
) -> None:  # fmt: skip
    """Pack the rules and layers in force, all their files, into TARGET; in a directory under their fingerprint.

    A bundle stands in the place of a directory of rules: `--rules BUNDLE`, or HEARTLEVEL_RULES.
    """
    ruleset = loaded(folder, layers).ruleset
    approval = Approval(approver, (day or datetime.now(UTC)).date().isoformat())
    with ended_by_faults(), laid_out(folder, layers) as directories:
        content = packed(*directories, ruleset, approval, key.read() if key else None)
    path = target / f"{ruleset.fingerprint.replace(':', '-')}.json" if target.is_dir() else target
    path.write_bytes(content)
    click.echo(f"{path}: {ruleset.fingerprint}, {'signed' if key else 'not signed'}, approved by {approver}")
