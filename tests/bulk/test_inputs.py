"""What may be read, from where, and that damage costs only itself."""

import gzip
import io
import json
import random

import pyarrow
import pytest
from pyarrow import parquet

from heartlevel.bulk.inputs import arrays
from support import as_csv, as_ndjson, as_rows, assess_in_process, requests

PAYLOADS = requests(6)
SUBJECTS = [one["subject"]["id"] for one in PAYLOADS]


def answers(*arguments, given=None) -> list[dict]:
    return [json.loads(line) for line in assess_in_process(*arguments, "--json", given=given).stdout.splitlines()]


def plain(*arguments, given=None) -> list[bytes]:
    """Answers in the order of their subjects: tables are answered in another."""
    return sorted(assess_in_process(*arguments, "--json", given=given).stdout.splitlines())


def zstd(content: bytes) -> bytes:
    sink = pyarrow.BufferOutputStream()
    with pyarrow.CompressedOutputStream(sink, "zstd") as stream:
        stream.write(content)
    return sink.getvalue().to_pybytes()


def as_parquet(rows: list[dict], path) -> None:
    parquet.write_table(pyarrow.Table.from_pylist(rows), path)


CONTENTS = {
    "a.ndjson": as_ndjson(PAYLOADS),
    "array.json": json.dumps(PAYLOADS, indent=1).encode(),
    "packed-by-ending.ndjson.gz": gzip.compress(as_ndjson(PAYLOADS)),
    "packed-twice-over.ndjson.gz": gzip.compress(as_ndjson(PAYLOADS[:2])) + gzip.compress(as_ndjson(PAYLOADS[2:])),
    "packed-by-content": gzip.compress(as_ndjson(PAYLOADS)),
    "zstd.json.zst": zstd(json.dumps(PAYLOADS).encode()),
    "table.csv": as_csv(as_rows(PAYLOADS)).encode(),
    "semicolons.csv": as_csv(as_rows(PAYLOADS)).replace(",", ";").encode(),
    "with-mark.csv": b"\xef\xbb\xbf" + as_csv(as_rows(PAYLOADS)).replace("\n", "\r\n").encode(),
    "table.csv.zst": zstd(as_csv(as_rows(PAYLOADS)).encode()),
}


@pytest.mark.parametrize("name", CONTENTS)
def test_every_format_gives_the_same_answers(tmp_path, name):
    (tmp_path / name).write_bytes(CONTENTS[name])
    assert plain(tmp_path / name) == plain("-", given=as_ndjson(PAYLOADS))


@pytest.mark.parametrize("name", ["array.json", "packed-by-content", "table.csv", "table.csv.zst"])
def test_standard_input_takes_every_format(name):
    forced = ["--from", "csv"] if "csv" in name else []
    assert plain("-", *forced, given=CONTENTS[name]) == plain("-", given=as_ndjson(PAYLOADS))


def test_parquet_gives_the_same_answers_flat_or_nested_with_times_as_text_or_times(tmp_path):
    rows = as_rows(PAYLOADS)
    nested = [{"subject": {"id": row["subject"], "age_years": row["subject.age_years"]}, "options.time_zone":
               row["options.time_zone"], **{key: row[key] for key in ("taken_at", "systolic", "diastolic", "setting")}}
              for row in rows]  # fmt: skip
    as_parquet(rows, tmp_path / "flat.parquet")
    as_parquet(nested, tmp_path / "nested.parquet")
    wanted = plain("-", given=as_ndjson(PAYLOADS))
    assert plain(tmp_path / "flat.parquet") == wanted
    assert plain(tmp_path / "nested.parquet") == wanted


def test_folders_and_globs_are_read_in_the_order_of_their_paths(tmp_path):
    for number, one in enumerate(PAYLOADS):
        path = tmp_path / f"{5 - number}" / "deep" / "one.json"
        path.parent.mkdir(parents=True)
        path.write_text(json.dumps(one))
    (tmp_path / "notes.txt").write_text("left alone")
    assert [one["subject"]["id"] for one in answers(tmp_path)] == SUBJECTS[::-1]
    assert [one["subject"]["id"] for one in answers(f"{tmp_path}/[12]/**/*.json")] == SUBJECTS[4:2:-1]


def test_an_output_in_the_folder_read_is_no_input(tmp_path):
    (tmp_path / "a.ndjson").write_bytes(as_ndjson(PAYLOADS))
    for _ in range(2):
        assert assess_in_process(tmp_path, "--output", tmp_path / "out.ndjson").exit_code == 10
    assert len((tmp_path / "out.ndjson").read_bytes().splitlines()) == len(PAYLOADS)


