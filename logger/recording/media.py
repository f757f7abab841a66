"""Opens a recording of any kind that FFmpeg reads."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import av
import numpy as np
from numpy.typing import NDArray

from logger.core.errors import RecordingError

RATE_HZ: Final = 16_000
_NO_MEDIA: Final = frozenset({"tty", "srt", "ass", "webvtt", "subviewer", "lrc", "ffmetadata"})


@dataclass(frozen=True, slots=True)
class Recording:
    """What a recording holds."""

    path: Path
    duration_s: float | None
    has_sound: bool
    has_picture: bool
    origin_s: float
    """The container's own time at which the recording starts; taken off every time."""


def open_recording(path: Path) -> Recording:
    """Look into a recording.

    Raises:
        RecordingError: if it is missing, empty, or no media file.

    """
    if not path.exists():
        raise RecordingError(f"No such file: {path}. Check the name and the folder.")
    if path.is_dir():
        raise RecordingError(f"{path} is a folder: name a recording in it.")
    if path.stat().st_size == 0:
        raise RecordingError(f"{path} is empty (0 bytes): record or copy it again.")
    with _opened(path) as container:
        sound, picture = bool(container.streams.audio), bool(container.streams.video)
        if container.format.name in _NO_MEDIA or not (sound or picture):
            raise RecordingError(f"{path} holds neither sound nor video: give a recording.")
        length = container.duration
        start = container.start_time
        return Recording(
            path,
            None if length is None else length / av.time_base,
            sound,
            picture,
            0.0 if start is None else start / av.time_base,
        )


def sound_blocks(recording: Recording) -> Iterator[NDArray[np.float32]]:
    """Yield the sound in order from time 0: 16 kHz mono float32 in [-1, 1], shape (n,).

    Gaps in the file's times become silence, so that a sample's place is its time. A channel of
    digital silence is left out of the mix, so that a dead one does not halve the live one. A file
    that breaks off ends there.
    """
    given = 0
    with _opened(recording.path) as container:
        resampler = av.AudioResampler(format="fltp", rate=RATE_HZ)
        for frame in _decoded(container, container.streams.audio[0]):
            time_s = None if frame.pts is None else float(frame.pts * frame.time_base)
            for piece in resampler.resample(frame):
                samples = _mono(piece.to_ndarray())
                if time_s is not None:
                    missing = round((time_s - recording.origin_s) * RATE_HZ) - given
                    time_s = None
                    if missing > RATE_HZ // 10:
                        given += missing
                        yield np.zeros(missing, np.float32)
                given += len(samples)
                yield samples


def frames(recording: Recording) -> Iterator[tuple[float, NDArray[np.uint8]]]:
    """Yield (time_s, picture): RGB, shape (height, width, 3), turned as the file's tag says."""
    with _opened(recording.path) as container:
        stream = container.streams.video[0]
        stream.thread_type = "AUTO"
        for frame in _decoded(container, stream):
            if frame.pts is None:
                continue
            picture = frame.to_ndarray(format="rgb24")
            turns = round(getattr(frame, "rotation", 0) / 90) % 4
            yield float(frame.pts * frame.time_base) - recording.origin_s, np.rot90(picture, turns)


def _opened(path: Path) -> Any:
    try:
        return av.open(str(path))
    except (av.FFmpegError, OSError) as error:
        raise RecordingError(
            f"{path} cannot be read as a recording: it is no media file, or it is damaged."
        ) from error


def _decoded(container: Any, stream: Any) -> Iterator[Any]:
    try:
        yield from container.decode(stream)
    except av.FFmpegError:
        # A truncated or damaged tail: what came before it counts.
        return


def _mono(samples: NDArray[Any]) -> NDArray[np.float32]:
    live = samples[np.abs(samples).max(axis=1) > 0]
    mixed = live.mean(axis=0) if len(live) else np.zeros(samples.shape[1])
    return np.asarray(mixed, np.float32)
