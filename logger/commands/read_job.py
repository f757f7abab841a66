"""Reading one recording and saving what was made of it, with models that are loaded once."""

from __future__ import annotations

import pickle
import time
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib.metadata import version
from pathlib import Path
from typing import Final

import click

from logger.batch.planning import Wanted
from logger.batch.tasks import Outcome, Task
from logger.commands.showing import progress_bar, show_session, wrapped
from logger.core.errors import SpokenFindingsError
from logger.core.events import RowStatus
from logger.core.session import SessionFacts
from logger.files.saving import VIDEO, save_session
from logger.grammar.loading import load_pack
from logger.grammar.pack import Pack, pack_digest
from logger.hearing.engines import Recogniser, open_recogniser
from logger.reading import EyeChoice, Progress, Session, read_recording

_UNFORESEEN: Final = "a mistake of this program, please report it"


@dataclass(frozen=True, slots=True)
class ReadJob:
    """What is the same for every recording of one call."""

    pack: Pack
    recogniser: Recogniser
    out: Path
    eye: EyeChoice | None = field(default_factory=EyeChoice)
    """None leaves the picture out."""
    speech_model: Path | None = None
    quiet: bool = False
    video: bool = False
    facts: SessionFacts = field(default_factory=SessionFacts)

    def run(self, recording: Path, folder: Path | None = None) -> Session:
        """Read one recording, save its results and show its table."""
        folder = folder or self.out / recording.stem
        with progress_bar(recording.name, self.quiet) as report:
            session = self.saved(recording, folder, report)
        if self.video:
            self._draw(session, folder)
        if not self.quiet:
            show_session(session, folder)
        return session

    def saved(self, recording: Path, folder: Path, report: Progress) -> Session:
        """Read one recording and save its tables."""
        session = read_recording(recording, self.pack, self.recogniser, self.eye, progress=report)
        record = session.record(self.pack, self.recogniser.name, self.options(), self.facts)
        save_session(folder, record, session.watched.angles)
        return session

    def _draw(self, session: Session, folder: Path) -> None:
        # The drawing brings matplotlib's font and Pillow along, which reading does not need.
        from logger.commands.annotating import draw_video, video_trouble  # noqa: PLC0415

        if trouble := video_trouble(session):
            click.echo(wrapped("warning: ", trouble), err=True)
        if session.recording.has_video:
            with progress_bar(session.recording.path.name, self.quiet) as report:
                draw_video(session, self.pack.setup, folder, report)

    def options(self) -> dict[str, str | bool]:
        """Return what session.json keeps of the options."""
        return options_of(self.eye, self.speech_model)


def options_of(eye: EyeChoice | None, speech_model: Path | None) -> dict[str, str | bool]:
    """Return what session.json keeps of the options."""
    options: dict[str, str | bool] = {"camera": eye is not None}
    if eye is not None:
        options |= eye.in_session()
    if speech_model:
        options["speech_model"] = speech_model.name
    return options


@dataclass(frozen=True, slots=True)
class ReadSettings:
    """All that a process needs to know to load its models and read as the others do."""

    pack_name: str
    engine: str = "moonshine"
    eye: EyeChoice | None = field(default_factory=EyeChoice)
    speech_model: Path | None = None
    video: bool = False
    facts: SessionFacts = field(default_factory=SessionFacts)
    threads: int = 2
    """For listening, in each process."""

    def job(self, out: Path, *, quiet: bool) -> ReadJob:
        """Load pack and models.

        Raises:
            SpokenFindingsError: if one of them cannot be used.

        """
        pack = load_pack(self.pack_name)
        recogniser = open_recogniser(self.engine, pack, self.speech_model, self.threads)
        return ReadJob(
            pack, recogniser, out, self.eye, self.speech_model, quiet, self.video, self.facts
        )

    def wanted(self) -> Wanted:
        """Return what a session must be like to count as read already.

        Raises:
            PackError: if the pack cannot be used.

        """
        pack = load_pack(self.pack_name)
        options: Mapping[str, str | bool] = options_of(self.eye, self.speech_model)
        return Wanted(
            version("spoken-findings"),
            pack.name,
            pack_digest(pack),
            self.engine,
            options,
            self.facts,
            (VIDEO,) if self.video else (),
        )


def read_task(settings: bytes, task: Task) -> Outcome:
    """Read one of many recordings; every failure is in the outcome.

    Args:
        settings: `ReadSettings`, pickled: the models are loaded once for the same bytes.
        task: what to read and where its results go.

    """
    began_s = time.perf_counter()
    try:
        session = _job(settings).run(task.recording, task.folder)
    except SpokenFindingsError as error:
        return Outcome(task, str(error), error.exit_code)
    except Exception as error:  # noqa: BLE001 - whatever it is, the other recordings are read
        why = f"{task.recording}: {_UNFORESEEN}: {type(error).__name__}: {error}"
        return Outcome(task, why, SpokenFindingsError.exit_code)
    rows = session.merged.rows
    return Outcome(
        task,
        findings=len(rows),
        to_check=sum(row.status is RowStatus.CHECK for row in rows),
        warnings=session.warnings,
        took_s=time.perf_counter() - began_s,
    )


@cache
def _job(settings: bytes) -> ReadJob:
    loaded: ReadSettings = pickle.loads(settings)  # noqa: S301 - from our own process
    return loaded.job(Path(), quiet=True)
