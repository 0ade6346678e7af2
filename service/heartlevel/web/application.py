"""The Flask application: rules loaded once, routes, errors, observability."""

from collections.abc import Mapping
from os import environ
from pathlib import Path
from typing import Any

import orjson
from flask import Flask

from heartlevel.assessment import Rules
from heartlevel.decisions.log import DecisionLog
from heartlevel.fhir.codes import codes_of
from heartlevel.ruling.tools.own_schema import document_with
from heartlevel.web import observability, problems
from heartlevel.web.access.guard import Guard, guard_requests
from heartlevel.web.access.keys import KeyFile, WrongKeyFile
from heartlevel.web.access.signed_tokens import IssuedTokens, WrongIssuer
from heartlevel.web.bodies.answered import compress_answers
from heartlevel.web.bodies.sent import SentRequest
from heartlevel.web.cds_hooks import cds_hooks
from heartlevel.web.connections.admission import admit_requests
from heartlevel.web.connections.capacity import Capacity, Most
from heartlevel.web.connections.streams import never
from heartlevel.web.fhir import fhir_routes
from heartlevel.web.promises.deprecation import announce_deprecations
from heartlevel.web.promises.pages import pages
from heartlevel.web.promises.paths import RULE_ID, RuleId
from heartlevel.web.reloading import RulesInForce
from heartlevel.web.routes import routes
from heartlevel.web.settings import WrongSettings, layers_in, settings_in
from heartlevel.web.together import Together
from heartlevel.web.tokens import TrustedClients


def guard_by(config: Mapping[str, Any]) -> Guard:
    """Return the guard that is configured. Raises WrongSettings where its files are not as they should be."""
    try:
        keys = KeyFile(Path(config["KEYS"])) if config["KEYS"] else None
        tokens = IssuedTokens(config["JWKS"], config["JWT_ISSUER"], config["JWT_AUDIENCE"]) if config["JWKS"] else None
    except (WrongKeyFile, WrongIssuer, OSError) as error:
        raise WrongSettings(f"who may call cannot be told: {error}") from None
    return Guard(keys, tokens)


def create_app(config: Mapping[str, Any] | None = None, rules: Rules | None = None) -> Flask:
    """Build the application, set by the environment (`settings`), which `config` goes before.

    Raises WrongSettings, RuleFaults if the rule files have mistakes, WrongCodes if the file of codes has,
    DecisionsNotKept if what was decided cannot be kept: a service does not start without them.
    """
    app = Flask("heartlevel", static_folder=None)
    app.request_class = SentRequest
    app.url_map.strict_slashes = False
    app.url_map.converters[RULE_ID] = RuleId
    app.config.from_mapping(settings_in(environ))
    app.config.from_mapping(config or {})
    folder, layers = app.config["RULES"], layers_in(app.config["LAYERS"])
    in_force = RulesInForce(Path(folder) if folder else None, layers, rules)
    in_force.on_reload = observability.count_reload
    app.extensions["heartlevel"] = in_force
    app.extensions["heartlevel-together"] = Together()
    kept_in = app.config["DECISIONS"]
    app.extensions["heartlevel-decisions"] = DecisionLog(
        Path(kept_in) if kept_in else None, observability.count_lost_decisions
    )
    app.extensions["heartlevel-capacity"] = Capacity(Most())
    app.extensions["heartlevel-stopping"] = never  # until a worker says when
    own_codes = app.config["FHIR_CODES"]
    app.extensions["heartlevel-fhir-codes"] = codes_of(Path(own_codes) if own_codes else None)
    trust = app.config["CDS_TRUST"]
    app.extensions["heartlevel-trusted"] = TrustedClients(Path(trust)) if trust else None
    compress_answers(app)
    app.extensions["heartlevel-guard"] = guard_by(app.config)
    observability.follow_requests(app)
    guard_requests(app)
    admit_requests(app)
    problems.handle_errors(app)
    app.register_blueprint(routes)
    app.register_blueprint(fhir_routes)
    app.register_blueprint(cds_hooks)
    app.register_blueprint(pages)
    announce_deprecations(app, orjson.loads(document_with(())))
    return app
