"""The Flask application: rules loaded once, routes, errors, observability."""

import logging
from collections.abc import Mapping
from os import environ
from pathlib import Path
from typing import Any

import orjson
from flask import Flask, g

from heartlevel.assessment import Rules
from heartlevel.decisions.log import DecisionLog
from heartlevel.ruling.tools.own_schema import document_with
from heartlevel.web import problems
from heartlevel.web.access.configured import configured_by
from heartlevel.web.access.guard import guard_requests
from heartlevel.web.bodies.answered import compress_answers
from heartlevel.web.bodies.sent import SentRequest
from heartlevel.web.connections.admission import admit_requests
from heartlevel.web.connections.capacity import Capacity, Most
from heartlevel.web.connections.streams import never
from heartlevel.web.connections.unread import keep_answers
from heartlevel.web.fhir.cds_hooks import cds_hooks, check_client
from heartlevel.web.fhir.resources import fhir_routes
from heartlevel.web.observing.audit import AuditLog
from heartlevel.web.observing.counters import LOST_AUDIT, WorkTold, count_lost_decisions
from heartlevel.web.observing.each_request import observe
from heartlevel.web.observing.logs import raised_at
from heartlevel.web.pages.handouts import handout_routes
from heartlevel.web.promises.deprecation import announce_deprecations
from heartlevel.web.promises.pages import pages
from heartlevel.web.promises.paths import RULE_ID, RuleId
from heartlevel.web.routes import routes
from heartlevel.web.rules.documents import rule_routes
from heartlevel.web.rules.kept_documents import KeptDocuments
from heartlevel.web.rules.reloading import RulesInForce
from heartlevel.web.settings import directories_in, settings_in
from heartlevel.web.together import Together
from heartlevel.web.tryout.site import site
from heartlevel.web.tryout.tables import tables

LOG = logging.getLogger("heartlevel")


class DiscreetApplication(Flask):
    """The application; of what nobody handles it logs type and place, as a text may hold what was sent."""

    def log_exception(self, exc_info: Any) -> None:
        """Log an exception without its text."""
        LOG.error("request %s failed: %s at %s", g.get("request_id", "?"), exc_info[0].__name__, raised_at(exc_info[1]))


def create_app(config: Mapping[str, Any] | None = None, rules: Rules | None = None) -> Flask:
    """Build the application, set by the environment (`settings`), which `config` goes before.

    Raises WrongSettings, also where files that settings name have mistakes, RuleFaults if the rule files have, LinesNotKept
    if what was decided cannot be kept: a service does not start without them.
    """
    app = DiscreetApplication("heartlevel", static_folder=None)
    app.request_class = SentRequest
    app.url_map.strict_slashes = False
    app.url_map.converters[RULE_ID] = RuleId
    app.config.from_mapping(settings_in(environ))
    app.config.from_mapping(config or {})
    configured = configured_by(app.config)
    in_force = RulesInForce(*directories_in(app.config), rules)
    app.extensions["heartlevel"] = in_force
    app.extensions["heartlevel-together"] = Together()
    app.extensions["heartlevel-documents"] = KeptDocuments()
    kept_in = app.config["DECISIONS"]
    app.extensions["heartlevel-decisions"] = DecisionLog(Path(kept_in) if kept_in else None, count_lost_decisions)
    most = Most()
    app.extensions["heartlevel-audit"] = AuditLog(app.config["AUDIT"], LOST_AUDIT.inc)
    app.extensions["heartlevel-capacity"] = capacity = Capacity(most)
    app.extensions["heartlevel-tracing"] = configured.tracing
    observe(app, in_force, WorkTold(capacity, most))
    app.extensions["heartlevel-stopping"] = never  # until a worker says when
    app.extensions["heartlevel-fhir-codes"] = configured.codes
    app.extensions["heartlevel-trusted"] = configured.trusted
    keep_answers(app)
    compress_answers(app)
    app.extensions["heartlevel-guard"] = configured.guard
    guard_requests(app)
    app.before_request(check_client)
    admit_requests(app)
    problems.handle_errors(app)
    app.register_blueprint(routes)
    app.register_blueprint(rule_routes)
    app.register_blueprint(fhir_routes)
    app.register_blueprint(handout_routes)
    app.register_blueprint(cds_hooks)
    app.register_blueprint(pages)
    app.register_blueprint(tables)
    app.register_blueprint(site)
    announce_deprecations(app, orjson.loads(document_with(())))
    return app
