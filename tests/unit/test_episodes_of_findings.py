"""The episode of a finding is looked up, and is the one that a search through all of them comes to."""

import random
from types import SimpleNamespace

from heartlevel.conclusions.findings import _episode_of, _ranks

FIRINGS, ROWS = range(4), range(12)


def searched(episodes, number, readings):
    """Return the first, that is the most urgent, of those that the firing and any of the readings take part in."""
    own = [episode for episode in episodes if number in episode.firings]
    return next((episode for episode in own if not readings or set(readings) & set(episode.rows)), None)


def test_it_is_the_most_urgent_that_the_firing_and_its_readings_take_part_in():
    chance, outcomes = random.Random(17), set()
    for _ in range(2_000):
        episodes = [
            SimpleNamespace(
                firings=chance.sample(FIRINGS, chance.randint(0, 3)), rows=chance.sample(ROWS, chance.randint(0, 4))
            )
            for _ in range(chance.randint(0, 6))
        ]
        number, readings = chance.choice(FIRINGS), chance.sample(ROWS, chance.randint(0, 3))
        expected = searched(episodes, number, readings)
        assert _episode_of(episodes, number, _ranks(episodes, number), readings) is expected
        outcomes.add(expected and episodes.index(expected))
    assert outcomes == {None, *range(6)}
