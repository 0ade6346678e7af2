"""A rule file as a tree of keys and items, each with the comments about it: what a formatter needs and YAML drops."""

import re
from bisect import bisect_left
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any

import yaml
from yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode

from heartlevel.ruling.files.source import LOADER

BETWEEN = re.compile(r"#[^\r\n]*|\n[ \t]*(?=\r?\n)")  # a comment or an empty line
BLOCK_TEXT = ("|", ">")


class NotFormatted(Exception):
    """Why a file is left alone, and at which line."""

    def __init__(self, line: int, detail: str) -> None:
        """Keep the line, from 1, beside the text."""
        super().__init__(detail)
        self.line = line


@dataclass(eq=False, slots=True)
class Item:
    """A key with its value, or an item of a list, and the comments about it ("" for an empty line)."""

    key: str | None  # as written
    name: str | None  # the key without its quotes
    node: Node
    written: str  # the value, as it stands in the file
    start: int
    column: int
    children: list["Item"]
    before: list[str] = field(default_factory=list)
    beside: str = ""
    after: list[str] = field(default_factory=list)
    on_one_line: bool = False

    @property
    def is_leaf(self) -> bool:
        """Return whether this is a text, a number or in braces: comments do not belong inside."""
        return isinstance(self.node, ScalarNode) or bool(getattr(self.node, "flow_style", False))

    @property
    def is_commented(self) -> bool:
        """Return whether a comment stands somewhere inside."""
        return any(any(child.before) or child.beside or child.after or child.is_commented for child in self.children)

    def content(self) -> tuple[str, Any]:
        """Return what YAML makes of it, order included."""
        if isinstance(self.node, ScalarNode):
            return self.node.tag, self.node.value
        return self.node.tag, [(child.name, child.content()) for child in self.children]

    def has_inside(self, index: int) -> bool:
        """Return whether a place in the file is within this leaf. The end of a block text lies too far down to tell."""
        is_block_text = getattr(self.node, "style", None) in BLOCK_TEXT
        return self.is_leaf and not is_block_text and index < self.node.end_mark.index

    def below(self) -> Iterator["Item"]:
        """Yield the items that comments can stand beside, in order of writing."""
        for child in self.children:
            yield child
            if not child.is_leaf:
                yield from child.below()


def _between(text: str, tokens: Iterable[Any]) -> Iterator[tuple[int, str]]:
    """Yield the index and text of each comment and empty line: they stand between tokens and nowhere else."""
    end = 0
    for token in tokens:
        start = max(end, token.start_mark.index)
        yield from ((match.start(), match[0].strip()) for match in BETWEEN.finditer(text, end, start))
        end = max(end, _end(text, token))


def _end(text: str, token: Any) -> int:
    """Return where a token ends. A block text takes the empty lines below along, which are not its own."""
    start, end = int(token.start_mark.index), int(token.end_mark.index)
    if getattr(token, "style", None) not in BLOCK_TEXT:
        return end
    if "#" in text[start:end].partition("\n")[0]:
        raise NotFormatted(token.start_mark.line + 1, "a comment after > or | cannot be kept there; put it above")
    return start + len(text[start:end].rstrip())


class CommentedFile:
    """The items of a file below `root`, each with its comments; `header` and `footer` belong to none."""

    def __init__(self, text: str) -> None:
        """Read a text that is known to hold no anchors, tags or repeated keys. Raises NotFormatted."""
        self.text = text
        root, tokens = yaml.compose(text, Loader=LOADER), list(yaml.scan(text, Loader=LOADER))
        if not isinstance(root, (MappingNode, SequenceNode)) or not root.value:
            raise NotFormatted(1, "it holds no fields and no list")
        root.flow_style = False
        self._dashes = [token.start_mark.index for token in tokens if isinstance(token, yaml.BlockEntryToken)]
        self.root = Item(None, None, root, text, -1, -1, list(self._children(root)))
        end = Item(None, None, root, "", len(text) + 1, -1, [])
        self._order = [*self.root.below(), end]
        self.header: list[str] = []
        self.footer = end.before
        between = list(_between(text, tokens))
        self.comments = [comment for _, comment in between if comment]
        for index, comment in between:
            self._give(index, comment)

    def _children(self, node: Node) -> Iterator[Item]:
        if isinstance(node, SequenceNode):
            for value in node.value:
                start = value.start_mark.index
                dash = bisect_left(self._dashes, start) - 1
                yield self._item(None, None, value, start if node.flow_style or dash < 0 else self._dashes[dash])
        elif isinstance(node, MappingNode):
            for key, value in node.value:
                start, written = key.start_mark.index, self.text[key.start_mark.index : key.end_mark.index]
                if not isinstance(key, ScalarNode) or "\n" in written or not written:
                    raise NotFormatted(key.start_mark.line + 1, "a key is a name on one line")
                yield self._item(written, key.value, value, start)

    def _item(self, key: str | None, name: str | None, node: Node, start: int) -> Item:
        written = self.text[node.start_mark.index : node.end_mark.index]
        return Item(key, name, node, written, start, self._column(start), list(self._children(node)))

    def _column(self, index: int) -> int:
        return index - self.text.rfind("\n", 0, index) - 1

    def _give(self, index: int, comment: str) -> None:
        """Give a comment or an empty line to the item it is about."""
        before = bisect_left(self._order, index, key=lambda item: item.start)
        if before == 0:
            self.header.append(comment)
            return
        last = self._order[before - 1]
        if last.has_inside(index):
            if comment:
                line = self.text.count("\n", 0, index) + 1
                raise NotFormatted(line, "a comment inside a value cannot be kept there; put it above")
        elif comment and self.text[index - self._column(index) : index].strip():
            last.beside = comment
        else:
            self._above_or_below(comment, self._column(index), before)

    def _above_or_below(self, comment: str, column: int, before: int) -> None:
        """Give a comment on a line of its own to the item after it, or, if it stands further right, to the item above."""
        following, above = self._order[before], self._above(column, before)
        # The items of a list may stand as far left as the key that holds them, and the key after it.
        is_deeper = (above.column, above.key is None) > (following.column, following.key is None)
        ends_there = is_deeper and above.node.end_mark.index <= following.start
        if not comment or column <= following.column or not ends_there:
            following.before.append(comment)
            return
        if following.before and not following.before[-1]:
            above.after.append(following.before.pop())
        above.after.append(comment)

    def _above(self, column: int, before: int) -> Item:
        """Return the innermost item still open that begins no further right than a column."""
        edge = self._order[before - 1].column + 1
        for item in reversed(self._order[:before]):
            if item.column < edge:
                edge = item.column
                if edge <= column:
                    return item
        return self._order[0]
