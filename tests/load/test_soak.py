"""The soak for a moment: SOAK_MINUTES=60 is the hour of `load/soak.py`, which also judges memory."""

import json
import os

from load.soak import soak

MINUTES = float(os.environ.get("SOAK_MINUTES", "0.4"))
SHARE = 0.4  # of what the machine can do: other tests run beside it


def test_no_answer_is_lost_or_wrong_while_rules_change_and_workers_are_killed(capsys):
    assert soak(MINUTES, every=2, share=SHARE) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["asked"] > 50
    assert min(told[kind] for kind in ("rules replaced", "broken rules", "worker killed", "hostile requests")) > 0
