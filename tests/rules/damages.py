"""Ways to damage a rule file. Each takes the sound text and a source of chance, and returns the damaged file."""

import random
import re
from dataclasses import dataclass

import yaml

from heartlevel.facts.catalogue import CATALOGUE
from heartlevel.ruling.files.source import LOADER, LONGEST_FILE
from heartlevel.ruling.language.conditions import GROUPS, OPERATORS

DUMPER = getattr(yaml, "CSafeDumper", yaml.SafeDumper)
NAMES = {*CATALOGUE, *OPERATORS, *GROUPS, "finding", "limit", "given", "expect", "effect", "title", "hypertension"}
KEY_LINE = re.compile(r"^(?P<head> *(?:- )?)(?P<key>[a-z_-]+): (?P<value>[^>{\[\s].*)$")
OTHERWISE = [
    "[]", "{}", "5", "-1", "true", "null", "~", "''", "word", "1e999", ".nan", "-.inf", "2024-01-01", "0x1F", "1_000",
    "[[]]", "{a: {b: c}}", "[1, two]", "{limit: severe.systolic}", "9" * 5000, "é", "<<", "=", "!!float 1", "12:30:45",
    '"\\ud800"', "{? [a] : b}", "2024-99-99", "!!binary aGVq", "!!set {a}", "{1: 2}", "{null: 1}", "{<<: {a: 1}}",
]  # fmt: skip

ODD = [b"\x00", b"\xff", b"\xc3", b"\xef\xbb\xbf", b"\xe2\x80\xa8", b"\x07", b"\r", b"\xc2\x85", b"\xed\xa0", b"{", b'"']
NOTHING = [b"", b"\n", b"# none\n", b"[]", b"{}", b"text", b"--- []\n--- []\n", b"null", b"[null]", b"[[]]"]
VALUES = [None, True, 5, -1.5, 10**400, float("nan"), float("inf"), "", "word", [], {}, [None], [[]], [{}], {"a": {"b": 1}},
          {"limit": 5}, {"limit": []}, {"": None}, {"all": {}}, {"finding": []}, "{", "{0}", "{a.b}"]  # fmt: skip


@dataclass(frozen=True)
class Damage:
    """A damaged file. `line` is where, from 1, if a fault must be there; `word` what others may miss now."""

    content: bytes
    line: int | None = None
    word: str | None = None


def lines_with(text: str, pattern: str) -> list[int]:
    return [place for place, line in enumerate(text.split("\n")) if re.search(pattern, line) and "#" not in line]


def on_a_line(text: str, chance: random.Random, pattern: str, change) -> Damage:
    """Change one line that matches, if there is one; `change` gets the match and returns the line's new text."""
    lines = text.split("\n")
    places = lines_with(text, pattern)
    if not places:
        return Damage(text.encode())
    place = chance.choice(places)
    match = chance.choice(list(re.finditer(pattern, lines[place])))
    new = change(match)
    word = match.groupdict().get("word") or match.groupdict().get("key")
    lines[place : place + 1] = [] if new is None else new.split("\n")
    return Damage("\n".join(lines).encode(), place + 1, word)


def replaced(match: re.Match, group: str, by: str) -> str:
    return match.string[: match.start(group)] + by + match.string[match.end(group) :]


def delete_a_key(text, chance):
    return on_a_line(text, chance, KEY_LINE.pattern.replace("(?:- )?", ""), lambda match: None)


def replace_a_node(text, chance):
    """Put another value in place of any value whatever, of those that `change_a_type` does not reach too."""
    whole = [yaml.load(text, LOADER)]
    places = list(nodes(whole))
    inside, key = chance.choice(places)
    inside[key] = chance.choice(VALUES)
    return Damage(yaml.dump(whole[0], Dumper=DUMPER, sort_keys=False, allow_unicode=True).encode())


def nodes(data):
    """Yield each list or mapping inside with each of its places."""
    for key, value in data.items() if isinstance(data, dict) else enumerate(data):
        yield data, key
        if isinstance(value, (dict, list)):
            yield from nodes(value)


def misspell_a_name(text, chance):
    def changed(match):
        word = match["word"]
        place = chance.randrange(len(word))
        wrong = chance.choice([word[:place] + word[place + 1 :], word[:place] + "q" + word[place:]])
        return replaced(match, "word", wrong)

    names = "|".join(sorted(NAMES, key=len, reverse=True))
    return on_a_line(text, chance, rf"(?P<word>\b(?:{names})\b)(?=: )", changed)


