"""Where rule files may lie: mounted, linked, among side files; what is no file is refused before it is read."""

import os
import shutil
import socket
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from heartlevel import RuleFaults
from heartlevel.bundles.bundling import load_rules
from heartlevel.command.main import main
from heartlevel.ruling.files.directories.listing import MOST_NAMES, listing_of
from heartlevel.ruling.files.directories.reading import NotRead, bytes_of_file
from heartlevel.ruling.files.directories.stamps import stamp_of
from heartlevel.ruling.files.loading import load
from heartlevel.ruling.files.source import LONGEST_FILE
from rules.laid import layer, refused, rules_of
from support import OWN_RULE, rules

# One a line: the name of a side file beside `own.yaml`, and who leaves it there. From memory, common practice.
SIDE_FILES = {
    "._own.yaml": "macOS, on disks of other systems",
    ".#own.yaml": "Emacs, while it is edited",
    "#own.yaml#": "Emacs, unsaved",
    "own.yaml~": "several editors",
    ".own.yaml.swp": "Vim",
    "own.yaml.swp": "Vim, so set",
    ".DS_Store": "macOS",
    ".own.yaml-x2.new": "heartlevel rules format",
    "own.yaml.bak": "people",
    "own": "people",
}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return layer(tmp_path, own=OWN_RULE)


def invoke(*arguments: str) -> Result:
    return CliRunner().invoke(main, arguments)


def added(*folders: Path) -> set[str]:
    """Return the ids of the rules that layers add."""
    return {rule.id for rule in rules_of(*folders).every_rule()} - {rule.id for rule in rules().ruleset.every_rule()}


def mounted(volume: Path, source: Path) -> Path:
    """Lay files out as Kubernetes mounts a ConfigMap: links to `..data`, which links to a folder with a date.

    Source: Kubernetes, pkg/volume/util/atomic_writer.go (its comment on the layout); from memory.
    """
    volume.mkdir()
    shutil.copytree(source, volume / "..2026_11_30_08_00_00.123456789")
    (volume / "..data").symlink_to("..2026_11_30_08_00_00.123456789")
    for path in source.iterdir():
        (volume / path.name).symlink_to(Path("..data", path.name))
    return volume


def remounted(volume: Path, source: Path) -> None:
    """Swap the content of a mounted volume in one step, as Kubernetes does."""
    shutil.copytree(source, volume / "..2026_11_30_09_00_00.987654321")
    (volume / "..data_tmp").symlink_to("..2026_11_30_09_00_00.987654321")
    (volume / "..data_tmp").rename(volume / "..data")
    shutil.rmtree(volume / "..2026_11_30_08_00_00.123456789")


def test_a_mounted_volume_has_each_file_once_and_a_swap_of_it_is_seen(tmp_path, folder):
    volume = mounted(tmp_path / "mounted", folder)
    before, stamp = rules_of(volume), stamp_of(None, (volume,))
    assert before.layers[0].fingerprint == rules_of(folder).layers[0].fingerprint
    assert added(volume) == {"pulse-fast-here"}
    assert [words.split()[0] for words in before.passed_over()] == [
        "mounted/..2026_11_30_08_00_00.123456789",
        "mounted/..data",
    ]
    (folder / "reading" / "own.yaml").write_text(OWN_RULE.replace("Fast pulse", "Swift pulse"))
    remounted(volume, folder)
    assert [path for path, _ in stamp_of(None, (volume,))] == [path for path, _ in stamp]
    assert stamp_of(None, (volume,)) != stamp
    assert rules_of(volume).layers[0].fingerprint == rules_of(folder).layers[0].fingerprint


def test_linked_folders_are_looked_into_and_their_changes_are_seen(tmp_path, folder):
    (folder / "reading").rename(tmp_path / "elsewhere")
    (folder / "reading").symlink_to(tmp_path / "elsewhere")
    stamp = stamp_of(None, (folder,))
    assert added(folder) == {"pulse-fast-here"}
    (tmp_path / "elsewhere" / "own.yaml").write_text("[]\n")
    assert stamp_of(None, (folder,)) != stamp


@pytest.mark.parametrize("ending", [".yml", ".YAML", ".Yml"])
def test_endings_written_otherwise_are_taken(folder, ending):
    wanted = rules_of(folder).fingerprint
    for name in ("layer.yaml", "reading/own.yaml"):
        (folder / name).rename(folder / name.replace(".yaml", ending))
    assert rules_of(folder).fingerprint == wanted
    assert invoke("rules", "check", str(folder)).exit_code == 0
    assert invoke("rules", "format", "--check", str(folder)).exit_code in (0, 1)


def test_two_files_that_stand_for_one_are_named(folder):
    shutil.copy(folder / "layer.yaml", folder / "layer.yml")
    assert refused(folder) == [
        "clinic/layer.yml:1:1: repeated-key: it stands for the same as layer.yaml beside it"
    ]  # fmt: skip


