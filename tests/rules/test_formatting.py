"""The one layout of rule files: nothing is lost, comments stay beside what they are about, and it is a fixed point."""

import random
import re
from pathlib import Path

import pytest
import yaml
from hypothesis import Phase, event, given, settings
from hypothesis import strategies as st

from heartlevel.resources import shipped
from heartlevel.ruling.commented import NotFormatted
from heartlevel.ruling.formatting import LONGEST, block_of, formatted
from heartlevel.ruling.profile_schema import ProtocolBlock
from heartlevel.ruling.schema import RuleBlock, WordingBlock

FILES = sorted(shipped("rules").rglob("*.yaml"))
CANNOT_BE_KEPT = "put it above"


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


@pytest.mark.parametrize("path", FILES, ids=names)
def test_shipped_files_keep_content_and_comments_and_are_formatted_once(path):
    text = path.read_text()
    once = formatted(text, block_of(path))
    assert yaml.safe_load(once) == yaml.safe_load(text)
    assert own_lines(once) == own_lines(text)
    assert formatted(once, block_of(path)) == once


@pytest.mark.parametrize("path", FILES, ids=names)
def test_shipped_files_are_in_the_layout(path):
    assert formatted(path.read_text(), block_of(path)) == path.read_text()


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
    content, inserted = in_order(yaml.safe_load(text)), []
    for number in range(several):
        lines = text.split("\n")
        place = chance.randrange(len(lines))
        note = f"# note {number} {{is}}: \"kept\""
        if chance.random() < 0.4:
            lines[place] += f"  {note}"
        else:
            lines[place:place] = [" " * chance.randrange(9) + note] + [""] * chance.randrange(3)
        tried = "\n".join(lines)
        try:
            same = in_order(yaml.safe_load(tried)) == content
        except yaml.YAMLError:
            continue
        if same:
            text, inserted = tried, [*inserted, note]
    return text, inserted


def another_layout(path: Path, seed: int, comments: int) -> tuple[str, list[str]]:
    chance = random.Random(seed)
    text = path.read_text()
    if chance.random() < 0.7:
        data = shuffled(yaml.safe_load(text), chance)
        if path.name == "en.yaml":
            data["next_steps"] = dict(reversed(data["next_steps"].items()))
        text = yaml.safe_dump(
            data, sort_keys=False, allow_unicode=True, indent=chance.randrange(2, 7), width=chance.choice([40, 80, 500]),
            default_flow_style=chance.choice([None, False, True]), explicit_start=chance.random() < 0.2,
        )  # fmt: skip
    text, notes = with_comments(text, chance, comments)
    return text.replace("\n", chance.choice(["\n", "\n", "\r\n"])), notes


@settings(max_examples=150, deadline=None, derandomize=True, phases=[Phase.generate])
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
    assert yaml.safe_load(once) == yaml.safe_load(text)
    for note in notes:
        assert once.count(note) == text.count(note) == 1
    assert formatted(once, block_of(path)) == once
    assert "\r" not in once and not re.search(r"[ \t]$|\n\n\n", once, re.MULTILINE)
    assert all(len(line) <= LONGEST or " " not in line.strip().rstrip("'\"") or "#" in line for line in once.splitlines())


@settings(max_examples=50, deadline=None, derandomize=True, phases=[Phase.generate])
@given(path=st.sampled_from([one for one in FILES if one.parent.name != "wording"]), seed=st.integers(0, 2**32))
def test_the_layout_does_not_depend_on_the_order_of_keys_as_written(path, seed):
    data = yaml.safe_load(path.read_text())
    mixed = shuffled(data, random.Random(seed))
    written = [yaml.safe_dump(one, sort_keys=False, allow_unicode=True, width=80) for one in (data, mixed)]
    assert len({formatted(one, block_of(path)) for one in written}) == 1


BEFORE = """\
# About the file.

# About the first rule.
- scope:   reading # the scope
  # About the id.
  id: one
  when:
      # About all.
      all:
      # About the pulse.
      - pulse:
          above: 100   # a common limit
      - {pulse: {known:
           true}}
      # After the last of all.
  # About the examples.
  examples:
  - given: {pulse: 101}
    expect: fires


  - {expect: silent, given: {"pulse": 100},
     }
    # After the examples.
  title: 'A short title'
  explanation: "LONG at {pulse} a minute."
  advice: >-
    Short lines
    are joined.

    A paragraph stays.
# About the second rule.
- id: two
# The end.
""".replace("LONG", "A text that is a long one, far too long for one line, so that it has to be broken, as this one is:")
AFTER = """\
# About the file.

# About the first rule.
# About the id.
- id: one
  scope: reading  # the scope
  when:
    # About all.
    all:
      # About the pulse.
      - pulse:
          above: 100  # a common limit
      - {pulse: {known: true}}
      # After the last of all.
  title: 'A short title'
  explanation: "A text that is a long one, far too long for one line, so that it has to be broken, as this one is: at
    {pulse} a minute."
  advice: >-
    Short lines are joined.

    A paragraph stays.
  # About the examples.
  examples:
    - {given: {pulse: 101}, expect: fires}

    - {given: {"pulse": 100}, expect: silent}
    # After the examples.

# About the second rule.
- id: two
# The end.
"""


