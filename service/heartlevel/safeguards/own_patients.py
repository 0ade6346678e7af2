"""A layer's own patients: the layer is refused unless each of them gets the answer that is written there."""

from collections.abc import Iterator
from itertools import chain

from heartlevel.assessment import Rules
from heartlevel.ruling.language.faults import RuleFault
from heartlevel.vignettes.judging import judged_patients, unknown_names


def own_patients_missed(_: Rules, rules: Rules) -> Iterator[RuleFault]:
    """Yield what is wrong with the patients of the layer on top.

    Those of layers below it were written for fewer layers: like shipped ones, they are told where they come out otherwise.
    """
    entries = rules.ruleset.layers[-1].patients
    if entries:
        yield from unknown_names(rules.ruleset, entries)
        yield from chain.from_iterable(judged.faults() for judged in judged_patients(rules, entries))
