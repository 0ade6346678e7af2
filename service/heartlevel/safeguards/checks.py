"""All safeguards, in the order of their cost; importing this puts them in force for every load of layers."""

from collections.abc import Iterator
from itertools import chain

from heartlevel.assessment import SAFEGUARDS, Rules
from heartlevel.ruling.language.faults import RuleFault
from heartlevel.ruling.safety.excluded import excluded_for_values
from heartlevel.ruling.safety.figures import senseless_figures
from heartlevel.ruling.safety.proof import less_urgent
from heartlevel.ruling.safety.remarks import Unusual, unanswered
from heartlevel.ruling.safety.titles import understated
from heartlevel.ruling.safety.unreachable import never_firing
from heartlevel.ruling.safety.unusual import unusual_changes
from heartlevel.safeguards.people import worse_off
from heartlevel.safeguards.values import left_out_for_values


def proved(below: Rules, rules: Rules) -> Iterator[RuleFault]:
    """Yield what the proof over all facts finds."""
    return less_urgent(below.ruleset, rules.ruleset)


def meant(below: Rules, rules: Rules) -> Iterator[RuleFault]:
    """Yield what cannot be meant, and what is unusual and has no reason."""
    base, laid = below.ruleset, rules.ruleset
    remarks = list(chain(senseless_figures(base, laid), understated(base, laid), unusual_changes(base, laid)))
    yield from (remark for remark in remarks if isinstance(remark, RuleFault))
    yield from excluded_for_values(base, laid)
    yield from never_firing(base, laid)
    yield from unanswered(laid, [remark for remark in remarks if isinstance(remark, Unusual)])


SAFEGUARDS[:] = [meant, proved, left_out_for_values, worse_off]
