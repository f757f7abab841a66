"""Recordings of real people with nothing to log in them, cut anew and put into other rooms."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Final

import numpy as np
from numpy.random import Generator, default_rng

from logger.bench.hearing import rooms
from logger.bench.hearing.conditions import Condition
from logger.bench.hearing.scripts import FloatArray, TimedLine, Track, Truth
from logger.bench.hearing.tracks import Cast, heard
from logger.core.errors import RecordingError, UsageError
from logger.core.sound import SAMPLE_RATE_HZ
from logger.recording.media import open_recording

SUFFIXES: Final = frozenset({".wav", ".flac", ".mp3", ".ogg", ".opus", ".m4a"})
_TRACK_S: Final = 600.0
_PIECE_S: Final = (3.0, 25.0)
_GAP_S: Final = (0.0, 1.5)
"""Often less than what ends an utterance: real talk does not wait."""
_TEMPO: Final = (0.85, 1.2)
_QUIETEST: Final = 1e-3

INSTALLED: Final = (
    Path("/usr/share/pocketsphinx/test/data"),
    Path("/usr/share/codec2/wav"),
    Path("/usr/share/asterisk/sounds/en_US_f_Allison"),
)
"""Where Debian's pocketsphinx-testdata, codec2-examples and asterisk-core-sounds-en-wav lie."""

MANNERS: Final = (
    Condition("human", "as recorded", content="human"),
    Condition("human_far", "far field", content="human", noise="fan", snr_db=15, far=True),
    Condition("human_pink", "pink noise", content="human", noise="pink", snr_db=15),
    Condition("human_quiet", "quiet", content="human", level_db=-45.0),
)
"""What the pieces are put through, one track after the other."""


def talk_clips(folders: Sequence[Path]) -> tuple[FloatArray, ...]:
    """Read every recording under the folders that can be read, shape (n,) each, 16 kHz mono.

    Raises:
        UsageError: if there is none.

    """
    paths = sorted(
        path for folder in folders for path in folder.rglob("*") if path.suffix.lower() in SUFFIXES
    )
    clips = [clip for path in paths if len(clip := _read(path))]
    if not clips:
        named = ", ".join(map(str, folders)) or "no folder"
        raise UsageError(f"No recording of talk in {named}: give a folder that holds some.")
    return tuple(clips)


def installed_folders() -> tuple[Path, ...]:
    """Return the folders of recordings that packages have put on this machine."""
    return tuple(folder for folder in INSTALLED if folder.is_dir())


def human_tracks(
    clips: Sequence[FloatArray], minutes: float, seed: int, cast: Cast | None = None
) -> Iterator[Track]:
    """Yield tracks of ten minutes or less until there are `minutes` of them.

    Every clip comes once before any comes again; each is cut at new points and spoken faster or
    slower, and the tracks go through `MANNERS` in turn.
    """
    rng = default_rng(seed)
    source = _pieces(clips, rng)
    left_s = minutes * 60
    number = 0
    while left_s > 1:
        manner = MANNERS[number % len(MANNERS)]
        track = _track(source, min(_TRACK_S, left_s), manner, cast, rng)
        yield track
        left_s -= track.truth.duration_s
        number += 1


def _track(
    source: Iterator[FloatArray],
    seconds: float,
    manner: Condition,
    cast: Cast | None,
    rng: Generator,
) -> Track:
    parts: list[FloatArray] = []
    lines: list[TimedLine] = []
    at = 0
    while at < seconds * SAMPLE_RATE_HZ:
        piece = next(source)
        gap = np.zeros(int(rng.uniform(*_GAP_S) * SAMPLE_RATE_HZ), np.float32)
        end = at + len(piece)
        lines.append(TimedLine("", "talk", at / SAMPLE_RATE_HZ, end / SAMPLE_RATE_HZ, "human"))
        parts += [piece, gap]
        at = end + len(gap)
    speech = np.concatenate(parts)
    samples = heard(speech, lines, cast, manner, rng)
    return Track(samples, Truth(len(samples) / SAMPLE_RATE_HZ, tuple(lines)))


def _pieces(clips: Sequence[FloatArray], rng: Generator) -> Iterator[FloatArray]:
    while True:
        for index in rng.permutation(len(clips)):
            tempo = 1.0 if rng.random() < 1 / 3 else float(rng.uniform(*_TEMPO))
            for piece in _cut(clips[index], rng):
                yield rooms.respoken(piece, tempo, 0.0)


def _cut(clip: FloatArray, rng: Generator) -> Iterator[FloatArray]:
    """Cut a recording at random points, in mid-word too."""
    at = 0
    while at < len(clip):
        end = at + int(rng.uniform(*_PIECE_S) * SAMPLE_RATE_HZ)
        if float(np.abs(clip[at:end]).max()) > _QUIETEST:
            yield clip[at:end]
        at = end


def _read(path: Path) -> FloatArray:
    try:
        recording = open_recording(path)
        blocks = [block.samples for block in recording.audio_blocks(10.0)]
    except RecordingError:
        return np.zeros(0, np.float32)
    return np.concatenate(blocks) if blocks else np.zeros(0, np.float32)
