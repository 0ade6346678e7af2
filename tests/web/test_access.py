"""Who may ask for what: keys and tokens, each route with its scope, nothing told of what was sent."""

import json
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from io import BytesIO
from pathlib import Path
from threading import Event, Thread
from unittest.mock import Mock
from urllib.error import URLError

import jwt
import pytest
from click.testing import CliRunner
from cryptography.hazmat.primitives.asymmetric import ec, rsa

from heartlevel.command.main import main
from heartlevel.web.access.guard import FROM_PROBES
from heartlevel.web.access.scopes import OPEN, SCOPES, scope_needed
from heartlevel.web.access.signed_tokens import IssuedTokens, WrongIssuer, WrongToken
from heartlevel.web.application import create_app
from heartlevel.web.settings import WrongSettings
from own_layer import own_layer, own_rules
from support import rules, week

ROOT = Path(__file__).parents[2]
ISSUER, AUDIENCE = "https://login.example", "heartlevel"
KEY, STRANGER = ec.generate_private_key(ec.SECP256R1()), ec.generate_private_key(ec.SECP256R1())


@pytest.fixture
def key_file(tmp_path):
    return tmp_path / "keys.json"


def made(key_file, *scopes: str) -> str:
    done = CliRunner().invoke(
        main, ["keys", "new", "--file", str(key_file), *(word for s in scopes for word in ("--scope", s))]
    )
    assert done.exit_code == 0, done.output
    return done.output.strip()


@pytest.fixture
def key_set(tmp_path):
    public = json.loads(jwt.algorithms.ECAlgorithm.to_jwk(KEY.public_key()))
    path = tmp_path / "jwks.json"
    path.write_text(json.dumps({"keys": [{**public, "kid": "k-1", "use": "sig", "alg": "ES256"}]}))
    return path


def client_of(**config):
    return create_app(config, rules()).test_client()


def bearer(text: str) -> dict[str, str]:
    return {"Authorization": f"Bearer {text}"}


def token(key=KEY, algorithm="ES256", **changed) -> str:
    claims = {"iss": ISSUER, "aud": AUDIENCE, "exp": datetime.now(UTC) + timedelta(minutes=5), "scope": "assess", **changed}
    claims = {name: value for name, value in claims.items() if value is not None}
    return jwt.encode(claims, key, algorithm, headers={"kid": "k-1"})


def test_every_route_needs_a_scope_but_those_that_are_named_open(key_file):
    made(key_file, "assess")
    app = create_app({"KEYS": key_file}, rules())
    client = app.test_client()
    for route in app.url_map.iter_rules():
        path = route.rule.replace("<name>", "x").replace("<id>", "x").replace("<service>", "blood-pressure")
        for method in sorted(route.methods - {"OPTIONS", "HEAD"}):
            status = client.open(path, method=method).status_code
            assert (status == 401) is not (route.rule in OPEN), (route.rule, method, status)


@pytest.mark.parametrize("scope", SCOPES)
def test_a_key_opens_what_its_scope_says_and_nothing_else(key_file, scope):
    headers = bearer(made(key_file, scope))
    client = client_of(KEYS=key_file)
    asked = {"assess": ("POST", "/v1/assessments"), "rules-read": ("GET", "/v1/rules"), "metrics": ("GET", "/metrics"),
             "rules-trial": ("POST", "/v1/rules/trial")}  # fmt: skip
    for needed, (method, path) in asked.items():
        assert scope_needed(path, method) == needed
        status = client.open(path, method=method, json=week() if method == "POST" else None, headers=headers).status_code
        assert (status == 403) is (needed != scope) and status != 401, (needed, status)


