"""Invented people and what a careful clinician would answer, written before the service was asked."""

import pytest

from support import answer, rules
from vignettes.telling import EXPECTABLE, disagreements, request_of, vignettes

VIGNETTES = vignettes()


@pytest.mark.parametrize("vignette", [one for _, one in VIGNETTES], ids=[name for name, _ in VIGNETTES])
def test_the_answer_is_the_careful_clinicians(vignette):
    assert not disagreements(vignette["expect"], answer(request_of(vignette)))


def test_every_vignette_argues_its_expectation_with_a_source_and_expects_only_what_is_compared():
    for name, one in VIGNETTES:
        assert one["because"].strip() and one["source"].strip(), name
        assert one["expect"] and one["expect"].keys() <= EXPECTABLE, name


def test_every_rule_a_vignette_names_exists():
    known = {rule.id for rule in rules().ruleset.every_rule()}
    named = {rule for _, one in VIGNETTES for part in ("findings", "absent") for rule in one["expect"].get(part, [])}
    assert named <= known
