"""The file that says how columns are understood: YAML, as `tables.mapping` shows it."""

from collections.abc import Hashable
from pathlib import Path
from typing import Any

import yaml

from heartlevel.bulk.wrong_call import WrongCall
from heartlevel.intake.own.form import PLAIN_FORM, Form
from heartlevel.ruling.files.source import LOADER
from heartlevel.tables.mapping import WrongMapping, mapped_from
from heartlevel.tables.meanings import Mapped


class _TextKeys(LOADER):  # type: ignore[misc, valid-type]
    """Takes keys as they are written: `yes` and `01` are what a table has, no truth and no number."""

    def construct_mapping(self, node: yaml.MappingNode, deep: bool = False) -> dict[Hashable, Any]:
        mapping: dict[Hashable, Any] = {}
        for key, value in node.value:
            if not isinstance(key, yaml.ScalarNode) or key.value in mapping:
                raise yaml.constructor.ConstructorError(None, None, "a name that is there twice or is none", key.start_mark)
            mapping[key.value] = self.construct_object(value, deep=True)
        return mapping


def mapped_by(path: Path | None, form: Form = PLAIN_FORM) -> Mapped:
    """Read a mapping to the fields of a form. Raises WrongCall with every mistake in it."""
    if path is None:
        return Mapped(form=form)
    try:
        return mapped_from(yaml.load(path.read_text("utf-8"), _TextKeys), form)  # noqa: S506 - a SafeLoader
    except WrongMapping as wrong:
        raise WrongCall("\n".join(f"{path}: {fault}" for fault in wrong.faults)) from None
    except RecursionError:
        raise WrongCall(f"{path}: it is nested too deep") from None
    except (yaml.YAMLError, ValueError) as error:  # a value may be none, as 2026-02-30 is no date
        raise WrongCall(f"{path}: not YAML: {' '.join(str(error).split())}") from error
