"""The counters of the service, of all its workers together: numbers of things, by labels of which there are few."""

from collections.abc import Iterable, Mapping
from functools import cache
from typing import Any

from prometheus_client import Counter, Gauge, Histogram

from heartlevel.one_call import Outcome
from heartlevel.ruling.language.ruleset import RuleSet
from heartlevel.web.connections.capacity import Capacity, Most

REQUESTS = Counter("heartlevel_requests_total", "Requests answered", ["route", "status"])
SECONDS = Histogram("heartlevel_request_seconds", "Time to answer, streams left out", ["route"])
PROBLEM_ANSWERS = Counter("heartlevel_problem_answers_total", "Answers that are a problem, by its kind", ["kind"])
PROBLEMS = Counter("heartlevel_problems_total", "Faults in what was sent, by code", ["code"])
READINGS = Counter("heartlevel_readings_total", "Readings assessed")
RECEIVED = Counter("heartlevel_readings_received_total", "Readings received in requests that were answered")
LOST = Counter("heartlevel_readings_lost_total", "Readings received and not assessed")
FINDINGS = Counter("heartlevel_findings_total", "Findings given", ["rule"])
URGENCIES = Counter("heartlevel_urgency_total", "Answers, and refused requests, by level", ["level"])
STREAMS = Counter("heartlevel_streams_total", "Streams that are over, by why", ["ended"])
STREAM_LINES = Counter("heartlevel_stream_lines_total", "Lines of streams, answered or refused", ["outcome"])
LOST_DECISIONS = Counter("heartlevel_decisions_lost_total", "Decisions that could not be kept")
LOST_AUDIT = Counter("heartlevel_audit_lost_total", "Lines of the audit log that could not be kept")
FEEDBACK = Counter("heartlevel_card_feedback_total", "What became of cards", ["outcome"])
RELOADS = Counter("heartlevel_rule_reloads_total", "Changed rule files taken over or refused", ["outcome"])
REFUSED = Gauge("heartlevel_rules_refused", "1 while changed rule files are refused", multiprocess_mode="livemax")
RULES = Gauge("heartlevel_rules_info", "Workers that answer with these rules", ["revision", "fingerprint", "layers"],
              multiprocess_mode="livesum")  # fmt: skip
IN_HAND = Gauge("heartlevel_in_hand", "What workers have to do now", ["of"], multiprocess_mode="livesum")
MOST_IN_HAND = Gauge("heartlevel_in_hand_most", "What workers take on at most", ["of"], multiprocess_mode="livesum")
EVERY = (REQUESTS, SECONDS, PROBLEM_ANSWERS, PROBLEMS, READINGS, RECEIVED, LOST, FINDINGS, URGENCIES, STREAMS,
         STREAM_LINES, LOST_DECISIONS, LOST_AUDIT, FEEDBACK, RELOADS, REFUSED, RULES, IN_HAND, MOST_IN_HAND)  # fmt: skip
# Looking a label up takes as long as counting: what has few values is looked up once.


@cache
def _requests(route: str, status: int) -> Counter:
    return REQUESTS.labels(route, status)


@cache
def _seconds(route: str) -> Histogram:
    return SECONDS.labels(route)


@cache
def _findings(rule: str) -> Counter:
    return FINDINGS.labels(rule)


@cache
def _in_hand(kind: str) -> Gauge:
    return IN_HAND.labels(kind)


def count_request(route: str, status: int, problem: str | None) -> None:
    """Count a request by what it was answered."""
    _requests(route, status).inc()
    if problem is not None:
        PROBLEM_ANSWERS.labels(problem).inc()


def count_seconds(route: str, seconds: float) -> None:
    """Count how long an answer took."""
    _seconds(route).observe(seconds)


def count_answer(received: int, assessed: int, rules: Iterable[str]) -> None:
    """Count what a request and its answer held."""
    RECEIVED.inc(received)
    READINGS.inc(assessed)
    if received > assessed:
        LOST.inc(received - assessed)
    for rule in rules:
        _findings(rule).inc()


def count_assessed(answer: Mapping[str, Any]) -> None:
    """Count an answer to readings."""
    counts = answer["counts"]
    count_answer(counts["received"], counts["assessed"], [finding["rule"] for finding in answer["findings"]])
    count_faults(fault["code"] for fault in answer["problems"])
    count_urgency(answer["urgency"]["level"])


def count_refused(outcome: Outcome) -> None:
    """Count a line of a stream that has no answer."""
    count_faults(fault.code for fault in outcome.problems)
    if outcome.urgency is not None:
        count_urgency(outcome.urgency["level"])


def count_faults(codes: Iterable[str]) -> None:
    """Count what is wrong in a request."""
    for code in codes:
        PROBLEMS.labels(code).inc()


def count_urgency(level: str) -> None:
    """Count how urgent an answer is, or what is legible of a refused request."""
    URGENCIES.labels(level).inc()


def count_lost_decisions(decisions: int) -> None:
    """Count decisions that the file for them could not take."""
    LOST_DECISIONS.inc(decisions)


def count_reload(outcome: str) -> None:
    """Count changed rule files that were taken over or refused."""
    RELOADS.labels(outcome).inc()
    REFUSED.set(outcome == "refused")


class RulesTold:
    """The rules that this process answers with, as a label of which it has one at a time."""

    def __init__(self) -> None:
        """Tell nothing yet."""
        self._labels: tuple[str, str, str] | None = None

    def tell(self, ruleset: RuleSet) -> None:
        """Tell that these are in force, in place of those before. Only a process that answers may tell."""
        layers = ",".join(f"{layer.id}@{layer.revision}" for layer in ruleset.layers)
        labels = (str(ruleset.revision), ruleset.fingerprint, layers)
        if labels != self._labels:
            if self._labels is not None:
                RULES.labels(*self._labels).set(0)
            RULES.labels(*labels).set(1)
            self._labels = labels


class WorkTold:
    """What this process has to do, written down where it changed."""

    def __init__(self, capacity: Capacity, most: Most) -> None:
        """Take what is looked at."""
        self._capacity, self._most = capacity, most
        self._told: tuple[int, int, int] | None = None

    def tell(self) -> None:
        """Tell how much there is to do now."""
        capacity = self._capacity
        now = (capacity.requests, capacity.body_bytes, capacity.streams)
        if now == self._told:
            return
        if self._told is None:
            limits = (self._most.requests, self._most.body_bytes, self._most.streams)
            for kind, limit in zip(("requests", "bytes", "streams"), limits, strict=True):
                MOST_IN_HAND.labels(kind).set(limit)
        for kind, amount in zip(("requests", "bytes", "streams"), now, strict=True):
            _in_hand(kind).set(amount)
        self._told = now
