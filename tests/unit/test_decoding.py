"""A problem's pointer leads back to what was sent."""

import pytest

from heartlevel.intake.decoding import Decoded
from heartlevel.intake.request import read
from support import rules

SENT = Decoded(
    {"subject": {"id": "s-1"}, "readings": [{"taken_at": "soon", "circumstances": ["stres"]}]},
    {
        "": "line 2",
        "/readings/0": "line 3",
        "/readings/0/taken_at": "line 3, Day",
        "/readings/0/circumstances": "line 3, Why",
    },
)


@pytest.mark.parametrize(
    ("pointer", "origin"),
    [
        ("", "line 2"),
        ("/subject/id", "line 2"),
        ("/readings/0/taken_at", "line 3, Day"),
        ("/readings/0/circumstances/0", "line 3, Why"),
        ("/readings/0/systolic", "line 3"),
    ],
)
def test_a_part_without_a_place_of_its_own_stands_where_the_nearest_around_it_does(pointer, origin):
    assert SENT.origin_of(pointer) == origin


def test_every_problem_of_a_request_has_a_place():
    problems = read(SENT.request, rules().ruleset.choices).problems
    assert {(one.code, SENT.origin_of(one.pointer)) for one in problems} == {
        ("missing", "line 3"),
        ("not-one-of", "line 3, Why"),
    }


def test_what_was_sent_as_it_is_has_no_other_places():
    assert Decoded({}).origin_of("/readings/0") is None
