"""One person, the same by pinned rules, and many in a stream; with the standard library alone.

python assess.py http://localhost:8000 request.json people.ndjson
"""

import json
import sys
import time
from collections.abc import Iterable, Iterator
from contextlib import closing
from http.client import HTTPConnection, HTTPException, HTTPResponse, HTTPSConnection
from pathlib import Path
from threading import Thread
from typing import Any
from urllib.parse import urlsplit

PATH = "/v1/assessments"
TRY_AGAIN = (429, 502, 503, 504)
TRIES, LONGEST_WAIT = 4, 30.0


class Refused(Exception):
    """The service refused; `problem` is what it said (RFC 9457), with every fault in `problems`."""

    def __init__(self, status: int, problem: dict[str, Any]) -> None:
        """Keep both."""
        super().__init__(f"{status}: {problem.get('detail', '')}")
        self.status, self.problem = status, problem


class Service:
    """A heartlevel service at an address."""

    def __init__(self, address: str, timeout: float = 60) -> None:
        """Take the address, such as http://localhost:8000, and the seconds after which an answer is given up."""
        parts = urlsplit(address)
        self._connect = HTTPSConnection if parts.scheme == "https" else HTTPConnection
        self._at, self._timeout = parts.netloc, timeout

    def assess(self, request: dict[str, Any], rules: str | None = None) -> tuple[dict[str, Any], str]:
        """Return the answer and the ETag of the rules; by the `rules` of an earlier answer, or Refused with 412."""
        headers = {"Content-Type": "application/json"} | ({"If-Match": rules} if rules else {})
        for attempt in range(TRIES):
            wait = min(2.0**attempt, LONGEST_WAIT)
            try:
                with closing(self._connect(self._at, timeout=self._timeout)) as connection:
                    connection.request("POST", PATH, json.dumps(request), headers)
                    response = connection.getresponse()
                    body = json.loads(response.read())
            except (OSError, HTTPException, ValueError):  # no answer, or not all of one
                if attempt == TRIES - 1:
                    raise
            else:
                if response.status == 200:
                    return body, response.headers["ETag"]
                if response.status not in TRY_AGAIN or attempt == TRIES - 1:
                    raise Refused(response.status, body)
                wait = min(float(response.headers.get("Retry-After") or wait), LONGEST_WAIT)
            time.sleep(wait)
        raise AssertionError("every attempt ends above")

    def assess_all(self, requests: Iterable[dict[str, Any]]) -> Iterator[dict[str, Any]]:
        """Yield an answer a request, in order, however many; one that cannot be assessed has `line` and `problems`.

        They are sent by a thread while answers are read: who sends all before reading waits for ever once buffers are
        full.
        """
        with closing(self._connect(self._at, timeout=self._timeout)) as connection:
            connection.putrequest("POST", PATH)
            connection.putheader("Content-Type", "application/x-ndjson")
            connection.putheader("Transfer-Encoding", "chunked")
            connection.endheaders()
            sender = Thread(target=_send, args=(connection, requests), daemon=True)
            sender.start()
            response: HTTPResponse = connection.getresponse()
            if response.status != 200:
                raise Refused(response.status, json.loads(response.read()))
            for line in response:
                yield json.loads(line)
            sender.join()


def _send(connection: HTTPConnection, requests: Iterable[dict[str, Any]]) -> None:
    """Send requests in chunks (RFC 9112, 7.1). Where the service has refused it no longer listens; what it said is read."""
    try:
        for request in requests:
            line = json.dumps(request).encode() + b"\n"
            connection.send(b"%x\r\n%b\r\n" % (len(line), line))
        connection.send(b"0\r\n\r\n")
    except OSError:
        return


def main(address: str, request: str, people: str) -> None:
    """Print the answers, one a line."""
    service, payload = Service(address), json.loads(Path(request).read_text("utf-8"))
    answer, rules = service.assess(payload)
    print(json.dumps(answer))
    print(json.dumps(service.assess(payload, rules)[0]))
    with Path(people).open(encoding="utf-8") as lines:
        for answer in service.assess_all(map(json.loads, lines)):
            print(json.dumps(answer))


if __name__ == "__main__":
    main(*sys.argv[1:])
