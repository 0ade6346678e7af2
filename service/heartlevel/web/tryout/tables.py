"""`POST /v1/tables`: a table as files are, a reading a row, answered at once, with reports to look at if asked for."""

from functools import partial
from typing import Any

from flask import Blueprint, Response, abort, request

from heartlevel.bulk.wrong_call import WrongCall
from heartlevel.intake.request import RefusedRequest, TooManyReadings
from heartlevel.intake.texts.legible_table import DELIMITERS, legible_rows
from heartlevel.legible import legible_urgencies
from heartlevel.report.report import report_of
from heartlevel.web.answering import JSON, choose_rules, keeper, most_readings, respond, rules_in_force, tagged
from heartlevel.web.bodies.sent import OtherMediaType, sent
from heartlevel.web.written_as_report import HTML, reports_response

CSV, MOST_COLUMNS = "text/csv", 1_000
NOT_INSTALLED = "tables need pyarrow, which is not installed here; send requests as JSON"
tables = Blueprint("heartlevel-tables", __name__)
tables.before_request(choose_rules)


class WrongTable(RefusedRequest):
    """The columns of a table are not understood: which, and how urgent is what is legible in its rows."""

    def __init__(self, detail: str, urgency: dict[str, Any]) -> None:
        """Keep what is wrong as the exception's text: it names columns and holds nothing of the rows."""
        super().__init__([], urgency)
        self.args = (detail,)


@tables.post("/v1/tables")
def assess_table() -> Response:
    """Assess the subjects of a table. What cannot be read is named by line and column; the rest is answered."""
    if request.mimetype != CSV:
        raise OtherMediaType([CSV])
    try:
        from heartlevel.bulk.one_table import assessed_table
    except ModuleNotFoundError as missing:
        if missing.name != "pyarrow":
            raise
        abort(501, NOT_INSTALLED)
    table = sent(request).whole_body()
    _refuse_large(table)
    try:
        assessed = assessed_table(table, rules_in_force(), request.args.get("time_zone"))
    except WrongCall as wrong:
        (urgency,) = legible_urgencies([legible_rows(table)], rules_in_force())
        raise WrongTable(str(wrong), urgency) from None
    told = assessed.as_dict()
    for number, answer in enumerate(told["answers"], start=1):
        keeper()(answer, line=number)
    if request.accept_mimetypes.best_match([JSON, HTML], JSON) == HTML:
        return tagged(reports_response([partial(report_of, *subject, rules_in_force()) for subject in assessed.subjects]))
    return respond(told)


def _refuse_large(table: bytes) -> None:
    """Refuse a table of more rows or columns than it may have, by what parts them. Raises TooManyReadings."""
    ends = b"\n" if b"\n" in table else b"\r"
    rows = table.count(ends) - table.endswith(ends)
    columns = 1 + max(map(table.partition(ends)[0].count, DELIMITERS.encode()))
    if columns > MOST_COLUMNS:
        abort(413, f"{columns} columns; a table may have {MOST_COLUMNS}")
    if rows > most_readings():
        raise TooManyReadings(rows, most_readings())
