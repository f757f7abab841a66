"""What happens to speech on its way to the microphone: speed, pitch, the room."""

from __future__ import annotations

from fractions import Fraction
from functools import cache
from typing import Final

import av
import numpy as np
import pyroomacoustics
from av.filter import Graph
from numpy.random import Generator, default_rng
from numpy.typing import NDArray
from scipy.signal import fftconvolve

from logger.core.sound import SAMPLE_RATE_HZ

FloatArray = NDArray[np.float32]

FAR_M: Final = 1.5
RT60_S: Final = 0.5
_ROOMS: Final = 8
_HEAD_M: Final = 1.45
_SHELF_M: Final = 1.2


def respoken(speech: FloatArray, tempo: float, semitones: float) -> FloatArray:
    """Change tempo (1.2 is faster) and pitch, each without the other."""
    if tempo == 1.0 and semitones == 0.0:
        return speech
    shift = 2 ** (semitones / 12)
    graph = Graph()
    source = graph.add_abuffer(
        sample_rate=SAMPLE_RATE_HZ,
        format="flt",
        layout="mono",
        time_base=Fraction(1, SAMPLE_RATE_HZ),
    )
    steps = (
        ("asetrate", str(round(SAMPLE_RATE_HZ * shift))),
        ("aresample", str(SAMPLE_RATE_HZ)),
        ("atempo", f"{tempo / shift:.5f}"),
        ("aformat", f"sample_fmts=flt:sample_rates={SAMPLE_RATE_HZ}:channel_layouts=mono"),
        ("abuffersink", None),
    )
    last = source
    for name, arguments in steps:
        step = graph.add(name, arguments)
        last.link_to(step)
        last = step
    graph.configure()
    frame = av.AudioFrame.from_ndarray(speech[np.newaxis], format="flt", layout="mono")
    frame.sample_rate = SAMPLE_RATE_HZ
    frame.pts = 0
    source.push(frame)
    source.push(None)
    return np.concatenate(_pulled(last))


def _pulled(sink: av.filter.context.FilterContext) -> list[FloatArray]:
    parts: list[FloatArray] = [np.zeros(0, np.float32)]
    while True:
        try:
            frame = sink.pull()
        except (av.EOFError, av.BlockingIOError):
            return parts
        if isinstance(frame, av.AudioFrame):
            parts.append(np.asarray(frame.to_ndarray(), np.float32).ravel())


@cache
def room_response(seed: int) -> FloatArray:
    """Return the impulse response of a small room from a person 1.5 m from the microphone.

    RT60 0.5 s, the walls' absorption by Sabine's formula as pyroomacoustics inverts it; the room's
    size and the places in it differ with `seed`, which is taken modulo 8. Shape (n,).
    """
    rng = default_rng(seed % _ROOMS)
    size_m = (rng.uniform(3.2, 5.0), rng.uniform(2.8, 4.2), rng.uniform(2.4, 2.8))
    absorption, order = pyroomacoustics.inverse_sabine(RT60_S, size_m)
    room = pyroomacoustics.ShoeBox(
        size_m,
        fs=SAMPLE_RATE_HZ,
        materials=pyroomacoustics.Material(absorption),
        max_order=min(order, 40),
    )
    head = (size_m[0] / 2 + rng.uniform(-0.3, 0.3), size_m[1] / 2 + rng.uniform(-0.3, 0.3), _HEAD_M)
    turn = rng.uniform(0, 2 * np.pi)
    reach_m = np.sqrt(FAR_M**2 - (_HEAD_M - _SHELF_M) ** 2)
    microphone = [
        float(np.clip(head[0] + reach_m * np.cos(turn), 0.1, size_m[0] - 0.1)),
        float(np.clip(head[1] + reach_m * np.sin(turn), 0.1, size_m[1] - 0.1)),
        _SHELF_M,
    ]
    room.add_source(head)
    room.add_microphone(microphone)
    room.compute_rir()
    response = np.asarray(room.rir[0][0], np.float32)
    # From the direct sound on, so that the times of the track stay what they are.
    return response[int(np.argmax(np.abs(response))) :]


def in_room(speech: FloatArray, response: FloatArray) -> FloatArray:
    """Return speech as it arrives through the room, as long as before and with its tail cut."""
    heard: FloatArray = fftconvolve(speech, response)[: len(speech)].astype(np.float32)
    return heard


def random_manner(
    rng: Generator, tempo: tuple[float, float], semitones: float
) -> tuple[float, float]:
    """Return a tempo from the range and a pitch shift up to `semitones` either way."""
    return float(rng.uniform(*tempo)), float(rng.uniform(-semitones, semitones))
