"""Bodies as they come: compressed, with a byte order mark, in another encoding, with keys twice, with what JSON has not."""

import gzip
import json
from itertools import pairwise

import pytest
from backports import zstd

from exchange.resources import bundle, patient, pressure
from heartlevel import answer_to
from heartlevel.answer.whole import as_json
from heartlevel.web.application import create_app
from support import reading, rules, week

NDJSON = "application/x-ndjson"
PACKED = {"gzip": gzip.compress, "zstd": zstd.compress}
UNPACKED = {"gzip": gzip.decompress, "zstd": zstd.decompress}
SEVERE = b'{"subject": {"id": "s-7"}, "readings": [{"setting": "home", "systolic": 240, "diastolic": 130, '
LIMIT = 20_000


@pytest.fixture(scope="module")
def app():
    return create_app({"TESTING": False, "MAX_CONTENT_LENGTH": LIMIT}, rules())


def post(client, body: bytes, kind: str = "application/json", **headers: str):
    named = {name.replace("_", "-"): value for name, value in headers.items()}
    response = client.post("/v1/assessments", data=body, content_type=kind, headers=named, buffered=True)
    assert response.status_code < 500
    return response


def body_of(**more: object) -> bytes:
    return json.dumps({"subject": {"id": "s-7"}, "readings": [reading("2026-03-02T07:10:00Z", 150, 90, **more)]}).encode()


@pytest.mark.parametrize("coding", PACKED)
def test_a_compressed_body_is_answered_as_a_plain_one(client, coding):
    plain = as_json(week(2))
    twice = PACKED[coding](plain[:700]) + PACKED[coding](plain[700:])  # a body may have several members or frames
    for packed in (PACKED[coding](plain), twice):
        assert post(client, packed, Content_Encoding=coding).data == post(client, plain).data


def test_a_coding_that_is_not_understood_is_refused_with_those_that_are(client):
    for coding in ("br", "deflate", "gzip, zstd"):
        refused = post(client, b"{}", Content_Encoding=coding)
        assert (refused.status_code, refused.headers["Accept-Encoding"]) == (415, "gzip, zstd")
        assert "gzip or zstd" in refused.json["detail"]
    assert post(client, body_of(), Content_Encoding="identity").status_code == 200
    assert post(client, gzip.compress(body_of()), Content_Encoding="X-GZip").status_code == 200


@pytest.mark.parametrize("coding", PACKED)
def test_a_body_that_swells_is_refused_by_its_decoded_size(client, coding):
    for size, status in ((LIMIT - 100, 400), (LIMIT + 1, 413), (5_000 * LIMIT, 413)):
        response = post(client, PACKED[coding](b" " * size), Content_Encoding=coding)
        assert response.status_code == status
    assert str(LIMIT) in response.json["detail"]


def test_a_body_without_a_length_has_the_same_limit(client):
    from io import BytesIO

    for size, status in ((LIMIT - 100, 400), (LIMIT + 1, 413)):
        environ = {"wsgi.input": BytesIO(b" " * size), "wsgi.input_terminated": True, "CONTENT_LENGTH": ""}
        response = client.post("/v1/assessments", content_type="application/json", environ_overrides=environ)
        assert response.status_code == status


@pytest.mark.parametrize("coding", PACKED)
def test_of_a_compressed_body_that_is_cut_off_what_is_legible_is_named(client, coding):
    whole = PACKED[coding](SEVERE + b'"taken_at": "2026-03-02T07:10:00Z"}]}')
    told = [post(client, whole[:end], Content_Encoding=coding) for end in range(len(whole))]
    assert {response.status_code for response in told} == {400}
    if coding == "gzip":  # which gives what it has, where zstd waits for the block's end
        assert told[-1].json["urgent"]


@pytest.mark.parametrize("coding", PACKED)
def test_a_stream_is_decoded_line_by_line_and_says_where_it_breaks(client, coding):
    lines = [as_json(week(days)) for days in (1, 2)]
    packed = PACKED[coding](b"\n".join(lines))
    assert post(client, packed, NDJSON, Content_Encoding=coding).data.splitlines() == [
        as_json(answer_to(week(days), rules())) for days in (1, 2)
    ]
    last = json.loads(post(client, packed[:-9], NDJSON, Content_Encoding=coding).data.splitlines()[-1])
    assert f"cannot be decoded as {coding}" in last["detail"]


@pytest.mark.parametrize("coding", PACKED)
def test_answers_are_compressed_where_that_is_accepted(client, coding):
    plain = post(client, as_json(week(2)))
    packed = post(client, as_json(week(2)), Accept_Encoding=f"br, {coding};q=0.5")
    assert packed.headers["Content-Encoding"] == coding
    assert packed.headers["Vary"] == plain.headers["Vary"] == "Accept, Accept-Encoding"
    assert (UNPACKED[coding](packed.data), packed.headers["ETag"]) == (plain.data, plain.headers["ETag"])
    assert len(packed.data) == int(packed.headers["Content-Length"]) < len(plain.data) / 2


