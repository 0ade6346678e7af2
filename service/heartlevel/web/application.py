"""The Flask application: rules loaded once, routes, errors, observability."""

from collections.abc import Mapping
from os import pathsep
from pathlib import Path
from typing import Any

import orjson
from flask import Flask

from heartlevel.assessment import Rules
from heartlevel.fhir.codes import codes_of
from heartlevel.intake.request import MOST_READINGS
from heartlevel.web import observability, problems
from heartlevel.web.bodies.answered import compress_answers
from heartlevel.web.bodies.sent import SentRequest
from heartlevel.web.cds_hooks import cds_hooks
from heartlevel.web.fhir import fhir_routes
from heartlevel.web.paths import RULE_ID, RuleId
from heartlevel.web.promises.deprecation import announce_deprecations
from heartlevel.web.promises.pages import pages
from heartlevel.web.reloading import RulesInForce
from heartlevel.web.routes import contract_text, routes
from heartlevel.web.together import Together
from heartlevel.web.tokens import TrustedClients

MEBIBYTE = 1024 * 1024


def create_app(config: Mapping[str, Any] | None = None, rules: Rules | None = None) -> Flask:
    """Build the application, set by `config` or else by the environment.

    MAX_CONTENT_LENGTH (HEARTLEVEL_MAX_CONTENT_LENGTH) limits the bytes of one JSON request, MOST_READINGS
    (HEARTLEVEL_MOST_READINGS) its readings. RULES (HEARTLEVEL_RULES) names another directory of rule files,
    LAYERS (HEARTLEVEL_LAYERS) directories over it, lowest first, parted as in PATH; RELOAD_SECONDS
    (HEARTLEVEL_RELOAD_SECONDS) is how often a worker looks for changed rule files, 0 for never.
    FHIR_CODES (HEARTLEVEL_FHIR_CODES) names a file of a clinic's own codes in FHIR resources. Of CDS Hooks, CDS_ORIGINS are
    the origins of pages that may call, parted by commas, CDS_TRUST a file of the clients that are trusted, without which
    all are, and CDS_SETTING where readings were taken that do not say it.
    Raises RuleFaults if the rule files have mistakes, WrongCodes if that file has: a service without them does not start.
    """
    app = Flask("heartlevel", static_folder=None)
    app.request_class = SentRequest
    app.url_map.strict_slashes = False
    app.url_map.converters[RULE_ID] = RuleId
    app.config.from_mapping(
        MAX_CONTENT_LENGTH=8 * MEBIBYTE,
        MOST_READINGS=MOST_READINGS,
        RULES=None,
        LAYERS="",
        RELOAD_SECONDS=2,
        FHIR_CODES=None,
        CDS_ORIGINS="",
        CDS_TRUST=None,
        CDS_SETTING=None,
    )
    app.config.from_prefixed_env("HEARTLEVEL")
    app.config.from_mapping(config or {})
    folder, layers = app.config["RULES"], filter(None, app.config["LAYERS"].split(pathsep))
    in_force = RulesInForce(Path(folder) if folder else None, tuple(map(Path, layers)), rules)
    in_force.on_reload = observability.count_reload
    app.extensions["heartlevel"] = in_force
    app.extensions["heartlevel-together"] = Together()
    own_codes = app.config["FHIR_CODES"]
    app.extensions["heartlevel-fhir-codes"] = codes_of(Path(own_codes) if own_codes else None)
    trust = app.config["CDS_TRUST"]
    app.extensions["heartlevel-trusted"] = TrustedClients(Path(trust)) if trust else None
    compress_answers(app)
    observability.follow_requests(app)
    problems.handle_errors(app)
    app.register_blueprint(routes)
    app.register_blueprint(fhir_routes)
    app.register_blueprint(cds_hooks)
    app.register_blueprint(pages)
    announce_deprecations(app, orjson.loads(contract_text()))
    return app
