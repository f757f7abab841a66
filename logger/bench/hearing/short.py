"""The small committed tracks: a run of seconds that needs no voice."""

from __future__ import annotations

from collections.abc import Iterator
from importlib.resources import as_file, files

import numpy as np

from logger.bench.hearing.conditions import Condition
from logger.bench.hearing.exporting import read_truth
from logger.bench.hearing.scripts import Track
from logger.recording.media import open_recording


def short_tracks() -> Iterator[tuple[Condition, Track]]:
    """Yield each committed track with a condition that names it."""
    with as_file(files("logger.bench.hearing") / "data" / "short") as folder:
        for path in sorted(folder.glob("*.flac")):
            recording = open_recording(path)
            samples = np.concatenate([block.samples for block in recording.audio_blocks(10.0)])
            title = path.stem.replace("_", " ")
            yield Condition(path.stem, title), Track(samples, read_truth(path.with_suffix(".json")))
