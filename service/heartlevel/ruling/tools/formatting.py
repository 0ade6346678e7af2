"""Rule files in one layout: keys as declared, two spaces a level, texts filled, every comment beside what it is about.

A file whose content or comments could not be kept is refused, never changed.
"""

import re
from collections.abc import Iterator, Sequence
from pathlib import Path
from textwrap import dedent
from typing import Any

from marshmallow import fields
from yaml.nodes import MappingNode, ScalarNode, SequenceNode

from heartlevel.intake.fields import Block, Items, Part
from heartlevel.ruling.files.content import LADDER, PATIENTS, SECTIONS
from heartlevel.ruling.files.directories.listing import plain_ending
from heartlevel.ruling.files.followup.declared import HeadBlock
from heartlevel.ruling.files.layering.declared import LayerBlock
from heartlevel.ruling.files.layers import TOP
from heartlevel.ruling.files.patients.declared import PatientBlock, SeriesBlock
from heartlevel.ruling.files.profile_schema import CategoryBlock
from heartlevel.ruling.files.schema import ExampleBlock, SourceBlock
from heartlevel.ruling.files.urgency.declared import UrgencyBlock
from heartlevel.ruling.language.conditions import OPERATORS
from heartlevel.ruling.tools.commented import BLOCK_TEXT, CommentedFile, Item, NotFormatted

WIDTH = 120  # of texts that are filled anew
LONGEST = 126  # of any line; a text with no longer line keeps its breaks,
LEAST = 100  # unless a line ends though the next word would fit within this
ON_ONE_LINE = (SourceBlock, ExampleBlock, CategoryBlock, SeriesBlock)
NOT_IN_BRACES = re.compile(r"[,\[\]{}]|^$")  # what a text without quotes cannot hold there
ONE_SPACE = re.compile(r"(?<! ) (?! )")
FOLDERS = {**SECTIONS, PATIENTS: PatientBlock()}
TOPS = {"ruleset.yaml": HeadBlock, LADDER: UrgencyBlock, TOP: LayerBlock}


def block_of(path: Path) -> Block | None:
    """Return the declaration of what a file holds, by its name or the folder it lies in; None if it is no rule file."""
    if (top := TOPS.get(plain_ending(path.name))) is not None:
        return top()
    folders = [part for part in reversed(path.parent.resolve().parts) if part in FOLDERS]
    return FOLDERS[folders[0]] if folders else None


def formatted(text: str, block: Block) -> str:
    """Return a file's text in the one layout; `block` declares its mapping, or the items of its list.

    The text is one that was read as a rule file without faults. What is returned is returned unchanged when it is
    given. Raises NotFormatted.
    """
    file = CommentedFile(text)
    while True:
        _sort(file.root, block)
        written = written_out(file)
        if written == file.text:
            return written
        again = CommentedFile(written)
        if again.root.content() != file.root.content():
            raise NotFormatted(1, "its content would not stay the same")
        if sorted(again.comments) != sorted(file.comments):
            raise NotFormatted(1, "its comments would not all be kept")
        file = again  # where a comment had to move, what it left behind may now fit on one line


def written_out(file: CommentedFile) -> str:
    """Return the text of a tree of items, as they lie in it."""
    return "".join(f"{line.rstrip()}\n" for line in _lines(file))


def _sort(item: Item, declared: Any) -> None:
    """Put keys in the order of their declaration; keys that a declaration leaves open stay as written."""
    known = {field.data_key or name: field for name, field in declared.fields.items()} if declared else {}
    is_mapping = isinstance(item.node, MappingNode)
    if is_mapping:
        order = list(known)
        item.children.sort(key=lambda child: order.index(child.name) if child.name in known else len(order))
    for child in item.children:
        inner = _inside(known.get(child.name)) if is_mapping else declared
        child.on_one_line = child.key is None and isinstance(inner, ON_ONE_LINE)
        _sort(child, inner)
        if child.key is None and child.children:  # its first item stands beside the dash, and comments on it above
            child.before += child.children[0].before
            child.children[0].before = []


def _inside(declared: fields.Field[Any] | None) -> Any:
    if isinstance(declared, Items):
        return _inside(declared.inner)
    return declared.schema if isinstance(declared, Part) else None


def _lines(file: CommentedFile) -> Iterator[str]:
    yield from _tidy(file.header, after="")
    for index, item in enumerate(file.root.children):
        if item.key is None and index:
            item.before = ["", *_tidy(item.before, after="")]
        yield from _lines_of_item(item, 0, "")
    yield from _tidy(file.footer) if any(file.footer) else ()


def _lines_of_item(item: Item, indent: int, lead: str) -> Iterator[str]:
    head = f"{lead}{item.key}:" if item.key is not None else f"{lead}-"
    lines, above = _value(item, head, indent)
    above = [*item.before, *above]
    if item.beside and (len(lines) == 1 or item.key is not None and item.children):
        lines[0] += f"  {item.beside}"
    elif item.beside:
        above.append(item.beside)
    pad = " " * indent
    yield from (pad + comment for comment in _tidy(above))
    yield from lines
    yield from (pad + comment for comment in _tidy(item.after))


