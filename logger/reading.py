"""A recording in, a session out: wires hearing, seeing and merging together."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from logger.core.events import Watched
from logger.core.statements import Heard
from logger.files.session_json import (
    PackFacts,
    RecordingFacts,
    SessionRecord,
    UnplacedWords,
    heard_and_talk,
    heard_words,
)
from logger.findings.merging import Merged, MergeRules, merge
from logger.grammar.interpreting import interpret
from logger.grammar.pack import Pack
from logger.grammar.parsing import Parser
from logger.hearing.engines import Recogniser, hear_all
from logger.recording.media import Recording, open_recording
from logger.seeing.bundle import pose_bundle
from logger.seeing.pose import PoseModel
from logger.seeing.watching import Watcher, WatchSettings

CLOSE_NATS = 3.0
"""Readings nearer than this to the chosen one make a doubt."""

_NOTEWORTHY_S = 0.5
"""Missing sound shorter than this is what every recorder starts with."""

Progress = Callable[[str, float], None]
"""Told the stage ("hearing", "seeing") and how much of it is done, 0 to 1."""


@dataclass(frozen=True, slots=True)
class Session:
    """Everything that was made of one recording."""

    recording: Recording
    heard: tuple[Heard, ...]
    watched: Watched
    merged: Merged
    warnings: tuple[str, ...]

    def record(self, pack: Pack, engine: str, options: Mapping[str, str | bool]) -> SessionRecord:
        """Return the session as it is written to session.json; talk only by its times."""
        heard, talk = heard_and_talk(self.heard)
        return SessionRecord(
            tool_version=version("spoken-findings"),
            recording=_facts(self.recording),
            pack=PackFacts(pack.name, _digest(pack)),
            engine=engine,
            models=tuple(str(value) for key, value in options.items() if key.endswith("model")),
            options=options,
            findings=self.merged.rows,
            position_checks=self.merged.position_checks,
            unplaced=tuple(
                UnplacedWords(heard_words(utterance), reason)
                for utterance, reason in self.merged.unplaced
            ),
            heard=heard,
            talk=talk,
            warnings=self.warnings,
        )


def _facts(recording: Recording) -> RecordingFacts:
    return RecordingFacts(
        name=recording.path.name,
        duration_s=recording.duration_s,
        has_audio=recording.has_audio,
        has_video=recording.has_video,
        sample_rate_hz=recording.sample_rate,
        width=recording.width,
        height=recording.height,
        fps=recording.fps,
        rotation_deg=recording.rotation_deg,
        truncated_at_s=recording.truncated_at_s,
    )


def _digest(pack: Pack) -> str:
    """Return a version of the pack that changes with anything in it."""
    return hashlib.sha256(repr(pack).encode()).hexdigest()[:12]


def read_recording(  # noqa: PLR0913 - each is one thing to plug in
    path: Path,
    pack: Pack,
    recogniser: Recogniser,
    pose_model: Path | None,
    *,
    camera: bool = True,
    progress: Progress = lambda _stage, _done: None,
) -> Session:
    """Read one recording; every failure is one of `logger.core.errors`."""
    recording = open_recording(path)
    warnings = list(recording.warnings)
    heard: list[Heard] = []
    if recording.has_audio:
        parser = Parser(pack)
        blocks = _sound(recording, progress, warnings)
        heard = [interpret(u, parser, CLOSE_NATS) for u in hear_all(blocks, recogniser)]
    else:
        warnings.append("The recording has no sound: nothing could be heard.")
    watched = Watched()
    if camera and recording.has_video:
        watched = _watch(recording, pose_model, progress)
    elif camera:
        warnings.append("The recording has no picture: the table has no angles.")
    rules = MergeRules(pack.setup, pack.mobility_of_score)
    merged = merge(heard, watched.angles, rules)
    return Session(recording, tuple(heard), watched, merged, (*warnings, *watched.warnings))


def _watch(recording: Recording, pose_model: Path | None, progress: Progress) -> Watched:
    with PoseModel(pose_bundle(pose_model)) as model:
        return Watcher(WatchSettings(), model).watch(lambda: _shown(recording, progress))


def _shown(recording: Recording, progress: Progress) -> Iterator[tuple[float, NDArray[np.uint8]]]:
    for frame in recording.frames(None):
        progress("seeing", _share(frame.time_s, recording))
        yield frame.time_s, frame.rgb


def _sound(
    recording: Recording, progress: Progress, warnings: list[str]
) -> Iterator[NDArray[np.float32]]:
    filled_s = 0.0
    for block in recording.audio_blocks(1.0):
        filled_s += block.filled_s
        progress("hearing", _share(block.start_s, recording))
        yield block.samples
    if filled_s >= _NOTEWORTHY_S:
        warnings.append(
            f"{filled_s:.1f} s of sound are missing or damaged in {recording.path.name}: "
            "what was said there is not in the table."
        )


def _share(time_s: float, recording: Recording) -> float:
    return time_s / recording.duration_s if recording.duration_s else 0.0
