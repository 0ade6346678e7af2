"""`heartlevel keys`: keys of those who may call the service."""

from datetime import UTC, datetime
from pathlib import Path

import click

from heartlevel.web.access.keys import Key, WrongKeyFile, new_key, read_keys, write_keys
from heartlevel.web.access.scopes import SCOPES

FILE = click.Path(dir_okay=False, path_type=Path)
SCOPE = click.Choice(list(SCOPES))
file_option = click.option("--file", "path", required=True, envvar="HEARTLEVEL_KEYS", type=FILE,
                           help="The file of keys; it holds no key, only salted hashes.")  # fmt: skip


@click.group("keys")
def keys_group() -> None:
    """Make, list and revoke the keys of callers.

    A running service knows of a change at the next request.
    """


@keys_group.command("new")
@file_option
@click.option(
    "--scope", "scopes", multiple=True, required=True, type=click.Choice(list(SCOPES)), help="May be given again."
)
def new(path: Path, scopes: tuple[str, ...]) -> None:
    """Make a key and print it: it is shown this once, and sent as `Authorization: Bearer KEY`."""
    keys = _keys(path) if path.exists() else {}
    key, text = new_key(dict.fromkeys(scopes), datetime.now(UTC).date().isoformat())
    write_keys(path, [*keys.values(), key])
    click.echo(text)


@keys_group.command("list")
@file_option
def show(path: Path) -> None:
    """Print id, day and scopes of each key."""
    for key in _keys(path).values():
        click.echo(f"{key.id}  {key.created}  {' '.join(key.scopes)}")


@keys_group.command("revoke")
@file_option
@click.argument("identity", metavar="ID")
def revoke(path: Path, identity: str) -> None:
    """Take a key's rights away: ID is its first part, as `list` shows it."""
    keys = _keys(path)
    if identity not in keys:
        raise click.ClickException(f"no key has the id {identity}; there are {', '.join(keys) or 'none'}")
    write_keys(path, [key for key in keys.values() if key.id != identity])


def _keys(path: Path) -> dict[str, Key]:
    try:
        return read_keys(path)
    except (WrongKeyFile, OSError) as error:
        raise click.ClickException(str(error)) from None
