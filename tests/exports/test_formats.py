"""Every format reads back as the table that was written, whatever people said and wrote."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path
from typing import Any

import jsonschema
import pandas as pd
import pyarrow.parquet as pq
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from leaving import leaving

import logger.exports
from logger.core.errors import SessionError
from logger.exports.formats import FORMATS, Format, differs, format_of, read_export
from logger.exports.sessions import (
    EXPORT_COLUMNS,
    ExportedSession,
    export_frame,
    export_schema,
    table_schema,
)

SCHEMAS = Path(logger.exports.__file__).parent / "schemas"
ALL = list(FORMATS.values())


def schema(name: str) -> dict[str, Any]:
    return dict(json.loads((SCHEMAS / name).read_text(encoding="utf-8")))


@pytest.mark.parametrize("made", ALL, ids=FORMATS)
@settings(max_examples=25)
@given(one=leaving(), two=leaving(name="tuesday"))
def test_table_reads_back_the_same(
    made: Format, one: ExportedSession, two: ExportedSession
) -> None:
    """Compared by pandas, with the types of the columns, apart from the tool's own check."""
    sessions = [one, two]
    content = made.write(sessions)
    assert made.write(sessions) == content
    assert differs(sessions, made, content) == ""
    back = made.read(content, "x")
    wanted = export_frame(sessions)[list(made.columns)]
    pd.testing.assert_frame_equal(back, wanted)


@settings(max_examples=15)
@given(leaving())
def test_json_follows_the_committed_schema(session: ExportedSession) -> None:
    made = json.loads(FORMATS["json"].write([session]))
    jsonschema.validate(made, schema("export.schema.json"))
    for row, given_row in zip(made["sessions"][0]["rows"], session.rows, strict=True):
        assert (row["as_heard"] is None) == (given_row.edits == ())


def test_committed_schemas_are_those_of_the_types() -> None:
    assert schema("export.schema.json") == export_schema()
    assert schema("table.schema.json") == table_schema()


@settings(max_examples=15)
@given(leaving())
def test_parquet_has_the_types_of_the_table_schema(session: ExportedSession) -> None:
    """Read by Arrow alone, as another tool would."""
    table = pq.read_table(io.BytesIO(FORMATS["parquet"].write([session])))
    kinds = {"integer": "int64", "number": "double", "string": "string"}
    listed = table_schema()["fields"]
    assert [field["name"] for field in listed] == table.column_names
    for field in listed:
        assert (
            str(table.schema.field(field["name"]).type).removeprefix("large_")
            == (kinds[field["type"]])
        )


@settings(max_examples=25)
@given(leaving())
def test_no_cell_of_the_csv_is_run_by_a_spreadsheet(session: ExportedSession) -> None:
    """The starts that OWASP lists for CSV injection (from memory)."""
    text = FORMATS["csv"].write([session]).decode("utf-8")
    lines = list(csv.DictReader(io.StringIO(text, newline="")))
    assert len(lines) == len(session.rows)
    texts = [name for name, kind in export_frame([session]).dtypes.items() if kind == "string"]
    for line in lines:
        assert not any(line[str(name)].startswith(("=", "+", "-", "@", "\t")) for name in texts)


@pytest.mark.parametrize("made", ALL, ids=FORMATS)
@settings(max_examples=15)
@given(session=leaving(), at=st.integers(0, 10_000))
def test_cut_off_file_is_a_sentence_or_an_earlier_end(
    made: Format, session: ExportedSession, at: int
) -> None:
    """A table in CSV has no end that could be missed."""
    content = made.write([session])
    part = content[: at % len(content.rstrip())]
    if made.name != "csv":
        with pytest.raises(SessionError, match=r"x\.file"):
            made.read(part, "x.file")
        return
    try:
        back = made.read(part, "x.file")
    except SessionError:
        return
    assert len(back) <= len(session.rows)


@pytest.mark.parametrize("made", ALL, ids=FORMATS)
@pytest.mark.parametrize(
    "content", [b"", b"hello", b"\xff\xfe\x00", b"{}", b"[]", b"a,b\n1,2\n", b'{"sessions": 3}']
)
def test_foreign_content_is_one_sentence(made: Format, content: bytes, tmp_path: Path) -> None:
    path = tmp_path / "foreign"
    path.write_bytes(content)
    with pytest.raises(SessionError, match="foreign"):
        read_export(path, made)
    with pytest.raises(SessionError, match="gone"):
        read_export(tmp_path / "gone", made)


def test_name_of_a_file_tells_its_format() -> None:
    names = {"a.csv": "csv", "a.JSON": "json", "a.fhir.json": "fhir", "a.txt": "text", "a.doc": ""}
    for name, wanted in names.items():
        found = format_of(Path(name))
        assert (found.name if found else "") == wanted


def test_columns_say_whose_row_it_is_and_what_was_changed() -> None:
    assert EXPORT_COLUMNS[:8] == (
        "session", "recording", "pack", "patient_code", "examiner_code", "started_at",
        "involved_side", "row",
    )  # fmt: skip
    assert EXPORT_COLUMNS[-2:] == ("edits", "judgements")
