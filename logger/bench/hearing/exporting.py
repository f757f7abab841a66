"""Tracks as files, for other tools and for the small committed ones."""

from __future__ import annotations

import json
import wave
from dataclasses import asdict
from pathlib import Path
from typing import Any

from logger.bench.hearing.scripts import TimedLine, Track, Truth, TruthRow
from logger.core.sound import SAMPLE_RATE_HZ, rounded


def write_track(path: Path, track: Track, about: dict[str, Any]) -> None:
    """Write `path` as 16-bit WAV and its truth beside it as JSON."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with wave.open(str(path), "wb") as sound:
        sound.setnchannels(1)
        sound.setsampwidth(2)
        sound.setframerate(SAMPLE_RATE_HZ)
        sound.writeframes(rounded(track.samples).tobytes())
    document = {**about, **asdict(track.truth)}
    path.with_suffix(".json").write_text(json.dumps(document, indent=1), encoding="utf-8")


def read_truth(path: Path) -> Truth:
    """Read what `write_track` wrote beside the sound."""
    document = json.loads(path.read_text(encoding="utf-8"))
    return Truth(
        document["duration_s"],
        tuple(TimedLine(**line) for line in document["lines"]),
        tuple(TruthRow(**row) for row in document["rows"]),
    )
