"""A page that is watched: what it logs, asks for and shows wider than its window, and what axe-core says of it."""

from contextlib import contextmanager

from axe_playwright_python.sync_playwright import Axe

WIDTHS = [360, 1440]


@contextmanager
def watched(chromium, address: str, width: int):
    """Yield a page; at the end it has logged no error, asked nobody else, and fits its window."""
    context = chromium.new_context(viewport={"width": width, "height": 900}, accept_downloads=False)
    page, errors, asked = context.new_page(), [], []
    page.on("console", lambda message: errors.append(message.text) if message.type == "error" else None)
    page.on("pageerror", lambda error: errors.append(str(error)))
    page.on("request", lambda request: asked.append(request.url))
    try:
        page.goto(address)
        yield page
        # That an answer was a refusal is logged by the browser itself.
        assert [text for text in errors if "the server responded with a status of 4" not in text] == []
        here = address.partition("try/")[0]
        assert [url for url in asked if not url.startswith((here, "data:", "file:"))] == []
        assert page.evaluate("document.documentElement.scrollWidth") <= width
    finally:
        context.close()


def violations(chromium, address: str, width: int = 1440, before=lambda page: None) -> list:
    """Return what axe-core finds, in a page that lets it in: under the page's own policy no script of another runs."""
    context = chromium.new_context(viewport={"width": width, "height": 900}, bypass_csp=True)
    try:
        page = context.new_page()
        page.goto(address)
        before(page)
        return [(one["id"], one["nodes"][0]["target"]) for one in Axe().run(page).response["violations"]]
    finally:
        context.close()
