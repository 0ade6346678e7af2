"""`POST /v1/tables`: a table as files are, a reading a row, answered at once."""

from flask import Blueprint, Response, abort, request

from heartlevel.bulk.wrong_call import WrongCall
from heartlevel.intake.request import TooManyReadings
from heartlevel.web.bodies.sent import OtherMediaType, sent
from heartlevel.web.routes import choose_rules, keeper, most_readings, respond, rules_in_force

CSV = "text/csv"
NOT_INSTALLED = "tables need pyarrow, which is not installed here; send requests as JSON"
tables = Blueprint("heartlevel-tables", __name__)
tables.before_request(choose_rules)


@tables.post("/v1/tables")
def assess_table() -> Response:
    """Assess the subjects of a table. What cannot be read is named by line and column; the rest is answered."""
    if request.mimetype != CSV:
        raise OtherMediaType([CSV])
    try:
        from heartlevel.bulk.one_table import table_answers
    except ModuleNotFoundError as missing:
        if missing.name != "pyarrow":
            raise
        abort(501, NOT_INSTALLED)
    table = sent(request).whole_body()
    rows = len(table.splitlines()) - 1
    if rows > most_readings():
        raise TooManyReadings(rows, most_readings())
    try:
        told = table_answers(table, rules_in_force(), request.args.get("time_zone"))
    except WrongCall as wrong:
        abort(422, str(wrong))
    for number, answer in enumerate(told["answers"], start=1):
        keeper()(answer, line=number)
    return respond(told)
