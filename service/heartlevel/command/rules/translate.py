"""`heartlevel rules translate`: what is still to be translated as a file for translators, and the file taken back."""

import shutil
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import click

from heartlevel.command.options import DIRECTORY, FAILED, ended_by_faults, placed, rules_options
from heartlevel.command.writing import replacement
from heartlevel.intake.faults import near
from heartlevel.ruling.files.loading import load
from heartlevel.ruling.files.translated.originals import TextPath
from heartlevel.ruling.files.translated.states import TranslatedText
from heartlevel.ruling.language.ruleset import DEFAULT_LANGUAGE, RuleSet
from heartlevel.ruling.language.template import locale_of
from heartlevel.ruling.tools.translating.exchange import (
    SEPARATOR,
    NoTranslations,
    NotTaken,
    for_translators,
    is_open,
    taken_back,
)
from heartlevel.ruling.tools.translating.outstanding import every_text, originals_in
from heartlevel.ruling.tools.translating.taking import fields_to_set, file_with, to_record

FILE, ALL = click.Path(exists=True, dir_okay=False, path_type=Path), "all"


@click.command()
@click.argument("language")
@click.argument("directory", required=False, type=DIRECTORY)
@click.option("--all", "everything", is_flag=True, help="Write every text, to be read whole, not only what is to be done.")
@click.option("--take", "filled", type=FILE, help="Take the translations of this file into the wording of DIRECTORY.")
@click.option("--confirm", multiple=True, metavar="PATH", help="Record that what stands under PATH, as msgctxt writes it "
              "(such as rules/legs-crossed), was made from today's originals; `all` for every text.")  # fmt: skip
@rules_options
def translate(
    language: str,
    directory: Path | None,
    everything: bool,
    filled: Path | None,
    confirm: tuple[str, ...],
    folder: Path | None,
    layers: tuple[Path, ...],
) -> None:
    """Write a file for translators into LANGUAGE: what is missing or older than its original, each beside it.

    DIRECTORY is one of rules or of a layer, by default those in force. The file is in the PO format of GNU gettext, for
    any editor. Filled in, it is taken back by --take: into the language's wording file, or into a layer. What cannot be
    taken is named by its line, and the status is 1 then.
    """
    _known(language)
    folder, layers = placed(directory, folder, layers)
    with ended_by_faults():
        ruleset = load(folder, layers)
    texts = list(every_text(ruleset, language))
    confirmed = [_path(name, texts) for name in confirm]
    if filled is None and not confirm:
        wanted = [text for text in texts if everything or is_open(text)]
        click.echo(for_translators(wanted, language), nl=False)
        click.echo(f"{len(wanted)} of {len(texts)} texts written", err=True)
        return
    not_taken: list[NotTaken] = []
    taken = _read(filled, ruleset, not_taken) if filled else {}
    for problem in not_taken:
        click.echo(f"{filled}:{problem.line}: {problem.detail}", err=True)
    item = ruleset.wording[language].written if language in ruleset.wording else {}
    unrecorded = to_record(item, texts, confirmed)
    if taken or unrecorded:
        fields = fields_to_set(item, texts, taken, unrecorded)
        path = _Target(directory, folder, layers).set_in(language, bool(item), fields, [text.path for text in texts])
        click.echo(f"{path}: texts taken {len(taken)}, recorded {len(unrecorded)}; raise the revision")
    else:
        click.echo("nothing to take", err=True)
    sys.exit(FAILED if not_taken else 0)


def _known(language: str) -> None:
    if language == DEFAULT_LANGUAGE:
        raise click.UsageError(f"{language} is the language of the originals")
    try:
        locale_of(language)
    except ValueError:
        raise click.UsageError(f"'{language}' is no tag of a known language; such as de, es, fr, pt, pl") from None


def _read(filled: Path, ruleset: RuleSet, not_taken: list[NotTaken]) -> dict[TextPath, str]:
    try:
        return taken_back(filled.read_bytes(), originals_in(ruleset), not_taken)
    except NoTranslations as error:
        click.echo(f"{filled}: {error}", err=True)
        sys.exit(FAILED)


def _path(name: str, texts: Sequence[TranslatedText]) -> TextPath:
    """Return the path that a name stands for. Ends the command if nothing stands there."""
    path = () if name == ALL else tuple(name.split(SEPARATOR))
    if not any(text.path[: len(path)] == path for text in texts):
        names = [SEPARATOR.join(text.path[:2]) for text in texts]
        raise click.UsageError(f"nothing is under '{name}': {near(name, names) or 'as msgctxt writes it'}")
    return path


class _Target:
    """The directory that translations go into, among the rules and layers in force."""

    def __init__(self, directory: Path | None, folder: Path | None, layers: tuple[Path, ...]) -> None:
        """Take the directory named, else the topmost layer, else that of the rules. Ends the command if there is none."""
        directory = directory or (layers[-1] if layers else folder)
        if directory is None or not directory.is_dir():
            raise click.UsageError("name the directory, of rules or of a layer, that the translations go into")
        self._directory, self._folder, self._layers = directory, folder, layers

    def set_in(self, language: str, is_there: bool, fields: Mapping[str, Any], order: Sequence[TextPath]) -> Path:
        """Set fields of a language's wording and return the file, if the rules can then be loaded; else end the command."""
        with TemporaryDirectory() as scratch, ended_by_faults():
            copy = Path(shutil.copytree(self._directory, Path(scratch, self._directory.resolve().name)))
            written_to, text = file_with(copy, language, is_there, fields, order)
            written_to.parent.mkdir(exist_ok=True)
            written_to.write_text(text, "utf-8")
            load(*self._with(copy))
        path = self._directory / written_to.relative_to(copy)
        path.parent.mkdir(exist_ok=True)
        with replacement(path, text):
            return path

    def _with(self, copy: Path) -> tuple[Path | None, tuple[Path, ...]]:
        layers = tuple(copy if layer == self._directory else layer for layer in self._layers)
        return (self._folder, layers) if copy in layers else (copy, self._layers)
