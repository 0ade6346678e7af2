"""JSON Web Tokens (RFC 7519) of callers, verified by the keys of one issuer, in a file or at an address."""

import json
from pathlib import Path
from typing import Any

# Signatures by a private key alone (RFC 7518, RFC 8037): with a shared secret whoever verifies could sign.
ALGORITHMS = ("RS256", "RS384", "RS512", "PS256", "PS384", "PS512", "ES256", "ES384", "ES512", "EdDSA")
CLAIMS = ("iss", "aud", "exp")
SECONDS_OFF = 30  # that two clocks may differ by
PATIENCE_SECONDS = 5


class WrongToken(Exception):
    """The token is not valid; the text says why and holds nothing of it."""


class WrongIssuer(Exception):
    """The file of keys is no JSON Web Key Set."""


class IssuedTokens:
    """Tokens of one issuer for this service. Needs the extra `tokens`."""

    def __init__(self, keys: str, issuer: str, audience: str) -> None:
        """Take a path or an https address of keys. Raises OSError, and WrongIssuer where a file is not as it should be."""
        import jwt

        self._jwt, self._issuer, self._audience = jwt, issuer, audience
        self._remote = jwt.PyJWKClient(keys, timeout=PATIENCE_SECONDS) if keys.startswith("https://") else None
        try:
            self._local = None if self._remote else jwt.PyJWKSet.from_dict(json.loads(Path(keys).read_text("utf-8")))
        except (ValueError, AttributeError, jwt.PyJWTError) as error:
            raise WrongIssuer(f"{keys} is no JSON Web Key Set: {type(error).__name__}") from None

    def scopes(self, token: str) -> tuple[str, ...]:
        """Return what a valid token allows: the words of its claim `scope` (RFC 8693, 4.2).

        Raises WrongToken, OSError where the keys cannot be had.
        """
        try:
            key = self._key(token)
            # Of a key without `alg`, which may be missing, the library would take one algorithm alone.
            wanted: dict[str, Any] = {"audience": self._audience, "issuer": self._issuer, "leeway": SECONDS_OFF}
            options: Any = {"require": list(CLAIMS)}
            claims = self._jwt.decode(token, key.key, algorithms=list(ALGORITHMS), options=options, **wanted)
        except self._jwt.PyJWKClientConnectionError:
            raise OSError("the keys of the issuer cannot be fetched") from None
        except (self._jwt.PyJWTError, KeyError, TypeError) as error:
            raise WrongToken(f"the token is not valid: {type(error).__name__}") from None
        scope = claims.get("scope", "")
        return tuple(scope.split()) if isinstance(scope, str) else ()

    def _key(self, token: str) -> Any:
        if self._remote is not None:
            return self._remote.get_signing_key_from_jwt(token)
        assert self._local is not None
        return self._local[self._jwt.get_unverified_header(token).get("kid", "")]
