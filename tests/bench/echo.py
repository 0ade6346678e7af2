"""The yardstick: the same server, framework and kind of workers, with a route that only parses and
writes back what was sent.

`python tests/bench/echo.py PORT WORKERS`
"""

import sys
from typing import Any

import orjson
from flask import Flask, Response, request
from gunicorn.app.base import BaseApplication

from heartlevel.web.server import settings

PATH = "/echo"
SAME = ("preload_app", "worker_connections", "keepalive")


def create_echo() -> Flask:
    app = Flask("echo", static_folder=None)

    @app.post(PATH)
    def echo() -> Response:
        return Response(orjson.dumps(orjson.loads(request.get_data())), content_type="application/json")

    return app


class EchoServer(BaseApplication):
    """gunicorn with the service's own settings of how requests are shared out."""

    def __init__(self, port: str, workers: str) -> None:
        self.options = {"bind": f"127.0.0.1:{port}", "workers": int(workers), "worker_class": "gevent",
                        **{name: settings()[name] for name in SAME}}  # fmt: skip
        super().__init__()

    def load_config(self) -> None:
        for name, value in self.options.items():
            self.cfg.set(name, value)

    def load(self) -> Any:
        return create_echo()


if __name__ == "__main__":
    EchoServer(*sys.argv[1:]).run()
