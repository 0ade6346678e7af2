"""Documents are written once for each rule set, and never told for another one."""

import json
from hashlib import blake2b

import pytest

from heartlevel.assessment import Rules
from heartlevel.web.application import create_app
from heartlevel.web.rules import kept_documents
from heartlevel.web.rules.kept_documents import KeptDocuments
from rules.laid import layer
from support import OWN_RULE, rules

PATHS = ["/v1/rules", "/v1/rules/legs-crossed", "/v1/guidelines", "/v1/protocols", "/v1/facts", "/v1/fhir/codes",
         "/v1/fhir/Questionnaire", "/v1/fhir/Questionnaire/technique", "/cds-services"]  # fmt: skip


@pytest.fixture
def app():
    return create_app({}, rules())


@pytest.mark.parametrize("path", PATHS)
def test_a_document_is_written_once_for_all_callers(client, monkeypatch, path):
    first = client.get(path)
    monkeypatch.setattr(kept_documents, "as_json", None)  # what is asked for again is not written again
    for headers in ({}, {"Accept-Encoding": "gzip"}, {"If-None-Match": first.headers["ETag"]}):
        assert client.get(path, headers=headers).status_code in (200, 304)
    assert client.get(path).data == first.data


def test_each_name_has_its_own_document_and_other_rules_have_others(client, app, tmp_path):
    before = {path: client.get(path) for path in PATHS}
    assert len({response.data for response in before.values()}) == len(PATHS)
    in_force = app.extensions["heartlevel"]
    in_force._take(type(in_force._state)(in_force._state.stamp, Rules.load(None, [layer(tmp_path, own=OWN_RULE)])))
    after = client.get("/v1/rules", headers={"If-None-Match": before["/v1/rules"].headers["ETag"]})
    assert "pulse-fast-here" in {rule["id"] for rule in after.get_json()["rules"]}
    assert json.loads(client.get("/v1/rules/legs-crossed").data) == json.loads(before["/v1/rules/legs-crossed"].data)
    same = client.get("/v1/fhir/codes", headers={"If-None-Match": before["/v1/fhir/codes"].headers["ETag"]})
    assert same.status_code == 304  # other rules have the same codes


def test_a_document_that_the_program_changes_has_another_tag():
    documents, written = KeptDocuments(), []
    text, tag = documents.document("a", rules(), lambda given: written.append(given) or {"a": 1})
    assert (text, tag) == (b'{"a":1}', blake2b(text, digest_size=16).hexdigest())
    assert documents.document("a", rules(), None) == (text, tag) and written == [rules()]
    assert KeptDocuments().document("a", rules(), lambda _: {"a": 2})[1] != tag