@pytest.mark.parametrize("accepted", [None, "", "identity", "br", "gzip;q=0", "identity, gzip;q=0.5"])
def test_answers_are_plain_otherwise(client, accepted):
    headers = {} if accepted is None else {"Accept_Encoding": accepted}
    assert "Content-Encoding" not in post(client, body_of(), **headers).headers


def test_a_short_answer_is_not_compressed(client):
    assert "Content-Encoding" not in client.get("/health", headers={"Accept-Encoding": "gzip"}).headers


def until_now(coding: str, pieces: list[bytes]) -> bytes:
    """What somebody who has received these pieces, and no more, has been able to read."""
    import zlib

    decoder = zlib.decompressobj(wbits=31) if coding == "gzip" else zstd.ZstdDecompressor()
    return decoder.decompress(b"".join(pieces))


@pytest.mark.parametrize("coding", PACKED)
def test_each_answer_of_a_compressed_stream_can_be_read_when_it_is_sent(client, coding):
    body = b"\n".join(as_json(week(1)) for _ in range(3))
    headers = {"Accept-Encoding": coding}
    response = client.post("/v1/assessments", data=body, content_type=NDJSON, headers=headers, buffered=False)
    pieces = list(response.iter_encoded())
    response.close()
    readable = [until_now(coding, pieces[:count]) for count in range(len(pieces) + 1)]
    assert len(pieces) > 1
    assert all(text.endswith(b"\n") for text in readable[1:])  # several answers may wait to be sent together
    assert [text.count(b"\n") for text in readable][-2:] == [3, 3]  # the last piece ends the coding
    assert all(longer.startswith(shorter) for shorter, longer in pairwise(readable))


def test_a_byte_order_mark_is_no_part_of_the_text(client):
    marked = b"\xef\xbb\xbf" + body_of()
    assert post(client, marked).data == post(client, body_of()).data
    assert [b'"line"' in line for line in post(client, marked + b"\n" + marked, NDJSON).data.splitlines()] == [False] * 2


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-le", "utf-16-be", "utf-32", "utf-32-le", "utf-32-be"])
def test_another_encoding_is_refused_by_name_and_what_is_severe_in_it_is_told(client, encoding):
    text = (SEVERE + b'"taken_at": "2026-03-02T07:10:00Z"}]}').decode().encode(encoding)
    refused = post(client, text)
    assert refused.status_code == 400
    assert refused.json["detail"] == f"not JSON: the text is in UTF-{encoding[4:6]}; send UTF-8"
    assert refused.json["urgent"]
    (line,) = post(client, text, NDJSON).data.splitlines()
    assert (json.loads(line)["detail"], json.loads(line)["subject"]) == (refused.json["detail"], {"id": "s-7"})


@pytest.mark.parametrize("coding", PACKED)
def test_a_compressed_body_that_is_not_named_as_one_is_told_from_other_encodings(client, coding):
    refused = post(client, PACKED[coding](body_of()))
    assert (refused.status_code, coding in refused.json["detail"]) == (400, True)
    assert "Content-Encoding" in refused.json["detail"] and "UTF" not in refused.json["detail"]


@pytest.mark.parametrize("text", [b"", b" \n", b"\xef\xbb\xbf"])
def test_an_empty_body_is_called_empty(client, text):
    assert post(client, text).json["detail"] == "not JSON: there is nothing in it"


@pytest.mark.parametrize("text", [b"{'readings': [{'systolic': 240}]}", b"{readings: [{systolic: 240, diastolic: 90}]}"])
def test_what_other_languages_write_for_json_tells_what_is_severe_in_it(client, text):
    assert post(client, text).json["urgent"]


def test_a_text_that_is_cut_off_tells_what_is_severe_in_it(client):
    assert post(client, SEVERE).json["urgent"]
    assert "urgency" not in post(client, b'{"subject": {"id": "s-7"}, "readings": [').json
    low = SEVERE.replace(b"240", b"72")
    assert low != SEVERE and post(client, low).json["urgent"]
    in_bytes = b'{"subject": {"id": "s-7"}, "readings": [{"payload": "00 D2 00 78 00 00 00", "setting": '
    assert post(client, in_bytes).json["urgent"]


@pytest.mark.parametrize("path", ["/v1/fhir/assessments", "/cds-services/blood-pressure"])
@pytest.mark.parametrize(("value", "urgent"), [(225, True), (128, False), (70, True)])
def test_fhir_that_is_cut_off_tells_what_is_severe_in_it(client, path, value, urgent):
    text = json.dumps(bundle(patient(), pressure("o-1", value, 60)))
    cut = text[: text.index("8462-4") + 30].encode()
    refused = client.post(path, data=cut, content_type="application/json")
    assert (refused.status_code, refused.json.get("urgent")) == (400, urgent)
    diastolic = client.post(path, data=text.replace(" 60,", " 125,")[:-1].encode(), content_type="application/json")
    assert diastolic.json["urgent"]


