"""Recordings of every kind, good and bad, against what was put into them."""

from __future__ import annotations

import os
import stat
import struct
import sys
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest
from made import Film, quartered, write_film, write_wave
from numpy.typing import NDArray

from logger.core.errors import RecordingError
from logger.recording.media import Recording, open_recording

PICTURES = tuple(i / 5 for i in range(10))


def heard(recording: Recording) -> NDArray[np.float32]:
    """Return all the sound in one."""
    return np.concatenate([block.samples for block in recording.audio_blocks(0.25)])


def click_times(recording: Recording) -> list[float]:
    """Return when each click starts, in seconds: loud after a tenth of a second of quiet."""
    loud = np.flatnonzero(np.abs(heard(recording)) > 0.1)
    return [float(t) for t in loud[np.diff(loud, prepend=-9999) > 1600] / 16_000]


def picture_times(recording: Recording, max_fps: float | None = None) -> list[float]:
    return [frame.time_s for frame in recording.frames(max_fps)]


KINDS = {
    "phone.mp4": ("mpeg4", "aac"),
    "h264.mp4": ("libx264", "aac"),
    "camera.mov": ("mpeg4", "pcm_s16le"),
    "browser.webm": ("libvpx", "libopus"),
    "loss-free.mkv": ("ffv1", "flac"),
    "transport.ts": ("libx264", "mp2"),
    "old.avi": ("mpeg4", "pcm_s16le"),
}


@pytest.mark.parametrize(("name", "codecs"), KINDS.items(), ids=KINDS)
def test_sound_and_pictures_of_every_kind_keep_their_times(
    tmp_path: Path, name: str, codecs: tuple[str, str]
) -> None:
    """A codec may smear a click by its window, some milliseconds, but not move it."""
    pictures = tuple(i / 25 for i in range(50))
    film = Film(pictures, click_s=(0.5, 1.5), sound_s=2.0, codecs=codecs)
    recording = open_recording(write_film(tmp_path / name, film))
    assert (recording.has_audio, recording.has_video, recording.sample_rate) == (True, True, 48_000)
    assert (recording.width, recording.height, recording.rotation_deg) == (64, 48, 0)
    assert recording.fps == pytest.approx(25, abs=0.1)
    assert recording.duration_s == pytest.approx(2.0, abs=0.05)
    assert (recording.truncated_at_s, recording.warnings) == (None, ())
    assert click_times(recording) == pytest.approx([0.5, 1.5], abs=0.012)
    times = picture_times(recording)
    assert len(times) == 50
    # Old containers without a common clock shift the streams by their first packets.
    assert times == pytest.approx(pictures, abs=0.045)


@pytest.mark.parametrize("name", ["a.wav", "a.flac", "a.mp3", "a.m4a", "a.opus"])
def test_sound_alone(tmp_path: Path, name: str) -> None:
    codec = {
        "wav": "pcm_s16le",
        "flac": "flac",
        "mp3": "libmp3lame",
        "m4a": "aac",
        "opus": "libopus",
    }
    film = Film(click_s=(0.5,), sound_s=1.0, codecs=("", codec[name[2:]]))
    recording = open_recording(write_film(tmp_path / name, film))
    assert (recording.has_audio, recording.has_video, recording.width) == (True, False, None)
    assert click_times(recording) == pytest.approx([0.5], abs=0.012)
    assert picture_times(recording) == []


def test_pictures_alone(tmp_path: Path) -> None:
    recording = open_recording(write_film(tmp_path / "a.mp4", Film(PICTURES)))
    assert (recording.has_audio, recording.sample_rate) == (False, None)
    assert list(recording.audio_blocks(1.0)) == []


@pytest.mark.parametrize(("sound_from_s", "pictures_from_s"), [(0.5, 0.0), (0.0, 0.5), (3.0, 3.5)])
def test_streams_that_start_apart_stay_in_step(
    tmp_path: Path, sound_from_s: float, pictures_from_s: float
) -> None:
    """Time 0 is where the earlier of the two starts."""
    film = Film(
        tuple(pictures_from_s + t for t in PICTURES),
        click_s=(0.5,),
        sound_s=2.0,
        sound_from_s=sound_from_s,
        codecs=("ffv1", "flac"),
    )
    recording = open_recording(write_film(tmp_path / "a.mkv", film))
    zero_s = min(sound_from_s, pictures_from_s)
    assert click_times(recording) == pytest.approx([sound_from_s + 0.5 - zero_s], abs=0.003)
    assert picture_times(recording)[0] == pytest.approx(pictures_from_s - zero_s, abs=0.001)