def test_a_key_is_kept_as_a_salted_hash_and_a_revoked_one_opens_nothing_at_once(key_file):
    first, second = made(key_file, "assess"), made(key_file, "assess")
    kept = key_file.read_text()
    assert key_file.stat().st_mode & 0o777 == 0o600
    assert not [part for text in (first, second) for part in (text, text.split("_", 2)[2]) if part in kept]
    client = client_of(KEYS=key_file)
    post = lambda text: client.post("/v1/assessments", json=week(), headers=bearer(text)).status_code  # noqa: E731
    assert (post(first), post(second)) == (200, 200)
    listed = CliRunner().invoke(main, ["keys", "list", "--file", str(key_file)]).output
    assert [line.split()[0] for line in listed.splitlines()] == [text.split("_")[1] for text in (first, second)]
    assert CliRunner().invoke(main, ["keys", "revoke", "--file", str(key_file), first.split("_")[1]]).exit_code == 0
    assert (post(first), post(second)) == (401, 200)


@pytest.mark.parametrize("wrong", ["", "hl", "hl_", "hl_x_y", "{key}x", "x{key}", "hl_{id}_", "Basic"])
def test_what_is_no_key_is_refused_and_not_told_again(key_file, caplog, wrong):
    key = made(key_file, "assess")
    client = client_of(KEYS=key_file)
    sent = wrong.format(key=key, id=key.split("_")[1])
    with caplog.at_level("INFO"):
        refused = client.post("/v1/assessments", json=week(), headers=bearer(sent))
    assert (refused.status_code, refused.headers["WWW-Authenticate"]) == (401, "Bearer")
    assert "access refused" in caplog.text
    secrets = {key, key.split("_", 2)[2]} | ({sent} if len(sent) > 4 else set())
    assert not [secret for secret in secrets if secret in caplog.text or secret in refused.text]


STRANGE = '{"keys": [{"id": "a", "scopes": ["all"], "created": "", "salt": "", "hashed": ""}]}'


@pytest.mark.parametrize("broken", ["{", "{}", '{"keys": [{"id": "a"}]}', '{"keys": 3}', STRANGE])
def test_a_broken_file_of_keys_starts_no_service_and_lets_nobody_into_one_that_runs(key_file, broken):
    key = made(key_file, "assess")
    client = client_of(KEYS=key_file)
    key_file.write_text(broken)
    refused = client.post("/v1/assessments", json=week(), headers=bearer(key))
    assert (refused.status_code, refused.headers["Retry-After"]) == (503, "1")
    with pytest.raises(WrongSettings, match="HEARTLEVEL_KEYS: .* is no"):
        create_app({"KEYS": key_file}, rules())


def test_a_token_of_the_issuer_opens_what_its_scope_says(key_set):
    client = client_of(JWKS=str(key_set), JWT_ISSUER=ISSUER, JWT_AUDIENCE=AUDIENCE)
    assert client.post("/v1/assessments", json=week(), headers=bearer(token())).status_code == 200
    written_otherwise = {"Authorization": f"bearer  {token()}"}  # RFC 9110, 11.1: schemes are compared without case
    assert client.post("/v1/assessments", json=week(), headers=written_otherwise).status_code == 200
    assert client.get("/v1/rules", headers=bearer(token())).status_code == 403
    assert client.get("/v1/rules", headers=bearer(token(scope="assess rules-read"))).status_code == 200


def nested() -> bytes:
    return jwt.utils.base64url_encode(b'{"alg":' + b"[" * 5_000)


RSA = rsa.generate_private_key(65537, 2048)
WRONG_TOKENS = {
    "expired": lambda: token(exp=datetime.now(UTC) - timedelta(minutes=5)),
    "no end": lambda: token(exp=None),
    "another issuer": lambda: token(iss="https://other.example"),
    "another audience": lambda: token(aud="other"),
    "another key": lambda: token(STRANGER),
    "another kind of key": lambda: token(RSA, "RS256"),
    "a shared secret": lambda: token("k" * 64, "HS256"),
    "no signature": lambda: token(None, "none"),
    "no token": lambda: "a.b.c",
    "lists without end": lambda: nested().decode() + ".e30.e30",
    "a text that is none": lambda: jwt.utils.base64url_encode(b'{"alg":"ES256","kid":"\xff"}').decode() + ".e30.e30",
    "scopes that are none": lambda: token(scope=["assess"]),
}


