"""Translations written into rule files: a language's own file, or a layer's changes to it; comments stay."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import yaml
from yaml.nodes import MappingNode

from heartlevel.intake.fields import Block
from heartlevel.ruling.files.layering.declared import LayerBlock
from heartlevel.ruling.files.schema import WordingBlock
from heartlevel.ruling.files.translated.originals import TextPath
from heartlevel.ruling.files.translated.states import MADE_FROM
from heartlevel.ruling.tools.commented import CommentedFile, Item
from heartlevel.ruling.tools.formatting import formatted, written_out

REASON = "Translations"


def with_texts(written: str, texts: Mapping[str, Any], order: Iterable[TextPath]) -> str:
    """Return a wording file's text with texts of it set; new ones are put in an order, which is one of paths."""
    file = CommentedFile(written)
    _merge(file.root, _tree(texts), _ranks(order))
    return _formatted(file, WordingBlock())


def with_change(written: str, language: str, texts: Mapping[str, Any], order: Iterable[TextPath]) -> str:
    """Return a layer's own file with a change of a language's wording that sets texts; one that is there is added to."""
    file = CommentedFile(written)
    changes = next((item for item in file.root.children if item.name == "changes"), None)
    setting = next(filter(None, (_setting(item, language) for item in changes.children)), None) if changes else None
    fresh = {"of": "wording", "id": language, "set": texts, "reason": REASON}
    if setting is not None:
        _merge(setting, _tree(texts), _ranks(order))
    elif changes is not None:
        changes.children += _tree({"changes": [fresh]}).children[0].children
    else:
        file.root.children += _tree({"changes": [fresh]}).children
    return _formatted(file, LayerBlock())


def new_file(texts: Mapping[str, Any]) -> str:
    """Return the file of a language that had none."""
    return formatted(_dumped(texts), WordingBlock())


def _formatted(file: CommentedFile, block: Block) -> str:
    return formatted(written_out(file), block)


def _setting(change: Item, language: str) -> Item | None:
    """Return the fields that a change sets, if it is of a language's wording."""
    children = {child.name: child for child in change.children}
    values = {name: getattr(child.node, "value", None) for name, child in children.items()}
    return children.get("set") if (values.get("of"), values.get("id")) == ("wording", language) else None


def _ranks(order: Iterable[TextPath]) -> dict[TextPath, int]:
    """Return where each path, and each above one, first stands."""
    ranks: dict[TextPath, int] = {}
    for number, path in enumerate(order):
        for length in range(1, len(path) + 1):
            ranks.setdefault(path[:length], number)
    return ranks


def _merge(into: Item, new: Item, ranks: Mapping[TextPath, int], path: TextPath = ()) -> None:
    """Set the children of one item in another: mappings within mappings, everything else whole."""
    own = {child.name: child for child in into.children}
    for child in new.children:
        old, inner = own.get(child.name), (*path, str(child.name))
        if old is None:
            into.children.insert(_index(into.children, inner, ranks), child)
        elif isinstance(old.node, MappingNode) and isinstance(child.node, MappingNode):
            _merge(old, child, ranks, () if inner == (MADE_FROM,) else inner)
        elif old.content() != child.content():
            old.node, old.written, old.children = child.node, child.written, child.children


def _index(children: Sequence[Item], path: TextPath, ranks: Mapping[TextPath, int]) -> int:
    """Return where a child goes: before the first that stands after it in the order, else last."""
    rank = ranks.get(path, len(ranks))
    after = (number for number, child in enumerate(children) if ranks.get((*path[:-1], str(child.name)), -1) > rank)
    return next(after, len(children))


def _tree(texts: Mapping[str, Any]) -> Item:
    return CommentedFile(_dumped(texts)).root


class _Dumper(yaml.SafeDumper):
    """Writes fingerprints of one rule on one line, and no aliases."""

    def ignore_aliases(self, _: Any) -> bool:
        return True


class OnOneLine(dict[str, str]):
    """A mapping that is written in braces."""


_Dumper.add_representer(
    OnOneLine, lambda dumper, data: dumper.represent_mapping("tag:yaml.org,2002:map", data, flow_style=True)
)


def _dumped(texts: Mapping[str, Any]) -> str:
    return yaml.dump(texts, Dumper=_Dumper, allow_unicode=True, sort_keys=False, width=10**6)
