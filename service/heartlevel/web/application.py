"""The Flask application: rules loaded once, routes, errors, observability."""

from collections.abc import Mapping
from os import environ
from pathlib import Path
from typing import Any

from flask import Flask

from heartlevel.assessment import Rules
from heartlevel.web import observability, problems
from heartlevel.web.routes import routes

MEBIBYTE = 1024 * 1024


def create_app(config: Mapping[str, Any] | None = None, rules: Rules | None = None) -> Flask:
    """Build the application. `config` may set MAX_CONTENT_LENGTH; rules come from HEARTLEVEL_RULES or as shipped.

    Raises RuleFaults if the rule files have mistakes: a service without rules does not start.
    """
    app = Flask("heartlevel", static_folder=None)
    app.config["MAX_CONTENT_LENGTH"] = 8 * MEBIBYTE
    app.config.from_mapping(config or {})
    folder = environ.get("HEARTLEVEL_RULES")
    app.extensions["heartlevel"] = rules or Rules.load(Path(folder) if folder else None)
    observability.register(app)
    problems.register(app)
    app.register_blueprint(routes)
    return app
