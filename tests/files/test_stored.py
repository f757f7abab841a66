"""Sessions that read back as they were saved, and files that are none."""

from __future__ import annotations

import json
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from records import of_type, records
from test_session_json import check, record

from logger.core.errors import SessionError
from logger.core.events import ArmAngle
from logger.core.session import SessionFacts
from logger.files import stored
from logger.files.saving import save_session
from logger.files.session_json import SessionRecord, document
from logger.files.stored import find_sessions, read_angles, read_session


def saved(made: SessionRecord, angles: tuple[ArmAngle, ...] = ()) -> tuple[Any, Any]:
    with TemporaryDirectory() as place:
        folder = Path(place) / "s"
        save_session(folder, made, angles)
        return read_session(folder), read_angles(folder)


@settings(max_examples=40)
@given(records())
def test_session_reads_back_as_saved(made: SessionRecord) -> None:
    """The file rounds: the second time round nothing changes any more, in no field."""
    check(json.loads(json.dumps(document(made))))
    first, _ = saved(made)
    assert document(first) == document(made)
    assert saved(first)[0] == first


@settings(max_examples=30)
@given(st.lists(of_type(ArmAngle), max_size=4))
def test_trace_reads_back_as_saved(angles: list[ArmAngle]) -> None:
    _, first = saved(record(), tuple(angles))
    assert len(first) == len(angles)
    assert saved(record(), first)[1] == first
    for got, put in zip(first, angles, strict=True):
        assert (got.side, got.visible, got.source) == (put.side, put.visible, put.source)
        assert got.time_s == pytest.approx(put.time_s, abs=6e-4)
        assert (got.angle_deg is None) == (put.angle_deg is None)


def written(folder: Path, **changes: object) -> Path:
    """Save a session with other values under some keys; None takes a key away."""
    folder.mkdir()
    whole = {**document(record()), **changes}
    kept = {key: value for key, value in whole.items() if value is not None}
    (folder / "session.json").write_text(json.dumps(kept), encoding="utf-8")
    return folder


def test_older_format_is_read_with_nothing_said_in_the_new_fields(tmp_path: Path) -> None:
    """Format 1 was written before there were facts, bouts, edits and judgements."""
    later = dict.fromkeys(("facts", "bouts", "edits", "judgements"))
    facts = document(record())["recording"]
    assert isinstance(facts, dict)
    del facts["sha256"]
    read = read_session(written(tmp_path / "old", format=1, recording=facts, **later))
    assert read.facts == SessionFacts()
    assert read.findings == saved(record())[0].findings


BROKEN = {
    "newer": ({"format": 99}, "format 99 .* install a newer"),
    "never": ({"format": 0}, "never was"),
    "format as a text": ({"format": "1"}, "no session of this tool"),
    "no rows": ({"findings": None}, "no session of this tool"),
    "key missing": ({"edits": None}, "edits is missing"),
    "key unknown": ({"extra": 1}, "extra is no key"),
    "wrong type": ({"warnings": "none"}, "warnings is not a list"),
    "true for a number": ({"talk": {"count": True, "spans": []}}, "talk.count is not a whole"),
    "row that is not there": (
        {"edits": [{"row": 2, "slot": "pain", "before": 1, "after": 2, "by": "e", "at": "x"}]},
        r"edits\[0\].row is 2, and there are 1 rows",
    ),
    "slot that cannot be edited": (
        {"edits": [{"row": 1, "slot": "said", "before": 1, "after": 2, "by": "e", "at": "x"}]},
        "'said' cannot be edited",
    ),
    "words for a number": (
        {"edits": [{"row": 1, "slot": "pain", "before": 1, "after": "2", "by": "e", "at": "x"}]},
        "pain cannot be '2'",
    ),
    "status unknown": (
        {"position_checks": [{"at_s": 1, "side": "left", "reading": {"status": "fine"}}]},
        r"position_checks\[0\].reading.status is 'fine'",
    ),
}


@pytest.mark.parametrize(("changes", "sentence"), BROKEN.values(), ids=BROKEN)
def test_what_is_no_session_is_one_sentence(
    tmp_path: Path, changes: dict[str, Any], sentence: str
) -> None:
    with pytest.raises(SessionError, match=sentence) as caught:
        read_session(written(tmp_path / "s", **changes))
    assert "session.json" in str(caught.value)
    assert "\n" not in str(caught.value)


FOREIGN = {
    "empty": b"",
    "cut off": b'{"format": 2, "findings": [',
    "text": b"hello",
    "no UTF-8": b'{"a": "\xff"}',
    "list": b"[]",
    "other JSON": b'{"name": "package"}',
    "no number": b'{"format": 2, "findings": [NaN]}',
    "deep": b"[" * 100_000,
}


@pytest.mark.parametrize("content", FOREIGN.values(), ids=FOREIGN)
def test_foreign_content_is_one_sentence(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "session.json").write_bytes(content)
    with pytest.raises(SessionError, match=r"session\.json"):
        read_session(tmp_path)


def test_missing_and_huge_are_one_sentence(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for reader in (read_session, read_angles):
        with pytest.raises(SessionError, match="cannot be read: No such file"):
            reader(tmp_path)
    folder = written(tmp_path / "s")
    monkeypatch.setattr(stored, "LARGEST_BYTES", 100)
    with pytest.raises(SessionError, match="larger than"):
        read_session(folder)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "a,b\n1,2\n",
        "time_s,side,angle_deg,visible,reason,source,error_deg,plane_deg\n1,up,2,True,,pose,,\n",
        "time_s,side,angle_deg,visible,reason,source,error_deg,plane_deg\n,left,2,True,,pose,,\n",
        "time_s,side,angle_deg,visible,reason,source,error_deg,plane_deg\n1,left,x,True,,pose,,\n",
        "time_s,side,angle_deg,visible,reason,source,error_deg,plane_deg\n1,left,2,yes,,pose,,\n",
    ],
)
def test_damaged_trace_is_one_sentence(tmp_path: Path, text: str) -> None:
    (tmp_path / "arm_angle.csv").write_text(text, encoding="utf-8")
    with pytest.raises(SessionError, match=r"arm_angle\.csv is damaged"):
        read_angles(tmp_path)


def test_sessions_are_found_at_any_depth_and_half_written_ones_are_not(tmp_path: Path) -> None:
    deep = tmp_path / "class" / "week 1"
    deep.mkdir(parents=True)
    for folder in (deep / "b", deep / "a", tmp_path / "c", deep / ".a.old"):
        written(folder)
    (tmp_path / "c" / "inside").mkdir()
    assert find_sessions(tmp_path) == sorted([deep / "a", deep / "b", tmp_path / "c"])
    assert find_sessions(deep / "a") == [deep / "a"]
    assert find_sessions(tmp_path / "c" / "inside") == []
    with pytest.raises(SessionError, match="is no folder"):
        find_sessions(tmp_path / "gone")
