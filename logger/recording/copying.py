"""The sound of a recording as it is stored, to be put into another file unchanged."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from logger.recording.media import Recording
from logger.recording.opening import opened, packets, sound_stream


@dataclass(frozen=True, slots=True)
class StoredSound:
    """The first sound track of a file. PyAV has no types, hence `Any`."""

    stream: Any
    """PyAV's stream, for its codec and format."""
    packets: Iterator[Any]
    """In the file's order, their times counted from the recording's start."""


@contextmanager
def stored_sound(recording: Recording) -> Iterator[StoredSound | None]:
    """Open the sound of a recording; None where it has none that can be decoded.

    Raises:
        RecordingError: if the file can no longer be opened.

    """
    if not recording.has_audio:
        yield None
        return
    with opened(recording.path) as container:
        stream = sound_stream(container)
        yield (
            None if stream is None else StoredSound(stream, _shifted(container, stream, recording))
        )


def _shifted(container: Any, stream: Any, recording: Recording) -> Iterator[Any]:
    for packet in packets(container, stream):
        # The last, empty packet of a stream flushes a decoder; it has no times.
        if packet.dts is not None and packet.pts is not None:
            ticks = round(recording.origin_s / packet.time_base)
            packet.pts -= ticks
            packet.dts -= ticks
            yield packet
