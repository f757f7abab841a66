"""A recording in, a session out: wires hearing, seeing and merging together."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from importlib.metadata import version
from pathlib import Path
from typing import Self

import numpy as np
from numpy.typing import NDArray

from logger.core.events import Utterance, Verdict, Watched
from logger.core.session import SessionFacts
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
from logger.grammar.pack import Pack, pack_digest
from logger.grammar.parsing import Parser
from logger.hearing.ear import Ear
from logger.hearing.engines import Recogniser
from logger.recording.digest import content_digest
from logger.recording.media import Recording, open_recording
from logger.recording.quality import SoundQuality
from logger.seeing.bodies import Region
from logger.seeing.bundle import pose_bundle
from logger.seeing.markers.using import MarkerOptions, MarkerScout, with_markers
from logger.seeing.pose import PoseModel
from logger.seeing.settings import MOST_PEOPLE, WatchSettings
from logger.seeing.watching import Watcher

_NOTEWORTHY_S = 0.5
"""Missing sound shorter than this is what every recorder starts with."""

Progress = Callable[[str, float], None]
"""Told the stage ("hearing", "seeing") and how much of it is done, 0 to 1; from two threads."""


@dataclass(frozen=True, slots=True)
class EyeChoice:
    """How the picture is looked at."""

    pose_model: Path | None = None
    region: Region | None = None
    """Where the patient's trunk is, as x, y, width and height in pixels."""
    markers: MarkerOptions = field(default_factory=MarkerOptions)

    def in_session(self) -> dict[str, str | bool]:
        """Return what session.json keeps of it."""
        kept = self.markers.in_session()
        if self.pose_model:
            kept["pose_model"] = self.pose_model.name
        if self.region:
            kept["patient_region"] = ",".join(f"{value:g}" for value in self.region)
        return kept


@dataclass(frozen=True, slots=True)
class Session:
    """Everything that was made of one recording."""

    recording: Recording
    heard: tuple[Heard, ...]
    watched: Watched
    merged: Merged
    warnings: tuple[str, ...]

    def record(
        self,
        pack: Pack,
        engine: str,
        options: Mapping[str, str | bool],
        facts: SessionFacts = SessionFacts(),  # noqa: B008 - frozen
    ) -> SessionRecord:
        """Return the session as it is written to session.json; talk only by its times.

        Where `facts` do not say when it started, the recording may.
        """
        heard, talk = heard_and_talk(self.heard)
        return SessionRecord(
            tool_version=version("spoken-findings"),
            recording=_facts(self.recording),
            pack=PackFacts(pack.name, pack_digest(pack)),
            engine=engine,
            models=tuple(str(value) for key, value in options.items() if key.endswith("model")),
            options=options,
            findings=self.merged.rows,
            position_checks=self.merged.position_checks,
            unplaced=tuple(
                UnplacedWords(heard_words(utterance), reason)
                for utterance, reason in self.merged.unplaced
            ),
            bouts=self.merged.bouts,
            heard=heard,
            talk=talk,
            warnings=self.warnings,
            facts=facts
            if facts.started_at
            else replace(facts, started_at=self.recording.started_at),
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
        sha256=content_digest(recording.path),
    )


def read_recording(
    path: Path,
    pack: Pack,
    recogniser: Recogniser,
    eye: EyeChoice | None,
    progress: Progress = lambda _stage, _done: None,
) -> Session:
    """Read one recording, without its picture where `eye` is None.

    Every failure is one of `logger.core.errors`.
    """
    recording = open_recording(path)
    warnings = [*recording.warnings, *recogniser.warnings]
    heard: list[Heard] = []
    with _Beside() as beside:
        if eye and recording.has_video:
            beside.start(lambda report: watch_recording(recording, eye, report), progress)
        if recording.has_audio:
            parser = Parser(pack)
            utterances = tuple(_hear(recording, recogniser, progress, warnings))
            warnings += _drowned(path.name, utterances)
            heard = [interpret(utterance, parser) for utterance in utterances]
        else:
            warnings.append("The recording has no sound: nothing could be heard.")
        watched = beside.result()
    if eye and not recording.has_video:
        warnings.append("The recording has no picture: the table has no angles.")
    rules = MergeRules(pack.setup, pack.mobility_of_score)
    merged = merge(heard, watched.angles, rules)
    return Session(recording, tuple(heard), watched, merged, (*warnings, *watched.warnings))


class _Stopped(Exception):  # noqa: N818 - it is no error
    """Ends the eye's thread where the ear failed or the user stopped the program."""


class _Beside:
    """Runs the eye in a thread of its own while the ear listens: two cores read at once."""

    def __init__(self) -> None:
        self._pool = ThreadPoolExecutor(max_workers=1)
        self._stop = threading.Event()
        self._seen: Future[Watched] | None = None

    def start(self, watch: Callable[[Progress], Watched], progress: Progress) -> None:
        def report(stage: str, done: float) -> None:
            if self._stop.is_set():
                raise _Stopped
            progress(stage, done)

        self._seen = self._pool.submit(watch, report)

    def result(self) -> Watched:
        return self._seen.result() if self._seen else Watched()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        self._pool.shutdown()


def watch_recording(recording: Recording, eye: EyeChoice, progress: Progress) -> Watched:
    """Read the arms of a recording with a picture, without listening to it."""
    settings, markers = WatchSettings(region=eye.region), eye.markers

    def shown(*, keys_only: bool = False) -> Iterator[tuple[float, NDArray[np.uint8]]]:
        for frame in recording.frames(settings.rate_hz, keys_only=keys_only):
            progress("seeing", _share(frame.time_s, recording))
            yield frame.time_s, frame.rgb

    if markers.use == "only":
        return markers.watcher().watch(shown())
    scout = MarkerScout(active=markers.use == "auto")
    # Long recordings hold whole pictures enough to find the patient by.
    keys_only = recording.key_pictures >= settings.looks
    with PoseModel(pose_bundle(eye.pose_model), max_people=MOST_PEOPLE) as model:
        watched = Watcher(settings, model).watch(
            shown, lambda: scout.through(shown(keys_only=keys_only))
        )
    if not scout.sides:
        return markers.unused(watched)
    return with_markers(watched, markers.watcher().watch(shown()), scout.sides)


def _hear(
    recording: Recording, recogniser: Recogniser, progress: Progress, warnings: list[str]
) -> Iterator[Utterance]:
    ear, quality = Ear(recogniser), SoundQuality()
    filled_s = 0.0
    for block in recording.audio_blocks(1.0):
        filled_s += block.filled_s
        progress("hearing", _share(block.start_s, recording))
        yield from ear.push(quality.take(block.samples))
    yield from ear.finish()
    name = recording.path.name
    if filled_s >= _NOTEWORTHY_S:
        warnings.append(
            f"{filled_s:.1f} s of sound are missing or damaged in {name}: "
            "what was said there is not in the table."
        )
    if ear.starts_in_speech:
        warnings.append(f"{name} begins in the middle of speech: what was said before is missing.")
    warnings.extend(quality.warnings(name, recording.sample_rate))


def _drowned(name: str, utterances: Sequence[Utterance]) -> Iterator[str]:
    """Say that the room was loud where something was heard: more may have been said in it."""
    heard = [each for each in utterances if each.verdict is not Verdict.TALK]
    if drowned := sum(each.drowned for each in heard):
        yield (
            f"In {name} the room was nearly as loud as the speaker at {drowned} of {len(heard)} "
            "heard: marked, and others may be missing. Bring the microphone nearer."
        )


def _share(time_s: float, recording: Recording) -> float:
    return time_s / recording.duration_s if recording.duration_s else 0.0
