"""A log as a spreadsheet: a row a reading, cells that refuse what cannot be, and hidden rows by which it is read back.

The same log is the same bytes: neither the day it is written on nor the machine is in it.
"""

from datetime import UTC, date, datetime
from io import BytesIO
from typing import Any

from heartlevel.handouts.log_columns import DAY, READING, SITTING, WHOLE, LogColumn, columns_of
from heartlevel.handouts.log_sheet import LogSheet
from heartlevel.tables.fields import OPTIONS, name_in_table
from heartlevel.tables.meanings import WORDS_HEAD, WORDS_SHEET

TIME_ZONE = name_in_table(OPTIONS, ("time_zone",))
WRITTEN_ON = datetime(2000, 1, 1, tzinfo=UTC)
TEXTS = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
LINE_HEIGHT, ROW_HEIGHT, LETTERS_A_LINE, A4 = 15, 20, 110, 9
SEVERE = {"bold": True, "bg_color": "#D9D9D9", "pattern": 1}
LONGEST_TITLE = 31  # of a sheet


class NoTimeZone(ValueError):
    """Times in a spreadsheet have no zone, so that it has to be known beforehand."""


def log_workbook(log: LogSheet) -> bytes:
    """Return the file. Raises NoTimeZone, or ModuleNotFoundError where XlsxWriter is not installed."""
    if TIME_ZONE not in log.fixed:
        raise NoTimeZone("a spreadsheet needs a time zone, such as Europe/Oslo: the times in it have none")
    from xlsxwriter import Workbook  # needs the extra `sheets`

    content = BytesIO()
    workbook = Workbook(content, {"in_memory": True, **TEXTS})
    workbook.set_properties({"title": log.words["log-title"], "created": WRITTEN_ON})
    _Writer(workbook, log).write()
    workbook.close()
    return content.getvalue()


class _Writer:
    """Writes one log into a workbook."""

    def __init__(self, workbook: Any, log: LogSheet) -> None:
        self._log, self._columns = log, columns_of(log)
        self._sheet = workbook.add_worksheet(log.words["log-title"][:LONGEST_TITLE])
        self._words = workbook.add_worksheet(WORDS_SHEET)
        self._format = workbook.add_format
        self._lists: dict[str, str] = {}  # where the answers of a question stand
        self._rows = len(log.dates) * len(log.sittings) * log.readings

    def write(self) -> None:
        """Write the sheet of words, the head, and the rows."""
        self._write_words()
        head = self._write_head()
        for number, column in enumerate(self._columns):
            self._write_column(number, column, head)
        self._mark_severe(head)
        self._set_up(head)

    def _write_words(self) -> None:
        rows = [(question.field.name, shown, value) for question in self._log.questions
                for shown, value in question.answers.items()]  # fmt: skip
        for number, row in enumerate([WORDS_HEAD, *rows]):
            self._words.write_row(number, 0, row)
        names = [row[0] for row in rows]
        for name in names:
            first, last = names.index(name) + 2, len(names) - names[::-1].index(name) + 1
            self._lists[name] = f"='{WORDS_SHEET}'!$B${first}:$B${last}"
        self._words.hide()

    def _write_head(self) -> int:
        """Write title, instructions, headings, and the hidden row of names; return that row's number."""
        log, last = self._log, sum(not column.hidden for column in self._columns) - 1
        title = self._format({"bold": True, "font_size": 15})
        plain = self._format({"text_wrap": True, "valign": "top"})
        strong = self._format({"text_wrap": True, "valign": "top", "bold": True})
        lines = [(f"{log.words['log-title']} ({log.protocol.title})", title), *((text, plain) for text in log.instructions),
                 *((text, strong) for text in log.seek_help)]  # fmt: skip
        for number, (text, style) in enumerate(lines):
            self._sheet.merge_range(number, 0, number, last, text, style)
            self._sheet.set_row(number, LINE_HEIGHT * (1 + len(text) // LETTERS_A_LINE) + (9 if number == 0 else 0))
        heading = self._format({"bold": True, "text_wrap": True, "border": 1, "valign": "vcenter", "bg_color": "#EEEEEE"})
        for number, column in enumerate(self._columns):
            self._sheet.write(len(lines), number, column.heading, heading)
            self._sheet.write(len(lines) + 1, number, column.name)
        self._sheet.set_row(len(lines), 3 * LINE_HEIGHT)
        self._sheet.set_row(len(lines) + 1, None, None, {"hidden": True})
        return len(lines) + 1

    def _write_column(self, number: int, column: LogColumn, head: int) -> None:
        log = self._log
        size = {WHOLE: self._rows, DAY: len(log.sittings) * log.readings, SITTING: log.readings, READING: 1}[column.every]
        style = {"border": 1, "valign": "vcenter", "align": "center", "text_wrap": True, "locked": not column.to_fill_in}
        style |= {"num_format": column.number_format} if column.number_format else {}
        shape = self._format(style)
        for block, start in enumerate(range(head + 1, head + 1 + self._rows, size)):
            value = _as_cell(column.value(block))
            if size > 1:
                self._sheet.merge_range(start, number, start + size - 1, number, value, shape)
            else:
                self._sheet.write(start, number, value, shape)
        self._sheet.set_column(number, number, column.width, None, {"hidden": column.hidden})
        if column.takes:
            source = {"source": self._lists[column.name]} if column.answers else {}
            self._sheet.data_validation(head + 1, number, head + self._rows, number, {**column.takes, **source})

    def _mark_severe(self, head: int) -> None:
        """Make pressures stand out from which on help is to be sought."""
        names = [column.name for column in self._columns]
        for name, limit in zip(("systolic", "diastolic"), self._log.severe, strict=True):
            number = names.index(name)
            rule = {"type": "cell", "criteria": ">=", "value": limit, "format": self._format(SEVERE)}
            self._sheet.conditional_format(head + 1, number, head + self._rows, number, rule)

    def _set_up(self, head: int) -> None:
        sheet = self._sheet
        for number in range(head + 1, head + 1 + self._rows):
            sheet.set_row(number, ROW_HEIGHT)
        sheet.protect("", {"format_columns": True, "format_rows": True})
        sheet.freeze_panes(head + 1, 0)
        sheet.set_paper(A4)
        sheet.fit_to_pages(1, 0)
        sheet.repeat_rows(head - 1)


def _as_cell(value: Any) -> Any:
    return datetime.combine(value, datetime.min.time()) if isinstance(value, date) else value
