"""A session while it is going on: kept on disk first, and only then shown."""

from __future__ import annotations

import secrets
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from datetime import datetime
from importlib.metadata import version
from typing import Final, Self

from logger.core.editing import rows_in_force
from logger.core.errors import JournalError
from logger.core.events import ArmAngle, Finding, RowStatus, Utterance
from logger.core.session import KeptRow, SessionFacts
from logger.core.sound import SAMPLE_RATE_HZ
from logger.core.statements import SetupWindow
from logger.files.session_json import (
    PackFacts,
    RecordingFacts,
    SessionRecord,
    UnplacedWords,
    heard_and_talk,
    heard_words,
)
from logger.grammar.loading import pack_of_text
from logger.grammar.pack import Pack, pack_digest
from logger.keeping.journal import Journal, KeptPack
from logger.live import actions
from logger.live.asking import Asked, check_action, edited, settled
from logger.live.events import Begun, Edited, Happening, Said, Seen, from_event, to_event
from logger.live.fold import Fold
from logger.live.gauge import gauge_of
from logger.live.state import Phase, State

Clock = Callable[[], datetime]
"""Returns the time now, with its offset from UTC."""

BATCH_S: Final = 2.0
"""Angles are kept in batches of so many seconds, or with whatever else happens before."""


class LiveSession:
    """Takes what is heard, seen and pressed, keeps it, and says what there is to show.

    Everything but angles is on the disk before it changes anything; angles are so at most
    `BATCH_S` later, and before an utterance that is judged by them. What raises a `JournalError`
    has changed nothing and may be tried again.
    """

    def __init__(self, journal: Journal, session_id: str, pack: Pack, clock: Clock) -> None:
        """Take the session for this process; `begin` and `resume` are the ways in."""
        self.session_id = session_id
        self.pack = pack
        self._journal = journal
        self._clock = clock
        self._fold = Fold(pack)
        self._pending: list[ArmAngle] = []
        self._listed: tuple[int, bool] = (0, False)
        self._shown: State | None = None
        self._lock = journal.own(session_id)

    @classmethod
    def begin(cls, journal: Journal, facts: SessionFacts, pack: Pack, clock: Clock) -> Self:
        """Begin a session; where `facts` do not say when it started, it is now.

        Raises:
            JournalError: if it cannot be kept.

        """
        now = clock()
        facts = replace(facts, started_at=facts.started_at or now.isoformat())
        session_id = f"{now:%Y%m%d-%H%M%S}-{secrets.token_hex(3)}"
        session = cls(journal, session_id, pack, clock)
        begun = Begun(facts)
        try:
            journal.begin(
                session_id,
                str(facts.started_at),
                facts.patient_code,
                KeptPack(pack.name, pack.text),
                to_event(begun, session._fold.parser),
            )
        except JournalError:
            session.close()
            raise
        session._fold.apply(begun)
        return session

    @classmethod
    def resume(cls, journal: Journal, session_id: str, clock: Clock) -> Self:
        """Go on with a session that is in the journal, with the pack it was begun with.

        Raises:
            JournalError: if there is no such session, another process has it, or it is damaged.
            PackError: if its pack can no longer be read.

        """
        kept = journal.pack(session_id)
        session = cls(journal, session_id, pack_of_text(kept.text, kept.name), clock)
        try:
            for event in journal.events(session_id):
                session._fold.apply(from_event(event))
        except JournalError:
            session.close()
            raise
        session._fold.last_heard = None
        session._list()
        return session

    @property
    def facts(self) -> SessionFacts:
        """Who, when and after which answers."""
        return self._fold.facts

    @property
    def until_s(self) -> float:
        """The newest time in anything that happened."""
        return self._fold.last_s

    def now_s(self) -> float:
        """Return the seconds since the session began, to which all times count.

        They never run back behind what has happened, whatever the clock does.
        """
        begun = datetime.fromisoformat(str(self.facts.started_at))
        return max(0.0, self._fold.last_s, (self._clock() - begun).total_seconds())

    def hear(self, utterance: Utterance) -> State:
        """Take an utterance, its times as seconds since the session began.

        Raises:
            JournalError: if it cannot be kept; nothing has changed.

        """
        self._keep(Said(utterance))
        return self.state()

    def see(self, angles: Sequence[ArmAngle]) -> State:
        """Take what the eye made of a frame; times must not fall.

        Raises:
            JournalError: if a batch of angles cannot be kept; they are kept with the next.

        """
        self._fold.apply(Seen(tuple(angles)))
        self._pending += angles
        if self._pending and self._pending[-1].time_s - self._pending[0].time_s >= BATCH_S:
            self._write(())
        return self._gauged()

    def act(self, action: actions.Action) -> State:
        """Do what a person asked for with a key or on the page.

        Raises:
            UsageError: if it cannot be done as asked; nothing has changed.
            JournalError: if it cannot be kept; nothing has changed.

        """
        check_action(action, self.pack)
        happening: Happening
        if isinstance(action, actions.SettleCheck):
            happening = Edited(settled(self._rows(), action.row, self._asked(action.by)))
        elif isinstance(action, actions.EditSlot):
            asked = self._asked(action.by)
            happening = Edited(edited(self._rows(), action, asked, self.pack))
        else:
            happening = action
        if not isinstance(happening, Edited) or happening.edits:
            self._keep(happening)
        return self.state()

    def state(self) -> State:
        """Return what there is to show now."""
        self._shown = self._whole()
        return self._gauged()

    def angles(self) -> tuple[ArmAngle, ...]:
        """Return every angle of the session, in the order of time.

        Raises:
            JournalError: if the journal cannot be read.

        """
        events = self._journal.events(self.session_id)
        seen = [from_event(event) for event in events if event.kind == "seen"]
        kept = [sample for each in seen if isinstance(each, Seen) for sample in each.angles]
        return (*kept, *self._pending)

    def rows(self) -> tuple[Finding, ...]:
        """Return the rows in force: what was heard, with the edits."""
        return self._rows()

    def record(self, engine: str, options: Mapping[str, str | bool]) -> SessionRecord:
        """Return the session for session.json: rows as heard, and the edits beside them."""
        fold, merged = self._fold, self._fold.merged()
        heard, talk = heard_and_talk(fold.heard)
        return SessionRecord(
            tool_version=version("spoken-findings"),
            recording=self._recording_facts(),
            pack=PackFacts(self.pack.name, pack_digest(self.pack)),
            engine=engine,
            models=tuple(str(value) for key, value in options.items() if key.endswith("model")),
            options=options,
            findings=merged.rows,
            position_checks=merged.position_checks,
            unplaced=tuple(UnplacedWords(heard_words(u), reason) for u, reason in merged.unplaced),
            heard=heard,
            talk=talk,
            warnings=tuple(fold.warnings),
            facts=fold.facts,
            bouts=merged.bouts,
            edits=fold.edits(),
        )

    def close(self) -> None:
        """Keep what is pending and let go of the session, so that another process may have it."""
        with suppress(JournalError):
            # What cannot be kept now was told when it was tried before.
            self._write(())
        self._lock.release()

    def _keep(self, happening: Happening) -> None:
        self._write((happening,))
        self._fold.apply(happening)
        self._list()

    def _write(self, happenings: Iterable[Happening]) -> None:
        """Keep the angles that wait and what has happened, all or none."""
        batch = [Seen(tuple(self._pending))] if self._pending else []
        events = [to_event(each, self._fold.parser) for each in (*batch, *happenings)]
        if events:
            self._journal.append(self.session_id, *events)
        self._pending.clear()

    def _list(self) -> None:
        """Keep what the list of sessions shows; it is only that, and may lag behind."""
        listed = len(self._fold.merged().rows), self._fold.table.stopped == "ended"
        if listed != self._listed:
            with suppress(JournalError):
                self._journal.summarise(self.session_id, rows=listed[0], ended=listed[1])
                self._listed = listed

    def _asked(self, by: str) -> Asked:
        return Asked(by, self._clock().isoformat(timespec="seconds"))

    def _rows(self) -> tuple[Finding, ...]:
        return rows_in_force(self._fold.merged().rows, self._fold.edits())

    def _kept_rows(self) -> tuple[KeptRow, ...]:
        edits = self._fold.edits()
        heard = self._fold.merged().rows
        return tuple(
            KeptRow(
                number,
                was,
                now,
                tuple(edit for edit in edits if edit.row == number),
                any(e.row == number and (e.slot, e.after) == ("status", "logged") for e in edits)
                and now.status is RowStatus.LOGGED,
            )
            for number, (was, now) in enumerate(
                zip(heard, rows_in_force(heard, edits), strict=True), start=1
            )
        )

    def _whole(self) -> State:
        fold, table, merged = self._fold, self._fold.table, self._fold.merged()
        rows = self._kept_rows()
        standing = [r.finding for r in rows if r.finding.status is not RowStatus.WITHDRAWN]
        test = standing[-1].test if standing else None
        number = table.open_row(self.now_s())
        running = table.running_bout
        return State(
            phase=self._phase(),
            side=table.side,
            side_doubts=table.side_doubts,
            test=test,
            window=self._window(test),
            gauge=gauge_of(table.trace, table.side, self._window(test), self.now_s()),
            open_row=rows[number - 1] if number else None,
            rows=rows,
            last_heard=fold.last_heard,
            bouts=merged.bouts,
            running_bout=running,
            position_checks=merged.position_checks,
            unplaced=merged.unplaced,
            cautions=fold.cautions,
            warnings=tuple(fold.warnings),
        )

    def _gauged(self) -> State:
        """Return the state with the arm as it is now; the rest only changes when something does."""
        table, now_s = self._fold.table, self.now_s()
        if self._shown is None or table.unsettled or self._closed(self._shown, now_s):
            self._shown = self._whole()
        gauge = gauge_of(table.trace, table.side, self._shown.window, now_s)
        return replace(self._shown, gauge=gauge)

    def _closed(self, shown: State, now_s: float) -> bool:
        return shown.open_row is not None and self._fold.table.open_row(now_s) is None

    def _phase(self) -> Phase:
        stopped = self._fold.table.stopped
        if self._fold.asks_cautions and stopped != "ended":
            return "cautions"
        return stopped or "testing"

    def _window(self, test: str | None) -> SetupWindow | None:
        return self.pack.setup.get(test) if test else None

    def _recording_facts(self) -> RecordingFacts:
        return RecordingFacts(
            name=f"live session {self.session_id}",
            duration_s=self._fold.last_s,
            has_audio=True,
            has_video=self._fold.seen_any,
            sample_rate_hz=SAMPLE_RATE_HZ,
            width=None,
            height=None,
            fps=None,
            rotation_deg=0,
            truncated_at_s=None,
        )
