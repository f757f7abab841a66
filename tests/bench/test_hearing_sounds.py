"""Noise, rooms, voices and tracks, checked against closed forms and other libraries."""

from __future__ import annotations

import shutil
import wave
from pathlib import Path

import numpy as np
import pytest
from numpy.random import default_rng
from numpy.typing import NDArray
from scipy.signal import welch

pytest.importorskip("pyroomacoustics", reason="needs the dependency group bench")

from pyroomacoustics.experimental import measure_rt60

from logger.bench.hearing import human, noises, planning, rooms, tracks, voices
from logger.bench.hearing.conditions import CONDITIONS, Condition, chosen
from logger.bench.hearing.exporting import read_truth, write_track
from logger.bench.hearing.scripts import Line, Script, ScriptRow
from logger.bench.hearing.talk_scripts import NOISES
from logger.core.errors import UsageError
from logger.grammar.loading import load_pack

RATE = 16_000
FloatArray = NDArray[np.float32]
QUIET = Condition("test", "test")


class Humming:
    """A voice that hums for a tenth of a second a letter."""

    def __init__(self, name: str = "humming") -> None:
        """Take a name."""
        self.name = name

    def say(self, text: str) -> FloatArray:
        """Hum."""
        time_s = np.arange(len(text) * RATE // 10) / RATE
        return (0.3 * np.sin(2 * np.pi * 200 * time_s)).astype(np.float32)


def power(samples: FloatArray) -> float:
    return float(np.mean(np.square(samples, dtype=np.float64)))


def test_pink_noise_falls_by_ten_decibels_a_decade() -> None:
    """By definition power goes with 1/f; scipy's welch measures it."""
    hz, density = welch(noises.pink(60 * RATE, default_rng(1)), RATE, nperseg=8192)
    band = (hz > 50) & (hz < 5000)
    slope = np.polyfit(np.log10(hz[band]), 10 * np.log10(density[band]), 1)[0]
    assert slope == pytest.approx(-10, abs=0.3)


def test_noises_have_unit_power() -> None:
    rng = default_rng(2)
    clips = [Humming().say("a long sentence"), Humming().say("short")]
    for noise in (
        noises.pink(RATE * 5, rng),
        noises.fan(RATE * 5, rng),
        noises.babble(RATE * 5, rng, clips),
    ):
        assert len(noise) == RATE * 5
        assert power(noise) == pytest.approx(1, rel=1e-3)
    assert not noises.of_unit_power(np.zeros(5, np.float32)).any()


@pytest.mark.parametrize("name", NOISES)
def test_every_sound_can_be_made_and_stays_in_range(name: str) -> None:
    sound = noises.sound(name, default_rng(3))
    assert sound.dtype == np.float32
    assert np.isfinite(sound).all()
    assert 0 <= float(np.abs(sound).max()) <= 1
    assert (float(np.abs(sound).max()) > 0.1) == (name != "silence")


@pytest.mark.parametrize("seed", range(4))
def test_the_room_rings_for_half_a_second(seed: int) -> None:
    """The RT60 of the response, by pyroomacoustics' own measure of its decay."""
    response = rooms.room_response(seed)
    assert measure_rt60(response, fs=RATE, decay_db=30) == pytest.approx(rooms.RT60_S, abs=0.15)
    assert np.abs(response).argmax() == 0


def test_a_room_keeps_the_times() -> None:
    speech = np.zeros(RATE, np.float32)
    speech[4000] = 1
    heard = rooms.in_room(speech, rooms.room_response(1))
    assert len(heard) == len(speech)
    assert np.abs(heard).argmax() == 4000
    assert not np.abs(heard[:3990]).max() > 1e-6


@pytest.mark.parametrize(("tempo", "semitones"), [(0.8, 0.0), (1.3, 2.0), (1.0, -2.5)])
def test_tempo_and_pitch_change_apart_from_each_other(tempo: float, semitones: float) -> None:
    """A tone of 400 Hz comes out at 400 * 2 ** (semitones / 12), and 1 / tempo as long."""
    tone = np.sin(2 * np.pi * 400 * np.arange(3 * RATE) / RATE).astype(np.float32)
    changed = rooms.respoken(tone, tempo, semitones)
    assert len(changed) == pytest.approx(len(tone) / tempo, rel=0.03)
    middle = changed[RATE // 2 : RATE // 2 + RATE]
    peak_hz = float(np.abs(np.fft.rfft(middle * np.hanning(len(middle)))).argmax())
    assert peak_hz == pytest.approx(400 * 2 ** (semitones / 12), rel=0.02)
    assert rooms.respoken(tone, 1.0, 0.0) is tone


SCRIPT = Script(
    (
        Line(("right inferior glide,", "pain two."), "finding"),
        Line(("door",), "noise"),
        Line(("some talk here",), "talk", by_patient=True),
    ),
    (ScriptRow(0, {"side": "right", "test": "inferior_glide", "pain": 2}),),
)
CAST = tracks.Cast(Humming("clinician"), [Humming("patient")])


def test_the_times_of_a_track_are_those_of_its_sound() -> None:
    track = tracks.render(SCRIPT, CAST, QUIET, 7)
    truth, samples = track.truth, track.samples
    assert len(samples) / RATE == pytest.approx(truth.duration_s)
    assert [line.voice for line in truth.lines] == ["clinician", "", "patient"]
    for line in truth.lines:
        start, end = round(line.start_s * RATE), round(line.end_s * RATE)
        assert power(samples[start : start + 800]) > 1e-5
        assert power(samples[start - 800 : start]) < 1e-6
        assert power(samples[end : end + 800]) < 1e-6
    assert (truth.rows[0].start_s, truth.rows[0].end_s) == (
        truth.lines[0].start_s,
        truth.lines[0].end_s,
    )
    assert len(truth.talk) == 2


def test_a_pause_inside_a_line_is_short_and_the_silence_between_lines_long() -> None:
    track = tracks.render(SCRIPT, CAST, QUIET, 7)
    first, second, third = track.truth.lines
    spoken_s = 0.1 * len("".join(SCRIPT.lines[0].pieces))
    assert 0.19 < first.end_s - first.start_s - spoken_s < 0.51
    assert min(second.start_s - first.end_s, third.start_s - second.end_s) > 1.19


@pytest.mark.parametrize("snr_db", [20.0, 0.0])
def test_the_noise_has_the_power_that_the_condition_asks_for(snr_db: float) -> None:
    clean = tracks.render(SCRIPT, CAST, QUIET, 7)
    noisy = tracks.render(SCRIPT, CAST, Condition("n", "n", noise="pink", snr_db=snr_db), 7)
    assert noisy.truth == clean.truth
    noise = noisy.samples - clean.samples
    spoken = [
        clean.samples[round(line.start_s * RATE) : round(line.end_s * RATE)]
        for line in clean.truth.lines
        if line.kind != "noise"
    ]
    found_db = 10 * np.log10(power(np.concatenate(spoken)) / power(noise))
    assert found_db == pytest.approx(snr_db, abs=0.5)


def test_level_and_clipping() -> None:
    levels_db = []
    for level_db in (-50.0, -20.0):
        condition = Condition("l", "l", level_db=level_db)
        track = tracks.render(SCRIPT, CAST, condition, 7)
        line = track.truth.lines[2]
        part = track.samples[round(line.start_s * RATE) : round(line.end_s * RATE)]
        levels_db.append(10 * np.log10(power(part)))
    assert levels_db[1] - levels_db[0] == pytest.approx(30, abs=0.2)
    clipped = tracks.render(SCRIPT, CAST, Condition("c", "c", gain_db=24.0), 7)
    assert np.mean(np.abs(clipped.samples) == 1) > 0.05


def test_the_same_seed_gives_the_same_track_and_another_another() -> None:
    far = chosen(["far"], main=False)[0]
    one, same, other = (tracks.render(SCRIPT, CAST, far, seed) for seed in (1, 1, 2))
    assert np.array_equal(one.samples, same.samples)
    assert not np.array_equal(one.samples[:RATE], other.samples[:RATE])


def test_a_track_comes_back_from_its_files(tmp_path: Path) -> None:
    track = tracks.render(SCRIPT, CAST, QUIET, 7)
    write_track(tmp_path / "a" / "1.wav", track, {"voice": "x"})
    assert read_truth(tmp_path / "a" / "1.json") == track.truth
    with wave.open(str(tmp_path / "a" / "1.wav")) as sound:
        assert sound.getnframes() == len(track.samples)


def test_silence_at_the_ends_is_cut_and_only_there() -> None:
    hum = Humming().say("hum")
    silence = np.zeros(RATE, np.float32)
    sound = np.concatenate([silence, hum, silence, hum, silence])
    assert len(voices.trimmed(sound)) == pytest.approx(len(sound) - 2 * RATE, abs=320)
    assert len(voices.trimmed(np.zeros(50, np.float32))) == 50


def test_what_voices_say_is_kept_and_what_is_missing_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(shutil, "which", lambda _: None)
    monkeypatch.setattr(voices, "_installed", lambda *_: False)
    found = voices.open_voices(tmp_path)
    assert not found.found
    assert [text.split()[0] for text in found.missing] == [
        *("flite", "espeak-ng", "festival", "piper", "kokoro"),
    ]
    assert found.named("flite:slt") is None


@pytest.mark.skipif(shutil.which("flite") is None, reason="needs Debian's flite")
def test_a_voice_speaks_once_and_is_then_read_from_the_cache(tmp_path: Path) -> None:
    voice = voices.open_voices(tmp_path).named("flite:kal16")
    assert voice is not None
    first = voice.say("Right, pain three.")
    assert 0.8 < len(first) / RATE < 3
    (kept,) = tmp_path.rglob("*.npy")
    changed = np.load(kept) // 2
    np.save(kept, changed)
    assert np.allclose(voice.say("Right, pain three."), changed / 32768, atol=1e-6)


def plan(**kwargs: object) -> planning.Plan:
    names = ("piper:joe", "flite:slt", "flite:rms", "flite:awb", "festival:ked_diphone")
    installed = voices.Voices(tuple(Humming(name) for name in names), ())
    return planning.Plan(load_pack("glenohumeral"), installed, findings=3, **kwargs)  # type: ignore[arg-type]


def test_voices_kept_aside_speak_only_where_nothing_is_tuned() -> None:
    for condition in CONDITIONS:
        if condition.content == "human":
            continue
        tuned = planning.planned(plan(tracks=3), condition, "tuned")
        kept = planning.planned(plan(tracks=3), condition, "kept")
        assert not {item.voice for item in tuned} & voices.KEPT_ASIDE
        assert {item.voice for item in kept} <= voices.KEPT_ASIDE
        assert not {item.seed for item in tuned} & {item.seed for item in kept}


def test_one_script_goes_through_every_noise() -> None:
    made = [
        planning.made(plan(), planning.planned(plan(), condition, "tuned")[0])
        for condition in chosen(["close", "pink_10", "babble_0"], main=False)
    ]
    texts = [[line.text for line in track.truth.lines] for track in made]
    assert texts[0] == texts[1] == texts[2]
    assert made[0].truth.rows[0].slots == made[1].truth.rows[0].slots


def test_no_voice_is_one_sentence() -> None:
    empty = planning.Plan(load_pack("glenohumeral"), voices.Voices((), ()))
    with pytest.raises(UsageError, match=r"close.*piper:joe"):
        planning.planned(empty, chosen(["close"], main=False)[0], "tuned")


def write_wave(path: Path, seconds: float) -> None:
    sound = (3000 * np.sin(np.arange(int(seconds * RATE)) / 20)).astype(np.int16)
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE)
        file.writeframes(sound.tobytes())


def test_real_talk_is_repeated_until_there_is_enough(tmp_path: Path) -> None:
    write_wave(tmp_path / "one.wav", 8)
    (tmp_path / "sub").mkdir()
    write_wave(tmp_path / "sub" / "two.wav", 30)
    (tmp_path / "broken.wav").write_bytes(b"no sound")
    (tmp_path / "text.txt").write_text("no sound either", encoding="utf-8")
    clips = human.talk_clips([tmp_path])
    assert sorted(round(len(clip) / RATE) for clip in clips) == [8, 30]
    made = list(human.human_tracks(clips, 12, seed=1))
    assert 12 * 60 <= sum(track.truth.duration_s for track in made) < 13 * 60
    for track in made:
        assert not track.truth.rows
        assert all(line.kind == "talk" for line in track.truth.lines)
        lengths = {round(line.end_s - line.start_s, 2) for line in track.truth.lines}
        assert len(lengths) > len(track.truth.lines) / 2, "cut anew each time"
    again = list(human.human_tracks(clips, 12, seed=1))
    assert all(np.array_equal(a.samples, b.samples) for a, b in zip(made, again, strict=True))


def test_no_recordings_is_one_sentence(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="No recording of talk"):
        human.talk_clips([tmp_path])


def test_the_conditions_that_the_goals_name_are_the_main_ones() -> None:
    main = {condition.name for condition in chosen([], main=True)}
    goals = {"close", "pink_10", "pink_5", "far", "diphone", "diphone_10", "natural"}
    assert goals | {"talk", "human"} == main
    assert len({condition.name for condition in CONDITIONS}) == len(CONDITIONS) >= 24
    assert all(len(condition.title) <= 26 for condition in CONDITIONS)
    with pytest.raises(UsageError, match="'moon'"):
        chosen(["moon"], main=False)
