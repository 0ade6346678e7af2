"""JSON Web Tokens (RFC 7519) of callers, verified by the keys of one issuer, in a file or at an address."""

from collections.abc import Sequence
from hashlib import sha256
from pathlib import Path
from threading import Lock
from time import monotonic
from typing import Any

import orjson

# Signatures by a private key alone (RFC 7518, RFC 8037): with a shared secret whoever verifies could sign.
ALGORITHMS = ("RS256", "RS384", "RS512", "PS256", "PS384", "PS512", "ES256", "ES384", "ES512", "EdDSA")
CLAIMS = ("iss", "aud", "exp")
SECONDS_OFF = 30  # that two clocks may differ by
PATIENCE_SECONDS = 5
SECONDS_BETWEEN_TRIES, LONGEST_HELD = 10, 3600  # where keys cannot be fetched
BEARER = "bearer"


# What the library raises of what it is not sent as, beside its own errors: texts that are no UTF-8, nested too deep, ...
UNREADABLE = (TypeError, ValueError, KeyError, AttributeError, RecursionError)


class WrongToken(Exception):
    """The token is not valid; the text says why and holds nothing of it."""


def bearer_of(authorization: str | None, wanted: str) -> str:
    """Return the key or token of a header `Authorization: Bearer ...` (RFC 6750); schemes have no case (RFC 9110, 11.1).

    Raises WrongToken, which asks for what is wanted.
    """
    scheme, _, credential = (authorization or "").partition(" ")
    if scheme.lower() != BEARER or not credential.strip():
        raise WrongToken(f"send {wanted}: Authorization: Bearer ...")
    return credential.strip()


def verified(token: str, key: Any, algorithms: Sequence[str], required: Sequence[str], **wanted: Any) -> dict[str, Any]:
    """Return the claims of a token that a key of a JSON Web Key Set has signed. Raises WrongToken.

    `required` claims have to be there; `wanted` are audience, issuer and leeway, as PyJWT takes them.
    """
    import jwt

    options: Any = {"require": list(required)}
    try:
        # Of a key without `alg`, which may be missing, the library would take one algorithm alone.
        return jwt.decode(token, key.key, algorithms=list(algorithms), options=options, **wanted)
    except (jwt.PyJWTError, *UNREADABLE) as error:
        raise not_valid(error) from None


def key_named(token: str, keys: Any) -> Any:
    """Return the key of a set that a token names. Raises WrongToken."""
    name = key_id(token)
    try:
        return keys[name]
    except UNREADABLE as error:
        raise not_valid(error) from None


def key_id(token: str) -> str:
    """Return the name of the key that a token says it is signed with. Raises WrongToken."""
    import jwt

    try:
        return str(jwt.get_unverified_header(token).get("kid", ""))
    except (jwt.PyJWTError, *UNREADABLE) as error:
        raise not_valid(error) from None


def not_valid(error: Exception) -> WrongToken:
    """Say what is wrong with a token without a word of it."""
    return WrongToken(f"the token is not valid: {type(error).__name__}")


def hashed_name(issuer: str, subject: object) -> str:
    """Return a short hash of whom an issuer names: the same for the same, and no name."""
    return sha256(f"{issuer}\n{subject}".encode()).hexdigest()[:16]


class WrongIssuer(Exception):
    """The file of keys is no JSON Web Key Set."""


class IssuedTokens:
    """Tokens of one issuer for this service. Needs the extra `tokens`."""

    def __init__(self, keys: str, issuer: str, audience: str) -> None:
        """Take a path or an https address of keys. Raises OSError, and WrongIssuer where a file is not as it should be."""
        import jwt

        if "://" in keys and not keys.startswith("https://"):
            raise WrongIssuer(f"{keys}: keys are fetched by https alone, or read from a file")
        self._issuer, self._audience = issuer, audience
        self._remote = FetchedKeys(keys) if keys.startswith("https://") else None
        try:
            self._local = None if self._remote else jwt.PyJWKSet.from_dict(orjson.loads(Path(keys).read_bytes()))
        except (jwt.PyJWTError, *UNREADABLE) as error:
            raise WrongIssuer(f"{keys} is no JSON Web Key Set: {type(error).__name__}") from None

    def caller(self, token: str) -> tuple[str, tuple[str, ...]]:
        """Return whose a valid token is, as a hash, and what it allows: the words of its claim `scope` (RFC 8693, 4.2).

        Raises WrongToken, OSError where the keys cannot be had.
        """
        claims = verified(token, self._key(token), ALGORITHMS, CLAIMS, audience=self._audience, issuer=self._issuer,
                          leeway=SECONDS_OFF)  # fmt: skip
        scope = claims.get("scope", "")
        return hashed_name(self._issuer, claims.get("sub")), tuple(scope.split()) if isinstance(scope, str) else ()

    def _key(self, token: str) -> Any:
        return self._remote.key(token) if self._remote else key_named(token, self._local)


class FetchedKeys:
    """The keys at an https address: fetched again every five minutes, for a key that is not known twice a minute at most.

    While they cannot be fetched those hold that were there before, up to an hour. Who names one of these waits for no try.
    """

    def __init__(self, address: str) -> None:
        """Fetch nothing yet."""
        import jwt

        self._jwt = jwt
        self._client = jwt.PyJWKClient(address, timeout=PATIENCE_SECONDS)
        self._known: dict[str, Any] = {}
        self._fetched_at = self._next_try = 0.0
        self._fetching = Lock()

    def key(self, token: str) -> Any:
        """Return the key that a token names. Raises WrongToken, OSError where the keys cannot be had."""
        name = key_id(token)
        if monotonic() >= self._next_try and self._fetching.acquire(blocking=name not in self._known):
            try:
                self._look_again(name)
            finally:
                self._fetching.release()
        if not self._known or monotonic() - self._fetched_at > LONGEST_HELD:
            raise OSError("the keys of the issuer cannot be fetched")
        return key_named(token, self._known)

    def _look_again(self, name: str) -> None:
        """Have keys fetched where it is time, or the name is not known; what comes instead of keys takes none away."""
        try:
            self._client.get_signing_key(name)
        except (self._jwt.PyJWTError, OSError, *UNREADABLE):
            self._next_try = monotonic() + SECONDS_BETWEEN_TRIES
        held = self._client.jwk_set_cache
        if held is not None and (keys := held.get()) is not None:
            signing = {key.key_id: key for key in keys.keys if key.key_id and key.public_key_use in (None, "sig")}
            self._known, self._fetched_at = signing, monotonic()
