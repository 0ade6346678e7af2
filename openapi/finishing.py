"""What holds for the whole document, added to it: codes, nulls, open answers, limits, headers, what is answered by whom."""

from collections.abc import Collection, Iterable, Iterator, Mapping
from typing import Any

from gunicorn.config import Config

from contract.known import CLOSED, OPEN
from heartlevel.intake.ndjson import LONGEST_LINE
from heartlevel.intake.request import MOST_READINGS
from heartlevel.web.bodies.decoded import CODINGS
from heartlevel.web.settings import settings_in

NULL = {"type": "null"}
SCHEMAS = "#/components/schemas/"
PROBLEM_JSON = "application/problem+json"
EVERYWHERE = ("X-Request-Id", "traceparent", "tracestate", "Vary", "Content-Encoding")  # headers of every answer
OF_PAGES = ("Content-Security-Policy", "Referrer-Policy", "X-Content-Type-Options")
ORIGINS = ("Access-Control-Allow-Origin", "Access-Control-Allow-Methods", "Access-Control-Allow-Headers",
           "Access-Control-Max-Age")  # fmt: skip
OF_REFUSALS = {  # headers of what is refused, by response
    "OtherMediaType": ("Accept", "Accept-Encoding"), "Untrusted": ("WWW-Authenticate",), "Busy": ("Retry-After",),
    "NotPrefetched": ("ETag",),
    "Problem": ("WWW-Authenticate", "Allow", "Retry-After", "Accept", "Accept-Encoding", "ETag"),
}  # fmt: skip


def name_codes(schemas: dict[str, Any], codes: Mapping[str, list[str]]) -> None:
    """Have the fields that hold codes refer to the lists of them; an open list stands beside any text."""
    for is_open, kinds in ((True, OPEN), (False, CLOSED)):
        for kind, places in kinds.items():
            schemas[kind] = {"type": "string", "enum": codes[kind], "description": _listed(is_open)}
            for place in places:
                title, name = place.split(".")
                _name_code(schemas[title]["properties"][name], kind, is_open)


def _listed(is_open: bool) -> str:
    return "Those of the rules as shipped; a clinic's layer may add others" if is_open else "All there are"


def _name_code(field: dict[str, Any], kind: str, is_open: bool) -> None:
    if isinstance(field.get("items"), dict):
        _name_code(field["items"], kind, is_open)
        return
    nullable = "null" in field.pop("type")
    field.pop("enum", None)
    text: dict[str, Any] = {"type": "string"}
    text |= {name: field.pop(name) for name in ("minLength", "maxLength") if name in field}
    choices: list[dict[str, Any]] = [{"$ref": SCHEMAS + kind}]
    choices += [text] * is_open + [NULL] * nullable
    field.update(choices[0] if len(choices) == 1 else {"anyOf": choices})


def say_nothing_alike(schemas: dict[str, Any]) -> None:
    """Have whatever may be absent be null as well: both say that there is nothing."""
    for schema in schemas.values():
        for name, field in schema.get("properties", {}).items():
            if name not in schema.get("required", ()):
                schema["properties"][name] = or_nothing(field)


def or_nothing(field: dict[str, Any]) -> dict[str, Any]:
    """Return the schema of a field that may be null."""
    kinds = field.get("type")
    if isinstance(kinds, str):
        more = {"enum": [*field["enum"], None]} if "enum" in field and None not in field["enum"] else {}
        return {**field, "type": [kinds, "null"], **more}
    if isinstance(kinds, list) or NULL in field.get("anyOf", ()) or not field.keys() - {"description"}:
        return field
    if "anyOf" in field:
        return {**field, "anyOf": [*field["anyOf"], NULL]}
    notes = {"description": field["description"]} if "description" in field else {}
    return {"anyOf": [{name: value for name, value in field.items() if name not in notes}, NULL], **notes}


