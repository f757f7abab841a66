"""Who may talk to the server, and how much."""

from __future__ import annotations

import logging
import struct
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from room_kit import ADDRESS, LIVE, open_page, room_in
from starlette.websockets import WebSocketDisconnect

from logger.page.guarding import PROTOCOL, Address, Allowance
from logger.page.messages import MOST_SOUND_BYTES, MOST_TEXT_BYTES

HOME = ADDRESS.origins[0]
GOOD = [PROTOCOL, f"token.{ADDRESS.token}"]


@pytest.mark.parametrize(
    ("headers", "protocols", "why"),
    [
        ({"origin": "http://pages.example"}, GOOD, "origin"),
        ({"origin": "null"}, GOOD, "origin"),
        ({"origin": "http://127.0.0.1:9999"}, GOOD, "origin"),
        ({"origin": "https://127.0.0.1:8737"}, GOOD, "origin"),
        ({}, GOOD, "origin"),
        ({"origin": HOME, "host": "rebound.example:8737"}, GOOD, "address"),
        ({"origin": HOME, "host": "127.0.0.1"}, GOOD, "address"),
        ({"origin": HOME}, [PROTOCOL], "token"),
        ({"origin": HOME}, [PROTOCOL, "token."], "token"),
        ({"origin": HOME}, [PROTOCOL, "token.the-tokem"], "token"),
        ({"origin": HOME}, [PROTOCOL, "token.the-token", "token.other"], "token"),
    ],
)
def test_the_socket_is_for_our_own_page(
    tmp_path: Path, headers: dict[str, str], protocols: list[str], why: str
) -> None:
    """Every other is refused before it is let in."""
    with (
        room_in(tmp_path) as room,
        pytest.raises(WebSocketDisconnect) as refused,
        room.client.websocket_connect(LIVE, subprotocols=protocols, headers=headers),
    ):
        pass
    assert refused.value.code == 1008
    assert why in refused.value.reason


@pytest.mark.parametrize(
    ("path", "headers"),
    [
        ("/", {"host": "rebound.example"}),
        ("/", {"origin": "http://pages.example"}),
        ("/static/main.js", {"sec-fetch-site": "cross-site", "sec-fetch-mode": "no-cors"}),
        ("/static/main.js", {"sec-fetch-site": "same-site", "sec-fetch-mode": "cors"}),
    ],
)
def test_pages_of_others_get_nothing(tmp_path: Path, path: str, headers: dict[str, str]) -> None:
    """Not even a file that holds no secret."""
    with room_in(tmp_path) as room:
        assert room.client.get(path, headers=headers).status_code == 403


def test_every_answer_carries_the_safe_headers(tmp_path: Path) -> None:
    """A policy that lets nothing in from elsewhere and runs nothing that is written into a page."""
    with room_in(tmp_path) as room:
        for path in ("/", "/static/main.js", "/static/style.css", "/nothing"):
            answer = room.client.get(path)
            policy = answer.headers["content-security-policy"]
            assert "default-src 'none'" in policy
            assert "unsafe" not in policy
            assert "http" not in policy
            assert answer.headers["x-content-type-options"] == "nosniff"
            assert answer.headers["x-frame-options"] == "DENY"
            assert "access-control-allow-origin" not in answer.headers


def test_files_outside_the_page_are_not_served(tmp_path: Path) -> None:
    """Whatever the path says."""
    with room_in(tmp_path) as room:
        for path in ("/static/../app.py", "/static/%2e%2e/app.py", "/static//etc/passwd"):
            assert room.client.get(path).status_code in {403, 404}


def test_the_page_asks_for_nothing_from_elsewhere() -> None:
    """No address but our own stands in what the browser is given; names of the SVG kind aside."""
    static = Path(__file__).parents[2] / "logger" / "page" / "static"
    allowed = ("http://www.w3.org/2000/svg", "ws://${location.host}/live")
    for path in static.rglob("*"):
        if path.is_file():
            text = path.read_text("utf-8")
            for known in allowed:
                text = text.replace(known, "")
            assert "://" not in text, path.name


def test_a_page_that_says_no_hello_is_let_go(tmp_path: Path) -> None:
    """The first message says who speaks."""
    with room_in(tmp_path) as room:
        headers = {"origin": HOME}
        with room.client.websocket_connect(LIVE, subprotocols=GOOD, headers=headers) as socket:
            socket.send_text('{"kind":"leave"}')
            assert socket.receive()["code"] == 1007


@pytest.mark.parametrize(
    "text", ['{"kind":"shutdown"}', "x", " " * (MOST_TEXT_BYTES + 1), '{"kind":"open"}']
)
def test_a_message_that_is_none_of_ours_ends_the_talk(tmp_path: Path, text: str) -> None:
    """Our page sends no such thing."""
    with room_in(tmp_path) as room, open_page(room.client) as page:
        page.until("welcome")
        page.text(text)
        assert page.receive()["code"] == 1007


@pytest.mark.parametrize(
    "data", [b"", b"A", struct.pack("<c3xId", b"A", 0, 0) + bytes(MOST_SOUND_BYTES + 2)]
)
def test_so_does_a_block_that_is_none(tmp_path: Path, data: bytes) -> None:
    """Too short or too long."""
    with room_in(tmp_path) as room, open_page(room.client) as page:
        page.until("welcome")
        page.raw(data)
        assert page.receive()["code"] == 1007


def test_a_flood_is_cut_off_and_the_next_page_is_served(tmp_path: Path) -> None:
    """Far more messages than any hand can make; the session goes on."""
    with room_in(tmp_path) as room:
        with open_page(room.client) as page:
            page.until("welcome")
            page.begin()
            for _ in range(200):
                page.say("look_again")
            codes = [page.receive() for _ in range(1)]
            assert codes[0]["code"] == 1008
        with open_page(room.client) as page:
            assert page.until("welcome")["running"] is True
            assert page.until("state")["phase"] == "testing"


def test_no_log_line_holds_the_patient_code(
    tmp_path: Path, caplog: pytest.LogCaptureFixture, capfd: pytest.CaptureFixture[str]
) -> None:
    """Through a whole session, with mistakes in it."""
    caplog.set_level(logging.DEBUG)
    with room_in(tmp_path) as room, open_page(room.client) as page:
        page.begin(patient_code="Q-4711")
        page.say("code", text="Q-4711")
        page.say("edit", row=9, slot="note", value="Q-4711")
        page.until("refused")
        page.say("save")
        page.until("saved")
        page.text('{"kind":"code","text":"Q-4711","more":"Q-4711"}')
        while page.receive()["type"] != "websocket.close":
            pass
    out, err = capfd.readouterr()
    assert "4711" not in caplog.text + out + err


def test_the_token_is_not_shown_by_accident() -> None:
    """And it is long, and another each time."""
    first, second = Address(1), Address(1)
    assert first.token not in repr(first)
    assert first.token != second.token
    assert len(first.token) >= 43
    assert first.url == f"http://127.0.0.1:1/#{first.token}"


@given(st.lists(st.tuples(st.floats(0, 5), st.floats(0, 10)), max_size=60))
def test_an_allowance_never_gives_more_than_it_has(uses: list[tuple[float, float]]) -> None:
    """In any stretch of time at most the bucket and what ran in: the bound of a token bucket."""
    allowance = Allowance(per_s=2.0, most=10.0)
    now_s = taken = 0.0
    for passed_s, amount in uses:
        now_s += passed_s
        if allowance.take(amount, now_s):
            taken += amount
        assert taken <= 10.0 + 2.0 * now_s + 1e-6
