"""Pictures that are stored whole: fewer, but the same ones at the same times."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from made import Film, write_film

from logger.recording.media import open_recording

TIMES = tuple(i / 25 for i in range(100))


def test_whole_pictures_are_some_of_all_and_spread_over_the_recording(tmp_path: Path) -> None:
    recording = open_recording(write_film(tmp_path / "a.mp4", Film(TIMES)))
    whole = {frame.time_s: frame.rgb for frame in recording.frames(None)}
    keys = list(recording.frames(None, keys_only=True))
    assert 2 <= len(keys) == recording.key_pictures < len(whole)
    assert keys[0].time_s == 0
    assert keys[-1].time_s > 3
    for frame in keys:
        assert np.array_equal(frame.rgb, whole[frame.time_s])


def test_sound_alone_has_no_pictures(tmp_path: Path) -> None:
    recording = open_recording(write_film(tmp_path / "a.mp4", Film(sound_s=1.0)))
    assert recording.key_pictures == 0
    assert list(recording.frames(None, keys_only=True)) == []
