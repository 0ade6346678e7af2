"""What several tests share."""

import json
from functools import cache

from heartlevel import Rules
from heartlevel.command.demo import HARBOUR_LANE


@cache
def rules() -> Rules:
    return Rules.load()


def demo() -> list[dict]:
    return [json.loads(line) for line in HARBOUR_LANE.read_text().splitlines()]
