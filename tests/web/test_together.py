"""Requests of several threads are assessed in one go, and each gets the answer it would have got alone."""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from time import monotonic, sleep

import pytest

from heartlevel.intake.request import read
from heartlevel.one_call import answer_alone, answer_requests
from heartlevel.web import together
from heartlevel.web.together import Together
from support import demo, rules, week

SOME = 5


class Broken(Exception):
    pass


def requests(payloads):
    return [read(one, rules().ruleset.choices) for one in payloads]


@pytest.fixture
def calls(monkeypatch):
    """The requests of each assessment, and of whom an assessment is to fail."""
    seen, broken = [], []

    def noted(some, by):
        seen.append(list(some))
        if any(one is faulty for faulty in broken for one in some):
            raise Broken
        return answer_requests(some, by)

    monkeypatch.setattr(together, "answer_requests", noted)
    noted.seen, noted.broken = seen, broken
    return noted


def at_once(waiting, of_rules=None):
    """Let every request's thread be in the queue before the first of them is served."""
    desk = Together()
    by = of_rules or [rules()] * len(waiting)
    with ThreadPoolExecutor(len(waiting)) as threads:
        with desk._assessing:
            found = [threads.submit(desk.answer, one, of) for one, of in zip(waiting, by, strict=True)]
            patience = monotonic() + 120
            while len(desk._waiting) < len(waiting):
                assert monotonic() < patience
                sleep(0.001)
        return [one.exception() or one.result() for one in found]


def test_those_who_wait_are_answered_in_one_go_and_as_if_alone(calls):
    waiting = requests(one for one in demo()[:SOME] if len(one["readings"]) < 60)
    assert at_once(waiting) == [answer_alone(one, rules()) for one in waiting]
    assert sorted(map(len, calls.seen)) == [len(waiting)]


def test_one_that_cannot_be_answered_spoils_no_other_and_is_logged(calls, caplog):
    waiting = requests([week()] * SOME)
    calls.broken.append(waiting[2])
    found = at_once(waiting)
    assert isinstance(found[2], Broken)
    assert f"{SOME} requests together: Broken at {__file__}:" in caplog.text
    del found[2], waiting[2]
    assert found == [answer_alone(one, rules()) for one in waiting]


def test_a_large_request_goes_alone(calls):
    waiting = requests([week(), week(28, ((128, 82),) * 8), week()])
    at_once(waiting)
    alone = [some for some in calls.seen if waiting[1] in some]
    assert len(waiting[1].readings) > together.MOST_READINGS_TOGETHER
    assert [len(some) for some in alone] == [1]


def test_rule_sets_are_not_mixed(calls):
    other = replace(rules())
    waiting = requests([week()] * 4)
    found = at_once(waiting, [rules(), other, rules(), other])
    assert [len(some) for some in calls.seen] == [2, 2]
    assert len(found) == 4


def test_nobody_waits_for_company(calls):
    desk, (only,) = Together(), requests([week()])
    assert desk.answer(only, rules()) == answer_alone(only, rules())
    assert (len(calls.seen), len(desk._waiting)) == (1, 0)
