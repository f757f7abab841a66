"""The annotated video of made recordings: times, sound, size, captions, failures."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest
from clips import RATE_HZ, Clip, write_clip
from numpy.typing import NDArray

from logger.commands.annotating import captions_of, draw_video, overlay_of, video_trouble
from logger.core.errors import OutputError
from logger.core.events import (
    SIDES,
    ArmAngle,
    Finding,
    PositionCheck,
    RowStatus,
    SeenBody,
    SetupReading,
    SetupStatus,
    Watched,
)
from logger.core.statements import SetupWindow
from logger.findings.merging import Merged
from logger.reading import Session
from logger.recording.media import open_recording

EVEN = tuple(i / 5 for i in range(20))
UNEVEN = (0.0, 0.04, 0.3, 0.333, 1.0, 1.7, 1.71, 2.9)
WINDOWS = {"inferior_glide": SetupWindow(30, 90, "invented for the tests")}
ROW = Finding(1.0, 1.5, side="right", test="inferior_glide", grade="2+", pain=3)


def session(path: Path, *rows: Finding, watched: Watched | None = None) -> Session:
    """Return a session of a recording in which the rows were found."""
    return Session(open_recording(path), (), watched or Watched(), Merged(rows, (), ()), ())


def draw(path: Path, to: Path, *rows: Finding) -> Path:
    """Draw the annotated video into a folder and return it."""
    to.mkdir(exist_ok=True)
    draw_video(session(path, *rows), WINDOWS, to, lambda _stage, _done: None)
    return to / "annotated.mp4"


@dataclass(frozen=True, slots=True)
class Film:
    """What FFmpeg reads from a file."""

    times_s: tuple[float, ...]
    pictures: tuple[NDArray[np.uint8], ...]
    sound: NDArray[np.float32]
    sound_codec: str
    duration_s: float
    metadata: dict[str, str]


def film_of(path: Path) -> Film:
    """Read a file through PyAV alone."""
    with av.open(str(path)) as container:
        frames = list(container.decode(video=0))
        metadata = dict(container.metadata)
        duration_s = float((container.duration or 0) / av.time_base)
    with av.open(str(path)) as container:
        codecs = [stream.codec_context.name for stream in container.streams.audio]
        heard = container.decode(audio=0) if codecs else ()
        sound = [frame.to_ndarray().astype(np.float32).mean(axis=0) for frame in heard]
    return Film(
        tuple(float(frame.time or 0) for frame in frames),
        tuple(frame.to_ndarray(format="rgb24").astype(np.uint8) for frame in frames),
        np.concatenate([*sound, np.zeros(0, np.float32)]),
        codecs[0] if codecs else "",
        duration_s,
        metadata,
    )


@pytest.mark.parametrize("times", [EVEN, UNEVEN, (0.5, 0.7, 0.9)])
def test_every_picture_keeps_its_time(tmp_path: Path, times: tuple[float, ...]) -> None:
    """Even, uneven, and starting after the sound."""
    source = write_clip(tmp_path / "s.mp4", Clip(times, sound_s=3.0))
    made = film_of(draw(source, tmp_path / "o"))
    before = film_of(source)
    assert made.times_s == pytest.approx(before.times_s, abs=1e-4)
    assert made.times_s == pytest.approx(times, abs=1e-3)
    assert made.duration_s == pytest.approx(before.duration_s, abs=0.05)


@pytest.mark.parametrize(
    ("name", "codecs", "copied"),
    [
        ("s.mp4", ("mpeg4", "aac"), True),
        ("s.mp4", ("mpeg4", "libmp3lame"), True),
        ("s.mkv", ("mpeg4", "flac"), True),
        ("s.mov", ("mpeg4", "pcm_s16le"), False),
        ("s.ts", ("libx264", "aac"), False),
    ],
)
def test_sound_is_kept_in_step(
    tmp_path: Path, name: str, codecs: tuple[str, str], copied: bool
) -> None:
    """Copied where an MP4 can hold it, AAC where not: the same tone for the same time."""
    source = write_clip(tmp_path / name, Clip(EVEN, 4.0, codecs=codecs))
    before, made = film_of(source), film_of(draw(source, tmp_path / "o"))
    assert made.sound_codec == (before.sound_codec if copied else "aac")
    assert made.sound.size == pytest.approx(4 * RATE_HZ, abs=4096)
    if copied:
        assert np.array_equal(made.sound, before.sound)
    middle = made.sound[RATE_HZ : 3 * RATE_HZ]
    peak = np.abs(np.fft.rfft(middle)).argmax() * RATE_HZ / middle.size
    assert peak == pytest.approx(440, abs=1)


def test_recording_without_sound_has_a_video_without_sound(tmp_path: Path) -> None:
    source = write_clip(tmp_path / "s.mp4", Clip(EVEN))
    before, made = film_of(source), film_of(draw(source, tmp_path / "o"))
    assert made.sound_codec == ""
    assert made.times_s == pytest.approx(EVEN, abs=1e-3)
    assert made.duration_s == pytest.approx(before.duration_s, abs=0.01)


@pytest.mark.parametrize(
    ("size", "turn_deg", "shown"),
    [((64, 48), 0, (48, 64)), ((64, 48), 90, (64, 48)), ((63, 47), 0, (48, 64))],
)
def test_size_is_that_of_the_upright_picture_made_even(
    tmp_path: Path, size: tuple[int, int], turn_deg: int, shown: tuple[int, int]
) -> None:
    """The last is of an odd width and height: FFV1 stores them, H.264 cannot."""
    codec, kind, name = (
        ("ffv1", "yuv444p", "s.mkv") if size[0] % 2 else ("mpeg4", "yuv420p", "s.mp4")
    )
    clip = Clip(EVEN, size=size, turn_deg=turn_deg, codecs=(codec, "aac"), pix_fmt=kind)
    made = film_of(draw(write_clip(tmp_path / name, clip), tmp_path / "o"))
    assert made.pictures[0].shape == (*shown, 3)
    assert len(made.pictures) == len(EVEN)


def test_captions_change_the_pictures_at_their_times_and_no_others(tmp_path: Path) -> None:
    """From the words' start to 4 s after their end, in the lower half of the picture."""
    times = tuple(i / 5 for i in range(40))
    source = write_clip(tmp_path / "s.mp4", Clip(times, size=(320, 240)))
    plain, made = film_of(source), film_of(draw(source, tmp_path / "o", ROW))
    for time_s, before, after in zip(times, plain.pictures, made.pictures, strict=True):
        change = np.abs(after[120:].astype(int) - before[120:]).max()
        assert (change > 60) == (1.0 <= time_s < 5.5), time_s


