"""heartlevel: judges blood-pressure readings by declarative rules and averages them by published protocols.

    >>> import heartlevel
    >>> rules = heartlevel.Rules.load()
    >>> answer = heartlevel.answer_to({"subject": {"id": "s-01"}, "readings": []}, rules)
"""

from heartlevel.assessment import Rules
from heartlevel.intake.request import RefusedRequest, TooManyReadings
from heartlevel.one_call import answer_to
from heartlevel.ruling.source import RuleFaults
from heartlevel.version import VERSION as __version__

__all__ = ["RefusedRequest", "RuleFaults", "Rules", "TooManyReadings", "__version__", "answer_to"]
