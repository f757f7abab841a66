"""The review's application, without a browser."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from practised import EDUCATOR, folder_of, record
from starlette.testclient import TestClient

from logger.core.events import ArmAngle
from logger.files.saving import save_session
from logger.page.guarding import Address
from logger.page.reviewing.app import Desk, review_app
from logger.page.reviewing.recordings import playable
from logger.recording.digest import content_digest
from logger.review.criteria import SHIPPED

_ADDRESS = Address(8738, token="secret")  # noqa: S106 - of a test
_OF = {"session": "a", "row": 1}
_KNOWN = {"authorization": "Bearer secret"}


def _client(root: Path, *names: str) -> TestClient:
    folder = folder_of(root, *names)
    app = review_app(Desk(folder, EDUCATOR, SHIPPED), _ADDRESS)
    return TestClient(app, base_url="http://127.0.0.1:8738")


def _change(client: TestClient, **sent: Any) -> Any:
    return client.post("/api/change", json=sent, headers=_KNOWN)


def test_the_list_follows_what_is_changed(tmp_path: Path) -> None:
    client = _client(tmp_path, "a", "b")
    before = client.get("/api/class", headers=_KNOWN).json()
    assert [line["to_check"] for line in before["lines"]] == [1, 1]
    assert before["agreement"] is None
    _change(client, session="a", row=2, kind="settle", status="logged")
    _change(client, session="a", row=2, kind="judge", slot="pain", value="4")
    shown = _change(client, session="a", kind="reviewed").json()
    assert shown["state"] == "reviewed"
    after = client.get("/api/class", headers=_KNOWN).json()
    assert [line["state"] for line in after["lines"]] == ["reviewed", "to check"]
    reasons = {line[-1] for line in after["agreement"]["lines"]}
    assert "too few: 1 in common, at least 10 needed" in reasons


def test_a_session_is_shown_with_what_was_heard_and_what_is_in_force(tmp_path: Path) -> None:
    client = _client(tmp_path, "a")
    shown = _change(client, session="a", row=2, kind="correct", slot="grade", value="3+").json()
    row = shown["rows"][1]
    assert (row["heard"]["grade"], row["value"]["grade"]) == ("2", "3+")
    assert (
        row["what"] == "right, inferior glide, grade 3+, hypomobile, mobility 2 of 6, pain 5 of 10"
    )
    assert row["edits"][0]["by"] == "tutor-1"
    assert row["setup"] == "45°, in range"
    assert shown["total"].startswith("3 of 8 met") or shown["total"].startswith("4 of 8 met")


def test_the_trace_breaks_where_the_arm_was_not_seen(tmp_path: Path) -> None:
    client = _client(tmp_path)
    angles = [ArmAngle(t / 5, "left", 40.0, visible=t != 3) for t in range(6)]
    save_session(tmp_path / "a", record(), angles)
    shown = client.get("/api/session?session=a", headers=_KNOWN).json()
    assert shown["trace"]["left"] == [
        [0.0, 40.0], [0.2, 40.0], [0.4, 40.0], [0.6, None], [0.8, 40.0], [1.0, 40.0],
    ]  # fmt: skip
    assert shown["trace"]["right"] == []


def test_nobody_without_the_token(tmp_path: Path) -> None:
    client = _client(tmp_path, "a")
    for headers in ({}, {"authorization": "Bearer wrong"}, {"authorization": "Bearer "}):
        assert client.get("/api/class", headers=headers).status_code == 403
        assert client.get("/api/session?session=a", headers=headers).status_code == 403
        answer = client.post(
            "/api/change", json={"session": "a", "kind": "reviewed"}, headers=headers
        )
        assert answer.status_code == 403
    assert (
        client.get(
            "/api/class", headers={**_KNOWN, "origin": "http://elsewhere.example"}
        ).status_code
        == 403
    )
    assert (
        client.get("/api/class", headers={**_KNOWN, "host": "elsewhere.example:8738"}).status_code
        == 403
    )
    assert client.get("/media?session=a&ticket=guess").status_code == 403


@pytest.mark.parametrize(
    ("sent", "said"),
    [
        ({"session": "../a", "kind": "reviewed"}, "There is no session"),
        ({"session": "a", "kind": "reviewed"}, "Settle row 2 first"),
        ({"session": "a", "row": 9, "kind": "settle", "status": "logged"}, "There is no row 9"),
        ({**_OF, "kind": "settle", "status": "check"}, "cannot be read"),
        ({**_OF, "kind": "judge", "slot": "pain", "value": "12"}, "pain cannot be"),
        ({**_OF, "kind": "correct", "slot": "said", "value": "x"}, "no slot said"),
        ({**_OF, "kind": "explode"}, "cannot be read"),
        ({**_OF, "kind": "correct", "slot": "note", "value": "x" * 3000}, "shorten it"),
        ({**_OF, "kind": "correct", "slot": "note", "value": "x" * 30_000}, "too large"),
    ],
)  # fmt: skip
def test_a_change_that_cannot_be_made_says_why(tmp_path: Path, sent: Any, said: str) -> None:
    client = _client(tmp_path, "a")
    answer = _change(client, **sent)
    assert answer.status_code == 400
    assert said in answer.json()["error"]
    assert folder_of(tmp_path).read("a").edits == ()


@given(st.binary(max_size=60))
def test_any_bytes_are_answered_with_a_sentence(content: bytes) -> None:
    client = TestClient(
        review_app(Desk(folder_of(Path("unused")), EDUCATOR, SHIPPED), _ADDRESS),
        base_url="http://127.0.0.1:8738",
    )
    answer = client.post("/api/change", content=content, headers=_KNOWN)
    assert answer.status_code == 400
    assert answer.json()["error"]


def test_the_class_table_is_safe_for_spreadsheets(tmp_path: Path) -> None:
    client = _client(tmp_path)
    save_session(tmp_path / "=1+1", record(examiner="@sum"), ())
    csv = client.get("/api/class-table", headers=_KNOWN).json()["csv"]
    assert "'=1+1,'@sum," in csv


def test_the_recording_is_played_only_if_it_is_the_one_that_was_read(tmp_path: Path) -> None:
    client = _client(tmp_path)
    video = tmp_path / "p.mp4"
    video.write_bytes(b"0123456789")
    facts = replace(record().recording, sha256=content_digest(video))
    save_session(tmp_path / "a", replace(record(), recording=facts), ())
    media = client.get("/api/session?session=a", headers=_KNOWN).json()["media"]
    assert media["kind"] == "video/mp4"
    part = client.get(media["url"], headers={"range": "bytes=2-4"})
    assert (part.status_code, part.content) == (206, b"234")
    video.write_bytes(b"something else")
    found = playable(facts, tmp_path / "a", ())
    assert found.path is None
    assert "not the one that was read" in found.note


def test_without_the_recording_the_annotated_video_is_played(tmp_path: Path) -> None:
    folder_of(tmp_path, "a")
    session = tmp_path / "a"
    assert "give its folder with --recordings" in playable(record().recording, session, ()).note
    shutil.copy(Path(__file__), session / "annotated.mp4")
    found = playable(record().recording, session, ())
    assert found.path == session / "annotated.mp4"
    assert found.note.startswith("This is the annotated video")


def test_a_name_with_a_path_in_it_stays_in_its_folder(tmp_path: Path) -> None:
    folder_of(tmp_path / "class", "a")
    (tmp_path / "p.mp4").write_bytes(b"x")
    facts = replace(record().recording, name="../../p.mp4")
    assert playable(facts, tmp_path / "class" / "a", ()).path is None
