"""`read --video`: tables first, then the video; what is missing is said."""

from __future__ import annotations

from pathlib import Path

import pytest
from clips import Clip, write_clip

from logger.commands import read_job as command
from logger.commands.read_job import ReadJob
from logger.core.errors import OutputError
from logger.core.events import Finding, SeenBody, Utterance, Verdict, Watched
from logger.findings.merging import Merged
from logger.grammar.loading import load_pack
from logger.reading import Session
from logger.recording.media import open_recording

SEEN = Watched(bodies=(SeenBody(0.0, {"left_hip": (1.0, 1.0)}),))
TABLES = {"findings.csv", "findings.parquet", "arm_angle.csv", "session.json"}
EVEN = tuple(i / 5 for i in range(10))


class Deaf:
    """A recogniser that is never asked."""

    name = "deaf"
    warnings: tuple[str, ...] = ()

    def hear(self, stretch: object) -> Utterance:
        """Hear nothing."""
        del stretch
        return Utterance("", 0.0, 0.0, 0.0, Verdict.TALK)


def job(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, watched: Watched) -> ReadJob:
    """Return a job whose reading gives one finding."""
    rows = (Finding(0.2, 0.4, side="left", test="inferior_glide"),)

    def read(path: Path, *_: object, **__: object) -> Session:
        return Session(open_recording(path), (), watched, Merged(rows, (), ()), ())

    monkeypatch.setattr(command, "read_recording", read)
    return ReadJob(load_pack("glenohumeral"), Deaf(), tmp_path / "o", quiet=True, video=True)


def test_video_lies_beside_the_tables(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    made = job(tmp_path, monkeypatch, SEEN)
    for _ in range(2):
        made.run(write_clip(tmp_path / "s.mp4", Clip(EVEN)))
        assert {p.name for p in (tmp_path / "o" / "s").iterdir()} == {*TABLES, "annotated.mp4"}
    assert capsys.readouterr().err == ""


def test_without_a_body_the_captions_are_drawn_and_a_warning_given(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    job(tmp_path, monkeypatch, Watched()).run(write_clip(tmp_path / "s.mp4", Clip(EVEN)))
    assert (tmp_path / "o" / "s" / "annotated.mp4").stat().st_size > 0
    assert "shows the findings only" in capsys.readouterr().err


def test_sound_alone_gives_tables_and_a_warning(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    sound = write_clip(tmp_path / "s.wav", Clip(sound_s=1.0, codecs=("", "pcm_s16le")))
    job(tmp_path, monkeypatch, Watched()).run(sound)
    assert {p.name for p in (tmp_path / "o" / "s").iterdir()} == TABLES
    assert "there is no annotated video" in capsys.readouterr().err


def test_video_that_cannot_be_written_leaves_the_tables(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What was heard is not lost because a picture could not be drawn."""
    made = job(tmp_path, monkeypatch, SEEN)
    monkeypatch.setattr("logger.files.annotated_video._ENCODERS", ())
    with pytest.raises(OutputError, match="no encoder") as caught:
        made.run(write_clip(tmp_path / "s.mp4", Clip(EVEN)))
    assert caught.value.exit_code == 6
    assert {p.name for p in (tmp_path / "o" / "s").iterdir()} == TABLES
    assert {p.name for p in (tmp_path / "o").iterdir()} == {"s"}


def test_mpeg4_stands_in_for_h264(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(
        "logger.files.annotated_video._ENCODERS", (("no_such_encoder", {}), ("mpeg4", {}))
    )
    job(tmp_path, monkeypatch, SEEN).run(write_clip(tmp_path / "s.mp4", Clip(EVEN)))
    made = open_recording(tmp_path / "o" / "s" / "annotated.mp4")
    assert len(list(made.frames(None))) == len(EVEN)
