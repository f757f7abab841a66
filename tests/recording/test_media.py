"""Recordings, good and bad."""

from __future__ import annotations

import wave
from pathlib import Path

import numpy as np
import pytest

from logger.core.errors import RecordingError
from logger.recording.media import frames, open_recording, sound_blocks

DEMO = Path(__file__).parents[2] / "demo_media" / "session.mp4"


def write_wave(path: Path, samples: np.ndarray[tuple[int, ...], np.dtype[np.int16]]) -> None:
    """Write 16 kHz sound, shape (n, channels), with the standard library."""
    with wave.open(str(path), "wb") as file:
        file.setnchannels(samples.shape[1])
        file.setsampwidth(2)
        file.setframerate(16_000)
        file.writeframes(samples.tobytes())


def test_dead_channel_does_not_halve_the_live_one(tmp_path: Path) -> None:
    """The standard library's wave module writes it; every sample comes back."""
    rng = np.random.default_rng(1)
    live = rng.integers(-20_000, 20_000, 16_000).astype(np.int16)
    path = tmp_path / "Übung eins.wav"
    write_wave(path, np.stack((live, np.zeros_like(live)), axis=1))
    got = np.concatenate(list(sound_blocks(open_recording(path))))
    assert np.allclose(got, live / 32768, atol=1e-4)


def test_picture_times_come_from_the_file() -> None:
    """The demonstration session has 5 frames a second."""
    times = [time_s for time_s, _ in frames(open_recording(DEMO))]
    assert times[:3] == pytest.approx([0.0, 0.2, 0.4], abs=0.01)
    assert len(times) == 615


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        ("empty.mp4", b"", "is empty"),
        ("text.mp4", b"not a recording " * 100, "cannot be read|neither sound nor video"),
        ("noise.wav", bytes(range(256)) * 40, "cannot be read|neither sound nor video"),
    ],
)
def test_bad_files_are_one_sentence(tmp_path: Path, name: str, content: bytes, says: str) -> None:
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(RecordingError, match=says):
        open_recording(path)


def test_truncated_file_keeps_what_came_before(tmp_path: Path) -> None:
    path = tmp_path / "cut.wav"
    whole = tmp_path / "whole.wav"
    write_wave(whole, np.full((16_000, 1), 1000, np.int16))
    path.write_bytes(whole.read_bytes()[:20_044])
    assert sum(map(len, sound_blocks(open_recording(path)))) == 10_000
