"""What a caller may be allowed to do, and which of it a request needs."""

SCOPES = {
    "assess": "have readings and devices judged",
    "rules-read": "read rules, guidelines, protocols and facts",
    "rules-trial": "try candidate rule files",
    "metrics": "read the counters",
}
# Nothing in them is of a person (the page to try out is text, its people are invented), and probes have no keys.
# What `/ready` and the contract tell of a clinic's own rules they tell those alone who may read rules.
OPEN = (
    "/",
    "/try/<name>",
    "/health",
    "/ready",
    "/v1/openapi.json",
    "/v1/changes",
    "/v1/problems",
    "/v1/problems/<name>",
    "/cds-services",
)


def scope_needed(route: str, method: str) -> str | None:
    """Return what a request to a route needs, None for one that is open to all."""
    if method == "OPTIONS" or (route in OPEN and method in ("GET", "HEAD")):
        return None
    if route in ("/metrics", "/v1/rules/trial"):
        return "metrics" if route == "/metrics" else "rules-trial"
    return "rules-read" if method in ("GET", "HEAD") else "assess"
