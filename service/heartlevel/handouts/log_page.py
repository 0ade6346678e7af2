"""A log as a page to print."""

from functools import partial

from heartlevel.handouts.log_sheet import LogSheet
from heartlevel.handouts.rendering import day_words, rendered


def log_page(log: LogSheet) -> bytes:
    """Return the page, in HTML."""
    return rendered("log.html.j2", log.language, log=log, day_words=partial(day_words, language=log.language))
