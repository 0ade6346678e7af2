"""Compiled rules in the user's cache: taken by the next process, never out of date, never another's, never in the way."""

import os
import pickle
from hashlib import sha256
from pathlib import Path
from shutil import copytree

import pytest

from heartlevel import answer_to, assessment
from heartlevel.answer.whole import as_json
from heartlevel.bundles import bundling
from heartlevel.resources import shipped
from heartlevel.ruling.files.directories import keeping
from heartlevel.ruling.language.faults import RuleFaults
from rules.laid import layer
from support import OWN_RULE, week


@pytest.fixture
def cache(tmp_path, monkeypatch) -> Path:
    """An empty cache folder."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    return tmp_path / "cache" / "heartlevel"


@pytest.fixture
def loadings(monkeypatch) -> list:
    """Grows by one with each loading of rule files."""
    seen, load = [], assessment.load
    monkeypatch.setattr(assessment, "load", lambda *directories: seen.append(directories) or load(*directories))
    return seen


def load_rules(folder: Path | None = None, layers=()):
    """Load rules as a process does that has loaded none so far."""
    assessment._without_layers.cache_clear()
    return bundling.load_rules(folder, layers)


def kept(cache: Path) -> list[Path]:
    return sorted(cache.iterdir())


def test_the_second_time_nothing_is_loaded_and_answers_are_the_same_to_the_byte(cache, loadings, tmp_path):
    clinic = layer(tmp_path, own=OWN_RULE)
    first, second = (load_rules(None, (clinic,)) for _ in range(2))
    assert len(loadings) == len(kept(cache)) == 2  # the rules below the layer, and those under it
    assert first is not second
    assert as_json(answer_to(week(), first)) == as_json(answer_to(week(), second))


def test_only_this_user_can_read_what_is_kept(cache, loadings):
    load_rules()
    (file,) = kept(cache)
    assert (cache.stat().st_mode & 0o777, file.stat().st_mode & 0o777) == (0o700, 0o600)


def test_other_bytes_of_a_rule_file_are_loaded_anew(cache, loadings, tmp_path):
    folder = copytree(shipped("rules"), tmp_path / "rules")
    load_rules(folder)
    head = folder / "ruleset.yaml"
    times = head.stat()
    head.write_text(head.read_text() + "# looked at\n")
    os.utime(head, ns=(times.st_atime_ns, times.st_mtime_ns))
    load_rules(folder)
    assert len(loadings) == 2


def test_rules_at_fault_are_not_kept(cache, loadings, tmp_path):
    folder = copytree(shipped("rules"), tmp_path / "rules")
    (folder / "ruleset.yaml").write_text("revision: none")
    for _ in range(2):
        with pytest.raises(RuleFaults):
            load_rules(folder)
    assert len(loadings) == 2
    assert not kept(cache)


def test_files_that_change_while_they_are_read_are_not_kept(cache, monkeypatch, tmp_path):
    folder, load = copytree(shipped("rules"), tmp_path / "rules"), assessment.load

    def changed_meanwhile(*directories):
        rules = load(*directories)
        (folder / "ruleset.yaml").write_text((folder / "ruleset.yaml").read_text() + "#\n")
        return rules

    monkeypatch.setattr(assessment, "load", changed_meanwhile)
    load_rules(folder)
    assert not kept(cache)


def test_another_state_of_the_package_keeps_its_own(cache, loadings, monkeypatch):
    load_rules()
    before = list(keeping._files_of_package())
    assert {Path(path).name for path, _, _ in before} >= {"keeping.py", "truth_tables.json"}
    monkeypatch.setattr(keeping, "_files_of_package", lambda: [*before[:-1], (*before[-1][:2], before[-1][2] + 1)])
    load_rules()
    assert len(loadings) == len(kept(cache)) == 2


@pytest.mark.parametrize("damage", [lambda content: content[:-1], lambda content: b"", lambda content: b"\0" + content])
def test_a_damaged_file_is_loaded_over(cache, loadings, damage):
    load_rules()
    (file,) = kept(cache)
    file.write_bytes(damage(file.read_bytes()))
    load_rules()
    load_rules()
    assert len(loadings) == 2


class Planted:
    """Leaves a file behind when it is unpickled."""

    def __init__(self, trace: Path) -> None:
        self.trace = trace

    def __reduce__(self):
        return Path.touch, (self.trace,)


def planted(file: Path, trace: Path) -> None:
    pickled = pickle.dumps(Planted(trace))
    file.write_bytes(sha256(pickled).digest() + pickled)


def by_a_link(file: Path) -> None:
    file.rename(file.with_suffix(".elsewhere"))
    file.symlink_to(file.with_suffix(".elsewhere"))


@pytest.mark.parametrize("opened_up", [lambda file: file.chmod(0o622), lambda file: file.parent.chmod(0o777), by_a_link])
def test_what_others_could_have_written_is_not_read(cache, loadings, tmp_path, opened_up):
    load_rules()
    (file,) = kept(cache)
    planted(file, tmp_path / "trace")
    opened_up(file)
    load_rules()
    assert len(loadings) == 2
    assert not (tmp_path / "trace").exists()


def test_what_another_user_owns_is_not_read(cache, loadings, monkeypatch):
    load_rules()
    monkeypatch.setattr(os, "geteuid", lambda: os.getuid() + 1)
    load_rules()
    assert len(loadings) == 2


@pytest.mark.parametrize("place", ["file", "/proc/none"])
def test_where_nothing_can_be_kept_rules_are_loaded(loadings, monkeypatch, tmp_path, place):
    (tmp_path / "file").touch()
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / place))
    load_rules()
    load_rules()
    assert len(loadings) == 2


def test_a_user_without_a_home_has_rules_too(loadings, monkeypatch):
    def homeless():
        raise RuntimeError("Could not determine home directory.")

    monkeypatch.delenv("XDG_CACHE_HOME", raising=False)
    monkeypatch.setattr(keeping.Path, "home", homeless)
    load_rules()
    assert len(loadings) == 1


def test_those_not_used_for_longest_are_removed(cache, monkeypatch, tmp_path):
    monkeypatch.setattr(keeping, "MOST_KEPT", 2)
    folders = [copytree(shipped("rules"), tmp_path / name) for name in "abc"]
    names = []
    for folder in folders[:2]:
        load_rules(folder)
        names += [path.name for path in kept(cache) if path.name not in names]
    os.utime(cache / names[0], (1, 1))
    os.utime(cache / names[1], (2, 2))
    load_rules(folders[0])  # used just now
    load_rules(folders[2])
    left = {path.name for path in kept(cache)}
    assert len(left) == 2
    assert names[0] in left
    assert names[1] not in left
