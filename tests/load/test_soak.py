"""The soak for as long as each kind of fault takes; `.ci/run` has two minutes of it, SOAK_MINUTES=60 an hour."""

import json
import os

from load.soak import FAULTS, Soak, soak, told

MINUTES = float(os.environ.get("SOAK_MINUTES", "0.2"))
SHARE = 0.4  # of what the machine can do: other tests run beside it


def test_no_answer_is_lost_or_wrong_while_rules_change_and_workers_are_killed(capsys):
    assert soak(MINUTES, every=2, share=SHARE) == 0
    assert json.loads(capsys.readouterr().out)["asked"] > 25


def test_a_soak_fails_for_an_answer_lost_or_wrong_and_where_a_kind_of_fault_is_missing(tmp_path):
    def outcome(**counts: int) -> int:
        run = Soak(None, tmp_path, [], [])
        run.counts.update(dict.fromkeys(FAULTS, 1) | {"asked": 9} | counts)
        run.times, run.memory = [0.1], {1: [(0.0, 1), (1.0, 1)]}
        return told(run, 1.0)

    assert outcome() == 0
    assert [outcome(**{name: 1}) for name in ("lost", "wrong")] == [1, 1]
    assert [outcome(**{name: 0}) for name in ("asked", *FAULTS)] == [1] * 6
