"""What the page and the server say to each other, typed; what is not listed here is refused.

Text messages are JSON objects with a `kind`. Sound and pictures come as binary messages: a header
of 16 bytes (little-endian: one letter, three zero bytes, a number, the capture time in
milliseconds of the page's own clock) and then the samples or the JPEG.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from typing import Annotated, Final, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, ValidationError

from logger.core.events import Side

MOST_TEXT_BYTES: Final = 16_384
MOST_SOUND_BYTES: Final = 2 * 16_000
"""A second of 16-bit samples; the page sends a twentieth of one at a time."""
MOST_PICTURE_BYTES: Final = 600_000
MOST_BYTES: Final = MOST_PICTURE_BYTES + 16
_HEADER: Final = struct.Struct("<c3xId")
_LOUDEST: Final = 32_768.0

Code = Annotated[str, Field(max_length=40)]
Words = Annotated[str, Field(max_length=400)]
RowNumber = Annotated[int, Field(ge=1, le=10_000)]
Milliseconds = Annotated[float, Field(ge=0, le=1e12, allow_inf_nan=False)]


class BadMessage(ValueError):  # noqa: N818 - it is what was sent, not what went wrong here
    """A message that is none of ours; its text may be shown to whoever sent it."""


class _Message(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class Hello(_Message):
    """The first message: what the page's clock says now."""

    kind: Literal["hello"]
    page_ms: Milliseconds


class ClockMoved(_Message):
    """The machine slept: the page's clock stood still while time went on."""

    kind: Literal["clock"]
    page_ms: Milliseconds


class ChoosePack(_Message):
    """Show another pack on the page before a session begins."""

    kind: Literal["pack"]
    name: Annotated[str, Field(max_length=200)]


class CheckCode(_Message):
    """Ask whether a patient code looks like something that names a person."""

    kind: Literal["code"]
    text: Code


class Answer(_Message):
    """One caution of the pack; a reason is needed to go on although it is present."""

    present: bool
    reason: Words = ""


class Begin(_Message):
    """Begin a session; the cautions are in the pack's order."""

    kind: Literal["begin"]
    patient_code: Code = ""
    examiner_code: Code = ""
    involved_side: Side | None = None
    keep_media: bool = False
    answers: Annotated[list[Answer], Field(max_length=200)]


class Open(_Message):
    """Open a session that was kept: go on with it, or look at its table."""

    kind: Literal["open"]
    session_id: Annotated[str, Field(max_length=100)]


class Leave(_Message):
    """Back to the start page; the session stays where it is kept."""

    kind: Literal["leave"]


class TakeOver(_Message):
    """Make this tab the one that leads, and the other one watch."""

    kind: Literal["take_over"]


class Do(_Message):
    """A key, a pedal or a button, in the time of the page's clock."""

    kind: Literal["do"]
    what: Literal["check_position", "withdraw", "pause", "resume", "end", "begin_bout", "end_bout"]
    page_ms: Milliseconds
    grade: Annotated[str, Field(max_length=10)] | None = None


class ChooseSide(_Message):
    """Put a side into force by hand."""

    kind: Literal["side"]
    side: Side
    page_ms: Milliseconds


class Played(_Message):
    """The page spoke; what was heard in that time was its own voice."""

    kind: Literal["played"]
    start_ms: Milliseconds
    end_ms: Milliseconds


class LookAgain(_Message):
    """Look for the patient anew."""

    kind: Literal["look_again"]


class EditRow(_Message):
    """Change one slot of a row; what was heard stays beside it."""

    kind: Literal["edit"]
    row: RowNumber
    slot: Annotated[str, Field(max_length=40)]
    value: Annotated[str, Field(max_length=1000)] | int | None


class Settle(_Message):
    """A person has looked at a row that wanted a check, and it stands."""

    kind: Literal["settle"]
    row: RowNumber


class Save(_Message):
    """Write the session's files."""

    kind: Literal["save"]


class Practise(_Message):
    """Begin practising one side's setup for one test, or end it (without a test)."""

    kind: Literal["practise"]
    test: Annotated[str, Field(max_length=60)] | None
    side: Side = "right"


Incoming = Annotated[
    Hello
    | ClockMoved
    | ChoosePack
    | CheckCode
    | Begin
    | Open
    | Leave
    | TakeOver
    | Do
    | ChooseSide
    | Played
    | LookAgain
    | EditRow
    | Settle
    | Save
    | Practise,
    Field(discriminator="kind"),
]
_INCOMING: Final[TypeAdapter[Incoming]] = TypeAdapter(Incoming)


@dataclass(frozen=True, slots=True)
class SoundBlock:
    """Sound from the page's microphone."""

    number: int
    page_ms: float
    """When the first sample was captured."""
    samples: NDArray[np.float32]
    """Shape (n,), 16 kHz mono in [-1, 1]."""


@dataclass(frozen=True, slots=True)
class Picture:
    """A frame from the page's camera, still compressed."""

    number: int
    page_ms: float
    jpeg: bytes


def read_text(text: str) -> Incoming:
    """Return the message in a text.

    Raises:
        BadMessage: if it is too long, no JSON, of no known kind or with anything in it that does
            not belong there.

    """
    if len(text.encode("utf-8", "replace")) > MOST_TEXT_BYTES:
        raise BadMessage(f"a text message of more than {MOST_TEXT_BYTES} bytes")
    try:
        return _INCOMING.validate_json(text)
    except ValidationError as error:
        # What was sent may hold a patient's code: only the places of the mistakes are told.
        places = {".".join(map(str, mistake["loc"])) or "kind" for mistake in error.errors()}
        raise BadMessage(f"a message with a mistake in {', '.join(sorted(places))}") from None


def read_binary(data: bytes) -> SoundBlock | Picture:
    """Return the sound or the picture in a binary message.

    Raises:
        BadMessage: if it is too short, too long, of no known letter or has no time.

    """
    if len(data) <= _HEADER.size:
        raise BadMessage("a binary message without content")
    letter, number, page_ms = _HEADER.unpack_from(data)
    if not 0 <= page_ms <= 1e12:  # noqa: PLR2004 - as `Milliseconds`; no number is not in it either
        raise BadMessage("a binary message without a time")
    content = data[_HEADER.size :]
    if letter == b"A":
        if len(content) > MOST_SOUND_BYTES or len(content) % 2:
            raise BadMessage("a sound block of a wrong size")
        samples = np.frombuffer(content, "<i2").astype(np.float32) / np.float32(_LOUDEST)
        return SoundBlock(number, page_ms, samples)
    if letter == b"V":
        if len(content) > MOST_PICTURE_BYTES:
            raise BadMessage(f"a picture of more than {MOST_PICTURE_BYTES} bytes")
        return Picture(number, page_ms, content)
    raise BadMessage("a binary message of an unknown kind")