def _value(item: Item, head: str, indent: int) -> tuple[list[str], list[str]]:
    """Return an item's lines, and comments that then have to stand above it."""
    if isinstance(item.node, ScalarNode):
        return _scalar(item, item.node, head, indent), []
    braces = _in_braces(item) if item.on_one_line or item.is_leaf or _is_comparison(item) else None
    if braces is not None and (len(f"{head} {braces}") <= LONGEST or not item.children):
        return [f"{head} {braces}"], []
    if item.key is not None:
        return [head, *_lines_of(item.children, indent + 2)], []
    return _dashed(head, item.children, indent + 2)


def _lines_of(items: Sequence[Item], indent: int) -> Iterator[str]:
    for item in items:
        yield from _lines_of_item(item, indent, " " * indent)


def _dashed(head: str, items: Sequence[Item], indent: int) -> tuple[list[str], list[str]]:
    """Return the lines of a mapping or list that begins beside its dash; comments on its first item stand above."""
    lines = list(_lines_of_item(items[0], indent, f"{head} "))
    start = next(index for index, line in enumerate(lines) if line.startswith(head))
    above = [line.strip() for line in lines[:start]]
    return [*lines[start:], *_lines_of(items[1:], indent)], above


def _in_braces(item: Item) -> str | None:
    """Return a value as it stands within braces on one line; None if it cannot."""
    if isinstance(item.node, ScalarNode):
        written, *more = _paragraphs(item.written)
        is_plain = not item.node.style
        cannot = more or item.node.style in BLOCK_TEXT or is_plain and NOT_IN_BRACES.search(" ".join(written))
        return None if cannot else " ".join(written)
    inner = [(child.key, _in_braces(child)) for child in item.children]
    if item.is_commented or any(value is None for _, value in inner):
        return None
    if isinstance(item.node, SequenceNode):
        return f"[{', '.join(str(value) for _, value in inner)}]"
    return f"{{{', '.join(f'{key}: {value}' for key, value in inner)}}}"


def _scalar(item: Item, node: ScalarNode, head: str, indent: int) -> list[str]:
    pad = " " * (indent + 2)
    if node.style in BLOCK_TEXT:
        mark, lines = _block_text(item, node, len(pad))
        return [f"{head} {mark}", *(pad + line for line in lines)]
    written = _paragraphs(item.written)
    first, *more = _filled(written, len(head) + 1, len(pad))
    return [f"{head} {first}", *(pad + line for line in more)]


def _block_text(item: Item, node: ScalarNode, pad: int) -> tuple[str, list[str]]:
    """Return the mark and lines of a > or | text; only a plain > text may be filled anew."""
    mark, _, body = item.written.partition("\n")
    lines = dedent(body.rstrip()).split("\n")
    is_plain = mark.rstrip() in (">", ">-") and not re.search(r"^[ \t]", node.value, re.MULTILINE)
    return mark.rstrip(), _filled(_paragraphs("\n".join(lines)), pad, pad) if is_plain else lines


def _paragraphs(written: str) -> list[list[str]]:
    """Return the lines of a text's paragraphs; between two of them stands an empty line, more make empty ones."""
    paragraphs: list[list[str]] = [[]]
    for line in written.split("\n"):
        if line.strip():
            paragraphs[-1].append(line.strip())
        else:
            paragraphs.append([])
    return paragraphs if any(paragraphs) else [[""]]


def _filled(paragraphs: Sequence[Sequence[str]], first: int, pad: int) -> list[str]:
    """Return a text's lines; `first` is the column where its first line begins, `pad` that of the others."""
    lines: list[str] = []
    for index, written in enumerate(paragraphs):
        start = pad if index else first
        lines += [""] if index else []
        lines += written if _is_well_broken(written, start, pad) else _broken(" ".join(written), start, pad)
    return lines


def _is_well_broken(lines: Sequence[str], first: int, pad: int) -> bool:
    widths = [(pad if index else first) + len(line) for index, line in enumerate(lines)]
    following = [len(ONE_SPACE.split(line)[0]) for line in lines[1:]]
    fits = any(width + 1 + word <= LEAST for width, word in zip(widths, following, strict=False))
    return not fits and max(widths, default=0) <= LONGEST


def _broken(text: str, first: int, pad: int) -> list[str]:
    """Break a text at single spaces."""
    lines = [""]
    for word in ONE_SPACE.split(text):
        start = pad if len(lines) > 1 else first
        if lines[-1] and start + len(lines[-1]) + 1 + len(word) > WIDTH:
            lines.append(word)
        else:
            lines[-1] = f"{lines[-1]} {word}" if lines[-1] else word
    return lines


def _is_comparison(item: Item) -> bool:
    return isinstance(item.node, MappingNode) and [child.name in OPERATORS for child in item.children] == [True]


def _tidy(comments: Sequence[str], after: str = "#") -> list[str]:
    """Return comments with no more than one empty line between them, and none first if `after` is empty."""
    kept = [after]
    for comment in comments:
        if comment or kept[-1]:
            kept.append(comment)
    return kept[1:]
