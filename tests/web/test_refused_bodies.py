"""A body that is refused and then breaks off, or stalls, is refused all the same, and nothing of it is logged."""

import pytest
from gunicorn.http.errors import InvalidChunkSize, NoMoreData

from heartlevel.web.application import create_app
from heartlevel.web.connections.pace import TooSlow
from support import rules

MARKER = b'{"systolic": 231, "id": "MRN-1"'


class Breaking:
    """A body that is too large, and of which then something else comes."""

    def __init__(self, error: Exception) -> None:
        self.error, self.left = error, 3_000

    def read(self, size: int = -1) -> bytes:
        if self.left <= 0:
            raise self.error
        self.left -= 1_000
        return b"x" * 1_000


@pytest.mark.parametrize("error", [InvalidChunkSize(MARKER), NoMoreData(MARKER), TooSlow("body"), OSError("gone")])
def test_a_body_too_large_that_breaks_off_is_too_large(caplog, error):
    app = create_app({"MAX_CONTENT_LENGTH": 500}, rules())
    surroundings = {"wsgi.input_terminated": True, "wsgi.input": Breaking(error)}
    answer = app.test_client().post("/v1/assessments", content_type="application/json", environ_overrides=surroundings)
    assert answer.status_code == 413
    assert "MRN-1" not in caplog.text and "Traceback" not in caplog.text


def test_what_nobody_handles_is_logged_without_its_text(caplog):
    app = create_app({}, rules())
    with app.test_request_context("/v1/rules"):
        error = ValueError(MARKER)
        app.log_exception((ValueError, error, None))
    assert "ValueError" in caplog.text and "MRN-1" not in caplog.text
