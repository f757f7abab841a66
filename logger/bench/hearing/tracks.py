"""Scripts become sound: voices, pauses, the room and the noise, with the time of every line."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.random import Generator, default_rng

from logger.bench.hearing import noises, rooms
from logger.bench.hearing.conditions import Condition
from logger.bench.hearing.scripts import (
    FloatArray,
    Line,
    Script,
    TimedLine,
    Track,
    Truth,
    TruthRow,
)
from logger.bench.hearing.voices import Voice
from logger.core.sound import SAMPLE_RATE_HZ

_LEAD_S: Final = 1.0
_BETWEEN_S: Final = (1.2, 3.0)
"""Silence between lines: longer than what ends an utterance, as between two thoughts."""
_PAUSE_S: Final = (0.2, 0.5)
"""Silence inside a line, shorter than what ends an utterance."""
_SOUND_LEVEL: Final = 1.5
"""The peak of a door or a cough against the level of the speech: plainly heard."""
_FLOOR_DB: Final = -75.0
"""No microphone is silent; a digital zero would be easier than any room."""


@dataclass(frozen=True, slots=True)
class Cast:
    """Who speaks on a track."""

    clinician: Voice
    others: Sequence[Voice]
    """Patients and the voices of a babble; may be empty, and then the clinician says it all."""


def render(script: Script, cast: Cast, condition: Condition, seed: int) -> Track:
    """Return the track of `script` under `condition`; the same seed gives the same track."""
    rng = default_rng(seed)
    parts: list[FloatArray] = [np.zeros(_samples(_LEAD_S), np.float32)]
    at = len(parts[0])
    timed: list[TimedLine] = []
    for line in script.lines:
        voice = _voice(line, cast, rng)
        clip = _spoken(line, voice, condition, rng)
        name = "" if line.kind == "noise" else voice.name
        end = at + len(clip)
        timed.append(
            TimedLine(line.text, line.kind, at / SAMPLE_RATE_HZ, end / SAMPLE_RATE_HZ, name)
        )
        gap = np.zeros(_samples(float(rng.uniform(*_BETWEEN_S))), np.float32)
        parts += [clip, gap]
        at = end + len(gap)
    speech = np.concatenate(parts)
    samples = heard(speech, timed, cast, condition, rng)
    return Track(samples, _truth(script, timed, len(samples) / SAMPLE_RATE_HZ))


def heard(
    speech: FloatArray,
    lines: Sequence[TimedLine],
    cast: Cast | None,
    condition: Condition,
    rng: Generator,
) -> FloatArray:
    """Return what the microphone gets of `speech`: the room, the level, the noise, the clipping.

    Args:
        speech: shape (n,), clean.
        lines: where somebody speaks; empty means everywhere.
        cast: the voices of a babble; None where the condition has none.
        condition: what to do.
        rng: the same state gives the same noise.

    """
    if condition.far:
        speech = rooms.in_room(speech, rooms.room_response(int(rng.integers(1000))))
    level = 10 ** (condition.level_db / 20)
    power = _power_while_speaking(speech, lines)
    if power > 0:
        speech = speech * np.float32(level / np.sqrt(power))
    noise = _noise(len(speech), cast, condition, rng)
    if noise is not None:
        speech = speech + noise * np.float32(level * 10 ** (-condition.snr_db / 20))
    floor = rng.normal(0, 10 ** (_FLOOR_DB / 20), len(speech)).astype(np.float32)
    gain = np.float32(10 ** (condition.gain_db / 20))
    return np.asarray(np.clip((speech + floor) * gain, -1, 1), np.float32)


def _power_while_speaking(speech: FloatArray, lines: Sequence[TimedLine]) -> float:
    if not lines:
        return float(np.mean(np.square(speech, dtype=np.float64)))
    spoken = [line for line in lines if line.kind != "noise"] or lines
    parts = [speech[_samples(line.start_s) : _samples(line.end_s)] for line in spoken]
    return float(np.mean(np.square(np.concatenate(parts), dtype=np.float64)))


def _noise(
    samples: int, cast: Cast | None, condition: Condition, rng: Generator
) -> FloatArray | None:
    if condition.noise == "pink":
        return noises.pink(samples, rng)
    if condition.noise == "fan":
        return noises.fan(samples, rng)
    if condition.noise == "babble" and cast is not None:
        return noises.babble(samples, rng, _babble_clips(cast))
    return None


_BABBLE: Final = (
    "We went to the lake with the whole family, and it rained for three days.",
    "They said the bridge would be open again by the end of the month.",
    "Could you tell her that I will be a little late this evening?",
    "Nobody told me that the shop had moved to the other street.",
    "I never know what to cook when everybody comes at once.",
)


def _babble_clips(cast: Cast) -> list[FloatArray]:
    return [voice.say(text) for voice in cast.others or [cast.clinician] for text in _BABBLE]


def _voice(line: Line, cast: Cast, rng: Generator) -> Voice:
    if line.by_patient and cast.others:
        return cast.others[int(rng.integers(len(cast.others)))]
    return cast.clinician


def _spoken(line: Line, voice: Voice, condition: Condition, rng: Generator) -> FloatArray:
    if line.kind == "noise":
        level = 10 ** (-23.0 / 20)
        return noises.sound(line.pieces[0], rng) * np.float32(_SOUND_LEVEL * level)
    tempo, semitones = rooms.random_manner(rng, condition.tempo, condition.semitones)
    parts: list[FloatArray] = []
    for piece in line.pieces:
        if parts:
            parts.append(np.zeros(_samples(float(rng.uniform(*_PAUSE_S))), np.float32))
        parts.append(rooms.respoken(voice.say(piece), tempo, semitones))
    clip = np.concatenate(parts)
    return noises.of_unit_power(clip) * np.float32(10 ** (-23.0 / 20))


def _truth(script: Script, timed: Sequence[TimedLine], duration_s: float) -> Truth:
    rows = tuple(
        TruthRow(
            timed[row.line].start_s, timed[row.line].end_s, row.slots, row.withdrawn, row.noted
        )
        for row in script.rows
    )
    return Truth(duration_s, tuple(timed), rows)


def _samples(seconds: float) -> int:
    return round(seconds * SAMPLE_RATE_HZ)