@pytest.mark.parametrize(
    "text",
    [
        b'{"subject": {"id": "s-7"}, "subject": {"id": "s-8"}, "readings": [{"systolic": 240}]}',
        b'{"subject": {"id": "s-7", "id" : "s-8"}, "readings": [{"systolic": 240}]}',
        b'{"subject": {"id": "s-7"}, "readings": [{"systolic": 240}], "readings": []}',
        b'{"subject": {"id": "s-7"}, "readings": [], "readings": [{"systolic": 240}]}',
        b'{"subject": {"id": "s-7"}, "options": {}, "options": {"strict": true}, "readings": [{"systolic": 240}]}',
        b'{"subject": {"id": "s-7"}, "subj\\u0065ct": {"id": "\\u003a:"}, "readings": [{"systolic": 240}]}',
    ],
)
def test_two_keys_of_the_envelope_refuse_the_request_and_mute_nothing(client, text):
    refused = post(client, text)
    assert (refused.status_code, refused.json["urgent"]) == (422, True)
    (repeated,) = [fault for fault in refused.json["problems"] if fault["code"] == "key-repeated"]
    assert repeated["pointer"] in ("/subject", "/subject/id", "/readings", "/options")


def test_two_keys_of_a_reading_cost_their_value_and_the_worse_is_looked_at(client):
    told = post(client, body_of(x=1).replace(b'"x": 1', b'"systolic": 240')).json
    assert [(fault["pointer"], fault["code"]) for fault in told["problems"]] == [("/readings/0/systolic", "key-repeated")]
    assert told["urgent"]
    told = post(client, body_of(pulse=70).replace(b'"pulse": 70', b'"pulse": 70, "pulse" : 70')).json
    assert [fault["pointer"] for fault in told["problems"]] == ["/readings/0/pulse"]
    assert told["counts"]["assessed"] == 1


@pytest.mark.parametrize(
    ("written", "cure"),
    [(b"NaN", "no NaN"), (b"-Infinity", "no NaN"), (b"1e999", "no NaN"), (b"9" * 5_000, "no NaN"),
     (b"123456789012345678901234567890", "more digits"), (b'"\\ud83d"', "UTF-8"), (b'"\xe9"', "UTF-8")],
)  # fmt: skip
def test_what_json_has_no_value_for_costs_its_value_and_says_the_cure(client, written, cure):
    told = post(client, body_of(pulse="!").replace(b'"!"', written)).json
    (fault,) = told["problems"]
    assert (fault["pointer"], told["counts"]["assessed"]) == ("/readings/0/pulse", 1)
    assert cure in fault["hint"]


def test_keys_twice_and_half_characters_in_a_bundle_are_no_defect(client):
    patient = b'{"resourceType": "Patient", "id": "a", "id": "b"}'
    bundle = b'{"resourceType": "Bundle", "entry": [{"resource": ' + patient + b'}], "entry": 5}'
    for text in (bundle, bundle.replace(b', "entry": 5', b""), bundle.replace(b'"a"', b'"\\ud800"')):
        response = client.post("/v1/fhir/assessments", data=text, content_type="application/json")
        assert response.status_code == 422


def test_a_line_that_is_refused_names_its_subject(client):
    lines = [b'{"subject": {"id": "a"}}', b'{"subject": {"age_years": 50, "id": "b"}, "readings": [', b'{"readings": []}',
             b'{"subject": {"id": "\\ud800"}, "readings": 5}',
             b'{"subject": {"id": "c"}, "readings": [], "options": {"strict": 5}}']  # fmt: skip
    told = [json.loads(line)["subject"] for line in post(client, b"\n".join(lines), NDJSON).data.splitlines()]
    assert told == [{"id": "a"}, {"id": "b"}, None, None, {"id": "c"}]


@pytest.mark.parametrize("path", ["/v1/rules", "/v1/rules/legs-crossed", "/v1/guidelines", "/v1/protocols", "/v1/facts",
                                  "/v1/openapi.json", "/v1/fhir/codes", "/v1/fhir/Questionnaire",
                                  "/v1/fhir/Questionnaire/technique", "/cds-services"])  # fmt: skip
def test_what_the_caller_has_already_is_not_sent_again(client, path):
    first = client.get(path)
    same = client.get(path, headers={"If-None-Match": first.headers["ETag"]})
    assert (same.status_code, same.data, same.headers["ETag"]) == (304, b"", first.headers["ETag"])
    assert client.get(path, headers={"If-None-Match": '"other"'}).data == first.data
    assert client.head(path, headers={"If-None-Match": first.headers["ETag"]}).status_code == 304
    head = client.head(path)
    assert (head.status_code, head.data, head.headers["Content-Length"]) == (200, b"", str(len(first.data)))
    assert client.get(path + "/").data == first.data


def test_whether_the_service_is_ready_is_never_answered_by_304(client):
    tag = client.get("/ready").headers["ETag"]
    assert client.get("/ready", headers={"If-None-Match": tag}).status_code == 200


def test_of_paths_that_overlap_each_has_its_own_methods(client):
    assert set(client.options("/v1/rules/trial").allow) == {"POST", "OPTIONS"}
    assert set(client.options("/v1/rules/legs-crossed").allow) == {"GET", "HEAD", "OPTIONS"}
    assert set(client.get("/v1/rules/trial").allow) == {"POST", "OPTIONS"}
    assert client.get("/v1/rules/trials").status_code == 404
