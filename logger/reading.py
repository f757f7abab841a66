"""A recording in, a session out: wires hearing, seeing and merging together."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from logger.core.events import ArmAngle, Utterance, Verdict
from logger.core.statements import Heard
from logger.findings.merging import Merged, MergeRules, merge
from logger.grammar.interpreting import interpret
from logger.grammar.pack import Pack
from logger.grammar.parsing import Parser
from logger.hearing.engines import Recogniser, hear_all
from logger.recording.media import Recording, frames, open_recording, sound_blocks
from logger.seeing.bundle import pose_bundle
from logger.seeing.pose import PoseModel
from logger.seeing.watching import Watcher, WatchSettings

CLOSE_NATS = 2.0
"""Readings nearer than this to the chosen one make a doubt."""

Progress = Callable[[str, float], None]
"""Told the stage ("hearing", "seeing") and how much of it is done, 0 to 1."""


@dataclass(frozen=True, slots=True)
class Session:
    """Everything that was made of one recording."""

    recording: Recording
    heard: tuple[Heard, ...]
    angles: tuple[ArmAngle, ...]
    merged: Merged
    warnings: tuple[str, ...]

    def document(self, pack: Pack, engine: str) -> dict[str, object]:
        """Return the session as plain values for session.json; talk only by its times."""
        return {
            "format": 1,
            "recording": self.recording.path.name,
            "duration_s": self.recording.duration_s,
            "pack": pack.name,
            "engine": engine,
            "warnings": list(self.warnings),
            "heard": [_heard(h.utterance) for h in self.heard if h.statement is not None],
            "talk_s": [
                [round(h.utterance.start_s, 2), round(h.utterance.end_s, 2)]
                for h in self.heard
                if h.statement is None
            ],
            "position_checks": [
                {
                    "at_s": round(check.at_s, 2),
                    "side": check.side,
                    "arm_angle_deg": check.reading.angle_deg,
                    "setup": "not_seen" if check.reading.angle_deg is None else "seen",
                }
                for check in self.merged.position_checks
            ],
            "unplaced": [
                {**_heard(utterance), "reason": reason}
                for utterance, reason in self.merged.unplaced
            ],
        }


def _heard(utterance: Utterance) -> dict[str, object]:
    return {
        "start_s": round(utterance.start_s, 2),
        "end_s": round(utterance.end_s, 2),
        "text": utterance.text,
        "confidence": round(utterance.confidence, 3),
        "unsure": utterance.verdict is Verdict.UNSURE,
    }


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
    warnings = []
    heard: list[Heard] = []
    if recording.has_sound:
        parser = Parser(pack)
        blocks = _counted(sound_blocks(recording), recording, progress)
        heard = [interpret(u, parser, CLOSE_NATS) for u in hear_all(blocks, recogniser)]
    else:
        warnings.append("The recording has no sound: nothing could be heard.")
    angles: list[ArmAngle] = []
    if camera and recording.has_picture:
        angles = _watch(recording, pose_model, progress)
    elif camera:
        warnings.append("The recording has no picture: the table has no angles.")
    rules = MergeRules(pack.setup, pack.mobility_of_score)
    merged = merge(heard, angles, rules)
    return Session(recording, tuple(heard), tuple(angles), merged, tuple(warnings))


def _watch(recording: Recording, pose_model: Path | None, progress: Progress) -> list[ArmAngle]:
    with PoseModel(pose_bundle(pose_model)) as model:
        return Watcher(WatchSettings(), model).watch(lambda: _shown(recording, progress))


def _shown(recording: Recording, progress: Progress) -> Iterator[tuple[float, NDArray[np.uint8]]]:
    for time_s, picture in frames(recording):
        progress("seeing", time_s / recording.duration_s if recording.duration_s else 0.0)
        yield time_s, picture


def _counted(
    blocks: Iterator[NDArray[np.float32]], recording: Recording, progress: Progress
) -> Iterator[NDArray[np.float32]]:
    given = 0
    for block in blocks:
        given += len(block)
        progress("hearing", given / 16_000 / recording.duration_s if recording.duration_s else 0.0)
        yield block
