"""The rules a worker answers with, and their replacement by changed files without a pause.

Changed files are loaded in a child process and taken over whole; with any mistake in them the old rules stay.
"""

import logging
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass
from pathlib import Path
from threading import Event, Thread
from time import monotonic

from heartlevel.assessment import Rules
from heartlevel.bundles.bundling import BundleRefused, laid_out, load_rules
from heartlevel.compiling.apart import CompilerFailed, StillChanging, compiled_apart
from heartlevel.ruling.files.directories.stamps import Stamp, stamp_of
from heartlevel.ruling.language.faults import RuleFaults
from heartlevel.ruling.language.ruleset import RuleSet
from heartlevel.web.rules.noticeboard import Noticeboard

LOG = logging.getLogger("heartlevel")
# A compiler that fails says nothing of the rules: it is tried again, after twice as long each time.
FIRST_PAUSE, LONGEST_PAUSE = 4, 300  # seconds
RESTLESS = 30  # looks in a row that find files changed: something writes to them without end


def log_rules(event: str, rules: Rules) -> None:
    """Log which rules and layers are in force, each with its revision and fingerprint."""
    ruleset = rules.ruleset
    LOG.info("%s: revision %s, %s", event, ruleset.revision, ruleset.fingerprint)
    for number, layer in enumerate(ruleset.layers, start=1):
        LOG.info("%s: layer %d %s, revision %s, %s", event, number, layer.id, layer.revision, layer.fingerprint)
    for words in ruleset.passed_over():
        LOG.warning("%s: %s", event, words)


def changed_unrevised(before: RuleSet, after: RuleSet) -> Iterator[str]:
    """Yield what changed in content and kept its revision: answers could not be told apart by what they name."""
    revise = "raise `revision` with every change of content"
    if before.revision == after.revision and before.base_fingerprint != after.base_fingerprint:
        yield f"the rules have other content under the same revision {after.revision}; {revise}"
        yield from gone(before.base_files.holdings, after.base_files.holdings)
    known = {layer.id: layer for layer in before.layers}
    for layer in after.layers:
        old = known.get(layer.id)
        if old is not None and old.revision == layer.revision and old.fingerprint != layer.fingerprint:
            yield f"the layer {layer.id} has other content under the same revision {layer.revision}; {revise}"
            yield from gone(old.files.holdings, layer.files.holdings)


def gone(before: Mapping[str, tuple[str, ...]], after: Mapping[str, tuple[str, ...]]) -> Iterator[str]:
    """Yield which files are gone, and what went with each: no mistake is in them for a load to find."""
    kept = {name for names in after.values() for name in names}
    for file in sorted(before.keys() - after.keys()):
        lost = [name for name in before[file] if name not in kept]
        what = f"with it {', '.join(lost)}" if lost else "what it held stands elsewhere"
        yield f"the file {file} is gone, and {what}"


def _all_gone(before: RuleSet, after: RuleSet) -> Iterator[str]:
    known = {layer.id: layer.files.holdings for layer in before.layers}
    yield from gone(before.base_files.holdings, after.base_files.holdings)
    for layer in after.layers:
        yield from gone(known.get(layer.id, {}), layer.files.holdings)


@dataclass(frozen=True, slots=True)
class State:
    """The rules in force, the files last judged, and why those were refused if they were.

    Where no judgement was come to, `tries` were made and the next is due at `again_at`, on the clock that all processes of
    this machine share.
    """

    stamp: Stamp
    rules: Rules
    refused: tuple[str, ...] = ()
    tries: int = 0
    again_at: float = 0

    def judges(self, stamp: Stamp) -> bool:
        """Say whether files of this content need not be looked at, or not yet."""
        return stamp == self.stamp and (not self.tries or monotonic() < self.again_at)


def _to_be_tried_again(stamp: Stamp, before: State, failure: CompilerFailed) -> State:
    tries = before.tries + 1 if before.stamp == stamp else 1
    pause = min(FIRST_PAUSE * 2 ** (tries - 1), LONGEST_PAUSE)
    words = f"the rules could not be compiled: {failure}; try {tries + 1} follows after {pause} s"
    return State(stamp, before.rules, (words,), tries, monotonic() + pause)