def change_a_type(text, chance):
    by = chance.choice(OTHERWISE)
    return on_a_line(text, chance, r": (?P<word>[\w.-]+)(?=$|[,}])", lambda one: replaced(one, "word", by))


def repeat_a_key(text, chance):
    def twice(match):
        return f"{match.string}\n{' ' * len(match['head'])}{match['key']}: {match['value']}"

    unquoted = KEY_LINE.pattern.replace(r"[^>{\[\s]", r"[^>{\[\s\"']")  # a quoted text may go on in the next line
    return on_a_line(text, chance, unquoted, twice)


def shift_a_line(text, chance):
    lines = text.split("\n")
    place = chance.randrange(len(lines))
    by = chance.randrange(-3, 4)
    lines[place] = " " * by + lines[place] if by > 0 else lines[place][-by:]
    return Damage("\n".join(lines).encode())


def insert_a_tab(text, chance):
    return on_a_line(text, chance, r"^ *(?:- )?(?P<word>[a-z_]+):", lambda one: "\t" + one.string)


def change_a_number(text, chance):
    by = chance.choice(["-1", "0", "1000000", "1e3", "1e308", "00", "0.1", "1.5.2", "7", "-0"])
    number = r"(?<=[ \[])(?P<word>-?\d+(?:\.\d+)?)(?=[,\]}]|$)"
    return on_a_line(text, chance, number, lambda one: replaced(one, "word", by))


def remove_a_source(text, chance):
    return on_a_line(text, chance, r"- \{(?P<word>cite)", lambda match: None)


def swap_a_limit(text, chance):
    by = chance.choice(["low.systolic", "severe.diastolic", "severe", "home.systolic", "severe.sistolic", ""])
    return on_a_line(text, chance, r"limit: ?(?P<word>[a-z_.]+)(?=\})", lambda one: replaced(one, "word", by))


def insert_a_mark(text, chance):
    marks = ["&a ", "*a ", "!x ", "!!str ", "!!python/name:os.system ", "!!int ", "? ", "- ", "@", "`", "%", "|\n", ">"]
    mark = chance.choice(marks)
    return on_a_line(text, chance, r": (?P<word>)(?=[\w\[{\"])", lambda one: replaced(one, "word", mark))


def truncate(text, chance):
    return Damage(text.encode()[: chance.randrange(len(text.encode()))])


def insert_bytes(text, chance):
    raw = text.encode()
    place = chance.randrange(len(raw))
    return Damage(raw[:place] + chance.choice(ODD) + raw[place:])


def nest_deeply(text, chance):
    deep = chance.choice([20, 60, 400, 5000, 100_000])
    nested = chance.choice(["[" * deep + "]" * deep, "{all: [" * deep + "]}" * deep, "[" * deep, "- " * deep + "x"])
    nestable = r"^  (?P<word>when|title|sources|office):.*$"
    made = on_a_line(text, chance, nestable, lambda one: f"  {one['word']}: {nested}")
    return Damage(made.content)  # an open bracket is missed only further down


def make_it_huge(text, chance):
    rules = "\n".join(f"- {{id: rule-{number}, scope: reading}}" for number in range(300))
    more = chance.choice([
        "#" * LONGEST_FILE, "\n" * LONGEST_FILE, "- {}\n" * 500, f"- {{id: {'x' * 300_000}}}\n",
        "- id: [" + "1, " * 100_000 + "]\n", rules,
    ])  # fmt: skip
    return Damage(f"{text}\n{more}".encode())


def exchange_two_lines(text, chance):
    lines = text.split("\n")
    one, other = chance.randrange(len(lines)), chance.randrange(len(lines))
    lines[one], lines[other] = lines[other], lines[one]
    return Damage("\n".join(lines).encode())


def empty_it(text, chance):
    return Damage(chance.choice(NOTHING))


DAMAGES = (
    delete_a_key, replace_a_node, misspell_a_name, change_a_type, repeat_a_key, shift_a_line, insert_a_tab,
    change_a_number, remove_a_source, swap_a_limit, insert_a_mark, truncate, insert_bytes, nest_deeply, make_it_huge,
    exchange_two_lines, empty_it,
)  # fmt: skip
