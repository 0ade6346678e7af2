"""Every parser of what comes from outside, by a fixed number of damaged inputs: read or refused, and never a failure.

`HYPOTHESIS_PROFILE=long` tries twenty times as many, `HYPOTHESIS_PROFILE=default` others each time.
"""

import gzip
import json
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from random import Random

import jwt
import pytest
from backports import zstd
from cryptography.hazmat.primitives.asymmetric import ec
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from exchange.resources import parameters, pressure
from fuzzing.mutation import HURTING, damaged
from heartlevel.bulk.columns.mapping_file import mapped_by
from heartlevel.bulk.wrong_call import WrongCall
from heartlevel.bundles.bundling import Approval, BundleRefused, laid_out, packed
from heartlevel.fhir.codes import SHIPPED, WrongCodes, codes_of
from heartlevel.intake.bluetooth.expanding import expanded
from heartlevel.resources import shipped
from heartlevel.ruling.files.content import Content, content_of
from heartlevel.ruling.files.layers import lay
from heartlevel.ruling.language.faults import RuleFaults
from heartlevel.web.access.guard import Guard
from heartlevel.web.access.keys import KeyFile, WrongKeyFile, new_key, write_keys
from heartlevel.web.access.signed_tokens import IssuedTokens, WrongIssuer, WrongToken
from heartlevel.web.application import create_app
from heartlevel.web.fhir.trusted_clients import TrustedClients, WrongTrust
from heartlevel.web.settings import NAMES, PREFIX, WrongSettings, settings_in
from load.marked import documents, table
from own_layer import FACTS, RULES
from support import as_csv, as_rows, assess_in_process, demo, examples, requests, rules, week

PRIVATE = ec.generate_private_key(ec.SECP384R1())
JSON, NDJSON, CSV, FHIR = "application/json", "application/x-ndjson", "text/csv", "application/fhir+json"
REFUSED = (400, 401, 403, 406, 413, 415, 422)


def fuzzed(cases: int) -> Callable:
    """Give a test the generator of chance, as often as there are cases."""
    chosen = settings(max_examples=examples(cases), deadline=None, phases=[Phase.explicit, Phase.reuse, Phase.generate],
                      suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])  # fmt: skip
    return lambda test: chosen(given(chance=st.integers(0, 2**64).map(Random))(test))


@pytest.fixture(scope="module")
def app():
    return create_app({"TESTING": False}, rules())


@cache
def sent() -> dict[str, list[bytes]]:
    """Right bodies, by what they are."""
    small = {
        **week(2),
        "devices": [{"id": "d-1", "cuff": {"arm_min_cm": 22}}],
        "periods": [],
        "options": {"detail": "full"},
    }
    bluetooth = {**week(1), "readings": [{"setting": "home", "bluetooth": "16830053006900ea070302070a000048000100"}]}
    others = documents()
    texts = {
        "subject": [small, bluetooth, {**demo()[6], "readings": demo()[6]["readings"][:6]}],
        "FHIR": [others["bundle"], parameters(*[pressure(f"o-{day}", day=day) for day in range(1, 4)])],
        "hook": [others["hook"], others["feedback"]], "device check": [others["device check"]],
    }  # fmt: skip
    return {name: [json.dumps(document).encode() for document in several] for name, several in texts.items()} | {
        "lines": [b"\n".join(json.dumps(payload).encode() for payload in requests(3))],
        "table": [as_csv(as_rows(requests(2))).encode(), table()],
    }


# By name: the path, the kind of body, the right ones, and how often a body is damaged.
DOORS = {
    "JSON": ("/v1/assessments", JSON, "subject", 120), "NDJSON": ("/v1/assessments", NDJSON, "lines", 50),
    "FHIR": ("/v1/fhir/assessments", FHIR, "FHIR", 150), "device checks": ("/v1/device-checks", JSON, "device check", 80),
    "CDS Hooks": ("/cds-services/blood-pressure", JSON, "hook", 80), "CSV": ("/v1/tables", CSV, "table", 50),
    "feedback": ("/cds-services/blood-pressure/feedback", JSON, "hook", 40),
    "log sheets": ("/v1/log-sheets", JSON, "subject", 40), "patient sheets": ("/v1/patient-sheets", JSON, "subject", 40),
}  # fmt: skip


@pytest.mark.parametrize("door", DOORS)
def test_a_damaged_body_is_answered_or_refused(client, door):
    path, kind, name, cases = DOORS[door]

    @fuzzed(cases)
    def holds(chance: Random) -> None:
        body = damaged(chance.choice(sent()[name]), sent()[name], chance)
        response = client.post(path, data=body, content_type=kind)
        assert response.status_code in (200, *REFUSED), body
        assert b'"ended":"failed"' not in response.data

    holds()


