"""CDS Hooks 2.0 (HL7), by a client written from the specification alone."""

import json
import re
from datetime import UTC, datetime, timedelta
from uuid import UUID

import jwt
import pytest
from cryptography.hazmat.primitives.asymmetric import ec

from exchange.resources import bundle, condition, patient, pressure
from heartlevel.fhir.cards import escaped_markdown, shortened
from heartlevel.web.application import create_app
from heartlevel.web.fhir import cds_hooks
from support import rules
from web.test_contract import validator

SERVICE, TODAY = "/cds-services/blood-pressure", "2026-03-09"
HOME = "https://records.example"


@pytest.fixture(scope="module")
def app():
    return create_app({"TESTING": False, "CDS_ORIGINS": f"{HOME}, https://other.example"}, rules())


@pytest.fixture(autouse=True)
def _today(monkeypatch):
    monkeypatch.setattr(cds_hooks, "today", lambda: TODAY)


def called(client, prefetch, headers=None, **changed):
    """Do as a client does: find the service, fill its templates, call it."""
    (service,) = client.get("/cds-services").get_json()["services"]
    tokens = {token for template in service["prefetch"].values() for token in re.findall(r"{{(.*?)}}", template)}
    assert (service["hook"], tokens) == ("patient-view", {"context.patientId"})
    call = {
        "hook": "patient-view", "hookInstance": "d1577c69-dfbe-44ad-ba6d-3e05e953b2ea",
        "context": {"userId": "Practitioner/1", "patientId": "p-1"}, "prefetch": prefetch,
    }  # fmt: skip
    body = {name: value for name, value in (call | changed).items() if value is not None}
    return client.post(f"/cds-services/{service['id']}", json=body, headers=headers or {})


def prefetched(*pressures, **more):
    return {"patient": patient(), "pressures": bundle(*pressures), "conditions": None, "medicines": None, **more}


def week(systolic=128, diastolic=78, count=7):
    return [pressure(f"o-{number}", systolic, diastolic, day=number % 7 + 1,
                     effectiveDateTime=f"2026-03-0{number % 7 + 1}T0{number // 7 % 10}:{number // 70:02d}:00Z")
            for number in range(count)]  # fmt: skip


def the_card(response):
    assert response.status_code == 200
    validator("CdsCards").validate(response.get_json())
    (card,) = response.get_json()["cards"]
    assert len(card["summary"]) < 140
    UUID(card["uuid"])
    return card


def test_discovery_is_as_described(client):
    validator("CdsServices").validate(client.get("/cds-services").get_json())


def test_a_card_says_the_conclusion_and_by_which_rules(client):
    card = the_card(called(client, prefetched(*week())))
    assert card["indicator"] == "info"
    assert card["source"]["label"] == f"heartlevel, rules {rules().ruleset.revision}"
    assert card["summary"].startswith(("Measured at home", "Too few readings"))
    assert card["summary"].rstrip("…")[:60] in card["detail"].replace("\\", "")
    assert all(reason["display"] and reason["system"] and reason["code"] for reason in card["overrideReasons"])
    ours = {finding.id for finding in rules().ruleset.every_rule()}
    assert {reason["code"] for reason in card["overrideReasons"]} <= ours


@pytest.mark.parametrize(
    ("day", "indicator"), [("2026-03-09", "critical"), ("2026-03-01", "warning"), ("2024-03-01", "info")]
)
def test_what_is_urgent_counts_from_today(client, day, indicator):
    severe = pressure("o-1", 225, 130, effectiveDateTime=f"{day}T07:00:00Z")
    assert the_card(called(client, prefetched(severe)))["indicator"] == indicator


def test_a_severe_value_that_cannot_be_assessed_is_in_the_card(client):
    severe = pressure("o-1", 225, 130, effectiveDateTime="2026-03-09T07:00:00Z", extension=[])
    card = the_card(called(client, prefetched(severe)))
    assert card["indicator"] == "critical" and "225/130" in card["summary"]
    assert "readings received: 1, not usable: 1" in card["detail"]


