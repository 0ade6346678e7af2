"""Pages from templates: whole in themselves, everything escaped, without a script and without a request to anywhere."""

from base64 import b64encode
from datetime import date
from functools import lru_cache
from hashlib import sha256
from typing import Any

from babel.dates import format_date, format_skeleton
from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from heartlevel.ruling.language.template import locale_of


def templates_of(package: str, folder: str = ".") -> Environment:
    """Return what fills in the templates in a folder of a package: all is escaped, and nothing may be missing."""
    loader = PackageLoader(package, folder)
    return Environment(loader=loader, autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)


def style_digest(style: str) -> str:
    """Return the hash by which a Content-Security-Policy knows a style that stands in a page."""
    return b64encode(sha256(style.encode()).digest()).decode()


@lru_cache(maxsize=1)
def _environment() -> Environment:
    return templates_of("heartlevel.handouts", "templates")


@lru_cache(maxsize=1)
def _style() -> str:
    loader = _environment().loader
    assert loader is not None
    text, _, _ = loader.get_source(_environment(), "style.css")
    return text


def own_style() -> str:
    """Return how a Content-Security-Policy names the style that stands in pages."""
    return f"'sha256-{style_digest(_style())}'"


def page_policy() -> str:
    """Return the Content-Security-Policy of pages: nothing but their own style, known by its hash."""
    return f"default-src 'none'; img-src data:; style-src {own_style()}; base-uri 'none'; form-action 'none'"


def rendered(template: str, language: str, **values: Any) -> bytes:
    """Return the page that a template makes of values, in UTF-8."""
    # The style is our own; what is sent goes through escaping.
    own = {"style": Markup(_style()), "policy": page_policy(), "language": language}  # noqa: S704
    return _environment().get_template(template).render(**own, **values).encode()


def long_date(day: str, language: str) -> str:
    """Return a date of ISO 8601 in words."""
    return format_date(date.fromisoformat(day), "long", locale_of(language))


def day_words(day: date, language: str) -> str:
    """Return a date with its day of the week, as short as a language writes it."""
    return str(format_skeleton("MMMEd", day, locale=locale_of(language)))
