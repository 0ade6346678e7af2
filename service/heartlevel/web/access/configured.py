"""What settings name, read and checked before anything is answered: every mistake in it is told at once."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from heartlevel.fhir.codes import Codes, WrongCodes, codes_of
from heartlevel.web.access.guard import Guard
from heartlevel.web.access.keys import KeyFile, WrongKeyFile
from heartlevel.web.access.signed_tokens import IssuedTokens, WrongIssuer
from heartlevel.web.fhir.trusted_clients import TrustedClients, WrongTrust
from heartlevel.web.observing.spans import Tracing, tracing_by
from heartlevel.web.settings import PREFIX, WrongSettings

T = TypeVar("T")
MISTAKES = (WrongKeyFile, WrongIssuer, WrongTrust, WrongCodes, OSError)


@dataclass(frozen=True, slots=True)
class Configured:
    """Who may call, which clients of CDS Hooks are trusted, the codes of FHIR, and what makes spans."""

    guard: Guard
    trusted: TrustedClients | None
    codes: Codes
    tracing: Tracing | None


def configured_by(config: Mapping[str, Any]) -> Configured:
    """Return what is configured. Raises WrongSettings, a line for each file that is not as it should be."""
    mistakes: list[str] = []

    def read(name: str, make: Callable[[str], T]) -> T | None:
        try:
            return make(config[name]) if config[name] else None
        except MISTAKES as error:
            mistakes.append(f"{PREFIX}{name}: {error}")
        except ModuleNotFoundError as missing:
            mistakes.append(f"{PREFIX}{name} needs {missing.name}, which is not installed here")
        except WrongSettings as error:
            mistakes.append(str(error))
        return None

    keys = read("KEYS", lambda path: KeyFile(Path(path)))
    tokens = read("JWKS", lambda path: IssuedTokens(path, config["JWT_ISSUER"], config["JWT_AUDIENCE"]))
    trusted = read("CDS_TRUST", lambda path: TrustedClients(Path(path)))
    codes = read("FHIR_CODES", lambda path: codes_of(Path(path)))
    tracing = read("SPANS", lambda _: tracing_by())
    if mistakes:
        raise WrongSettings("\n".join(mistakes))
    return Configured(Guard(keys, tokens), trusted, codes or codes_of(), tracing)
