"""Headers that tell of what will go (RFC 9745, RFC 8594), as the contract declares it.

An operation, or a field of what it takes or answers, is deprecated by `deprecated: true`, with `x-deprecated-on`, the date
from which it is, and `x-sunset-on`, the date from which it may be gone.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any

from flask import Flask, Response, request
from werkzeug.http import http_date

from heartlevel.web.promises.pages import CHANGES

ON, SUNSET_ON = "x-deprecated-on", "x-sunset-on"


@dataclass(frozen=True, slots=True)
class Deprecated:
    """From when something is deprecated, and from when it may be gone."""

    on: date
    sunset_on: date

    def headers(self) -> dict[str, str]:
        """Return the headers that say so, with where to read more."""
        return {
            "Deprecation": f"@{int(_midnight(self.on).timestamp())}",
            "Sunset": http_date(_midnight(self.sunset_on)),
            "Link": f'<{CHANGES}>; rel="deprecation"; type="text/markdown"',
        }


def _midnight(day: date) -> datetime:
    return datetime(day.year, day.month, day.day, tzinfo=UTC)


def announce_deprecations(app: Flask, contract: Mapping[str, Any]) -> None:
    """Have every answer of an operation in which something is deprecated say so."""
    announced = deprecations(contract)
    if not announced:
        return

    @app.after_request
    def announce(response: Response) -> Response:
        path = _template(request.url_rule.rule) if request.url_rule else ""
        deprecated = announced.get((path, request.method))
        if deprecated:
            response.headers.extend(deprecated.headers())
        return response


def deprecations(contract: Mapping[str, Any]) -> dict[tuple[str, str], Deprecated]:
    """Return what is deprecated, by path and method: of several things the earliest dates."""
    announced = {}
    for path, operations in contract["paths"].items():
        for method, operation in operations.items():
            dates = list(_declared(operation, contract, set()))
            if dates:
                announced[path, method.upper()] = Deprecated(
                    min(each.on for each in dates), min(each.sunset_on for each in dates)
                )
    return announced


def _declared(part: Any, contract: Mapping[str, Any], seen: set[str]) -> Iterator[Deprecated]:
    """Yield what is declared as deprecated in a part of the contract and all that it refers to."""
    if isinstance(part, list):
        for item in part:
            yield from _declared(item, contract, seen)
    if not isinstance(part, dict):
        return
    if part.get("deprecated") is True:
        yield Deprecated(date.fromisoformat(part[ON]), date.fromisoformat(part[SUNSET_ON]))
    target = part.get("$ref")
    if isinstance(target, str) and target not in seen:
        seen.add(target)
        yield from _declared(_at(target, contract), contract, seen)
    for value in part.values():
        yield from _declared(value, contract, seen)


def _at(reference: str, contract: Mapping[str, Any]) -> Any:
    part: Any = contract
    for name in reference.removeprefix("#/").split("/"):
        part = part[name]
    return part


def _template(rule: str) -> str:
    """Return a route as the contract writes its path."""
    parts = (f"{{{part[1:-1].rpartition(':')[2]}}}" if part.startswith("<") else part for part in rule.split("/"))
    return "/".join(parts)
