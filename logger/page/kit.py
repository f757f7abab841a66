"""What the room works with, all of it passed in: models, the journal, folders and the clock."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

from logger.core.errors import SpokenFindingsError
from logger.files.saving import save_session
from logger.grammar.pack import Pack
from logger.hearing.ear import Ear
from logger.hearing.engines import Recogniser
from logger.keeping.journal import Journal
from logger.live.session import LiveSession
from logger.page.listening import HearsBlocks
from logger.page.looking import LooksAtFrames
from logger.seeing.bodies import Region
from logger.seeing.live import LiveEye
from logger.seeing.pose import PoseModel
from logger.seeing.settings import MOST_PEOPLE, WatchSettings


class Recognisers:
    """Opens each pack's recogniser once; those who ask while it is opened wait."""

    def __init__(self, open_recogniser: Callable[[Pack], Recogniser]) -> None:
        """Open with `open_recogniser`."""
        self._open = open_recogniser
        self._lock = threading.Lock()
        self._opened: dict[str, Recogniser] = {}

    def of(self, pack: Pack) -> Recogniser:
        """Return the recogniser of a pack; raises what opening it raises."""
        with self._lock:
            # The text of a pack may have been changed since a session with it was begun.
            key = repr(pack)
            if key not in self._opened:
                self._opened[key] = self._open(pack)
            return self._opened[key]


@dataclass(slots=True)
class RisingSeconds:
    """Seconds of the clock that dates the sessions, which never run back.

    It goes on while the machine sleeps, which a monotonic clock does not everywhere.
    """

    clock: Callable[[], datetime]
    _last_s: float = 0.0

    def __call__(self) -> float:
        """Return the seconds now."""
        self._last_s = max(self._last_s, self.clock().timestamp())
        return self._last_s


@dataclass(frozen=True, slots=True)
class Kit:
    """What the room works with."""

    packs: tuple[Pack, ...]
    """At least one; the first is chosen at the start."""
    journal: Journal
    """Stays the caller's to close."""
    out: Path
    """Where results are saved, a folder for each session."""
    recognisers: Recognisers
    engine: str
    open_eye: Callable[[], AbstractContextManager[LooksAtFrames]] | None
    """None where there is no camera to be used."""
    clock: Callable[[], datetime]
    options: Mapping[str, str | bool] = field(default_factory=dict)

    def open_ear(self, pack: Pack) -> Callable[[], HearsBlocks]:
        """Open the recogniser of a pack; return what makes an ear with it."""
        recogniser = self.recognisers.of(pack)
        return lambda: Ear(recogniser, ahead=True)

    def warm(self, pack: Pack) -> None:
        """Begin to open what a session with this pack needs, so that it begins at once."""

        def opening() -> None:
            try:
                self.recognisers.of(pack)
            except SpokenFindingsError:
                return  # Told when a session needs it.

        threading.Thread(target=opening, name="warming", daemon=True).start()

    def kept_sessions(self) -> list[dict[str, Any]]:
        """Return the sessions in the journal for the page, newest first."""
        return [
            {
                "id": kept.session_id,
                "started_at": kept.started_at,
                "patient_code": kept.patient_code,
                "rows": kept.rows,
                "ended": kept.ended,
                "in_use": kept.in_use,
            }
            for kept in self.journal.sessions()
        ]

    def save(self, session: LiveSession) -> Path:
        """Write a session's files and return their folder.

        Raises:
            OutputError: if that cannot be done.

        """
        folder = self.out / f"session-{session.session_id}"
        record = session.record(self.engine, self.options)
        save_session(folder, record, session.angles())
        return folder


def pose_eye(
    bundle: Path, region: Region | None = None
) -> Callable[[], AbstractContextManager[LiveEye]]:
    """Return what opens an eye with the pose model in `bundle`, the patient in `region`."""

    @contextmanager
    def opening() -> Iterator[LiveEye]:
        with PoseModel(bundle, max_people=MOST_PEOPLE) as model:
            yield LiveEye(WatchSettings(region=region), model)

    return opening
