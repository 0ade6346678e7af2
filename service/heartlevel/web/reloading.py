"""The rules a worker answers with, and their replacement by changed files without a pause.

Changed files are loaded in a child process and taken over whole; with any mistake in them the old rules stay.
"""

import logging
from collections.abc import Callable, Sequence
from pathlib import Path
from threading import Event, Thread

from heartlevel.assessment import Rules
from heartlevel.compiling import CompilerFailed, Stamp, StillChanging, compiled_apart, stamp_of
from heartlevel.ruling.source import RuleFaults

LOG = logging.getLogger("heartlevel")


class RulesInForce:
    """The rules of one process. `current` is read once a request; it changes as a whole or not at all."""

    def __init__(self, folder: Path | None = None, layers: Sequence[Path] = (), rules: Rules | None = None) -> None:
        """Load the rules. Raises RuleFaults: a service does not start without."""
        self.folder, self.layers = folder, tuple(layers)
        self._taken = self._seen = self._stamp()
        self.current = rules or Rules.load(folder, layers)
        self.refused: tuple[str, ...] = ()  # why changed files were not taken over
        self.noted: Callable[[str], None] = lambda outcome: None  # told "taken" or "refused"

    def watch(self, seconds: float) -> Event:
        """Look for changed files every so many seconds until the event returned is set."""
        stop = Event()

        def look() -> None:
            while not stop.wait(seconds):
                self.look()

        Thread(target=look, name="rules", daemon=True).start()
        return stop

    def look(self) -> None:
        """Take changed files over, once they have been left alone from one look to the next."""
        stamp = self._stamp()
        settled, self._seen = stamp == self._seen, stamp
        if not settled or stamp == self._taken:
            return
        try:
            rules = compiled_apart(self.folder, self.layers)
        except RuleFaults as faults:
            self._refuse(stamp, [str(fault) for fault in faults.faults])
        except CompilerFailed as failure:
            self._refuse(stamp, [f"the rules could not be compiled: {failure}"])
        except StillChanging:
            return  # the next look finds them changed again
        else:
            self._take(stamp, rules)

    def _take(self, stamp: Stamp, rules: Rules) -> None:
        self._taken, self.current, self.refused = stamp, rules, ()
        LOG.info("rules taken over: revision %s, %s", rules.ruleset.revision, rules.ruleset.fingerprint)
        self.noted("taken")

    def _refuse(self, stamp: Stamp, reasons: Sequence[str]) -> None:
        self._taken, self.refused = stamp, tuple(reasons)
        for reason in reasons:
            LOG.error("changed rules refused, the old ones stay: %s", reason)
        self.noted("refused")

    def _stamp(self) -> Stamp:
        return stamp_of(self.folder, self.layers)
