"""The report as a page: HTML that is whole in itself, and the same printed as PDF."""

from collections.abc import Iterator

from heartlevel.assessment import Rules
from heartlevel.conclusions.conclude import Conclusions
from heartlevel.handouts.rendering import rendered
from heartlevel.one_call import answers_with_others
from heartlevel.report.drawing import as_source
from heartlevel.report.report import Report, report_of


def report_pages(conclusions: Conclusions, rules: Rules) -> Iterator[bytes]:
    """Yield the report on each subject as a page of HTML."""
    for subject, answer in enumerate(answers_with_others(conclusions, rules)):
        yield report_page(report_of(conclusions, subject, answer, rules))


def printed_reports(conclusions: Conclusions, rules: Rules) -> Iterator[bytes]:
    """Yield the report on each subject as PDF."""
    yield from map(printed, report_pages(conclusions, rules))


def report_page(*reports: Report) -> bytes:
    """Return one page, in HTML, with a report or several one after another."""
    return rendered("report.html.j2", reports[0].language, reports=reports, source=as_source)


def printed(page: bytes) -> bytes:
    """Return a page as PDF; nothing is fetched for it.

    Raises ModuleNotFoundError without the extra `pdf`, OSError without the libraries it loads.
    """
    from weasyprint import HTML
    from weasyprint.urls import URLFetcher

    written = HTML(string=page.decode(), url_fetcher=URLFetcher(allowed_protocols=("data",))).write_pdf()
    assert isinstance(written, bytes)
    return written