def test_where_readings_were_taken_that_do_not_say_so_can_be_configured():
    client = create_app({"CDS_SETTING": "office"}, rules()).test_client()
    card = the_card(called(client, prefetched(pressure("o-1", extension=[]))))
    assert "not usable" not in card["detail"] and "1 in the office" in card["detail"]


def test_no_reading_is_no_card(client):
    for prefetch in (prefetched(), prefetched() | {"pressures": None}):
        response = called(client, prefetch)
        assert (response.status_code, response.get_json()) == (200, {"cards": []})


def test_conditions_count_and_what_was_not_sent_is_said(client):
    pregnant = called(client, prefetched(*week(138, 88), conditions=bundle(condition("77386006"))))
    assert the_card(pregnant)["detail"] != the_card(called(client, prefetched(*week(138, 88))))["detail"]
    fewer = {name: value for name, value in prefetched(*week()).items() if name != "conditions"}
    assert "not sent: conditions" in the_card(called(client, fewer))["detail"]


FAILED = {"resourceType": "OperationOutcome", "issue": [{"severity": "error", "code": "timeout"}]}


@pytest.mark.parametrize(
    "prefetch",
    [None, {}, {"patient": patient()}, {"pressures": bundle()}, prefetched() | {"pressures": FAILED}, "nothing"],
)
def test_data_that_is_missing_is_a_failed_precondition(client, prefetch):
    response = called(client, prefetch)
    assert (response.status_code, response.content_type) == (412, "application/problem+json")


@pytest.mark.parametrize(
    "changed",
    [{"hook": "order-sign"}, {"hook": None}, {"context": None}, {"context": {}}, {"context": {"patientId": 7}},
     {"hookInstance": None}],
)  # fmt: skip
def test_a_call_that_is_none_is_refused(client, changed):
    assert called(client, prefetched(*week()), **changed).status_code == 400


@pytest.mark.parametrize("body", [b"[]", b"{", b"7", b"null"])
def test_a_body_that_is_no_call_is_refused(client, body):
    for path in (SERVICE, f"{SERVICE}/feedback"):
        assert client.post(path, data=body, content_type="application/json").status_code == 400


def test_whatever_is_prefetched_is_no_defect(client):
    for odd in (7, "x", [], {"resourceType": 7}, {"resourceType": "Bundle", "entry": [{"resource": {}}]}, None):
        is_resource = odd is None or (isinstance(odd, dict) and odd["resourceType"] == "Bundle")
        answered = called(client, {"patient": odd, "pressures": odd, "conditions": odd, "medicines": odd})
        assert answered.status_code == (200 if is_resource else 412)
        assert called(client, prefetched(*week()) | {"conditions": odd, "medicines": odd}).status_code == 200


def counted(client, outcome) -> float:
    found = re.search(rf'card_feedback_total{{outcome="{outcome}"}} ([\d.]+)', client.get("/metrics").text)
    return float(found[1]) if found else 0.0


def test_feedback_is_counted(client):
    before = counted(client, "accepted"), counted(client, "overridden")
    entry = {"card": "f6b95768-b1c8-40dc-8385-bf3504b82ffb", "outcomeTimestamp": "2026-03-09T07:00:00Z"}
    overridden = {"outcome": "overridden", "overrideReason": {"reason": {"code": "legs-crossed"}, "userComment": "secret"}}
    entries = [entry | {"outcome": "accepted"}, entry | overridden, entry | overridden]
    assert client.post(f"{SERVICE}/feedback", json={"feedback": entries}).status_code == 200
    assert (counted(client, "accepted") - before[0], counted(client, "overridden") - before[1]) == (1, 2)


@pytest.mark.parametrize("body", [{}, {"feedback": 7}, {"feedback": [7]}, {"feedback": [{"outcome": "seen"}]}])
def test_feedback_that_is_none_is_refused(client, body):
    assert client.post(f"{SERVICE}/feedback", json=body).status_code == 400