def test_keys_texts_and_comments_find_their_places():
    assert formatted(BEFORE, RuleBlock()) == AFTER
    assert formatted(AFTER, RuleBlock()) == AFTER


def test_a_header_stays_at_the_top_though_the_first_key_moves():
    moved = "# About all of it.\ntitle: Any\n# About the id.\nid: any\n"
    assert formatted(moved, ProtocolBlock()) == "# About all of it.\n# About the id.\nid: any\ntitle: Any\n"


def test_the_order_of_next_steps_is_content_and_stays():
    text = "next_steps:\n  b: B\n  a: A\nlanguage: en\n"
    assert formatted(text, WordingBlock()) == "language: en\nnext_steps:\n  b: B\n  a: A\n"


def test_an_example_too_long_for_a_line_is_broken_only_once():
    given = ", ".join(f"fact_{number}: {number}" for number in range(10))
    text = f"- examples:\n    - {{given: {{{given}}}, expect: fires}}\n"
    assert formatted(text, RuleBlock()) == f"- examples:\n    - given: {{{given}}}\n      expect: fires\n"


def test_a_long_text_is_not_broken_where_two_spaces_stand():
    text = "- advice: '" + "Two  spaces stay. " * 20 + "End.'\n"
    assert yaml.safe_load(formatted(text, RuleBlock())) == yaml.safe_load(text)


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("- id: one\n  when: {pulse: # here\n    {above: 1}}\n", 2),
        ("- id: one\n  advice: > # here\n    Text.\n", 2),
        ("- id: one\n  advice:\n    # here\n    Text.\n", 3),
    ],
    ids=["in braces", "after >", "between key and text"],
)
def test_a_comment_that_cannot_stay_where_it_is_refuses_the_file_at_its_line(text, line):
    with pytest.raises(NotFormatted, match=CANNOT_BE_KEPT) as refused:
        formatted(text, RuleBlock())
    assert refused.value.line == line


@pytest.mark.parametrize(
    "text",
    [
        "- id: one\n  advice: |\n    Kept\n      as it\n\n    is.\n",
        "- id: one\n  advice: >-\n    An empty line below.\n\n  # Note.\n\n  sources: []\n",
        "- id: one\n  advice: >-\n    Text\n      with deeper lines\n\n    that stay.\n",
        '- id: one\n  advice: "An escaped \\n break, \\"quotes\\" and two  spaces."\n',
        "- id: one\n  advice: 'It''s: # no comment'\n",
        "- sources:\n    - cite: Without quotes, but with a comma\n      standing: published\n",
        "- id: one\n  when: {}\n  examples: []\n",
        "- id:\n  title: ~\n",
        "- - - one\n    - two\n  - three\n",
    ],
)
def test_what_is_in_the_layout_already_stays(text):
    assert formatted(text, RuleBlock()) == text


@pytest.mark.parametrize("text", ["", "# nothing\n", "text\n", "[]\n", "{}\n"])
def test_a_file_without_fields_is_refused(text):
    with pytest.raises(NotFormatted, match="no fields"):
        formatted(text, RuleBlock())


@pytest.mark.parametrize("text", ['- advice: "one\\\n    two"\n', "- advice: |2+\n     two\n\n\n", "- ? [a]\n  : b\n"])
def test_what_the_layout_cannot_hold_is_refused_not_changed(text):
    with pytest.raises(NotFormatted):
        formatted(text, RuleBlock())


def test_the_kind_of_a_file_is_known_by_its_folder(tmp_path):
    assert isinstance(block_of(tmp_path / "series" / "mine.yaml"), RuleBlock)
    assert isinstance(block_of(tmp_path / "clinic" / "wording" / "no.yaml"), WordingBlock)
    assert type(block_of(tmp_path / "layer.yaml")).__name__ == "LayerBlock"
    assert block_of(tmp_path / "mine.yaml") is None
