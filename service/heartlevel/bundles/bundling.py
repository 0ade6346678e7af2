"""Bundles: the rules and the layers over them in one file, with who approved them and when, and a signature.

A bundle is JSON: `bundle` holds the texts of all files under `files`, the fingerprint of the rules that they make, the
approver and the date; `signature` is of `bundle` in canonical form, or null. The fingerprint is the one that every answer
names, so that a kept bundle answers a request of its day again.
"""

from base64 import b64decode, b64encode
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from os import environ, pathsep
from pathlib import Path
from re import compile as pattern
from tempfile import TemporaryDirectory
from typing import Any

import orjson

from heartlevel.assessment import Rules
from heartlevel.resources import shipped
from heartlevel.ruling.files.directories.keeping import kept_or_made
from heartlevel.ruling.files.directories.listing import listing_of
from heartlevel.ruling.files.directories.reading import NotRead, bytes_of_file
from heartlevel.ruling.files.directories.stamps import stamp_of
from heartlevel.ruling.files.layers import id_in
from heartlevel.ruling.language.ruleset import RuleSet

# Files of public keys, parted as in PATH; where it is set, only what one of them has signed is taken.
TRUSTED = "HEARTLEVEL_TRUSTED_KEYS"
FILE_NAME = pattern(r"(base|layers/\d{1,4}/[^/]+)(/[^/\0]+)+\.(?i:ya?ml)")
LARGEST = 64 * 1024 * 1024
BASE = "base"
WITHOUT = "cryptography is not installed: pip install 'heartlevel[signed]'"


class BundleRefused(Exception):
    """A bundle is not taken, or a directory where only signed bundles are; the text says why."""


@dataclass(frozen=True, slots=True)
class Approval:
    """Who approved rules, and on which day (YYYY-MM-DD)."""

    approver: str
    day: str


def packed(
    folder: Path | None, layers: Sequence[Path], ruleset: RuleSet, approval: Approval, private_pem: bytes | None
) -> bytes:
    """Return the bundle of a directory and its layers, signed where a private key is given.

    Raises BundleRefused without what signs, and for a key that cannot.
    """
    directories = {BASE: folder or shipped("rules")}
    directories |= {f"layers/{number}/{layer.name}": layer for number, layer in enumerate(layers, start=1)}
    bundle = {
        "fingerprint": ruleset.fingerprint,
        "revision": ruleset.revision,
        "layers": [layer.as_dict() for layer in ruleset.layers],
        "approver": approval.approver,
        "date": approval.day,
        "files": {name: text for prefix, root in directories.items() for name, text in _texts(prefix, root)},
    }
    signed = None if private_pem is None else b64encode(_signature(bundle, private_pem)).decode()
    return orjson.dumps({"bundle": bundle, "signature": signed}, option=orjson.OPT_INDENT_2 | orjson.OPT_SORT_KEYS)


def _signature(bundle: Mapping[str, Any], private_pem: bytes) -> bytes:
    try:
        from heartlevel.bundles.signing import WrongKey, signature  # only who signs needs the extra
    except ModuleNotFoundError as missing:
        raise BundleRefused(WITHOUT) from missing
    try:
        return signature(_canonical(bundle), private_pem)
    except WrongKey as wrong:
        raise BundleRefused(str(wrong)) from wrong


def _texts(prefix: str, root: Path) -> Iterator[tuple[str, str]]:
    for inside, path in listing_of(root).files.items():
        yield f"{prefix}/{inside}", path.read_text(encoding="utf-8")


def _canonical(bundle: Mapping[str, Any]) -> bytes:
    return orjson.dumps(bundle, option=orjson.OPT_SORT_KEYS)


def load_rules(folder: Path | None = None, layers: Sequence[Path] = ()) -> Rules:
    """Return the rules of directories, kept for this user or loaded, or of a bundle. Raises RuleFaults, BundleRefused."""
    with laid_out(folder, layers) as directories:
        as_shipped, unpacked = directories == (None, ()), directories[0] != folder
        if as_shipped or unpacked:  # kept by `Rules.load`; in another place each time
            return Rules.load(*directories)
        return kept_or_made(*directories, stamp_of(*directories), lambda: Rules.load(*directories))