@pytest.mark.parametrize("pack", [lambda content: gzip.compress(content, mtime=0), zstd])
def test_a_file_cut_off_is_named_and_costs_only_what_is_missing(tmp_path, pack):
    drawn = random.Random(2)
    packed = pack(as_ndjson([{**one, "subject": {"id": drawn.randbytes(30).hex()}} for one in requests(2000, 1)]))
    (tmp_path / "cut.ndjson.gz").write_bytes(packed[: len(packed) * 3 // 4])
    (tmp_path / "whole.ndjson").write_bytes(as_ndjson(PAYLOADS))
    result = assess_in_process(tmp_path, "--json", "--problems", tmp_path / "p")
    assert result.exit_code == 30
    assert len(result.stdout.splitlines()) > 150
    found = [json.loads(line) for line in (tmp_path / "p").read_text().splitlines()]
    assert {one["input"] for one in found} == {f"{tmp_path}/cut.ndjson.gz"}
    assert found[-1]["code"] == "damaged"


def test_nothing_to_read_is_a_wrong_call_and_an_input_is_never_overwritten(tmp_path):
    (tmp_path / "empty").mkdir()
    (tmp_path / "a.ndjson").write_bytes(as_ndjson(PAYLOADS))
    file = tmp_path / "a.ndjson"
    for arguments in ([tmp_path / "empty"], [f"{tmp_path}/*.csv"], [file, "--output", file],
                      [file, "--output", tmp_path / "missing" / "out.ndjson"]):  # fmt: skip
        assert assess_in_process(*arguments).exit_code == 2
    assert (tmp_path / "a.ndjson").read_bytes() == as_ndjson(PAYLOADS)


def test_a_damaged_parquet_file_costs_no_other(tmp_path):
    as_parquet(as_rows(PAYLOADS), tmp_path / "a.parquet")
    content = (tmp_path / "a.parquet").read_bytes()
    (tmp_path / "a.parquet").write_bytes(content[:4] + bytes(200) + content[204:])
    (tmp_path / "whole.ndjson").write_bytes(as_ndjson(PAYLOADS))
    result = assess_in_process(tmp_path, "--json", "--problems", tmp_path / "p")
    assert (result.exit_code, len(result.stdout.splitlines())) == (30, len(PAYLOADS))
    assert json.loads((tmp_path / "p").read_text())["code"] == "damaged"


def test_elements_of_an_array_are_parted_wherever_the_pieces_end(monkeypatch):
    drawn = random.Random(4)
    texts = ['a"\\', "}{][,", '\\\\"', 5, None, [], {}, "\n"]
    for _ in range(60):
        elements = [{'k\n"\\': drawn.choices(texts, k=drawn.randint(0, 4))} for _ in range(drawn.randint(0, 5))]
        text = json.dumps(elements, indent=drawn.choice([None, 1])).encode()
        for piece in (1, 2, 3, 7, 1000):
            monkeypatch.setattr(arrays, "PIECE", piece)
            assert [json.loads(one) for _, one in arrays.elements_of(io.BytesIO(text))] == elements


@pytest.mark.parametrize(
    ("text", "lines"),
    [("[\n{},\n\n{}\n]", [2, 4]), ("[{},{", [1, 1]), ("[{}]\n{}", [1, 2]), ("[{},,{}]", [1, 1, 1]), ("[\n]", [])],
)
def test_elements_carry_the_line_they_begin_on_and_what_is_no_element_is_kept(text, lines):
    assert [line for line, _ in arrays.elements_of(io.BytesIO(text.encode()))] == lines


def test_an_element_longer_than_allowed_costs_no_other():
    found = list(arrays.elements_of(io.BytesIO(b'[1,"' + b"x" * 90 + b'",2]'), longest=20))
    assert [type(one).__name__ for _, one in found] == ["bytes", "LineTooLong", "bytes"]


def test_a_table_with_our_names_is_known_by_its_head_where_its_name_says_nothing(tmp_path):
    wanted = plain("-", given=as_ndjson(PAYLOADS))
    for table in (CONTENTS["table.csv"], CONTENTS["semicolons.csv"], CONTENTS["with-mark.csv"]):
        (tmp_path / "table.txt").write_bytes(table)
        assert plain("-", given=table) == plain(tmp_path / "table.txt") == wanted


def test_the_row_names_that_pandas_writes_to_parquet_are_no_column(tmp_path):
    as_parquet([{**row, "__index_level_0__": 7} for row in as_rows(PAYLOADS)], tmp_path / "t.parquet")
    assert plain(tmp_path / "t.parquet") == plain("-", given=as_ndjson(PAYLOADS))
