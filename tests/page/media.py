"""Files for the browser's fake devices, made from the demonstration session."""

from __future__ import annotations

import wave
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import av
import numpy as np
from numpy.typing import NDArray

SESSION = Path(__file__).parents[2] / "demo_media" / "session.mp4"
RATE_HZ = 48_000
"""What the browser's fake microphone runs at, so that nothing but the page resamples."""


@dataclass(frozen=True, slots=True)
class FakeMedia:
    """A sound file and a film that begin with a stretch of stillness for choosing devices.

    The film begins again at its end; the sound does so only if it is looped.
    """

    wav: Path
    y4m: Path
    looped: bool = False


def fake_media(
    folder: Path, part_s: tuple[float, float], lead_s: float, repeat: int = 2
) -> FakeMedia:
    """Write a part of the session after `lead_s` of silence and stillness.

    Each of its 5 pictures a second is shown `repeat` times, as a camera of 5 * repeat.
    """
    media = FakeMedia(folder / "sound.wav", folder / "film.y4m")
    sound = np.concatenate([np.zeros(round(lead_s * RATE_HZ), np.int16), *_sound(part_s)])
    with wave.open(str(media.wav), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE_HZ)
        file.writeframes(sound.tobytes())
    pictures = _pictures(part_s)
    first = next(pictures)
    height, width = first.shape[0] * 2 // 3, first.shape[1]
    with media.y4m.open("wb") as film:
        film.write(f"YUV4MPEG2 W{width} H{height} F{5 * repeat}:1 Ip A1:1 C420jpeg\n".encode())
        for _ in range(round(lead_s * 5 * repeat)):
            film.write(b"FRAME\n" + first.tobytes())
        for picture in (first, *pictures):
            film.write((b"FRAME\n" + picture.tobytes()) * repeat)
    return media


def _sound(part_s: tuple[float, float]) -> Iterator[NDArray[np.int16]]:
    with av.open(str(SESSION)) as container:
        resampler = av.AudioResampler("s16", "mono", RATE_HZ)
        for frame in container.decode(audio=0):
            if part_s[0] <= (frame.time or 0.0) < part_s[1]:
                for part in resampler.resample(frame):
                    yield part.to_ndarray().reshape(-1).astype(np.int16)


def _pictures(part_s: tuple[float, float]) -> Iterator[NDArray[np.uint8]]:
    with av.open(str(SESSION)) as container:
        for frame in container.decode(video=0):
            if part_s[0] <= (frame.time or 0.0) < part_s[1]:
                yield frame.to_ndarray(format="yuv420p").astype(np.uint8)
