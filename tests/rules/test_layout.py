"""Where keys, texts and comments stand in the layout, and what it cannot hold."""

import pytest
import yaml

from heartlevel.ruling.files.profile_schema import ProtocolBlock
from heartlevel.ruling.files.schema import RuleBlock, WordingBlock
from heartlevel.ruling.tools.commented import NotFormatted
from heartlevel.ruling.tools.formatting import block_of, formatted

CANNOT_BE_KEPT = "put it above"
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
