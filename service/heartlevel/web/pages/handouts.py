"""The routes that give what is handed to the person measured: logs to fill in, and the sheet."""

from collections.abc import Callable, Mapping
from datetime import date

from flask import Blueprint, Response, abort, request

from heartlevel.handouts.asked_logs import blank_log, log_for
from heartlevel.handouts.log_page import log_page
from heartlevel.handouts.log_sheet import LAST_FIRST_DAY, MOST_DAYS, LogSheet
from heartlevel.handouts.log_workbook import NoTimeZone, log_workbook
from heartlevel.handouts.patient_page import patient_page
from heartlevel.handouts.patient_sheet import patient_sheet
from heartlevel.one_call import whole_answer_to
from heartlevel.web.answering import choose_rules, keeper, most_readings, readings_sent, rules_in_force, tagged
from heartlevel.web.written_as_report import HTML, page_response

XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
WRITERS: Mapping[str, Callable[[LogSheet], bytes]] = {HTML: log_page, XLSX: log_workbook}
OPTIONS, LAYOUT = ("protocol", "guideline", "language", "time_zone"), ("days", "first_day")
handout_routes = Blueprint("heartlevel-handouts", __name__)
handout_routes.before_request(choose_rules)


@handout_routes.get("/v1/log-sheets")
def get_log_sheet() -> Response:
    """Give the empty log of a protocol, for nobody in particular."""
    strange = sorted(request.args.keys() - {*OPTIONS, *LAYOUT})
    if strange:
        abort(400, f"{strange[0]}: not among {', '.join((*OPTIONS, *LAYOUT))}")
    options = {name: request.args[name] for name in OPTIONS if name in request.args}
    return _written(blank_log(options, rules_in_force(), *_layout()))


@handout_routes.post("/v1/log-sheets")
def make_log_sheet() -> Response:
    """Give the log for a person, with the questions that matter most by what was sent of them."""
    return _written(log_for(readings_sent(), rules_in_force(), *_layout(), most_readings()))


@handout_routes.post("/v1/patient-sheets")
def make_patient_sheet() -> Response:
    """Assess one subject, and give the page for the person."""
    asked, answer = whole_answer_to(readings_sent(), rules_in_force(), most_readings())
    keeper()(answer)
    return tagged(page_response(patient_page(patient_sheet(asked, answer, rules_in_force()))))


def _layout() -> tuple[int | None, date | None]:
    """Return the days and the first day asked for."""
    days, first = request.args.get("days"), request.args.get("first_day")
    if days is not None and not (days.isdecimal() and len(days) < 4 and 1 <= int(days) <= MOST_DAYS):
        abort(400, f"days: a number from 1 to {MOST_DAYS} is expected")
    try:
        begins = date.fromisoformat(first) if first else None
    except ValueError:
        abort(400, "first_day: a date is expected, YYYY-MM-DD")
    if begins and begins > LAST_FIRST_DAY:
        abort(400, f"first_day: {LAST_FIRST_DAY} at the latest")
    return int(days) if days else None, begins


def _written(log: LogSheet) -> Response:
    """Return a log as the page or the spreadsheet, whichever the caller likes better."""
    kind = request.accept_mimetypes.best_match(list(WRITERS), HTML)
    try:
        content = WRITERS[kind](log)
    except NoTimeZone as error:
        abort(400, f"time_zone: {error}")
    except ModuleNotFoundError:
        abort(406, "this installation makes no spreadsheets; ask for text/html")
    response = tagged(page_response(content) if kind == HTML else Response(content, content_type=XLSX))
    response.vary.add("Accept")
    return response
