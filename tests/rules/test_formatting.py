"""The layout of rule files: it keeps content and comments, whatever the layout before."""

import random
import re
from functools import cache
from pathlib import Path

import pytest
import yaml
from hypothesis import Phase, event, given, settings
from hypothesis import strategies as st

from heartlevel.resources import shipped
from heartlevel.ruling.files.source import LOADER
from heartlevel.ruling.tools.commented import NotFormatted
from heartlevel.ruling.tools.formatting import LONGEST, block_of, formatted
from rules.damages import DUMPER
from support import examples

CANNOT_BE_KEPT = "put it above"
FILES = sorted(shipped("rules").rglob("*.yaml"))


def loaded(text: str) -> object:
    return yaml.load(text, LOADER)


def names(path: Path) -> str:
    return path.relative_to(shipped("rules")).as_posix()


def own_lines(text: str) -> list[str]:
    """Comments on lines of their own; no text of a shipped file has a line that begins so."""
    return sorted(line.strip() for line in text.splitlines() if line.strip().startswith("#"))


def in_order(data: object) -> object:
    """Show order too: Python's mappings are equal in any order."""
    if isinstance(data, dict):
        return [(key, in_order(value)) for key, value in data.items()]
    return [in_order(one) for one in data] if isinstance(data, list) else data


@cache
def laid_out(text: str, path: Path) -> str:
    """The layout of a shipped file's text; of the same text it is the same."""
    return formatted(text, block_of(path))


@pytest.mark.parametrize("path", FILES, ids=names)
def test_shipped_files_keep_content_and_comments_and_are_formatted_once(path):
    text = path.read_text()
    once = laid_out(text, path)
    assert loaded(once) == loaded(text)
    assert own_lines(once) == own_lines(text)
    assert laid_out(once, path) == once


@pytest.mark.parametrize("path", FILES, ids=names)
def test_shipped_files_are_in_the_layout(path):
    assert laid_out(path.read_text(), path) == path.read_text()


def shuffled(data, chance: random.Random, top: bool = True):
    """Put the declared keys of every rule or profile in another order; what a rule names freely keeps its own."""
    if isinstance(data, list):
        return [shuffled(one, chance, top) for one in data]
    if not isinstance(data, dict):
        return data
    keys = list(data)
    if top:
        chance.shuffle(keys)
    return {key: shuffled(data[key], chance, key in ("sources", "examples", "home", "office", "limits")) for key in keys}


def with_comments(text: str, chance: random.Random, several: int) -> tuple[str, list[str]]:
    """Strew comments and empty lines; those that would be part of a text, or break it, are taken back."""
    content, inserted = in_order(loaded(text)), []
    for number in range(several):
        lines = text.split("\n")
        place = chance.randrange(len(lines))
        note = f'# note {number} {{is}}: "kept"'
        if chance.random() < 0.4:
            lines[place] += f"  {note}"
        else:
            lines[place:place] = [" " * chance.randrange(9) + note] + [""] * chance.randrange(3)
        tried = "\n".join(lines)
        try:
            same = in_order(loaded(tried)) == content
        except yaml.YAMLError:
            continue
        if same:
            text, inserted = tried, [*inserted, note]
    return text, inserted


def another_layout(path: Path, seed: int, comments: int) -> tuple[str, list[str]]:
    chance = random.Random(seed)
    text = path.read_text()
    if chance.random() < 0.7:
        data = shuffled(loaded(text), chance)
        if path.name == "en.yaml":
            data["next_steps"] = dict(reversed(data["next_steps"].items()))
        text = yaml.dump(
            data, Dumper=DUMPER, sort_keys=False, allow_unicode=True,
            indent=chance.randrange(2, 7), width=chance.choice([40, 80, 500]),
            default_flow_style=chance.choice([None, False, True]), explicit_start=chance.random() < 0.2,
        )  # fmt: skip
    text, notes = with_comments(text, chance, comments)
    return text.replace("\n", chance.choice(["\n", "\n", "\r\n"])), notes


@settings(max_examples=examples(50), deadline=None, phases=[Phase.generate])
@given(path=st.sampled_from(FILES), seed=st.integers(0, 2**32), comments=st.integers(0, 8))
def test_any_layout_is_brought_into_the_one_layout_or_refused_for_a_comment(path, seed, comments):
    text, notes = another_layout(path, seed, comments)
    try:
        once = formatted(text, block_of(path))
    except NotFormatted as refused:
        event("refused")
        assert CANNOT_BE_KEPT in str(refused)
        at_fault = text.splitlines()[refused.line - 1]
        assert any(note in at_fault for note in notes)
        return
    event("formatted")
    assert loaded(once) == loaded(text)
    for note in notes:
        assert once.count(note) == text.count(note) == 1
    assert formatted(once, block_of(path)) == once
    assert "\r" not in once and not re.search(r"[ \t]$|\n\n\n", once, re.MULTILINE)
    assert all(len(line) <= LONGEST or " " not in line.strip().rstrip("'\"") or "#" in line for line in once.splitlines())


@settings(max_examples=examples(30), deadline=None, phases=[Phase.generate])
@given(path=st.sampled_from([one for one in FILES if one.parent.name != "wording"]), seed=st.integers(0, 2**32))
def test_the_layout_does_not_depend_on_the_order_of_keys_as_written(path, seed):
    data = loaded(path.read_text())
    mixed = shuffled(data, random.Random(seed))
    written = [yaml.dump(one, Dumper=DUMPER, sort_keys=False, allow_unicode=True, width=80) for one in (data, mixed)]
    assert len({formatted(one, block_of(path)) for one in written}) == 1
