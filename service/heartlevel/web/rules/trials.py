"""`POST /v1/rules/trial`: candidate rule files tried on requests, without touching the rules in force."""

import shutil
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from functools import partial
from pathlib import Path
from re import compile as pattern
from tempfile import TemporaryDirectory
from typing import Any

from flask import abort

from heartlevel.assessment import Rules
from heartlevel.compiling.apart import CompilerFailed, StillChanging, TakesTooLong, made_apart
from heartlevel.intake.faults import Problem, escaped, problem, problems_written
from heartlevel.intake.fields import SURROGATE, Anything, Block, Items, about
from heartlevel.intake.request import RefusedRequest, TooManyReadings, checked
from heartlevel.resources import shipped
from heartlevel.ruling.files.layers import TOP, replacing
from heartlevel.ruling.files.source import LONGEST_FILE
from heartlevel.trial import Changed, tried
from heartlevel.web.rules.noticeboard import OneAtATime
from heartlevel.web.rules.reloading import RulesInForce

MOST_REQUESTS = 500
MOST_READINGS_TRIED = 10_000  # of all its requests, each of which is assessed twice
MOST_FILES = 500
FILE_NAME = pattern(r"([a-z0-9-]{1,60}/){0,4}[a-z0-9-]{1,60}\.yaml")  # no longer than any file system takes
MOST_SECONDS = 1.8  # of a processor, for compiling and both assessments of all requests
# A trial has a process of its own: one at a time, of all workers, leaves the other processors to assessments.
ONE_AT_A_TIME = OneAtATime()


class TrialRequest(Block):
    """Candidate rule files, and the requests to try them on."""

    files = Anything(**about("file name to its text; null takes a file away", required=True))
    requests = Items(Anything(), MOST_REQUESTS, **about("requests as for an assessment", required=True))


def try_candidate(payload: object, in_force: RulesInForce, before: Rules) -> dict[str, Any]:
    """Return what the candidate would change for each request, and the counts.

    Raises RefusedRequest for the request's own faults, TooManyReadings, RuleFaults for mistakes in the candidate.
    """
    wanted = checked(TrialRequest(), payload)
    _refuse_many_readings(wanted["requests"])
    files = _files(wanted["files"])
    with _alone(), _directories(files, in_force) as directories:
        try:
            result = made_apart(partial(tried, wanted["requests"], before), *directories, MOST_SECONDS)
        except TakesTooLong as error:
            abort(413, f"the trial takes {error}; send fewer requests, or less in the candidate's files")
        except (CompilerFailed, StillChanging):
            abort(503, "the candidate could not be compiled; try again")
    fingerprints = {"in_force": before.ruleset.fingerprint, "candidate": result.candidate}
    changed = [change.as_dict() for change in result.told if change.fields]
    problems = problems_written([fault for change in result.told for fault in _placed(change)])
    return {"rules": fingerprints, "totals": result.totals.as_dict(), "changes": changed, "problems": problems}


def _placed(change: Changed) -> Iterator[Problem]:
    """Yield the faults of a request with their places in what was sent."""
    at = f"/requests/{change.line - 1}"
    yield from (replace(fault, pointer=at + fault.pointer) for fault in change.problems)


def _refuse_many_readings(requests: Sequence[Any]) -> None:
    """Raise TooManyReadings where all requests together have more readings than are assessed in the time of one request."""
    listed = (request.get("readings") for request in requests if isinstance(request, dict))
    readings = sum(len(items) for items in listed if isinstance(items, list))
    if readings > MOST_READINGS_TRIED:
        raise TooManyReadings(readings, MOST_READINGS_TRIED, "readings in its requests")


@contextmanager
def _alone() -> Iterator[None]:
    with ONE_AT_A_TIME.taken() as is_mine:
        if not is_mine:
            abort(503, "another trial is under way; try again in a few seconds")
        yield


def _files(given: object) -> Mapping[str, str | None]:
    """Return the files by name. Raises RefusedRequest for wrong names and texts."""
    if not isinstance(given, dict):
        raise RefusedRequest([problem("/files", "not-an-object", given)])
    if len(given) > MOST_FILES:
        raise RefusedRequest([problem("/files", "too-many", "", f"at most {MOST_FILES} files")])
    faults = [fault for name, text in given.items() for fault in _at_fault(name, text)]
    if faults:
        raise RefusedRequest(faults)
    return given


def _at_fault(name: str, text: object) -> Iterator[Problem]:
    at = f"/files/{escaped(name)}"
    if not FILE_NAME.fullmatch(name):
        yield problem(at, "not-one-of", name, "a name such as reading/posture.yaml")
    if text is not None and (not isinstance(text, str) or SURROGATE.search(text)):
        yield problem(at, "not-a-text", text, "the file's text, or null")
    if isinstance(text, str) and len(text) > LONGEST_FILE:
        yield problem(at, "text-length", "", f"at most {LONGEST_FILE} characters")


@contextmanager
def _directories(files: Mapping[str, str | None], in_force: RulesInForce) -> Iterator[tuple[Path | None, Sequence[Path]]]:
    """Yield the base and the layers with the candidate: its files in those of the base, or a layer.

    A layer takes the place of the one of its id, or lies on top of all.
    """
    with TemporaryDirectory(prefix="heartlevel-trial-") as scratch, in_force.laid_out() as (base, layers):
        folder = Path(scratch) / "candidate"
        if TOP in files:
            folder.mkdir()
        else:
            shutil.copytree(base or shipped("rules"), folder)
        for name, text in files.items():
            path = folder / name
            path.parent.mkdir(parents=True, exist_ok=True)
            if text is None:
                path.unlink(missing_ok=True)
            else:
                path.write_text(text, encoding="utf-8")
        if TOP in files:
            yield base, replacing(layers, folder)
        else:
            yield folder, layers