@pytest.mark.parametrize("kind", WRONG_TOKENS)
def test_a_token_that_is_not_valid_opens_nothing(key_set, caplog, kind):
    client = client_of(JWKS=str(key_set), JWT_ISSUER=ISSUER, JWT_AUDIENCE=AUDIENCE)
    sent = WRONG_TOKENS[kind]()
    with caplog.at_level("INFO"):
        refused = client.post("/v1/assessments", json=week(), headers=bearer(sent))
    assert refused.status_code == (403 if kind == "scopes that are none" else 401)
    assert sent not in caplog.text + refused.text


@pytest.mark.parametrize(("arguments", "environment", "refused"), [
    (["--host", "0.0.0.0"], {}, True), (["--host", "::"], {}, True), (["--host", "clinic.example"], {}, True),
    (["--host", "127.0.0.2"], {}, False), (["--host", "::1"], {}, False), ([], {}, False),
    (["--host", "0.0.0.0", "--behind-proxy"], {}, False),
])  # fmt: skip
def test_on_an_address_that_others_reach_somebody_has_to_decide_who_may_call(monkeypatch, arguments, environment, refused):
    started = []
    monkeypatch.setattr("heartlevel.command.serve.run", lambda *given: started.append(given))
    done = CliRunner().invoke(main, ["serve", *arguments], env=environment)
    assert bool(started) is not refused and done.exit_code == int(refused), done.output
    assert not refused or "--behind-proxy" in done.output
    behind_proxy = "--behind-proxy" in arguments
    assert refused or started[0][-1] == {"BEHIND_PROXY": behind_proxy, "TRIALS": not behind_proxy}


def test_answers_are_kept_by_nobody_on_the_way_and_trials_can_be_switched_off(client):
    assert client.post("/v1/assessments", json=week()).headers["Cache-Control"] == "no-store"
    assert client_of(TRIALS=False).post("/v1/rules/trial", json={}).status_code == 403


@pytest.fixture
def app():
    return create_app({}, rules())


def test_a_browser_may_ask_what_it_may_send_before_it_has_a_key(key_file):
    made(key_file, "assess")
    asked = client_of(KEYS=key_file, CDS_ORIGINS="https://ehr.example").options(
        "/cds-services/blood-pressure", headers={"Origin": "https://ehr.example", "Access-Control-Request-Method": "POST"}
    )
    assert (asked.status_code, asked.headers["Access-Control-Allow-Origin"]) == (200, "https://ehr.example")


def test_a_file_of_keys_stays_readable_to_who_could_read_it(key_file):
    made(key_file, "assess")
    key_file.chmod(0o640)
    made(key_file, "assess")
    assert key_file.stat().st_mode & 0o777 == 0o640


def test_a_key_set_without_algorithms_opens_to_any_that_is_allowed(tmp_path):
    public = json.loads(jwt.algorithms.RSAAlgorithm.to_jwk(RSA.public_key()))
    (tmp_path / "jwks.json").write_text(json.dumps({"keys": [{**public, "kid": "k-1"}]}))
    client = client_of(JWKS=str(tmp_path / "jwks.json"), JWT_ISSUER=ISSUER, JWT_AUDIENCE=AUDIENCE)
    for algorithm in ("RS256", "RS384", "PS512"):
        assert client.post("/v1/assessments", json=week(), headers=bearer(token(RSA, algorithm))).status_code == 200
    assert client.post("/v1/assessments", json=week(), headers=bearer(token("k" * 64, "HS256"))).status_code == 401


def test_a_check_refuses_what_a_start_would(monkeypatch):
    done = CliRunner().invoke(main, ["serve", "--host", "0.0.0.0", "--check"])
    assert done.exit_code == 1 and "--behind-proxy" in done.output
    done = CliRunner().invoke(main, ["serve", "--host", "0.0.0.0", "--behind-proxy", "--check"])
    assert done.exit_code == 0 and "HEARTLEVEL_TRIALS: False" in done.output


