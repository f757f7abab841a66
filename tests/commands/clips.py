"""Tiny recordings for the tests of the commands, made on the spot."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Final

import av
import numpy as np
from av.container import OutputContainer

MS: Final = Fraction(1, 1000)
RATE_HZ: Final = 16_000


@dataclass(frozen=True, slots=True)
class Clip:
    """What to put into a file: grey pictures at `picture_s`, a tone from 0 to `sound_s`."""

    picture_s: tuple[float, ...] = ()
    sound_s: float = 0.0
    size: tuple[int, int] = (64, 48)
    """Width and height."""
    turn_deg: int = 0
    """Counter-clockwise."""
    codecs: tuple[str, str] = ("mpeg4", "aac")
    pix_fmt: str = "yuv420p"


def write_clip(path: Path, clip: Clip) -> Path:
    """Write it; picture i is grey 40 + 5 i."""
    with av.open(str(path), "w") as container:
        video = audio = None
        if clip.picture_s:
            video = container.add_stream(clip.codecs[0], rate=25)
        if clip.sound_s:
            audio = container.add_stream(clip.codecs[1], rate=RATE_HZ, layout="mono")
        if isinstance(video, av.VideoStream):
            _pictures(container, video, clip)
        if isinstance(audio, av.AudioStream):
            _tone(container, audio, clip)
    return path


def _pictures(container: OutputContainer, stream: av.VideoStream, clip: Clip) -> None:
    stream.width, stream.height = clip.size
    stream.pix_fmt = clip.pix_fmt
    stream.codec_context.time_base = MS
    if clip.turn_deg:
        stream.set_display_rotation(clip.turn_deg)
    for i, time_s in enumerate(clip.picture_s):
        grey = np.full((clip.size[1], clip.size[0], 3), 40 + 5 * i % 200, np.uint8)
        frame = av.VideoFrame.from_ndarray(grey, format="rgb24")
        frame.pts, frame.time_base = round(time_s * 1000), MS
        container.mux(stream.encode(frame))
    container.mux(stream.encode(None))


def _tone(container: OutputContainer, stream: av.AudioStream, clip: Clip) -> None:
    time_s = np.arange(round(clip.sound_s * RATE_HZ)) / RATE_HZ
    tone = (0.3 * np.sin(2 * np.pi * 440 * time_s)).astype(np.float32)
    frame = av.AudioFrame.from_ndarray(tone[None, :], format="fltp", layout="mono")
    if stream.format.name != "fltp":
        resampler = av.AudioResampler(stream.format.name, "mono", RATE_HZ)
        frame.sample_rate = RATE_HZ
        frame = resampler.resample(frame)[0]
    frame.sample_rate, frame.pts, frame.time_base = RATE_HZ, 0, Fraction(1, RATE_HZ)
    container.mux(stream.encode(frame))
    container.mux(stream.encode(None))