@pytest.mark.parametrize(("origin", "allowed"), [(HOME, HOME), ("https://evil.example", None)])
def test_pages_may_call_from_the_origins_that_are_configured(client, origin, allowed):
    for response in (client.options(SERVICE, headers={"Origin": origin, "Access-Control-Request-Method": "POST"}),
                     client.get("/cds-services", headers={"Origin": origin}),
                     called(client, None, {"Origin": origin})):  # fmt: skip
        assert response.headers.get("Access-Control-Allow-Origin") == allowed
        assert "Origin" in response.headers["Vary"]
    assert "Access-Control-Allow-Origin" not in client.get("/v1/rules", headers={"Origin": origin}).headers


KEY, OTHER = ec.generate_private_key(ec.SECP384R1()), ec.generate_private_key(ec.SECP384R1())
CLAIMS = {"iss": HOME, "aud": f"https://us.example{SERVICE}", "jti": "1"}


@pytest.fixture(scope="module")
def trusting(tmp_path_factory):
    public = jwt.algorithms.ECAlgorithm.to_jwk(KEY.public_key(), as_dict=True) | {"kid": "k-1", "alg": "ES384"}
    path = tmp_path_factory.mktemp("trust") / "clients.json"
    path.write_text(json.dumps({"audience": "https://us.example", "issuers": {HOME: {"keys": [public]}}}))
    return create_app({"CDS_TRUST": str(path)}, rules()).test_client()


def token(key=KEY, algorithm="ES384", kid="k-1", minutes=5, **claims) -> dict:
    now = datetime.now(UTC)
    whole = CLAIMS | {"iat": now, "exp": now + timedelta(minutes=minutes)} | claims
    whole = {name: value for name, value in whole.items() if value is not None}
    return {"Authorization": "Bearer " + jwt.encode(whole, key, algorithm, headers={"kid": kid})}


@pytest.mark.parametrize("claims", [{}, {"aud": "https://us.example"}])
def test_a_trusted_client_is_answered(trusting, claims):
    assert called(trusting, prefetched(*week()), token(**claims)).status_code == 200


# Made where they are needed: a token lasts five minutes.
UNTRUSTED = {
    "nothing": dict, "no token": lambda: {"Authorization": "Bearer x"},
    "another scheme": lambda: {"Authorization": "Basic eDp5"}, "another key": lambda: token(OTHER),
    "an unknown key": lambda: token(kid="k-2"), "another client": lambda: token(iss="https://evil.example"),
    "another service": lambda: token(aud="https://else.example"), "expired": lambda: token(minutes=-5),
    "no expiry": lambda: token(exp=None), "no id": lambda: token(jti=None), "no issuer": lambda: token(iss=None),
    "a weak algorithm": lambda: token("secret" * 8, "HS384"),
}  # fmt: skip


@pytest.mark.parametrize("kind", UNTRUSTED)
def test_any_other_is_refused_and_nothing_of_the_token_is_said(trusting, kind):
    headers = UNTRUSTED[kind]()
    response = called(trusting, prefetched(*week()), headers)
    assert (response.status_code, response.headers["WWW-Authenticate"]) == (401, "Bearer")
    assert headers.get("Authorization", "Bearer")[7:40] not in response.text.replace("token", "") or kind in (
        "nothing", "no token")  # fmt: skip
    assert trusting.post(f"{SERVICE}/feedback", json={"feedback": []}).status_code == 401
    assert trusting.get("/cds-services").status_code == 200


def test_five_hundred_readings_are_answered(client):
    the_card(called(client, prefetched(*week(count=500))))


def test_a_summary_is_cut_between_words():
    assert shortened("a " * 69) == "a " * 69
    assert shortened("word " * 40) == "word " * 26 + "word…"
    assert len(shortened("x" * 500)) == 139


def test_markdown_shows_a_text_as_it_is():
    # GitHub Flavored Markdown, 6.1: a backslash before punctuation makes it stand for itself.
    assert escaped_markdown("a_b *c* <b> `d` [e] # | ~ \\") == r"a\_b \*c\* \<b\> \`d\` \[e\] \# \| \~ \\"