@pytest.mark.parametrize("bind", ["0.0.0.0:0", "[::]:0", "127.0.0.1:0,0.0.0.0:0"])
def test_gunicorn_that_somebody_starts_by_its_file_refuses_strangers_too(bind):
    command = [sys.executable, "-m", "gunicorn", "-c", "docker/gunicorn.conf.py", *(f"--bind={b}" for b in bind.split(","))]
    done = subprocess.run([*command, "heartlevel.web.application:create_app()"], cwd=ROOT, capture_output=True, text=True,
                          timeout=120)  # fmt: skip
    assert done.returncode == 1 and "others reach the service" in done.stderr
    assert "Listening" not in done.stderr


def test_what_a_clinic_has_laid_down_is_told_to_none_but_those_who_may_read_rules(key_file, tmp_path):
    assess, read_rules = bearer(made(key_file, "assess")), bearer(made(key_file, "rules-read"))
    client = create_app({"KEYS": key_file, "LAYERS": str(own_layer(tmp_path))}, own_rules()).test_client()
    for headers in ({}, assess):
        assert client.get("/ready", headers=headers).json == {"status": "ready", "rules_refused": False}
        assert "after_hot_bath" not in client.get("/v1/openapi.json", headers=headers).text
    assert client.get("/ready", headers=read_rules).json["rules"]["layers"]
    assert "after_hot_bath" in client.get("/v1/openapi.json", headers=read_rules).text
    assert client.get("/ready", environ_overrides={FROM_PROBES: True}).json["rules"]["layers"]


class Issuer:
    """What answers in the place of an issuer's address, as long as it is there; counts how often it is asked."""

    def __init__(self, monkeypatch, key_set) -> None:
        self.is_there, self.asked, self.now = True, 0, 1_000.0
        self.content = key_set.read_bytes()
        self.while_asked = lambda: None
        monkeypatch.setattr("urllib.request.OpenerDirector.open", self._open)
        for module in ("heartlevel.web.access.signed_tokens.monotonic", "time.monotonic"):
            monkeypatch.setattr(module, lambda: self.now)

    def _open(self, *_: object, **__: object) -> BytesIO:
        self.asked += 1
        self.while_asked()
        if not self.is_there:
            raise URLError("not there")
        return BytesIO(self.content)


def test_names_of_keys_that_nobody_knows_do_not_have_the_keys_fetched_each_time(monkeypatch, key_set):
    issuer = Issuer(monkeypatch, key_set)
    tokens = IssuedTokens("https://login.example/keys", ISSUER, AUDIENCE)
    for number in range(50):
        with pytest.raises(WrongToken):
            tokens.caller(jwt.encode({"iss": ISSUER}, STRANGER, "ES256", headers={"kid": f"k-{number}"}))
    assert issuer.asked <= 2
    assert tokens.caller(token())[1] == ("assess",)


def test_an_issuer_that_is_gone_is_not_waited_for_by_each_and_its_keys_hold_for_an_hour(monkeypatch, key_set):
    issuer = Issuer(monkeypatch, key_set)
    tokens = IssuedTokens("https://login.example/keys", ISSUER, AUDIENCE)
    assert tokens.caller(token())[1] == ("assess",)
    issuer.is_there, issuer.asked, issuer.now = False, 0, issuer.now + 600
    for _ in range(20):
        assert tokens.caller(token())[1] == ("assess",)
    assert issuer.asked == 1
    issuer.now += 3_600
    with pytest.raises(OSError, match="cannot be fetched"):
        tokens.caller(token())
    issuer.is_there, issuer.now = True, issuer.now + 20
    assert tokens.caller(token())[1] == ("assess",)


@pytest.mark.parametrize(
    "content", [b"<html>gone</html>", b"", b"\xff", b"[]", b"{}", b'{"keys": []}', b'{"keys": [{"kty": "x"}]}']
)
def test_what_comes_instead_of_keys_takes_none_away_and_is_not_asked_for_by_each(monkeypatch, key_set, content):
    issuer = Issuer(monkeypatch, key_set)
    tokens, right = IssuedTokens("https://login.example/keys", ISSUER, AUDIENCE), issuer.content
    assert tokens.caller(token())[1] == ("assess",)
    issuer.content, issuer.asked, issuer.now = content, 0, issuer.now + 600
    for _ in range(20):
        assert tokens.caller(token())[1] == ("assess",)
        with pytest.raises(WrongToken):
            tokens.caller(jwt.encode({"iss": ISSUER}, STRANGER, "ES256", headers={"kid": "k-9"}))
    assert issuer.asked == 1
    issuer.now += 3_600
    with pytest.raises(OSError, match="cannot be fetched"):
        tokens.caller(token())
    issuer.content, issuer.now = right, issuer.now + 20
    assert tokens.caller(token())[1] == ("assess",)


