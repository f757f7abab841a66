"""Who is near and who is not, where the talk in the room never ends."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from logger.hearing.levels import Foreground
from logger.hearing.stretches import Stretch, StretchCutter
from logger.recording.media import open_recording

RATE_HZ = 16_000
CHUNK = 512
DATA = Path(__file__).parent / "data"
Sound = NDArray[np.float32]


def _tone(level_db: float, seconds: float) -> list[Sound]:
    wave = np.sqrt(2) * 10 ** (level_db / 20) * np.sin(np.arange(CHUNK) * 0.3)
    return [wave.astype(np.float32)] * round(seconds * RATE_HZ / CHUNK)


def _turns(chunks: list[Sound], silent_below_db: float = -90.0) -> list[tuple[float, float]]:
    """Return when a turn was told and for when, in seconds; what is fainter is no speech."""
    foreground, turns = Foreground(RATE_HZ), []
    foreground.begin()
    for number, chunk in enumerate(chunks, start=1):
        level_db = 10 * np.log10(np.mean(np.square(chunk)))
        foreground.take(chunk, speech=bool(level_db > silent_below_db))
        if (ago := foreground.turned()) is not None:
            told_s = number * CHUNK / RATE_HZ
            turns.append((told_s, told_s - ago / RATE_HZ))
    return turns


def test_the_speaker_ends_and_speaks_up_again() -> None:
    turns = _turns([*_tone(-20, 3), *_tone(-34, 4), *_tone(-22, 2)])
    (ended_told, ended), (began_told, began) = turns
    assert ended == pytest.approx(3.2, abs=0.2)
    assert ended_told == pytest.approx(ended + 1.2, abs=0.05)
    assert began == pytest.approx(7.0, abs=0.15)
    assert began_told == pytest.approx(7.05, abs=0.1)


@given(st.lists(st.floats(-24.0, -16.0), min_size=1, max_size=20))
def test_who_varies_by_less_than_that_is_never_cut(levels_db: list[float]) -> None:
    assert _turns([chunk for level in levels_db for chunk in _tone(level, 0.7)]) == []


def test_faint_last_words_are_not_cut_off() -> None:
    assert _turns([*_tone(-20, 3), *_tone(-38, 1.0), *_tone(-20, 1)]) == []


def test_a_pause_after_faint_words_is_the_speakers_own() -> None:
    sound = [*_tone(-12, 0.5), *_tone(-26, 1.0), *_tone(-38, 0.7), *_tone(-18, 1)]
    assert _turns(sound, silent_below_db=-30.0) == []
    assert len(_turns(sound)) > 0  # the same where somebody else speaks in the pause


def test_talk_in_the_room_that_swells_is_not_the_speaker() -> None:
    assert len(_turns([*_tone(-20, 3), *_tone(-40, 3), *_tone(-36, 3), *_tone(-35, 3)])) == 1


def _stretches(sound: Sound) -> list[Stretch]:
    cutter = StretchCutter()
    return [*cutter.push(sound), *cutter.finish()]


@pytest.fixture(scope="module")
def talking_room() -> tuple[Sound, Sound]:
    """Return a finding alone, and the same three times in a room where four people talk on."""
    finding, talk = (
        np.concatenate([block.samples for block in open_recording(DATA / name).audio_blocks(9.0)])
        for name in ("hypomobile.flac", "talk.flac")
    )
    room = np.zeros(24 * RATE_HZ, np.float32)
    without_pause, said = talk[4_000:-6_000], finding[6_400:-12_000]
    for person in range(4):
        room += np.roll(np.resize(without_pause, len(room)), person * 11_003)
    gain = 10 ** (-12 / 20) * np.sqrt(np.mean(said**2) / np.mean(room**2))
    sound = (room * np.float32(gain)).astype(np.float32)
    for at in (5, 12, 19):
        sound[at * RATE_HZ : at * RATE_HZ + len(finding)] += finding[: len(sound) - at * RATE_HZ]
    return finding, sound


@pytest.mark.model
def test_findings_stand_alone_in_a_room_of_talk(talking_room: tuple[Sound, Sound]) -> None:
    finding, sound = talking_room
    (alone,) = _stretches(finding)
    found = [(one.start_s, one.end_s) for one in _stretches(sound)]
    # Nobody can tell before the first one who is near.
    for at in (12, 19):
        start_s, end_s = at + alone.start_s, at + alone.end_s
        assert any(
            abs(start - start_s) < 0.45 and abs(end - end_s) < 0.45 for start, end in found
        ), f"the finding at {start_s:.1f} to {end_s:.1f} s is not alone in {found}"


@pytest.mark.model
def test_nothing_that_was_said_is_left_out(talking_room: tuple[Sound, Sound]) -> None:
    finding, sound = talking_room
    (alone,) = _stretches(finding)
    heard = np.zeros(len(sound), bool)
    for one in _stretches(sound):
        heard[round(one.start_s * RATE_HZ) : round(one.end_s * RATE_HZ)] = True
    for at in (5, 12, 19):
        first, last = (round((at + s) * RATE_HZ) for s in (alone.start_s + 0.1, alone.end_s - 0.3))
        assert heard[first:last].all()
