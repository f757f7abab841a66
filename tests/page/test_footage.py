"""What is kept of sound and pictures where the user has turned that on."""

from __future__ import annotations

import stat
from pathlib import Path

import av
import numpy as np
import pytest
from room_kit import jpeg, room_in

from logger.page.footage import Footage
from logger.recording.media import open_recording


def test_it_can_be_read_as_a_recording(tmp_path: Path) -> None:
    """Two seconds with a gap, ten pictures a second: times, sound and pictures come back."""
    footage = Footage(tmp_path / "out" / "session.mkv", pytest.fail)
    for i in range(20):
        late_s = 1.0 if i >= 10 else 0.0
        footage.picture(i * 0.1 + late_s, jpeg(10 * i))
        footage.sound(i * 0.1 + late_s + 0.01 * (i % 3), np.full(1600, i / 32, np.float32))
    footage.close()
    recording = open_recording(footage.path)
    assert (recording.width, recording.height) == (64, 48)
    frames = [(frame.time_s, frame.rgb.mean()) for frame in recording.frames(100)]
    assert [time_s for time_s, _ in frames][::10] == pytest.approx([0.0, 2.0], abs=0.01)
    assert [level for _, level in frames] == pytest.approx([10 * i for i in range(20)], abs=2)
    sound = np.concatenate([block.samples for block in recording.audio_blocks(1.0)])
    assert len(sound) / 16_000 == pytest.approx(3.0, abs=0.1)
    assert sound[1600 * 4 + 800] == pytest.approx(4 / 32, abs=1e-3)
    assert sound[16_000 + 8000] == 0.0
    assert sound[1600 * 24 + 800] == pytest.approx(14 / 32, abs=1e-2)
    assert stat.S_IMODE(footage.path.stat().st_mode) == 0o600


def test_sound_alone_is_kept_too(tmp_path: Path) -> None:
    """There is no camera."""
    footage = Footage(tmp_path / "session.mkv", pytest.fail)
    for i in range(40):
        footage.sound(i * 0.1, np.zeros(1600, np.float32))
    footage.close()
    with av.open(str(footage.path)) as container:
        assert len(container.streams.video) == 0
        assert sum(frame.samples for frame in container.decode(audio=0)) == 64_000


def test_a_folder_that_cannot_be_written_is_said(tmp_path: Path) -> None:
    """Findings are kept elsewhere."""
    (tmp_path / "out").write_text("a file in the way")
    told: list[str] = []
    footage = Footage(tmp_path / "out" / "session.mkv", told.append)
    footage.picture(0.0, jpeg(1))
    footage.close()
    assert "no longer stored" in told[0]


def test_nothing_is_stored_unless_it_was_turned_on(tmp_path: Path) -> None:
    """With it on there is one file more, without the time of a pause; with it off there is none."""
    for keep in (False, True):
        with room_in(tmp_path) as room, room.page() as page:
            page.begin(keep_media=keep)
            for number in range(3):
                page.show(number, 50)
                page.until("ack")
                page.speak(0)
            page.say("do", what="pause", page_ms=page.page_ms)
            page.until("state", lambda s: s["phase"] == "paused")
            page.speak(0)
            page.say("do", what="end", page_ms=page.page_ms)
            page.until("state", lambda s: s["phase"] == "ended")
            page.say("leave")
            page.until("left")
        files = [*tmp_path.rglob("*.mkv")]
        assert len(files) == int(keep)
    with av.open(str(files[0])) as container:
        assert sum(frame.samples for frame in container.decode(audio=0)) == 3 * 1600
