"""The session that is going on: its desk and its ear, and what it says to the pages.

Methods are for the server's loop. The ear's and the desk's threads hand over by `soon`.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import Any, Final

from logger.core.events import ArmAngle, Utterance
from logger.core.session import CautionAnswer, SessionFacts
from logger.grammar.pack import Pack
from logger.live import actions
from logger.live.session import LiveSession
from logger.live.state import LastHeard, State
from logger.page import messages
from logger.page.desk import Desk, DeskOutlets, Job
from logger.page.footage import Footage
from logger.page.kit import Kit
from logger.page.listening import Listener, Outlets, Placed
from logger.page.looking import Shot, Sighting
from logger.page.seats import Plain, Seat, Seats
from logger.page.showing import gauge_facts, heard_facts, pack_facts, state_facts
from logger.page.speaking import read_back

_CLOSING_S: Final = 20.0
_SLOW_DISK_S: Final = 1.5
_OPEN_PHASES: Final = ("testing", "paused")

Soon = Callable[..., None]
"""Calls a function with its arguments on the loop, from any thread."""


@dataclass(frozen=True, slots=True)
class Around:
    """What a session is served with."""

    kit: Kit
    seats: Seats
    soon: Soon
    now_s: Callable[[], float]
    """The room's clock, to which the pages' are tied."""


@dataclass(frozen=True, slots=True)
class Opening:
    """How a session is opened, and with what."""

    open_session: Callable[[], LiveSession]
    pack: Pack
    keep_media: bool = False


class Going:
    """One session from when it is opened until it is left."""

    def __init__(self, around: Around, opening: Opening, failed: Callable[[str], None]) -> None:
        """Open it; `failed` is called on the loop with why it cannot be opened."""
        self._kit, self._seats, self._soon = around.kit, around.seats, around.soon
        self._now_s = around.now_s
        self._listener: Listener | None = None
        self._footage: Footage | None = None
        self._heard: LastHeard | None = None
        self._facts = SessionFacts()
        self._begun_s = 0.0
        self._heard_until_s: float | None = None
        self.pack = opening.pack
        self.keep_media = opening.keep_media
        self.session_id = ""
        self.state: State | None = None
        self._desk = Desk(
            opening.open_session,
            DeskOutlets(
                opened=lambda session, state: self._soon(self._opened, session, state),
                failed=lambda sentence: self._soon(failed, sentence),
                stuck=lambda sentence: self._soon(self._seats.trouble, "disk", sentence),
            ),
        )

    @property
    def is_open(self) -> bool:
        """Whether sound and angles count for it."""
        return self.state is not None and self.state.phase in _OPEN_PHASES

    @property
    def _is_testing(self) -> bool:
        return self.state is not None and self.state.phase == "testing"

    @property
    def behind_s(self) -> float:
        """How much sound waits to be heard."""
        return self._listener.behind_s if self._listener else 0.0

    def _opened(self, session: LiveSession, state: State) -> None:
        self.session_id, self.pack, self._facts = session.session_id, session.pack, session.facts
        self._begun_s = self._now_s() - session.now_s()
        if state.rows:
            # What was said while the program did not run is missing.
            self._heard_until_s = self._begun_s + session.until_s
        self._heard = state.last_heard
        if self.keep_media:
            path = self._kit.out / f"session-{self.session_id}.mkv"
            tell = self._seats.trouble
            self._footage = Footage(path, lambda why: self._soon(tell, "footage", why))
        self._seats.all({"kind": "pack", "pack": pack_facts(self.pack)})
        self._show(state)

    # ---- acts ----

    def act(self, seat: Seat, message: messages.Incoming) -> None:
        """Do what a key, a button or the table asks for."""
        if isinstance(message, messages.Save):
            self._save(seat)
            return
        action = self._action(seat, message)
        if action is None:
            seat.refuse("That cannot be done in a session.")
        elif isinstance(action, actions.End) and self._listener:
            # What was said before the key was pressed is heard first.
            self._listener.flush(lambda: self._submit(seat, action))
        else:
            self._submit(seat, action)

    def answer(self, seat: Seat, answers: tuple[CautionAnswer, ...]) -> None:
        """Answer the cautions of a session that was stopped before they were."""
        self._submit(seat, actions.AnswerCautions(answers))

    @property
    def asks_cautions(self) -> bool:
        """Whether the cautions are still to be answered."""
        return self.state is not None and self.state.phase == "cautions"

    def _action(self, seat: Seat, message: messages.Incoming) -> actions.Action | None:
        by = self._facts.examiner_code or "page"
        match message:
            case messages.Do(what=what, page_ms=page_ms, grade=grade):
                return _asked(what, self._at_s(seat, page_ms), grade)
            case messages.ChooseSide(side=side, page_ms=page_ms):
                return actions.SetSide(self._at_s(seat, page_ms), side)
            case messages.Played(start_ms=start_ms, end_ms=end_ms):
                return actions.PlayedBack(self._at_s(seat, start_ms), self._at_s(seat, end_ms))
            case messages.EditRow(row=row, slot=slot, value=value):
                return actions.EditSlot(row, slot, value, by)
            case messages.Settle(row=row):
                return actions.SettleCheck(row, by)
            case _:
                return None

    def _at_s(self, seat: Seat, page_ms: float) -> float:
        return self._in_session(seat.clock.at_s(page_ms))

    def _in_session(self, room_s: float) -> float:
        return max(0.0, room_s - self._begun_s)

    def _submit(self, seat: Seat, action: actions.Action) -> None:
        self._desk.submit(
            Job(
                lambda session: session.act(action),
                done=lambda state: self._soon(self._show, state),
                refused=lambda why: self._soon(seat.refuse, why),
            )
        )

    def _save(self, seat: Seat) -> None:
        def work(session: LiveSession) -> None:
            folder = self._kit.save(session)
            self._soon(self._seats.all, {"kind": "saved", "folder": str(folder)})

        self._desk.submit(Job(work, refused=lambda why: self._soon(seat.refuse, why)))

    # ---- sound ----

    def sound(self, seat: Seat, block: messages.SoundBlock) -> None:
        """Hear a block of sound."""
        if not self.is_open:
            return
        if self._listener is None:
            self._listener = self._new_listener()
        at_s = seat.clock.at_s(block.page_ms)
        self._listener.put(Placed(block.number, at_s, block.samples))
        if self._footage and self._is_testing:
            self._footage.sound(self._in_session(at_s), block.samples)

    def sound_ends(self) -> None:
        """Hear to its end what was being said: no more comes from that page."""
        if self._listener:
            self._listener.flush(lambda: None)

    def _new_listener(self) -> Listener:
        tell, soon = self._seats, self._soon
        return Listener(
            lambda: self._kit.open_ear(self.pack),
            Outlets(
                heard=self._hear,
                ready=lambda: soon(tell.all, {"kind": "ready"}),
                broken=lambda sentence: soon(tell.trouble, "ear", sentence),
                missing=self._missing,
                speech=lambda on: soon(tell.all, {"kind": "speech", "on": on}),
            ),
            until_s=self._heard_until_s,
        )

    def _hear(self, utterance: Utterance) -> None:
        """Take an utterance, on the ear's thread."""
        start_s, end_s = self._in_session(utterance.start_s), self._in_session(utterance.end_s)
        placed = replace(utterance, start_s=start_s, end_s=end_s)
        self._desk.submit(
            Job(
                lambda session: session.hear(placed),
                done=lambda state: self._soon(self._show, state),
                refused=lambda why: self._soon(self._seats.trouble, "heard", why),
            )
        )

    def _missing(self, start_s: float, length_s: float) -> None:
        """Say that sound is missing, on the page and in what is kept; on the ear's thread."""
        at_s = self._in_session(start_s)
        self._desk.submit(
            Job(
                lambda session: session.act(actions.SoundMissing(at_s, at_s + length_s)),
                done=lambda state: self._soon(self._show, state),
            )
        )

    # ---- pictures ----

    def picture(self, shot: Shot) -> None:
        """Keep a picture, if pictures are kept."""
        if self._footage and self._is_testing:
            self._footage.picture(self._in_session(shot.at_s), shot.jpeg)

    def seen(self, sighting: Sighting) -> None:
        """Take what was seen in a picture, on the eye's thread."""
        angles = [_at(angle, self._in_session(angle.time_s)) for angle in sighting.look.angles]
        self._desk.submit(
            Job(
                lambda session: session.see(angles),
                done=lambda state: self._soon(self._show_gauge, state, sighting),
                may_go=True,
            )
        )

    # ---- showing ----

    def facts(self) -> Plain | None:
        """Return the whole state for a page that has just been opened; None before there is one."""
        if self.state is None:
            return None
        return state_facts(self.state, self._facts, self.pack) | {
            "now_s": round(self._in_session(self._now_s()), 1),
            "session": self.session_id,
            "keep_media": self.keep_media,
        }

    def _show(self, state: State) -> None:
        self.state = state
        facts = self.facts()
        if facts:
            self._seats.all(facts)
        if state.last_heard is not None and state.last_heard != self._heard:
            self._heard = state.last_heard
            self._seats.all(heard_facts(state.last_heard, self._read_back(state)))
        if not self.is_open and self._listener:
            self._listener.stop()
            self._listener = None
            # The session was ended: what is said from now on is not meant for it.
            self._heard_until_s = None

    def _read_back(self, state: State) -> str:
        heard = state.last_heard
        if heard is None or heard.kind not in {"logged", "completed", "check"}:
            return ""
        row = next((row for row in state.rows if row.number == heard.row), None)
        return "" if row is None else read_back(row.finding, self.pack)

    def _show_gauge(self, state: State, sighting: Sighting) -> None:
        self._seats.all(gauge_facts(state.gauge, state.window, state.side, sighting))

    def tick(self) -> None:
        """Say what falls behind; called about once a second."""
        behind, slow = "", ""
        if self._listener and self._listener.says_behind:
            behind = f"Hearing is {self._listener.behind_s:.0f} s behind: it catches up in pauses."
        if self._desk.waiting_s() > _SLOW_DISK_S and "disk" not in self._seats.troubles:
            slow = "The disk is slow: rows are shown late, once they are kept."
        self._seats.trouble("behind", behind)
        self._seats.trouble("slow", slow)

    # ---- the end ----

    async def close(self) -> None:
        """Hear to its end what was being said, write down what waits, and end the threads."""
        listener, self._listener = self._listener, None
        if listener:
            heard = asyncio.Event()
            listener.flush(lambda: self._soon(heard.set))
            with suppress(TimeoutError):
                await asyncio.wait_for(heard.wait(), _CLOSING_S)
            listener.stop()
        if self._footage:
            await asyncio.to_thread(self._footage.close)
        await asyncio.to_thread(self._desk.close, _CLOSING_S)


def _at(angle: ArmAngle, time_s: float) -> ArmAngle:
    return replace(angle, time_s=time_s)


def _asked(what: str, at_s: float, grade: str | None) -> actions.Action:
    if what == "begin_bout":
        return actions.BeginBout(at_s, grade)
    plain: dict[str, Any] = {
        "check_position": actions.CheckPosition,
        "withdraw": actions.Withdraw,
        "pause": actions.Pause,
        "resume": actions.Resume,
        "end_bout": actions.EndBout,
        "end": actions.End,
    }
    action: actions.Action = plain[what](at_s)
    return action
