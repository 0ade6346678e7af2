"""The garbage collector in bulk runs: seldom asked, since nothing that is made for answers holds itself."""

import gc

import pytest

from heartlevel.bulk.parts.parts import BulkPart
from heartlevel.bulk.running import workers
from heartlevel.bulk.running.collector import SELDOM, seldom_collected
from heartlevel.bulk.running.results import JudgedPart
from heartlevel.intake.request import read
from heartlevel.one_call import answer_requests
from support import demo, rules


@pytest.mark.parametrize("count", [1, 2])
def test_parts_are_judged_while_the_collector_looks_seldom_and_afterwards_it_is_as_before(monkeypatch, count):
    before, held = (gc.get_threshold(), gc.get_freeze_count()), gc.get_freeze_count
    seen = []

    def judge_part(plan, part):
        return JudgedPart(part.number, [repr((gc.get_threshold()[0], held() > before[1])).encode()], b"", [])

    monkeypatch.setattr(workers, "judge_part", judge_part)
    seen += [
        judged.outputs for _, judged in workers.on_this_machine(None, (BulkPart(number, []) for number in range(3)), count)
    ]
    assert seen == [[repr((SELDOM, True)).encode()]] * 3
    assert (gc.get_threshold(), gc.get_freeze_count()) == before


def test_what_somebody_else_took_out_of_the_collectors_way_stays_so():
    gc.freeze()
    try:
        with seldom_collected():
            pass
        assert gc.get_freeze_count() > 0
    finally:
        gc.unfreeze()


def test_answers_leave_nothing_for_the_collector():
    """Else memory would grow between two of its looks; the first answers fill what is kept for good."""
    requests = [read(payload, rules().ruleset.choices) for payload in demo()]
    list(answer_requests(requests, rules()))
    gc.collect()
    gc.disable()
    try:
        list(answer_requests(requests, rules()))
        assert gc.collect() == 0
    finally:
        gc.enable()
