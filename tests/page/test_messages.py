"""What may be said to the server, and what is refused."""

from __future__ import annotations

import json
import struct

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.page.messages import (
    MOST_PICTURE_BYTES,
    MOST_SOUND_BYTES,
    MOST_TEXT_BYTES,
    BadMessage,
    Do,
    EditRow,
    Picture,
    SoundBlock,
    read_binary,
    read_text,
)


def header(letter: bytes, number: int = 7, page_ms: float = 1234.5) -> bytes:
    return struct.pack("<c3xId", letter, number, page_ms)


def test_known_messages_are_read() -> None:
    """Each to its own type."""
    assert read_text('{"kind":"do","what":"withdraw","page_ms":12.5}') == Do(
        kind="do", what="withdraw", page_ms=12.5
    )
    edit = read_text('{"kind":"edit","row":2,"slot":"pain","value":3}')
    assert isinstance(edit, EditRow)
    assert edit.value == 3


@pytest.mark.parametrize(
    "text",
    [
        "",
        "[]",
        "{",
        "{}",
        '{"kind":"shutdown"}',
        '{"kind":"do","what":"delete","page_ms":1}',
        '{"kind":"do","what":"withdraw"}',
        '{"kind":"do","what":"withdraw","page_ms":"1"}',
        '{"kind":"do","what":"withdraw","page_ms":1,"more":1}',
        '{"kind":"hello","page_ms":-1}',
        '{"kind":"hello","page_ms":1e400}',
        '{"kind":"edit","row":0,"slot":"pain","value":3}',
        '{"kind":"edit","row":1,"slot":"pain","value":true}',
        '{"kind":"code","text":"' + "x" * 41 + '"}',
    ],
)
def test_what_is_not_ours_is_refused(text: str) -> None:
    """Unknown kinds, fields too many or too few, and values out of range."""
    with pytest.raises(BadMessage):
        read_text(text)


def test_the_refusal_does_not_repeat_what_was_sent() -> None:
    """It may go into a log, and what was sent may name a patient."""
    with pytest.raises(BadMessage) as refused:
        read_text(json.dumps({"kind": "code", "text": "Nomen Nescio " * 5}))
    assert "Nomen" not in str(refused.value)


def test_too_long_a_text_is_refused_unread() -> None:
    """Whatever is in it."""
    with pytest.raises(BadMessage, match="more than"):
        read_text(" " * (MOST_TEXT_BYTES + 1))


@given(st.text())
def test_no_text_does_any_harm(text: str) -> None:
    """It is a message or it is refused."""
    try:
        read_text(text)
    except BadMessage:
        return


def test_sound_is_sixteen_bit_little_endian() -> None:
    """Full scale is one, as everywhere in the tool."""
    block = read_binary(header(b"A") + struct.pack("<3h", 0, 16384, -32768))
    assert isinstance(block, SoundBlock)
    assert (block.number, block.page_ms) == (7, 1234.5)
    np.testing.assert_array_equal(block.samples, np.array([0, 0.5, -1], np.float32))


def test_pictures_are_left_as_they_are() -> None:
    """They are read by the eye's thread."""
    picture = read_binary(header(b"V") + b"\xff\xd8")
    assert isinstance(picture, Picture)
    assert picture.jpeg == b"\xff\xd8"


@pytest.mark.parametrize(
    "data",
    [
        b"",
        header(b"A"),
        header(b"A")[:10],
        header(b"A") + b"\0",
        header(b"X") + b"\0\0",
        header(b"A", page_ms=float("nan")) + b"\0\0",
        header(b"A", page_ms=float("inf")) + b"\0\0",
        header(b"A", page_ms=-1.0) + b"\0\0",
        header(b"A") + b"\0" * (MOST_SOUND_BYTES + 2),
        header(b"V") + b"\0" * (MOST_PICTURE_BYTES + 1),
    ],
)
def test_binary_messages_that_are_none_are_refused(data: bytes) -> None:
    """Too short, too long, of no kind, without a time."""
    with pytest.raises(BadMessage):
        read_binary(data)


@given(st.binary(max_size=64))
def test_no_bytes_do_any_harm(data: bytes) -> None:
    """They are a message or they are refused."""
    try:
        read_binary(data)
    except BadMessage:
        return