@contextmanager
def laid_out(folder: Path | None, layers: Sequence[Path]) -> Iterator[tuple[Path | None, tuple[Path, ...]]]:
    """Yield directories of rules and layers: as they are or, of a bundle in the place of rules, what it holds.

    Layers lie over those of a bundle. Raises BundleRefused for a bundle that is not sound, and, where keys are trusted, for
    all that none of them has signed.
    """
    trusted = [Path(name).read_bytes() for name in environ.get(TRUSTED, "").split(pathsep) if name]
    if trusted and (folder is None or not folder.is_file() or layers):
        raise BundleRefused(f"{TRUSTED} is set: only a signed bundle is taken, and nothing over it")
    if folder is None or not folder.is_file():
        yield folder, tuple(layers)
        return
    bundle = _opened(_read(folder), trusted)
    held = {layer["id"] for layer in bundle["layers"]}
    if again := sorted(held.intersection(map(id_in, layers))):
        raise BundleRefused(f"it holds the layer {', '.join(again)} already: leave out --layer, unset HEARTLEVEL_LAYERS")
    with TemporaryDirectory(prefix="heartlevel-bundle-") as scratch:
        try:
            own = _unpacked(bundle["files"], Path(scratch))
        except OSError as error:  # a name too long, or of a file and of a folder
            raise BundleRefused(f"its files cannot be laid out: {error.strerror}") from error
        if Rules.load(Path(scratch) / BASE, own).ruleset.fingerprint != bundle["fingerprint"]:
            raise BundleRefused("its files do not make the rules that its fingerprint names")
        yield Path(scratch) / BASE, (*own, *layers)


def _read(path: Path) -> bytes:
    try:
        return bytes_of_file(path, LARGEST)
    except NotRead as error:
        raise BundleRefused(f"{path.name}: {error.detail}") from error


def _opened(raw: bytes, trusted: Sequence[bytes]) -> dict[str, Any]:
    """Return what a bundle holds. Raises BundleRefused if it is none, or none of the trusted keys, if any, signed it."""
    try:
        whole = orjson.loads(raw)
        bundle, signed = whole["bundle"], whole["signature"]
        files, _ = bundle["files"], bundle["fingerprint"]
        sound = all(FILE_NAME.fullmatch(name) and isinstance(text, str) for name, text in files.items())
        signature = b64decode(signed or "", validate=True)
    except (orjson.JSONDecodeError, KeyError, TypeError, AttributeError, ValueError) as error:
        raise BundleRefused("it is no bundle of rules") from error
    if not sound or any(".." in name.split("/") for name in files):
        raise BundleRefused("it holds other files than rule files")
    if not isinstance(layers := bundle.get("layers"), list) or not all(map(_is_named, layers)):
        raise BundleRefused("it does not name its layers")
    if trusted and not _is_signed(bundle, signature, trusted):
        raise BundleRefused("none of the trusted keys has signed it, or it was changed since")
    opened: dict[str, Any] = bundle
    return opened


def _is_named(layer: object) -> bool:
    return isinstance(layer, dict) and isinstance(layer.get("id"), str)


def _is_signed(bundle: Mapping[str, Any], signature: bytes, trusted: Sequence[bytes]) -> bool:
    try:
        from heartlevel.bundles.signing import WrongKey, is_signed  # only who trusts keys needs the extra
    except ModuleNotFoundError as missing:
        raise BundleRefused(WITHOUT) from missing
    try:
        return is_signed(_canonical(bundle), signature, trusted)
    except WrongKey as wrong:
        raise BundleRefused(str(wrong)) from wrong


def _unpacked(files: Mapping[str, str], target: Path) -> tuple[Path, ...]:
    """Write the files below a directory, and return the layers among them, lowest first."""
    for name, text in files.items():
        path = target / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    layers = {tuple(name.split("/")[1:3]) for name in files if name.startswith("layers/")}
    return tuple(target / "layers" / number / name for number, name in sorted(layers, key=lambda layer: int(layer[0])))
