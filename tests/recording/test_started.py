"""The start as a file tells it, and what tells files apart."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

import av
import numpy as np
import pytest

from logger.core.errors import RecordingError
from logger.recording.digest import content_digest
from logger.recording.media import open_recording
from logger.recording.started import started_at


@pytest.mark.parametrize(
    ("metadata", "start"),
    [
        ({}, None),
        ({"creation_time": "2026-11-25T09:10:11.000000Z"}, "2026-11-25T09:10:11+00:00"),
        (
            {
                "creation_time": "2026-11-25T09:10:11.000000Z",
                "com.apple.quicktime.creationdate": "2026-11-25T10:10:11+0100",
            },
            "2026-11-25T10:10:11+01:00",
        ),
        ({"creation_time": "2026-11-25 09:10:11"}, None),
        ({"creation_time": "1970-01-01T00:00:00Z"}, None),
        ({"creation_time": "1904-01-01T00:00:00Z"}, None),
        ({"creation_time": "yesterday"}, None),
        ({"date": "2026-11-25"}, None),
    ],
)
def test_only_a_time_with_its_offset_from_a_clock_that_runs_is_a_start(
    metadata: dict[str, str], start: str | None
) -> None:
    assert started_at(metadata) == start


def sound(path: Path, **metadata: str) -> Path:
    with av.open(str(path), "w") as container:
        container.metadata.update(metadata)
        stream = container.add_stream("aac", rate=16_000, layout="mono")
        frame = av.AudioFrame.from_ndarray(np.zeros((1, 16_000), np.float32), "fltp", "mono")
        frame.sample_rate, frame.pts = 16_000, 0
        container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    return path


@pytest.mark.parametrize("name", ["a.mp4", "a.mov", "a.mkv"])
def test_start_comes_from_the_container_and_never_from_the_files_own_time(
    tmp_path: Path, name: str
) -> None:
    path = sound(tmp_path / name, creation_time="2026-11-25T09:10:11Z")
    assert open_recording(path).started_at == "2026-11-25T09:10:11+00:00"
    silent = sound(tmp_path / f"b{name}")
    os.utime(silent, (1.8e9, 1.8e9))
    assert open_recording(silent).started_at is None


def test_digest_is_of_the_bytes_and_not_of_the_name(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"one")
    (tmp_path / "b").write_bytes(b"one")
    (tmp_path / "c").write_bytes(b"two")
    assert content_digest(tmp_path / "a") == hashlib.sha256(b"one").hexdigest()
    assert content_digest(tmp_path / "a") == content_digest(tmp_path / "b")
    assert content_digest(tmp_path / "a") != content_digest(tmp_path / "c")
    with pytest.raises(RecordingError, match="cannot be read"):
        content_digest(tmp_path)