def test_a_connection_that_breaks_off_takes_no_key_away(monkeypatch, key_set):
    issuer = Issuer(monkeypatch, key_set)
    tokens = IssuedTokens("https://login.example/keys", ISSUER, AUDIENCE)
    assert tokens.caller(token())[1] == ("assess",)
    issuer.while_asked, issuer.now = Mock(side_effect=ConnectionResetError), issuer.now + 600
    assert tokens.caller(token())[1] == ("assess",)


def test_who_names_a_known_key_does_not_wait_for_an_address_that_is_slow(monkeypatch, key_set):
    issuer, asked, answered = Issuer(monkeypatch, key_set), Event(), Event()
    tokens = IssuedTokens("https://login.example/keys", ISSUER, AUDIENCE)
    assert tokens.caller(token())[1] == ("assess",)
    issuer.while_asked, issuer.now = lambda: (asked.set(), answered.wait(60)), issuer.now + 600
    first = Thread(target=tokens.caller, args=(token(),))
    first.start()
    assert asked.wait(60)
    others = [Thread(target=tokens.caller, args=(token(),), daemon=True) for _ in range(5)]
    for other in others:
        other.start()
        other.join(10)
    waited = [other.is_alive() for other in others]
    answered.set()
    first.join(60)
    assert waited == [False] * 5


def test_a_key_that_takes_the_place_of_another_is_known_once_it_is_named(monkeypatch, key_set):
    issuer = Issuer(monkeypatch, key_set)
    tokens = IssuedTokens("https://login.example/keys", ISSUER, AUDIENCE)
    assert tokens.caller(token())[1] == ("assess",)
    public = json.loads(jwt.algorithms.ECAlgorithm.to_jwk(STRANGER.public_key()))
    issuer.content, issuer.now = json.dumps({"keys": [{**public, "kid": "k-2"}]}).encode(), issuer.now + 60
    claims = jwt.decode(token(), options={"verify_signature": False})
    assert tokens.caller(jwt.encode(claims, STRANGER, "ES256", headers={"kid": "k-2"}))[1] == ("assess",)
    with pytest.raises(WrongToken):
        tokens.caller(token())


def test_a_key_for_other_ends_than_signing_opens_nothing(monkeypatch, key_set):
    issuer = Issuer(monkeypatch, key_set)
    issuer.content = issuer.content.replace(b'"sig"', b'"enc"')
    tokens = IssuedTokens("https://login.example/keys", ISSUER, AUDIENCE)
    with pytest.raises((WrongToken, OSError)):
        tokens.caller(token())


def test_keys_are_not_fetched_in_the_clear():
    with pytest.raises(WrongIssuer, match="https alone"):
        IssuedTokens("http://login.example/keys", ISSUER, AUDIENCE)


def test_every_file_that_settings_name_and_that_is_none_is_told_at_once(tmp_path):
    path = tmp_path / "none.json"
    path.write_text("[" * 100_000)
    names = ("KEYS", "JWKS", "CDS_TRUST", "FHIR_CODES")
    values = {f"HEARTLEVEL_{name}": str(path) for name in names} | {
        "HEARTLEVEL_JWT_ISSUER": "i",
        "HEARTLEVEL_JWT_AUDIENCE": "a",
    }
    done = CliRunner().invoke(main, ["serve", "--check"], env=values)
    assert done.exit_code == 1
    assert [line.partition(":")[0] for line in done.output.splitlines()] == [f"HEARTLEVEL_{name}" for name in names]