def test_words_of_a_caption() -> None:
    reading = SetupReading(SetupStatus.IN_RANGE, 52.3, 1.0, 0.9)
    rows = (
        Finding(4.0, 5.0, side="left", motion="flexion", mode="active", range_deg=120,
                status=RowStatus.WITHDRAWN),
        Finding(2.0, 3.0, test="inferior_glide", mobility="hypomobile", mobility_score=2,
                setup=reading, status=RowStatus.CHECK, reasons=("side: not said",),
                cautions=("grade 5 is a thrust, not a test",)),
    )  # fmt: skip
    check = PositionCheck(1.0, "right", SetupReading(SetupStatus.NOT_REQUIRED, 51.0, 1.0, 1.0))
    captions = captions_of(rows, [check], WINDOWS)
    assert [caption.start_s for caption in captions] == [1.0, 2.0, 4.0]
    assert captions[0].lines == ("position check, right: 51°, no window",)
    assert captions[1].lines == (
        "side? inferior glide: mobility 2, hypomobile",
        "CHECK: side: not said",
        "setup 52°, in range 30–90°",  # noqa: RUF001 - a range
        "caution: grade 5 is a thrust, not a test",
    )
    assert captions[2].lines == ("left flexion active: 120°", "WITHDRAWN", "setup not seen")


def test_window_is_shown_for_the_arm_that_is_tested_next(tmp_path: Path) -> None:
    """Not for the other arm, not long before, not after, and not for a row taken back."""
    source = write_clip(tmp_path / "s.mp4", Clip(EVEN))
    row = Finding(50.0, 51.0, side="right", test="inferior_glide")
    back = Finding(5.0, 6.0, side="right", test="inferior_glide", status=RowStatus.WITHDRAWN)
    times = (4.0, 19.0, 21.0, 30.0, 52.0, 56.0)
    angles = [ArmAngle(t, side, 45.0, visible=True) for t in times for side in SIDES]
    angles[7] = ArmAngle(30.0, "right", None, visible=False, reason="hands cover the arm")
    shown = overlay_of(session(source, back, row, watched=Watched(tuple(angles))), WINDOWS).arms
    assert shown is not None
    assert [note.window for note in shown["right"]] == [None, None, *[(30, 90)] * 3, None]
    assert {note.window for note in shown["left"]} == {None}
    assert [note.words for note in shown["right"]][1:4] == [
        ("right 45°",),
        ("right 45°, in range 30–90°", "for inferior glide"),  # noqa: RUF001 - a range
        ("right arm: not seen", "hands cover the arm"),
    ]


def test_nothing_of_the_recordings_own_titles_is_copied(tmp_path: Path) -> None:
    source = tmp_path / "named.mp4"
    with av.open(str(source), "w") as container:
        container.metadata["title"] = "A person"
        container.metadata["comment"] = "and a place"
        stream = container.add_stream("mpeg4", rate=5)
        stream.width, stream.height, stream.pix_fmt = 64, 48, "yuv420p"
        for i in range(5):
            frame = av.VideoFrame(64, 48, "yuv420p")
            frame.pts, frame.time_base = i, Fraction(1, 5)
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    made = draw(source, tmp_path / "o")
    assert "title" in film_of(source).metadata
    assert not {"title", "comment"} & set(film_of(made).metadata)
    assert b"person" not in made.read_bytes()
    assert b"named" not in made.read_bytes()


def test_what_the_video_lacks_is_said(tmp_path: Path) -> None:
    seen = Watched(bodies=(SeenBody(0.0, {"left_hip": (1.0, 1.0)}),))
    film = write_clip(tmp_path / "s.mp4", Clip(EVEN))
    sound = write_clip(tmp_path / "s.wav", Clip(sound_s=1.0, codecs=("", "pcm_s16le")))
    assert video_trouble(session(film, watched=seen)) == ""
    assert "findings only" in video_trouble(session(film))
    assert "no picture" in video_trouble(session(sound, watched=seen))


def test_folder_that_is_gone_is_a_sentence(tmp_path: Path) -> None:
    source = write_clip(tmp_path / "s.mp4", Clip(EVEN))
    with pytest.raises(OutputError, match=r"annotated\.mp4 cannot be written"):
        draw_video(session(source), WINDOWS, tmp_path / "no" / "where", lambda _s, _d: None)


def test_progress_is_told(tmp_path: Path) -> None:
    told: list[tuple[str, float]] = []
    source = write_clip(tmp_path / "s.mp4", Clip(EVEN))
    draw_video(session(source), WINDOWS, tmp_path, lambda stage, done: told.append((stage, done)))
    assert {stage for stage, _ in told} == {"drawing"}
    assert [done for _, done in told] == sorted(done for _, done in told)
    assert 0 <= told[0][1] < told[-1][1] <= 1