def test_times_of_uneven_pictures_are_the_files(tmp_path: Path) -> None:
    """Each picture is known by its grey, so that a time cannot go to the wrong one."""
    times = (0.0, 0.033, 0.2, 0.21, 1.0, 4.5)
    film = Film(times, codecs=("ffv1", ""))
    frames = list(open_recording(write_film(tmp_path / "a.mkv", film)).frames(None))
    assert [frame.time_s for frame in frames] == pytest.approx(times, abs=1e-6)
    greys = [float(frame.rgb[40, 50].mean()) for frame in frames]
    assert greys == pytest.approx([20, 30, 40, 50, 60, 70], abs=3)


@pytest.mark.parametrize(
    ("max_fps", "count", "step_s"),
    [(None, 30, 1 / 30), (30, 30, 1 / 30), (5, 5, 0.2), (7, 6, 5 / 30)],
)
def test_no_more_pictures_than_asked_for(
    tmp_path: Path, max_fps: float | None, count: int, step_s: float
) -> None:
    film = Film(tuple(i / 30 for i in range(30)), codecs=("ffv1", ""))
    times = picture_times(open_recording(write_film(tmp_path / "a.mkv", film)), max_fps)
    assert len(times) == count
    assert np.diff(times) == pytest.approx([step_s] * (count - 1), abs=0.0011)


