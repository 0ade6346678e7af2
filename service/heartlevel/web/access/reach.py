"""On an address that others reach, somebody has to decide who may call, whoever starts gunicorn."""

from collections.abc import Iterable, Mapping
from ipaddress import ip_address
from typing import Any

from heartlevel.web.settings import PREFIX, WrongSettings


def refuse_strangers(hosts: Iterable[str], values: Mapping[str, Any]) -> None:
    """Raises WrongSettings for hosts that others reach, where nothing and nobody decides who may call."""
    if values["KEYS"] or values["JWKS"] or values["BEHIND_PROXY"]:
        return
    reached = sorted({host for host in hosts if not _is_own(host)})
    if reached:
        raise WrongSettings(
            f"on {', '.join(host or 'every address' for host in reached)} others reach the service, and what it answers is "
            f"health data: make keys (`heartlevel keys new` and {PREFIX}KEYS), verify tokens ({PREFIX}JWKS), or say that a "
            f"proxy decides who may call (--behind-proxy, or {PREFIX}BEHIND_PROXY=true)"
        )


def hosts_of(addresses: Iterable[Any]) -> list[str]:
    """Return the hosts of addresses as gunicorn binds to them: (host, port), or the path of a socket in the file system."""
    return [str(address[0]) for address in addresses if isinstance(address, tuple)]


def _is_own(host: str) -> bool:
    try:
        return host == "localhost" or ip_address(host).is_loopback
    except ValueError:
        return False
