"""Who is near and who is not, where the talk in the room never ends."""

from __future__ import annotations

import wave
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from logger.core.events import Utterance, Verdict
from logger.grammar.loading import load_pack
from logger.hearing.ear import hear_all
from logger.hearing.levels import Foreground
from logger.hearing.stretches import Stretch, StretchCutter, StretchRules
from logger.reading import read_recording
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
    assert ended == pytest.approx(3.4, abs=0.1)
    assert ended_told == pytest.approx(ended + 1.0, abs=0.05)
    assert began == pytest.approx(7.0, abs=0.15)
    assert began_told == pytest.approx(7.05, abs=0.1)


BREATH = st.lists(st.floats(-24.0, -16.0), min_size=1, max_size=12)
LONG = st.lists(st.floats(-21.5, -16.0), min_size=1, max_size=40)


@given(BREATH | LONG)
def test_who_varies_by_less_than_that_is_never_cut(levels_db: list[float]) -> None:
    """By 8 dB in 8.4 s; by 5.5 dB however long."""
    assert _turns([chunk for level in levels_db for chunk in _tone(level, 0.7)]) == []


def test_faint_last_words_are_not_cut_off() -> None:
    assert _turns([*_tone(-20, 3), *_tone(-38, 1.0), *_tone(-20, 1)]) == []


def test_faint_words_well_above_the_talk_in_the_room_are_the_speakers() -> None:
    sentence = [*_tone(-18, 2), *_tone(-31, 2.0), *_tone(-18, 0.5)]
    assert _turns([*_tone(-42, 1.5), *sentence]) == []
    assert len(_turns([*_tone(-36, 1.5), *sentence])) == 2  # here they may be the room's


def test_among_others_who_talk_a_speaker_need_not_be_so_much_louder() -> None:
    """At 5 dB nobody is heard to end at first; then each finding stands by itself."""
    sound = [*_tone(-26, 2)]
    for _ in range(3):
        sound += [*_tone(-18.5, 3), *_tone(-26, 2.5)]
    turns = _turns(sound)
    ends_s = [at for _, at in turns[0::2]]
    assert ends_s == pytest.approx([10.6, 16.1], abs=0.3)
    assert [at for _, at in turns[1::2]] == pytest.approx([13.0], abs=0.2)


def test_once_the_room_is_silent_nobody_counts_as_talking_in_it() -> None:
    foreground = Foreground(RATE_HZ)
    said = np.concatenate(_tone(-30, 1))
    foreground.begin()
    for chunk in [*_tone(-20, 3), *_tone(-35, 3)]:
        foreground.take(chunk, speech=True)
        foreground.turned()
    assert foreground.drowns(said)
    assert not foreground.drowns(np.concatenate(_tone(-20, 1)))
    foreground.end()
    assert not foreground.drowns(said)


@pytest.mark.parametrize(("after_db", "far"), [(-44, True), (-38, False)])
def test_what_is_much_fainter_than_the_speaker_is_nobody_near(after_db: int, *, far: bool) -> None:
    foreground = Foreground(RATE_HZ)
    assert not foreground.far_away()
    foreground.begin()
    for chunk in [*_tone(-20, 2), *_tone(after_db, 0.9)]:
        foreground.take(chunk, speech=True)
    assert foreground.far_away() == far


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
    return _in_talk(-12)


def _in_talk(talk_db: float) -> tuple[Sound, Sound]:
    """Return the same, with the talk so loud against the finding."""
    finding, talk = (
        np.concatenate([block.samples for block in open_recording(DATA / name).audio_blocks(9.0)])
        for name in ("hypomobile.flac", "talk.flac")
    )
    room = np.zeros(24 * RATE_HZ, np.float32)
    without_pause, said = talk[4_000:-6_000], finding[6_400:-12_000]
    for person in range(4):
        room += np.roll(np.resize(without_pause, len(room)), person * 11_003)
    gain = 10 ** (talk_db / 20) * np.sqrt(np.mean(said**2) / np.mean(room**2))
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
def test_what_others_say_begins_where_the_speaker_ended(talking_room: tuple[Sound, Sound]) -> None:
    """With the padding of a beginning the speaker's last word would be heard once more."""
    finding, sound = talking_room
    (alone,) = _stretches(finding)
    last_s = 12 + alone.end_s
    after = min(
        (one for one in _stretches(sound) if one.start_s > last_s - 0.3),
        key=lambda one: one.start_s,
    )
    rules = StretchRules()
    padded_s = len(after.samples) / RATE_HZ - (after.end_s - after.start_s)
    assert padded_s <= rules.padding_after_s + CHUNK / RATE_HZ


class Sure:
    """Takes whatever comes for a finding."""

    name = "sure"
    warnings: tuple[str, ...] = ()

    def hear(self, stretch: Stretch) -> Utterance:
        """Return a finding."""
        return Utterance("left flexion", stretch.start_s, stretch.end_s, 1.0, Verdict.HEARD)


@pytest.mark.model
@pytest.mark.parametrize(("talk_db", "drowned"), [(-18, False), (-3, True)])
def test_what_is_hardly_louder_than_the_talk_is_unsure(talk_db: float, *, drowned: bool) -> None:
    finding, sound = _in_talk(talk_db)
    (alone,) = hear_all([finding], Sure())
    assert (alone.verdict, alone.drowned) == (Verdict.HEARD, False)
    middle_s = [at + (alone.start_s + alone.end_s) / 2 for at in (12, 19)]
    heard = [
        one
        for one in hear_all([sound], Sure())
        if any(one.start_s < at < one.end_s for at in middle_s)
    ]
    assert [one.drowned for one in heard] == [drowned] * 2
    assert {one.verdict for one in heard} == {Verdict.UNSURE if drowned else Verdict.HEARD}
    assert list(hear_all([sound], Sure(), ahead=True)) == list(hear_all([sound], Sure()))


@pytest.mark.model
def test_a_recording_among_loud_talk_is_marked_and_told(tmp_path: Path) -> None:
    _, sound = _in_talk(-3)
    path = tmp_path / "crowded.wav"
    with wave.open(str(path), "wb") as out:
        out.setparams((1, 2, RATE_HZ, 0, "NONE", ""))
        out.writeframes((sound / np.abs(sound).max() * 20_000).astype(np.int16).tobytes())
    session = read_recording(path, load_pack("glenohumeral"), Sure(), None)
    (warning,) = (each for each in session.warnings if "nearly as loud" in each)
    everything = len(session.heard)
    assert warning.startswith("In crowded.wav the room")
    assert f"at {everything} of {everything} heard" in warning
    assert {row.reasons for row in session.merged.rows} == {("the room was nearly as loud",)}


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
