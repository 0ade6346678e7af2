"""For those who start gunicorn themselves; `heartlevel serve` and the image need no file.

    gunicorn -c docker/gunicorn.conf.py 'heartlevel.web.application:create_app()'

The settings are those of `heartlevel serve`; GUNICORN_CMD_ARGS and options of the call (--bind, --workers) go before them.
On an address that others reach it starts only with keys, with tokens, or with HEARTLEVEL_BEHIND_PROXY=true.
"""

from atexit import register
from contextlib import ExitStack
from os import environ

from heartlevel.web.server import prepare_process, settings, shared_counters

prepare_process()
# Read before the application is imported, which is when shared counters need their directory; removed at the end.
counters = ExitStack()
counters.enter_context(shared_counters())
register(counters.close)

bind = "127.0.0.1:8000"
workers = int(environ.get("WEB_CONCURRENCY", "2"))
globals().update(settings())