@pytest.mark.parametrize("turn", [0, 90, 180, 270])
def test_turned_picture_stands_upright(tmp_path: Path, turn: int) -> None:
    """Against NumPy's own turning of the picture that was put in."""
    film = Film(PICTURES, turn_deg=turn, codecs=("mpeg4", ""))
    recording = open_recording(write_film(tmp_path / "a.mp4", film))
    picture = next(recording.frames(None)).rgb
    expected = np.rot90(quartered(20), turn // 90)
    assert picture.shape == (recording.height, recording.width, 3) == expected.shape
    assert np.abs(picture.astype(int) - expected).mean() < 6
    assert recording.rotation_deg == -turn % 360


def test_turn_written_into_the_header_by_hand(tmp_path: Path) -> None:
    """The matrix of ISO/IEC 14496-12, 8.3.2: a phone held upright, a quarter turn clockwise."""
    path = write_film(tmp_path / "a.mp4", Film(PICTURES))
    plain = struct.pack(">9i", 1 << 16, 0, 0, 0, 1 << 16, 0, 0, 0, 1 << 30)
    turned = struct.pack(">9i", 0, 1 << 16, 0, -(1 << 16), 0, 0, 48 << 16, 0, 1 << 30)
    # The first such matrix is the whole film's, the second the track's.
    movie, track, *rest = path.read_bytes().split(plain)
    path.write_bytes(movie + plain + track + turned + plain.join(rest))
    recording = open_recording(path)
    assert (recording.rotation_deg, recording.width, recording.height) == (90, 48, 64)
    picture = next(recording.frames(None)).rgb.astype(int)
    assert picture[:28, 28:].mean() > 230
    assert picture[36:, :20].mean() < 40


def test_oblong_pixels_are_made_square(tmp_path: Path) -> None:
    """A slope of 45 degrees in oblong pixels is none in the world."""
    film = Film(PICTURES, codecs=("mpeg4", ""), pixel_aspect=Fraction(4, 3))
    recording = open_recording(write_film(tmp_path / "a.mkv", film))
    assert (recording.width, recording.height) == (85, 48)
    assert next(recording.frames(None)).rgb.shape == (48, 85, 3)


def test_blocks_are_even_and_tell_their_start(tmp_path: Path) -> None:
    rng = np.random.default_rng(1)
    samples = rng.integers(-20_000, 20_000, (16_500, 1)).astype(np.int16)
    recording = open_recording(write_wave(tmp_path / "a.wav", samples))
    blocks = list(recording.audio_blocks(0.3))
    assert [len(block.samples) for block in blocks] == [4800, 4800, 4800, 2100]
    assert [block.start_s for block in blocks] == pytest.approx([0, 0.3, 0.6, 0.9])
    assert {block.samples.dtype for block in blocks} == {np.dtype(np.float32)}
    assert np.array_equal(heard(recording), samples[:, 0].astype(np.float32) / 32768)


def test_sixteen_channels_with_one_microphone(tmp_path: Path) -> None:
    """As from a recording desk; the standard library's wave module writes it."""
    samples = np.zeros((16_000, 16), np.int16)
    samples[:, 11] = np.random.default_rng(2).integers(-20_000, 20_000, 16_000)
    recording = open_recording(write_wave(tmp_path / "a.wav", samples))
    assert np.array_equal(heard(recording), samples[:, 11].astype(np.float32) / 32768)


def test_names_with_spaces_colons_and_letters_beyond_ascii(tmp_path: Path) -> None:
    name = "12:30 Übung 試験 %d.wav" if os.name != "nt" else "Übung 試験 %d.wav"
    path = write_wave(tmp_path / name, np.ones((1600, 1), np.int16))
    assert open_recording(path).duration_s == pytest.approx(0.1)


@pytest.mark.parametrize("cut", [0.3, 0.6, 0.9])
@pytest.mark.parametrize(
    ("name", "codecs"),
    [("a.mp4", ("mpeg4", "aac")), ("a.webm", ("libvpx", "libopus")), ("a.mkv", ("ffv1", "flac"))],
)
def test_cut_off_film_keeps_what_came_before(
    tmp_path: Path, name: str, codecs: tuple[str, str], cut: float
) -> None:
    """A mp4 with its table of contents in front; every other kind has none."""
    film = Film(
        tuple(i / 5 for i in range(100)),
        click_s=tuple(i + 0.5 for i in range(20)),
        sound_s=20.0,
        codecs=codecs,
        options={"movflags": "faststart"} if name == "a.mp4" else {},
    )
    path = write_film(tmp_path / name, film)
    whole = open_recording(path)
    path.write_bytes(path.read_bytes()[: int(path.stat().st_size * cut)])
    recording = open_recording(path)
    end_s = recording.truncated_at_s
    assert end_s is not None
    assert end_s < whole.duration_s
    assert "cut off" in recording.warnings[0]
    times = picture_times(recording)
    assert times == pytest.approx([i / 5 for i in range(len(times))], abs=0.002)
    clicks = click_times(recording) if recording.has_audio else []
    assert clicks == pytest.approx([i + 0.5 for i in range(len(clicks))], abs=0.012)
    assert max([*times, *clicks]) > end_s - 1.3


def test_cut_off_wave_keeps_every_sample(tmp_path: Path) -> None:
    """44 bytes of header and 10 000 samples of two bytes, of 16 000."""
    path = write_wave(tmp_path / "a.wav", np.full((16_000, 1), 1000, np.int16))
    path.write_bytes(path.read_bytes()[:20_044])
    recording = open_recording(path)
    assert (len(heard(recording)), recording.truncated_at_s) == (10_000, 0.625)


def test_damage_in_the_middle_becomes_silence_and_is_told(tmp_path: Path) -> None:
    """What comes after it keeps its time."""
    film = Film(click_s=(0.5, 9.5), sound_s=10.0, codecs=("", "flac"))
    path = write_film(tmp_path / "a.mkv", film)
    content = bytearray(path.read_bytes())
    middle = len(content) // 2
    content[middle : middle + 2000] = b"\x00" * 2000
    path.write_bytes(bytes(content))
    recording = open_recording(path)
    assert click_times(recording) == pytest.approx([0.5, 9.5], abs=0.003)
    assert sum(block.filled_s for block in recording.audio_blocks(1.0)) > 0


def test_cover_picture_is_no_video(tmp_path: Path) -> None:
    """FLAC with a picture block, written by hand after RFC 9639, section 8.8."""
    path = write_film(tmp_path / "a.flac", Film(click_s=(0.5,), sound_s=1.0, codecs=("", "flac")))
    png = tmp_path / "cover.png"
    av.VideoFrame.from_ndarray(quartered(20), format="rgb24").save(str(png))
    image = png.read_bytes()
    block = struct.pack(">II9sI", 3, 9, b"image/png", 0) + struct.pack(
        ">IIIII", 64, 48, 24, 0, len(image)
    )
    block += image
    content = path.read_bytes()
    header = bytes([6]) + len(block).to_bytes(3, "big")
    path.write_bytes(content[:42] + header + block + content[42:])
    recording = open_recording(path)
    assert (recording.has_audio, recording.has_video, recording.warnings) == (True, False, ())
    assert click_times(recording) == pytest.approx([0.5], abs=0.003)


NOT_MEDIA = {
    "empty.mp4": (b"", "empty"),
    "text.mp4": (b"right inferior glide, grade two\n" * 200, "cannot be read"),
    "notes.txt": (b"right inferior glide, grade two\n" * 200, "cannot be read"),
    "subtitles.srt": (b"1\n00:00:01,000 --> 00:00:02,000\nhi\n", "cannot be read"),
    "subtitles.vtt": (b"WEBVTT\n\n00:01.000 --> 00:02.000\nhi\n", "cannot be read"),
    "list.m3u8": (b"#EXTM3U\n#EXTINF:5,\nother.mp4\n#EXT-X-ENDLIST\n", "cannot be read"),
    "list.ffconcat": (b"ffconcat version 1.0\nfile other.mp4\n", "cannot be read"),
    "noise.wav": (np.random.default_rng(0).bytes(50_000), "cannot be read|neither"),
    "noise.mp3": (np.random.default_rng(1).bytes(50_000), "cannot be read|neither"),
    "header.mp4": (b"\x00\x00\x00\x18ftypmp42\x00\x00\x00\x00mp42isom", "cannot be read|neither"),
    "page.html": (b"<html><body>" + b"<p>text</p>" * 500, "cannot be read"),
    "one.bin": (b"\x00", "cannot be read"),
}


@pytest.mark.parametrize(("name", "content"), NOT_MEDIA.items(), ids=NOT_MEDIA)
def test_what_is_no_recording_is_one_sentence_with_its_name(
    tmp_path: Path, name: str, content: tuple[bytes, str]
) -> None:
    path = tmp_path / name
    path.write_bytes(content[0])
    with pytest.raises(RecordingError, match=content[1]) as caught:
        open_recording(path)
    assert name in str(caught.value)
    assert "\n" not in str(caught.value)


def test_picture_is_no_recording(tmp_path: Path) -> None:
    path = tmp_path / "a.png"
    av.VideoFrame.from_ndarray(quartered(20), format="rgb24").save(str(path))
    with pytest.raises(RecordingError, match="cannot be read"):
        open_recording(path)


@pytest.mark.parametrize("name", ["no such.mp4", "nul\0.mp4", "a" * 300 + ".mp4"])
def test_missing_and_impossible_names(tmp_path: Path, name: str) -> None:
    with pytest.raises(RecordingError, match=r"No such file|cannot be looked at"):
        open_recording(tmp_path / name)


def test_folder_and_device_are_no_recordings(tmp_path: Path) -> None:
    """A pipe must not be waited for."""
    with pytest.raises(RecordingError, match="is a folder"):
        open_recording(tmp_path)
    if sys.platform == "win32":
        return
    os.mkfifo(tmp_path / "pipe.wav")
    with pytest.raises(RecordingError, match="no ordinary file"):
        open_recording(tmp_path / "pipe.wav")


def test_file_that_may_not_be_read(tmp_path: Path) -> None:
    path = write_wave(tmp_path / "a.wav", np.ones((1600, 1), np.int16))
    path.chmod(stat.S_IWUSR)
    if os.access(path, os.R_OK):
        pytest.skip("this user may read everything")
    with pytest.raises(RecordingError, match="may not be read"):
        open_recording(path)


def test_file_that_has_gone_since_is_an_error_of_the_recording(tmp_path: Path) -> None:
    path = write_wave(tmp_path / "a.wav", np.ones((1600, 1), np.int16))
    recording = open_recording(path)
    path.unlink()
    with pytest.raises(RecordingError):
        next(recording.audio_blocks(1.0))


@pytest.mark.parametrize(("name", "codecs"), list(KINDS.items())[:4], ids=list(KINDS)[:4])
def test_scattered_damage_is_read_around_or_refused(
    tmp_path: Path, name: str, codecs: tuple[str, str]
) -> None:
    """Bytes changed at random: never another error, never a sample or a picture that is none."""
    film = Film(PICTURES, click_s=(0.5,), sound_s=2.0, codecs=codecs)
    whole = write_film(tmp_path / name, film).read_bytes()
    rng = np.random.default_rng(11)
    path = tmp_path / f"damaged {name}"
    read = 0
    for _ in range(40):
        content = bytearray(whole)
        for place in rng.integers(0, len(content), 8):
            content[place] = rng.integers(256)
        path.write_bytes(bytes(content))
        try:
            recording = open_recording(path)
        except RecordingError:
            continue
        read += 1
        for block in recording.audio_blocks(1.0):
            assert np.abs(block.samples).max() <= 1
        times = picture_times(recording)
        assert times == sorted(set(times))
    assert read > 5