def open_answers(whole: dict[str, Any]) -> None:
    """Leave room in answers for fields to come: only what is sent is refused where it is not declared."""
    sent = set(_reached([operation.get("requestBody") for operation in operations(whole)], whole["components"]["schemas"]))
    answered = [schema for name, schema in whole["components"]["schemas"].items() if name not in sent]
    for schema in _objects([*answered, [operation["responses"] for operation in operations(whole)]]):
        if schema.get("additionalProperties") is False:
            del schema["additionalProperties"]


def operations(whole: Mapping[str, Any]) -> Iterator[dict[str, Any]]:
    """Yield every operation."""
    for methods in whole["paths"].values():
        yield from methods.values()


def _reached(parts: Iterable[Any], schemas: Mapping[str, Any]) -> Iterator[str]:
    seen = set[str]()
    waiting = list(parts)
    while waiting:
        for part in _objects([waiting.pop()]):
            name = str(part.get("$ref", "")).removeprefix(SCHEMAS)
            if name in schemas and name not in seen:
                seen.add(name)
                waiting.append(schemas[name])
                yield name


def _objects(parts: Iterable[Any]) -> Iterator[dict[str, Any]]:
    """Yield every object within parts of the document."""
    waiting = list(parts)
    while waiting:
        part = waiting.pop()
        if isinstance(part, dict):
            yield part
            waiting += part.values()
        elif isinstance(part, list):
            waiting += part


def limit(whole: dict[str, Any]) -> None:
    """Say what the service takes at most, as it is set where nothing else is configured."""
    whole["components"]["schemas"]["Envelope"]["properties"]["readings"]["maxItems"] = MOST_READINGS
    server = Config()
    whole["info"]["x-limits"] = {
        "body_bytes": settings_in({})["MAX_CONTENT_LENGTH"], "line_bytes": LONGEST_LINE, "readings": MOST_READINGS,
        "request_line_bytes": server.limit_request_line, "header_bytes": server.limit_request_field_size,
        "headers": server.limit_request_fields,
    }  # fmt: skip


def add_common(whole: dict[str, Any]) -> None:
    """Add what every operation takes and answers."""
    for path, methods in whole["paths"].items():
        for method, operation in methods.items():
            body = operation.get("requestBody")
            operation.setdefault("parameters", [])
            operation["parameters"] += [_parameter(name) for name in _taken(path, method)]
            if body:
                operation["responses"].setdefault("413", _response("TooLarge"))
            operation["responses"].setdefault("412", _response("OtherRules"))
            own = [response for response in operation["responses"].values() if "$ref" not in response]
            kinds = {kind for response in own for kind in response.get("content", {})}
            for response in own:
                _name_headers(response, "ETag", *_own_headers(path, method, kinds))
    for name, response in whole["components"]["responses"].items():
        _name_headers(response, "Cache-Control", *ORIGINS, *OF_REFUSALS.get(name, ()))


def _own_headers(path: str, method: str, kinds: Collection[str]) -> Iterator[str]:
    yield from ["Cache-Control"] if method == "post" else []
    yield from OF_PAGES if "text/html" in kinds else []
    yield from ORIGINS if path.startswith("/cds-services") else []


def _name_headers(response: dict[str, Any], *more: str) -> None:
    named = {name: {"$ref": f"#/components/headers/{name}"} for name in (*EVERYWHERE, *more)}
    response["headers"] = {**response.get("headers", {}), **named}


def _taken(path: str, method: str) -> list[str]:
    kept = method == "get" and path.startswith(("/v1/", "/cds-services"))
    return ["X-Request-Id", "traceparent", "tracestate", "Accept-Encoding",
            *(["Content-Encoding"] if method == "post" else []), *(["If-None-Match"] if kept else [])]  # fmt: skip


def _parameter(name: str) -> dict[str, Any]:
    return {"$ref": f"#/components/parameters/{name}"}


def _response(name: str) -> dict[str, Any]:
    return {"$ref": f"#/components/responses/{name}"}


def codings_named(whole: dict[str, Any]) -> None:
    """Name the codings that a body may have."""
    whole["components"]["parameters"]["Content-Encoding"]["schema"]["enum"] = [*CODINGS, "identity"]