def test_side_files_are_passed_over_with_a_word(folder):
    for name in SIDE_FILES:
        (folder / "reading" / name).write_text("{[ not yaml")
    (folder / ".git").mkdir()
    (folder / ".git" / "own.yaml").write_text(OWN_RULE)
    (folder / "NOTES.md").write_text("# Why\n")
    answer = invoke("rules", "check", str(folder))
    told = [line for line in answer.stderr.splitlines() if "is passed over" in line]
    assert answer.exit_code == 0
    assert {line.split()[1] for line in told} == {f"clinic/reading/{name}" for name in SIDE_FILES} | {"clinic/.git"}
    assert added(folder) == {"pulse-fast-here"}


def no_file(folder: Path, kind: str) -> Path:
    path = folder / "reading" / "odd.yaml"
    match kind:
        case "pipe":
            os.mkfifo(path)
        case "socket":
            os.chdir(path.parent)  # the path of a socket has at most some hundred characters
            with socket.socket(socket.AF_UNIX) as bound:
                bound.bind(path.name)
        case "device":
            path.symlink_to("/dev/zero")
        case "folder":
            path.mkdir()
        case "circle":
            path.symlink_to(path.name)
        case "nothing":
            path.symlink_to("not-there.yaml")
        case "large":
            path.write_bytes(b"#" * (LONGEST_FILE + 1))
        case "sparse":
            with path.open("wb") as file:
                file.truncate(2**40)
    return path


@pytest.mark.parametrize(
    ("kind", "why"),
    {
        "pipe": "unreadable: this is a named pipe, not a file",
        "socket": "unreadable: this is a socket, not a file",
        "device": "unreadable: this is a device, not a file",
        "folder": "unreadable: this is a folder, not a file",
        "circle": "unreadable: its links lead in a circle",
        "nothing": "unreadable: the link leads to nothing",
        "large": "file-too-long: 524289 bytes; at most 524288 are read",
        "sparse": "file-too-long: 1099511627776 bytes; at most 524288 are read",
    }.items(),
)
def test_what_is_no_file_of_a_sane_size_is_refused_before_it_is_read(folder, monkeypatch, kind, why):
    monkeypatch.chdir(folder)  # comes back from where the socket is made
    no_file(folder, kind)
    assert refused(folder) == [f"clinic/reading/odd.yaml:1:1: {why}"]
    assert len(stamp_of(None, (folder,))) == len(stamp_of(None, ())) + 3


def test_a_pipe_in_the_place_of_the_layers_own_file_is_named_as_such(folder):
    (folder / "layer.yaml").unlink()
    os.mkfifo(folder / "layer.yaml")
    assert refused(folder) == ["clinic/layer.yaml:1:1: unreadable: this is a named pipe, not a file"]


def test_a_file_that_grows_is_refused(tmp_path, monkeypatch):
    """It grows between the look at its size and the reading of it."""
    path, size_of = tmp_path / "grows.yaml", os.fstat
    path.write_text("a: 1\n")

    def grown(descriptor: int) -> os.stat_result:
        status = size_of(descriptor)
        with path.open("a") as file:
            file.write("b: 2\n")
        return status

    monkeypatch.setattr(os, "fstat", grown)
    with pytest.raises(NotRead, match="grows while it is read"):
        bytes_of_file(path, LONGEST_FILE)


def test_folders_linked_in_a_circle_are_named_and_not_walked_for_ever(folder):
    (folder / "reading" / "again").symlink_to(folder)
    assert refused(folder) == [
        "clinic/reading/again:1:1: unreadable: the link leads to a folder that it lies in, and so in a circle"
    ]


def test_a_link_to_a_whole_disk_is_not_walked_to_its_end(folder, monkeypatch):
    monkeypatch.setattr("heartlevel.ruling.files.directories.listing.MOST_NAMES", 50)
    deep = folder / "reading" / "many"
    deep.mkdir()
    for number in range(60):
        (deep / f"{number:02d}.md").touch()
    listing = listing_of(folder)
    assert [fault.code for fault in listing.faults] == ["too-many"] and listing.names > 50
    assert MOST_NAMES > 1000


def test_a_bundle_keeps_files_whose_ending_is_written_otherwise(tmp_path, folder):
    (folder / "reading" / "own.yaml").rename(folder / "reading" / "own.YML")
    packed = invoke("rules", "bundle", str(tmp_path / "b.json"), "--approver", "A", "--layer", str(folder))
    assert packed.exit_code == 0, packed.stderr
    assert load_rules(tmp_path / "b.json").ruleset.fingerprint == rules_of(folder).fingerprint


def test_a_directory_that_is_not_there_is_told_as_before(tmp_path):
    with pytest.raises(RuleFaults) as caught:
        load(tmp_path / "nowhere")
    assert {fault.code for fault in caught.value.faults} == {"missing-file"}
