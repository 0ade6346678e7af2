"""Rules and layers packed into one signed file, and taken from it."""

import json
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat, PublicFormat

from heartlevel import answer_to
from heartlevel.answer.whole import as_json
from heartlevel.assessment import Rules
from heartlevel.bundles.bundling import TRUSTED, BundleRefused, load_rules
from heartlevel.command.main import main
from heartlevel.web.application import create_app
from heartlevel.web.rules.reloading import RulesInForce
from rules.laid import layer
from support import OWN_RULE, week

OFF = "{of: rule, id: legs-crossed, off: true, reason: Our chairs}"
CROSSED = week(technique={"legs_crossed": True}, pulse=120)


@pytest.fixture
def clinic(tmp_path: Path) -> Path:
    return layer(tmp_path, OFF, own=OWN_RULE)


@pytest.fixture
def keys(tmp_path: Path) -> tuple[Path, Path]:
    """A private and the public key, as files."""
    key = Ed25519PrivateKey.generate()
    private, public = tmp_path / "private.pem", tmp_path / "public.pem"
    private.write_bytes(key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption()))
    public.write_bytes(key.public_key().public_bytes(Encoding.PEM, PublicFormat.SubjectPublicKeyInfo))
    return private, public


def run(*arguments):
    return CliRunner().invoke(main, ["rules", *map(str, arguments)])


def bundled(target: Path, clinic: Path, *more) -> Path:
    result = run("bundle", target, "--approver", "A. Lead", "--date", "2026-03-01", "--layer", clinic, *more)
    assert result.exit_code == 0, result.output
    return target


def test_a_bundle_answers_a_past_request_to_the_byte(tmp_path, clinic):
    before = as_json(answer_to(CROSSED, Rules.load(None, (clinic,))))
    kept = tmp_path / "kept"
    kept.mkdir()
    bundled(kept, clinic)
    shutil.rmtree(clinic)
    fingerprint = json.loads(before)["made_with"]["rules"]["fingerprint"]
    (file,) = kept.iterdir()
    assert file.name == f"{fingerprint.replace(':', '-')}.json"  # found by what the answer was made with
    assert as_json(answer_to(CROSSED, load_rules(file))) == before


def test_a_bundle_names_its_approver_and_day_and_is_the_same_each_time(tmp_path, clinic, keys):
    one, other = (bundled(tmp_path / name, clinic, "--key", keys[0]) for name in ("one.json", "other.json"))
    assert one.read_bytes() == other.read_bytes()
    held = json.loads(one.read_bytes())["bundle"]
    assert (held["approver"], held["date"], held["layers"][0]["id"]) == ("A. Lead", "2026-03-01", "clinic")


def test_a_bundle_stands_in_the_place_of_a_directory_of_rules(tmp_path, clinic):
    file = bundled(tmp_path / "rules.json", clinic)
    assert "pulse-fast-here" in run("list", "--rules", file).stdout
    assert run("test", "--rules", file).exit_code == 0
    again = run("list", "--rules", file, "--layer", clinic)  # as where HEARTLEVEL_LAYERS is set
    assert again.exit_code == 1 and "it holds the layer clinic already: leave out --layer" in again.stderr


