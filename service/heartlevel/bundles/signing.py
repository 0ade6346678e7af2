"""Ed25519 signatures (RFC 8032) of rule bundles: `pip install heartlevel[signed]`."""

from collections.abc import Sequence

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey
from cryptography.hazmat.primitives.serialization import load_pem_private_key, load_pem_public_key


class WrongKey(Exception):
    """A key is not an Ed25519 key in PEM form."""


def signature(content: bytes, private_pem: bytes) -> bytes:
    """Return the signature of a content. Raises WrongKey."""
    try:
        key = load_pem_private_key(private_pem, None)
    except (ValueError, TypeError) as error:
        raise WrongKey("the key is no private key in PEM form without a password") from error
    if not isinstance(key, Ed25519PrivateKey):
        raise WrongKey("the key is not an Ed25519 key")
    return key.sign(content)


def is_signed(content: bytes, signed: bytes, trusted: Sequence[bytes]) -> bool:
    """Say whether one of some public keys (PEM) has signed a content. Raises WrongKey."""
    return any(_by(content, signed, pem) for pem in trusted)


def _by(content: bytes, signed: bytes, public_pem: bytes) -> bool:
    try:
        key = load_pem_public_key(public_pem)
    except ValueError as error:
        raise WrongKey("a trusted key is no public key in PEM form") from error
    if not isinstance(key, Ed25519PublicKey):
        raise WrongKey("a trusted key is not an Ed25519 key")
    try:
        key.verify(signed, content)
    except InvalidSignature:
        return False
    return True
