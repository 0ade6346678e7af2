"""What tests of the service share."""

import os

import pytest

from heartlevel.compiling import apart
from support import rules


@pytest.fixture(scope="module")
def compiler_waits():
    """As in a server, a process that has loaded all waits for what is to be compiled; else Python is started for each."""
    apart.have_one_wait(rules)
    (waiting,) = apart._WAITING
    yield
    apart._WAITING.clear()
    waiting._asking.close()
    os.waitpid(waiting.pid, 0)  # it ends when nobody can ask any more
