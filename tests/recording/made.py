"""Tiny media for the tests, made on the spot: clicks and coloured pictures at known times."""

from __future__ import annotations

import wave
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import Final

import av
import numpy as np
from av.container import OutputContainer
from numpy.typing import NDArray

RATE_HZ: Final = 48_000
MS: Final = Fraction(1, 1000)


@dataclass(frozen=True, slots=True)
class Film:
    """What to put into a file: grey pictures at `picture_s`, clicks in the sound at `click_s`."""

    picture_s: tuple[float, ...] = ()
    click_s: tuple[float, ...] = ()
    sound_s: float = 0.0
    """Length of the sound; 0 for none."""
    sound_from_s: float = 0.0
    turn_deg: int = 0
    """Counter-clockwise."""
    codecs: tuple[str, str] = ("mpeg4", "aac")
    options: dict[str, str] = field(default_factory=dict)
    pixel_aspect: Fraction = Fraction(1)


def write_film(path: Path, film: Film) -> Path:
    """Write it; picture i is grey 10 i + 20, its top left quarter white (64 x 48 pixels)."""
    with av.open(str(path), "w", options=film.options) as container:
        # Both streams first: a container writes its header with the first packet.
        streams = []
        if film.picture_s:
            streams.append(container.add_stream(film.codecs[0], rate=25))
        if film.sound_s:
            streams.append(container.add_stream(film.codecs[1], rate=RATE_HZ, layout="stereo"))
        for stream in streams:
            if isinstance(stream, av.VideoStream):
                put_pictures(container, stream, film)
            elif isinstance(stream, av.AudioStream):
                put_sound(container, stream, film)
    return path


def put_pictures(container: OutputContainer, stream: av.VideoStream, film: Film) -> None:
    stream.width, stream.height, stream.pix_fmt = 64, 48, "yuv420p"
    stream.codec_context.time_base = MS
    stream.codec_context.sample_aspect_ratio = film.pixel_aspect
    if film.turn_deg:
        stream.set_display_rotation(film.turn_deg)
    for i, time_s in enumerate(film.picture_s):
        frame = av.VideoFrame.from_ndarray(quartered(20 + 10 * i % 200), format="rgb24")
        frame.pts, frame.time_base = round(time_s * 1000), MS
        container.mux(stream.encode(frame))
    container.mux(stream.encode(None))


def put_sound(container: OutputContainer, stream: av.AudioStream, film: Film) -> None:
    frame = av.AudioFrame.from_ndarray(clicks(film), format="fltp", layout="stereo")
    frame.sample_rate = RATE_HZ
    frame.pts = round(film.sound_from_s * RATE_HZ)
    frame.time_base = Fraction(1, RATE_HZ)
    container.mux(stream.encode(frame))
    container.mux(stream.encode(None))


def quartered(grey: int) -> NDArray[np.uint8]:
    """Return a picture of one grey whose top left quarter is white."""
    picture = np.full((48, 64, 3), grey, np.uint8)
    picture[:24, :32] = 255
    return picture


def clicks(film: Film) -> NDArray[np.float32]:
    """Return bursts of 1 kHz, 10 ms long, each starting at a time of `click_s`, on faint noise."""
    rng = np.random.default_rng(5)
    sound = rng.uniform(-0.003, 0.003, (2, round(film.sound_s * RATE_HZ))).astype(np.float32)
    burst = 0.5 * np.sin(2 * np.pi * 1000 * np.arange(480) / RATE_HZ)
    for time_s in film.click_s:
        start = round(time_s * RATE_HZ)
        sound[:, start : start + 480] += burst
    return sound


def write_wave(path: Path, samples: NDArray[np.int16], rate_hz: int = 16_000) -> Path:
    """Write plain sound, shape (n, channels), with the standard library."""
    with wave.open(str(path), "wb") as file:
        file.setnchannels(samples.shape[1])
        file.setsampwidth(2)
        file.setframerate(rate_hz)
        file.writeframes(samples.tobytes())
    return path
