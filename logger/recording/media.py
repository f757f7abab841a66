"""Opens a recording: its facts, its sound and its pictures, all on one clock.

Time 0 is the recording's start, the earliest time in the file. Sound and pictures keep their own
times from the file, so that a stream that starts later stays in step with the other.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from logger.core.errors import RecordingError
from logger.recording.opening import (
    check_file,
    decoded,
    opened,
    packets,
    picture_stream,
    sound_stream,
)
from logger.recording.pictures import shown, shown_size, turn_deg
from logger.recording.scanning import Scan, scan
from logger.recording.sound import AudioBlock, Timeline, in_blocks

__all__ = [
    "AudioBlock",
    "Frame",
    "Recording",
    "open_recording",
]


@dataclass(frozen=True, slots=True)
class Frame:
    """One picture of a recording."""

    time_s: float
    """From the file's own time of the picture, never from a count of pictures."""
    rgb: NDArray[np.uint8]
    """Upright, shape (height, width, 3)."""


@dataclass(frozen=True, slots=True)
class Recording:
    """What a recording holds. `open_recording` makes one."""

    path: Path
    duration_s: float
    """The end of the last packet; of a cut-off file, where it breaks off."""
    has_audio: bool
    has_video: bool
    sample_rate: int | None
    """Of the file, in Hz; the blocks have 16 kHz."""
    width: int | None
    """Of the upright picture, in square pixels."""
    height: int | None
    fps: float | None
    """On average over the recording; None for fewer than two pictures."""
    key_pictures: int
    """How many pictures are stored whole, not as changes to others; 0 without video."""
    rotation_deg: int
    """How far the stored pictures are turned to be upright, clockwise."""
    origin_s: float
    """The file's own time at which the recording starts; taken off every time."""
    pixel_aspect: float
    truncated_at_s: float | None
    """Where a cut-off file breaks off; None for a whole one."""
    warnings: tuple[str, ...]
    started_at: str | None = None
    """RFC 3339, by the clock of what recorded it; None where the file does not tell."""

    def audio_blocks(self, block_s: float) -> Iterator[AudioBlock]:
        """Yield the sound from time 0 in blocks of `block_s`; the last may be shorter.

        Gaps in the file's times and damaged stretches become silence, so that a sample's place
        is its time; a channel without a signal does not weaken the others. Nothing is yielded
        for a recording without sound.

        Raises:
            RecordingError: if the file can no longer be opened.

        """
        if not self.has_audio:
            return
        with opened(self.path) as container:
            frames = _frames_of(container, sound_stream(container))
            pieces = Timeline(self.origin_s, self.duration_s).place(frames)
            yield from in_blocks(pieces, block_s)

    def frames(self, max_fps: float | None, *, keys_only: bool = False) -> Iterator[Frame]:
        """Yield the pictures in order, no closer together than `max_fps` asks for.

        With `keys_only` only those that are stored whole, which takes a fraction of the time.
        Damaged pictures and those without a time, or with one that is not after the last, are
        left out. Nothing is yielded for a recording without pictures.

        Raises:
            RecordingError: if the file can no longer be opened.

        """
        if not self.has_video:
            return
        # Times such as 0.2 are rounded in the file: a little early still counts.
        least_step_s = 1 / max_fps - 1e-3 if max_fps else 0.0
        last_s = -np.inf
        with opened(self.path) as container:
            stream = picture_stream(container)
            if stream is None:
                return
            stream.thread_type = "AUTO"
            if keys_only:
                stream.codec_context.skip_frame = "NONKEY"
            for frame in _frames_of(container, stream):
                if frame.pts is None:
                    continue
                time_s = float(frame.pts * frame.time_base) - self.origin_s
                if time_s <= last_s or time_s - last_s < least_step_s:
                    continue
                rgb = shown(frame, self.pixel_aspect)
                if rgb is not None:
                    last_s = time_s
                    yield Frame(time_s, rgb)


def open_recording(path: Path) -> Recording:
    """Read through a file once, without decoding it, and return what it holds.

    Raises:
        RecordingError: if it is missing, a folder, empty, no media file, damaged beyond reading,
            or holds neither sound nor video.

    """
    check_file(path)
    found = scan(path)
    sound = found.sound.first_frame if found.sound else None
    picture = found.picture.first_frame if found.picture else None
    if sound is None and picture is None:
        raise RecordingError(
            f"{path} holds neither sound nor video that can be decoded: give a recording."
        )
    size = (None, None) if picture is None else shown_size(picture, found.pixel_aspect)
    return Recording(
        path=path,
        duration_s=found.duration_s,
        has_audio=sound is not None,
        has_video=picture is not None,
        sample_rate=None if sound is None else int(sound.sample_rate),
        width=size[0],
        height=size[1],
        fps=found.picture.rate_hz if found.picture and picture is not None else None,
        key_pictures=found.picture.key_count if found.picture and picture is not None else 0,
        rotation_deg=0 if picture is None else turn_deg(picture),
        origin_s=found.origin_s,
        pixel_aspect=found.pixel_aspect,
        truncated_at_s=found.duration_s if found.truncated else None,
        warnings=tuple(_warnings(path, found)),
        started_at=found.started_at,
    )


def _warnings(path: Path, found: Scan) -> Iterator[str]:
    if found.truncated:
        yield (
            f"{path.name} is cut off at {found.duration_s:.1f} s: what was recorded after that is "
            "not in the file."
        )
    if found.sound and found.sound.first_frame is None:
        yield f"The sound of {path.name} cannot be decoded: nothing can be heard."
    if found.picture and found.picture.first_frame is None:
        yield f"The video of {path.name} cannot be decoded: no angle can be measured."
    if found.sound_tracks > 1:
        yield f"{path.name} has {found.sound_tracks} sound tracks: the first one is heard."


def _frames_of(container: Any, stream: Any | None) -> Iterator[Any]:
    for packet in packets(container, stream) if stream is not None else ():
        yield from decoded(packet)
