"""The tokens that clients of CDS Hooks sign their requests with, verified by the keys of those that are trusted.

CDS Hooks 2.0, "Trusting CDS Clients": a JSON Web Token in the Authorization header, ES384 or RS384, with `iss`, `aud`,
`exp`, `iat` and `jti`. Keys are those of a file; none are fetched. What was used before is not kept, so a token may be used
again until it expires.
"""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import orjson

from heartlevel.web.access.signed_tokens import (
    UNREADABLE,
    WrongToken,
    bearer_of,
    hashed_name,
    key_named,
    not_valid,
    verified,
)

ALGORITHMS = ("ES384", "RS384")
CLAIMS = ("iss", "aud", "exp", "iat", "jti")


class WrongTrust(Exception):
    """The file of trusted clients is not as it should be; the text says what is wrong with it."""


class TrustedClients:
    """The clients that are trusted. Needs the extra `cds`."""

    def __init__(self, path: Path) -> None:
        """Read `audience`, the address of this service, and `issuers`, a JSON Web Key Set for each client.

        Raises OSError, and WrongTrust where the file is not as it should be: a service does not start with it.
        """
        import jwt

        self._jwt = jwt
        try:
            content = orjson.loads(path.read_bytes())
            self._audience: str = content["audience"]
            issuers = content["issuers"].items()
            self._keys: Mapping[str, Any] = {issuer: jwt.PyJWKSet.from_dict(keys) for issuer, keys in issuers}
        except (jwt.PyJWTError, *UNREADABLE) as error:
            raise WrongTrust(f"{path} is no file of trusted clients: {type(error).__name__}") from None
        if not isinstance(self._audience, str):
            raise WrongTrust(f"{path}: `audience` is the address of this service")

    def check(self, authorization: str | None, path: str) -> str:
        """Check the header of a request to a path of this service; return whose it is, as a hash. Raises WrongToken."""
        token = bearer_of(authorization, "a signed token")
        try:
            issuer = self._jwt.decode(token, options={"verify_signature": False}).get("iss")
        except (self._jwt.PyJWTError, *UNREADABLE) as error:
            raise not_valid(error) from None
        keys = self._keys.get(issuer) if isinstance(issuer, str) else None
        if keys is None:
            raise WrongToken("the token is of no client that is trusted")
        audience = [self._audience, self._audience.rstrip("/") + path]
        verified(token, key_named(token, keys), ALGORITHMS, CLAIMS, audience=audience, issuer=issuer)
        return hashed_name(str(issuer), "")
