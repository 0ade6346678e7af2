"""The Chromium of the system, driven by playwright; without it these tests are skipped, and say so."""

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from tempfile import TemporaryDirectory
from threading import Thread

import pytest
from playwright.sync_api import sync_playwright
from werkzeug.serving import make_server

from heartlevel.web.application import create_app
from support import rules

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")


@contextmanager
def served(**settings) -> Iterator[str]:
    """Serve the application on a port of its own; yields the address."""
    server = make_server("127.0.0.1", 0, create_app({"RELOAD_SECONDS": 0, **settings}, rules()), threaded=True)
    thread = Thread(target=server.serve_forever)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}/"
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


@pytest.fixture(scope="session")
def chromium():
    if CHROMIUM is None:
        pytest.skip("no chromium on this machine: pages were not looked at in a browser")
    # Chromium may end before it has removed what it made for itself. Its sockets want a short path.
    with TemporaryDirectory(prefix="chromium-") as scratch, sync_playwright() as driver:
        own = {**os.environ, "TMPDIR": scratch}
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"], env=own)
        yield browser
        browser.close()


@pytest.fixture(scope="module")
def address():
    with served() as address:
        yield address