@pytest.mark.parametrize("coding", ["gzip", "zstd"])
def test_a_damaged_compressed_body_is_answered_or_refused(client, coding):
    pack = {"gzip": lambda text: gzip.compress(text, mtime=0), "zstd": zstd.compress}[coding]
    right = [pack(text) for text in sent()["subject"]]

    @fuzzed(150)
    def holds(chance: Random) -> None:
        body, headers = damaged(chance.choice(right), right, chance), {"Content-Encoding": coding}
        kind = chance.choice((JSON, NDJSON))
        response = client.post("/v1/assessments", data=body, content_type=kind, headers=headers)
        assert response.status_code in (200, *REFUSED), body
        assert b'"ended":"failed"' not in response.data

    holds()


@fuzzed(400)
def test_any_bytes_of_a_measurement_are_read_or_named(chance):
    size = chance.randrange(24)
    content = chance.randbytes(size) if chance.random() < 0.7 else chance.choice(HURTING)[:60]
    text = content.hex() if chance.random() < 0.8 else content.decode("utf-8", "surrogateescape")
    expanded([{"setting": "home", "bluetooth": text, "device": "d-1"}])


@cache
def token(**more: object) -> str:
    now = datetime.now(UTC)
    claims = {"iss": "https://i.example", "aud": "heartlevel", "iat": now, "exp": now + timedelta(hours=1), "jti": "j",
              "sub": "s", "scope": "assess", **more}  # fmt: skip
    return jwt.encode(claims, PRIVATE, "ES384", headers={"kid": "k"})


def key_set() -> bytes:
    public = {
        **json.loads(jwt.algorithms.ECAlgorithm.to_jwk(PRIVATE.public_key())),
        "kid": "k",
        "use": "sig",
        "alg": "ES384",
    }
    return json.dumps({"keys": [public]}).encode()


@fuzzed(400)
def test_no_damaged_token_or_key_opens_anything(guarded, chance):
    guard, clients, right = guarded
    text = chance.choice(right)
    header = damaged(text, right, chance) if chance.random() < 0.7 else with_parts(text, chance)
    header = header.replace(b"\r", b"").replace(b"\n", b"").decode("latin-1")
    if header.encode("latin-1").strip() in right:
        return
    for check in (guard.caller, lambda text: clients.check(text, "/cds-services/blood-pressure")):
        with pytest.raises(WrongToken) as refused:
            check(header)
        assert len(str(refused.value)) < 100


def with_parts(text: bytes, chance: Random) -> bytes:
    """Return a token one of whose parts says something that hurts, in the coding that tokens have."""
    parts = text.split(b".")
    parts[chance.randrange(len(parts))] = jwt.utils.base64url_encode(damaged(b'{"alg":"ES384","kid":"k"}', [text], chance))
    return b".".join(parts)


@pytest.fixture(scope="module")
def guarded(tmp_path_factory) -> tuple[Guard, TrustedClients, list[bytes]]:
    folder: Path = tmp_path_factory.mktemp("guarded")
    key, text = new_key(["assess"], "2026-03-02")
    write_keys(folder / "keys", [key])
    (folder / "set").write_bytes(key_set())
    (folder / "trust").write_bytes(trust())
    guard = Guard(KeyFile(folder / "keys"), IssuedTokens(str(folder / "set"), "https://i.example", "heartlevel"))
    right = [f"Bearer {text}".encode(), f"Bearer {token()}".encode()]
    assert [guard.caller(header.decode())[1] for header in right] == [("assess",)] * 2
    return guard, TrustedClients(folder / "trust"), right


def trust() -> bytes:
    return json.dumps({"audience": "heartlevel", "issuers": {"https://i.example": json.loads(key_set())}}).encode()


def codes() -> bytes:
    return SHIPPED.read_bytes()[:4_000]


COLUMNS = b"""columns:
  Patient: subject
  Systole: {to: systolic, unit: kPa}
  Where: {to: setting, values: {H: home, P: office}}
fixed: {taken_by: self}
time_zone: Europe/Oslo
time_format: "%d.%m.%Y %H:%M"
decimal: ","
delimiter: ";"
ignore: [Ward]
"""