def test_where_keys_are_trusted_only_what_they_signed_is_taken(tmp_path, clinic, keys, monkeypatch):
    signed = bundled(tmp_path / "signed.json", clinic, "--key", keys[0])
    unsigned = bundled(tmp_path / "unsigned.json", clinic)
    changed = tmp_path / "changed.json"
    changed.write_text(signed.read_text().replace("A. Lead", "B. Lead"))
    other = Ed25519PrivateKey.generate().public_key().public_bytes(Encoding.PEM, PublicFormat.SubjectPublicKeyInfo)
    (tmp_path / "other.pem").write_bytes(other)
    monkeypatch.setenv(TRUSTED, f"{tmp_path / 'other.pem'}:{keys[1]}")
    assert load_rules(signed).ruleset.layers[0].id == "clinic"
    for wrong in (unsigned, changed):
        with pytest.raises(BundleRefused, match="none of the trusted keys"):
            load_rules(wrong)
    for folder, layers in ((None, ()), (None, (clinic,)), (signed, (clinic,))):
        with pytest.raises(BundleRefused, match="only a signed bundle is taken"):
            load_rules(folder, layers)
    assert "rules refused: HEARTLEVEL_TRUSTED_KEYS is set" in run("list").stderr
    monkeypatch.setenv(TRUSTED, str(tmp_path / "other.pem"))
    with pytest.raises(BundleRefused, match="none of the trusted keys"):
        load_rules(signed)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "no bundle"), (b"[]", "no bundle"), (b'{"bundle": {}}', "no bundle"), (b"\xff", "no bundle"),
        (b'{"bundle": {"files": {"../x.yaml": ""}, "fingerprint": ""}, "signature": null}', "other files"),
        (b'{"bundle": {"files": {"base/../../x.yaml": ""}, "fingerprint": ""}, "signature": null}', "other files"),
        (b'{"bundle": {"files": {"base/x.py": ""}, "fingerprint": ""}, "signature": null}', "other files"),
        (b'{"bundle": {"files": {}, "fingerprint": ""}, "signature": "no base 64!"}', "no bundle"),
    ],
)  # fmt: skip
def test_what_is_no_bundle_is_refused(tmp_path, content, said):
    file = tmp_path / "rules.json"
    file.write_bytes(content)
    with pytest.raises(BundleRefused, match=said):
        load_rules(file)


def test_files_that_make_other_rules_than_the_bundle_names_are_refused(tmp_path, clinic):
    file = bundled(tmp_path / "rules.json", clinic)
    file.write_text(file.read_text().replace("Our chairs", "Our stools").replace("Fast pulse", "Quick pulse"))
    with pytest.raises(BundleRefused, match="do not make the rules"):
        load_rules(file)


def test_what_is_no_key_is_said(tmp_path, clinic, keys, monkeypatch):
    refused = run("bundle", tmp_path / "x.json", "--approver", "A. Lead", "--layer", clinic, "--key", keys[1])
    assert (refused.exit_code, (tmp_path / "x.json").exists()) == (1, False)
    assert "rules refused: the key is no private key in PEM form" in refused.stderr
    file = bundled(tmp_path / "rules.json", clinic, "--key", keys[0])
    monkeypatch.setenv(TRUSTED, str(keys[0]))
    with pytest.raises(BundleRefused, match="a trusted key is no public key in PEM form"):
        load_rules(file)


def test_a_service_takes_over_a_newer_bundle_and_refuses_one_that_nobody_signed(tmp_path, keys, monkeypatch):
    file = tmp_path / "rules.json"
    first = bundled(tmp_path / "1.json", layer(tmp_path / "a", OFF), "--key", keys[0])
    newer = layer(tmp_path / "b", OFF, own=OWN_RULE)
    (newer / "layer.yaml").write_text((newer / "layer.yaml").read_text().replace('"1"', '"2"'))
    shutil.copy(first, file)
    monkeypatch.setenv(TRUSTED, str(keys[1]))
    in_force: RulesInForce = create_app({"RULES": str(file)}).extensions["heartlevel"]
    before = in_force.current.ruleset.fingerprint
    monkeypatch.delenv(TRUSTED)
    unsigned, signed = bundled(tmp_path / "2.json", newer), bundled(tmp_path / "3.json", newer, "--key", keys[0])
    monkeypatch.setenv(TRUSTED, str(keys[1]))
    for source, taken in ((unsigned, False), (signed, True)):
        shutil.copy(source, file)
        for _ in range(2):
            in_force.look()
        assert (in_force.current.ruleset.fingerprint != before) == taken == (in_force.refused == ())