class RulesInForce:
    """The rules of one process. `current` is read once a request; it changes as a whole or not at all."""

    def __init__(self, folder: Path | None = None, layers: Sequence[Path] = (), rules: Rules | None = None) -> None:
        """Load the rules. Raises RuleFaults, BundleRefused: a service does not start without."""
        self.folder, self.layers = folder, tuple(layers)
        self._seen = stamp_of(self.folder, self.layers)
        self._restless = 0
        self._state = State(self._seen, rules or load_rules(folder, layers))
        self._board = Noticeboard()
        log_rules("rules loaded", self._state.rules)
        self.on_reload: Callable[[str], None] = lambda outcome: None  # called with "taken" or "refused"

    @property
    def current(self) -> Rules:
        """The rules to answer with."""
        return self._state.rules

    @property
    def refused(self) -> tuple[str, ...]:
        """Why changed files were not taken over."""
        if self._restless < RESTLESS:
            return self._state.refused
        return (
            *self._state.refused,
            "rule files change at every look, and wait until they are left alone; the log names them",
        )

    def laid_out(self) -> AbstractContextManager[tuple[Path | None, tuple[Path, ...]]]:
        """Return, to be entered, the directories of the rules and layers in force, those in a bundle unpacked."""
        return laid_out(self.folder, self.layers)

    def watch(self, seconds: float) -> Event:
        """Catch up with other processes, then look for changes every so many seconds until the returned event is set."""
        self.catch_up()
        stop = Event()

        def look() -> None:
            while not stop.wait(seconds):
                self.look()

        Thread(target=look, name="rules", daemon=True).start()
        return stop

    def catch_up(self) -> None:
        """Take over the state that another process has left on the board, if any has."""
        with self._board.held():
            state = self._board.read()
        if state is not None:
            self._take(state)

    def look(self) -> None:
        """Take changed files over, once they are unchanged from one look to the next."""
        stamp = stamp_of(self.folder, self.layers)
        before, self._seen = self._seen, stamp
        self._restless = self._restless + 1 if stamp != before else 0
        if self._restless == RESTLESS:
            changed = sorted({path for path, _ in set(before) ^ set(stamp)})
            LOG.warning("rule files change at every look, and wait until they are left alone: %s", ", ".join(changed))
        if stamp != before or self._state.judges(stamp):
            return
        with self._board.held():
            latest = self._board.read() or self._state
            state = latest if latest.judges(stamp) else self._judged(stamp, latest)
            if state is not latest:
                self._board.write(state)
        if state.stamp == stamp and state is not self._state:
            self._take(state)

    def _judged(self, stamp: Stamp, before: State) -> State:
        """Return the state that changed files lead to; the one before if the next look has to judge them."""
        try:
            with laid_out(self.folder, self.layers) as directories:
                rules = compiled_apart(*directories)
            if unrevised := tuple(changed_unrevised(before.rules.ruleset, rules.ruleset)):
                return State(stamp, before.rules, unrevised)
            for words in _all_gone(before.rules.ruleset, rules.ruleset):
                LOG.warning("rules taken over: %s", words)
            return State(stamp, rules)
        except RuleFaults as faults:
            return State(stamp, before.rules, tuple(f"{fault}. {fault.cure}" for fault in faults.faults))
        except BundleRefused as refusal:
            return State(stamp, before.rules, (f"the rules are refused: {refusal}",))
        except CompilerFailed as failure:
            return _to_be_tried_again(stamp, before, failure)
        except StillChanging:
            return before

    def _take(self, state: State) -> None:
        self._state = state
        if state.refused:
            for reason in state.refused:
                LOG.error("changed rules refused, the old ones stay: %s", reason)
        else:
            log_rules("rules taken over", state.rules)
        self.on_reload("refused" if state.refused else "taken")
