"""The guard as it is configured."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from heartlevel.web.access.guard import Guard
from heartlevel.web.access.keys import KeyFile, WrongKeyFile
from heartlevel.web.access.signed_tokens import IssuedTokens, WrongIssuer
from heartlevel.web.settings import WrongSettings


def guard_by(config: Mapping[str, Any]) -> Guard:
    """Return the guard that is configured. Raises WrongSettings where its files are not as they should be."""
    try:
        keys = KeyFile(Path(config["KEYS"])) if config["KEYS"] else None
        tokens = IssuedTokens(config["JWKS"], config["JWT_ISSUER"], config["JWT_AUDIENCE"]) if config["JWKS"] else None
    except (WrongKeyFile, WrongIssuer, OSError) as error:
        raise WrongSettings(f"who may call cannot be told: {error}") from None
    return Guard(keys, tokens)