def parsed_settings(path: Path) -> None:
    """Read lines NAME=VALUE as the environment would hold them."""
    lines = path.read_bytes().replace(b"\0", b"").decode("utf-8", "surrogateescape").split("\n")
    settings_in({PREFIX + name: value for name, _, value in (line.partition("=") for line in lines)})


def parsed_bundle(path: Path) -> None:
    with laid_out(path, ()):
        pass


@cache
def bundle() -> bytes:
    whole = json.loads(packed(None, (), rules().ruleset, Approval("A. Clinician", "2026-03-02"), None))
    whole["bundle"]["files"] = {name: text[:200] for name, text in list(whole["bundle"]["files"].items())[:4]}
    return json.dumps(whole).encode()


# By name: right contents, what reads a file of them, what it may raise, and how often one is damaged.
FILES: dict[str, tuple[Callable[[], list[bytes]], Callable[[Path], object], tuple[type[Exception], ...], int]] = {
    "keys": (lambda: [json.dumps({"keys": [{"id": "a", "scopes": ["assess"], "created": "2026-03-02", "salt": "00" * 16,
                                            "hashed": "00" * 32}]}).encode()], KeyFile, (WrongKeyFile,), 300),
    "key set": (lambda: [key_set()], lambda path: IssuedTokens(str(path), "i", "a"), (WrongIssuer,), 300),
    "trusted clients": (lambda: [trust()], TrustedClients, (WrongTrust,), 300),
    "codes": (lambda: [codes()], codes_of.__wrapped__, (WrongCodes,), 60),
    "columns": (lambda: [COLUMNS], mapped_by, (WrongCall,), 300),
    "settings": (lambda: ["\n".join(f"{name}=1" for name in NAMES).encode()], parsed_settings, (WrongSettings,), 200),
    "bundle of rules": (lambda: [bundle()], parsed_bundle, (BundleRefused, RuleFaults), 100),
}  # fmt: skip


@pytest.mark.parametrize("kind", FILES)
def test_a_damaged_file_is_read_or_refused_in_words(kind, tmp_path):
    contents, read, refusals, cases = FILES[kind]
    path = tmp_path / "file"

    @fuzzed(cases)
    def holds(chance: Random) -> None:
        path.write_bytes(damaged(chance.choice(contents()), contents(), chance))
        try:
            read(path)
        except refusals as refusal:
            assert str(refusal).strip()

    holds()


@cache
def base() -> Content:
    return content_of(shipped("rules"), "ruleset.yaml", [])


LAYER = b"""name: clinic
revision: "1"
changes:
- {guideline: esc-2024, because: here, approved_by: "A. B.", approved_on: 2026-03-02}
"""


@fuzzed(200)
def test_a_damaged_layer_is_laid_or_its_faults_are_named(tmp_path_factory, chance):
    top = tmp_path_factory.mktemp("layers") / "clinic"
    right = {"layer.yaml": LAYER, "facts/ours.yaml": FACTS.encode(), "reading/ours.yaml": RULES.encode()}
    broken = chance.choice(list(right))
    for name, text in right.items():
        (top / name).parent.mkdir(parents=True, exist_ok=True)
        (top / name).write_bytes(damaged(text, list(right.values()), chance) if name == broken else text)
    faults: list = []
    content = replace(base(), items={section: list(entries) for section, entries in base().items.items()})
    lay(content, top, faults, [])
    assert all(str(fault) for fault in faults)


def files_of_tables(folder: Path) -> dict[str, bytes]:
    rows = [{name: value for name, value in row.items() if name != "technique"} for row in as_rows(requests(2))]
    import pyarrow
    from openpyxl import Workbook
    from pyarrow import parquet

    parquet.write_table(pyarrow.Table.from_pylist(rows), folder / "right.parquet")
    book = Workbook()
    for row in [list(rows[0]), *(list(row.values()) for row in rows)]:
        book.active.append(row)
    book.save(folder / "right.xlsx")
    return {kind: (folder / f"right.{kind}").read_bytes() for kind in ("parquet", "xlsx")}


@pytest.mark.parametrize("kind", ["parquet", "xlsx"])
def test_a_damaged_table_costs_no_more_than_itself(tmp_path, kind):
    right = files_of_tables(tmp_path)
    path = tmp_path / f"damaged.{kind}"

    @fuzzed(80)
    def holds(chance: Random) -> None:
        path.write_bytes(damaged(right[kind], list(right.values()), chance))
        done = assess_in_process(str(path), "--json", "--workers", "1")
        assert done.exception is None or isinstance(done.exception, SystemExit), repr(done.exception)
        assert "Traceback" not in done.stderr

    holds()
