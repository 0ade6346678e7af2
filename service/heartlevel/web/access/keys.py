"""Keys of callers: a file holds their salted hashes, and what each may do. The key itself is shown once and not kept.

A key has 256 random bits, so that one round of SHA-256 is enough: it cannot be guessed, as a password can.
"""

import hmac
import json
import os
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from hashlib import sha256
from pathlib import Path
from secrets import token_hex, token_urlsafe
from stat import S_IMODE
from typing import Any

import orjson

from heartlevel.web.access.scopes import SCOPES

MARK = "hl"


class WrongKeyFile(Exception):
    """The file is no file of keys; the text says what is wrong and holds nothing of a key."""


@dataclass(frozen=True, slots=True)
class Key:
    """A key as it is kept: `created` is a date (ISO 8601), `hashed` the hash of salt and secret, both in hexadecimal."""

    id: str
    scopes: tuple[str, ...]
    created: str
    salt: str
    hashed: str

    def is_of(self, secret: str) -> bool:
        """Say whether the secret is this key's, in the same time whatever the secret is."""
        return hmac.compare_digest(_hash(self.salt, secret), self.hashed)


NOBODY = Key("", (), "", "00" * 16, "00" * 32)  # compared with where an id is unknown, so that it takes as long


def _hash(salt: str, secret: str) -> str:
    return sha256(bytes.fromhex(salt) + secret.encode()).hexdigest()


def new_key(scopes: Iterable[str], created: str) -> tuple[Key, str]:
    """Return a key to keep, and the text that its owner sends."""
    identity, secret, salt = token_hex(4), token_urlsafe(32), token_hex(16)
    return Key(identity, tuple(scopes), created, salt, _hash(salt, secret)), f"{MARK}_{identity}_{secret}"


class KeyFile:
    """A file of keys, read again when it changes: a key that is revoked opens nothing from the next request on."""

    def __init__(self, path: Path) -> None:
        """Read the file. Raises WrongKeyFile, OSError."""
        self.path = path
        self._seen: tuple[int, int, int] | None = None
        self._keys: dict[str, Key] = {}
        self.keys()

    def keys(self) -> dict[str, Key]:
        """Return the keys by id. Raises WrongKeyFile, OSError."""
        status = self.path.stat()
        seen = (status.st_ino, status.st_mtime_ns, status.st_size)
        if seen != self._seen:
            self._keys, self._seen = read_keys(self.path), seen
        return self._keys

    def owner(self, text: str) -> Key | None:
        """Return the key that a caller sent, None if it is none of these."""
        mark, _, rest = text.partition("_")
        identity, _, secret = rest.partition("_")
        key = self.keys().get(identity, NOBODY)
        is_right = key.is_of(secret)
        return key if is_right and mark == MARK and key is not NOBODY else None


def read_keys(path: Path) -> dict[str, Key]:
    """Return the keys in a file by id. Raises WrongKeyFile, OSError."""
    try:
        keys = [_key(item) for item in orjson.loads(path.read_bytes())["keys"]]
        lengths = {(len(bytes.fromhex(key.salt)), len(bytes.fromhex(key.hashed))) for key in keys}
    except (ValueError, KeyError, TypeError) as error:
        raise WrongKeyFile(
            f"{path} is no file of keys: {type(error).__name__}; make one by `heartlevel keys new`"
        ) from None
    strange = sorted({scope for key in keys for scope in key.scopes} - set(SCOPES))
    if strange or lengths - {(16, 32)}:
        raise WrongKeyFile(
            f"{path}: {', '.join(strange) or 'a salt or hash'} is not as expected; scopes are {', '.join(SCOPES)}"
        )
    return {key.id: key for key in keys}


def _key(item: Any) -> Key:
    """Return a key as it is kept. Raises KeyError, and TypeError where it is none."""
    texts = [item["id"], item["created"], item["salt"], item["hashed"], *item["scopes"]]
    if not all(isinstance(text, str) for text in texts) or not isinstance(item["scopes"], list):
        raise TypeError
    return Key(item["id"], tuple(item["scopes"]), item["created"], item["salt"], item["hashed"])


def write_keys(path: Path, keys: Iterable[Key]) -> None:
    """Replace the file as a whole; only its owner can read it, or who could before."""
    beside = path.with_name(f".{path.name}.new")
    with os.fdopen(os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "w", encoding="utf-8") as file:
        json.dump({"keys": [asdict(key) for key in keys]}, file, indent=1)
        file.write("\n")
        if path.exists():  # the service may run as another user, who owns it
            before = path.stat()
            os.fchown(file.fileno(), before.st_uid, before.st_gid)
            os.fchmod(file.fileno(), S_IMODE(before.st_mode))
    beside.replace(path)
