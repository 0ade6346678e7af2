"""The episode of a finding is looked up, and is the one that a search through all of them comes to."""

import random
from types import SimpleNamespace

from heartlevel.conclusions.findings import _episode_of, _ranks
from heartlevel.conclusions.urgency import following
from support import answer, reading

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


def test_a_subjects_readings_are_looked_through_once_and_not_for_each_episode(monkeypatch):
    looked_at = []

    def out_of_danger(repeats, subject, kind, look=following.Repeats._out_of_danger):
        looked_at.append((subject, kind))
        return look(repeats, subject, kind)

    monkeypatch.setattr(following.Repeats, "_out_of_danger", out_of_danger)
    readings = [reading(f"2026-03-{day:02}T07:10:00Z", 199, 88) for day in range(1, 29)]
    told = answer({"subject": {"id": "s-1"}, "readings": readings})
    assert (len(told["urgency"]["episodes"]), len(looked_at)) == (28, 1)
