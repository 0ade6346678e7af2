"""Parts of paths: where two routes could mean the same path, the one that names it has it alone."""

from werkzeug.routing import BaseConverter

RULE_ID = "rule"  # the converter's name in routes
TRIAL = "trial"


class RuleId(BaseConverter):
    """The id of a rule, but no other name that stands below /v1/rules; so a method is refused there by its own route."""

    regex = f"(?!{TRIAL}$)[^/]+"
    part_isolating = True  # no slash is in it
