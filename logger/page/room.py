"""Where it all meets: the pages that are open, the session that is going on, ear, eye and desk.

Everything here runs on the server's own loop; the ear, the eye and the desk have threads of their
own and hand over what they have by `_soon`.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any, Final

from logger.core.errors import SpokenFindingsError
from logger.core.events import ArmAngle, Utterance
from logger.core.session import CautionAnswer, SessionFacts
from logger.grammar.pack import Pack
from logger.live import actions
from logger.live.session import LiveSession
from logger.live.state import LastHeard, State
from logger.page import messages
from logger.page.codes import code_advice
from logger.page.desk import Desk, DeskOutlets, Job
from logger.page.kit import Kit
from logger.page.listening import Listener, Outlets, Placed
from logger.page.looking import EyeOutlets, Looker, Shot, Sighting
from logger.page.showing import (
    gauge_facts,
    heard_facts,
    pack_facts,
    sighting_facts,
    state_facts,
)
from logger.page.speaking import read_back
from logger.page.timing import PageClock

_CLOSING_S: Final = 20.0
_SLOW_DISK_S: Final = 1.5
_NOT_LEADING: Final = "This page only watches: another tab leads."

Plain = dict[str, Any]


@dataclass(eq=False, slots=True)
class Seat:
    """One page that is open."""

    send: Callable[[Plain], None]
    """Takes a message for the page; never waits."""
    clock: PageClock


@dataclass(slots=True)
class _Going:
    """The session that is going on."""

    desk: Desk
    pack: Pack
    session_id: str = ""
    facts: SessionFacts = field(default_factory=SessionFacts)
    begun_s: float = 0.0
    """When it began, in seconds of the room's clock."""
    state: State | None = None
    heard: LastHeard | None = None
    keep_media: bool = False


class Room:
    """One session at most, one page that leads it, and any number that watch."""

    def __init__(self, kit: Kit) -> None:
        """Make a room; it must be entered from a running loop."""
        self._kit = kit
        self._loop = asyncio.get_running_loop()
        self._seats: list[Seat] = []
        self._lead: Seat | None = None
        self._pack = kit.packs[0]
        self._going: _Going | None = None
        self._listener: Listener | None = None
        self._looker: Looker | None = None
        self._troubles: dict[str, str] = {}

    # ---- pages ----

    def now_s(self) -> float:
        """Return the seconds that the room's clock says."""
        return self._kit.now_s()

    def enter(self, seat: Seat) -> None:
        """Let a page in; it leads where no other does."""
        self._seats.append(seat)
        if self._lead is None:
            self._lead = seat
        self._soon_list_to(seat)

    def leave(self, seat: Seat) -> None:
        """A page has gone: what it was saying is heard to its end."""
        self._seats.remove(seat)
        if self._lead is seat:
            self._lead = None
            if self._listener:
                self._listener.flush(lambda: None)
            for other in self._seats:
                other.send({"kind": "role", "role": "watch", "free": True})

    def _soon_list_to(self, seat: Seat) -> None:
        self._loop.create_task(self._list_to(seat))

    async def _list_to(self, seat: Seat) -> None:
        """Tell a page all there is: the packs, the kept sessions and the one that is going on."""
        try:
            kept = await asyncio.to_thread(self._kit.kept_sessions)
        except SpokenFindingsError as error:
            kept = []
            seat.send({"kind": "trouble", "id": "journal", "text": str(error)})
        going = self._going
        seat.send(
            {
                "kind": "welcome",
                "role": "lead" if self._lead is seat else "watch",
                "packs": [{"name": pack.name, "title": pack.title} for pack in self._kit.packs],
                "pack": pack_facts(going.pack if going else self._pack),
                "sessions": kept,
                "running": going.session_id if going else None,
                "camera": self._kit.open_eye is not None,
                "out": str(self._kit.out),
            }
        )
        for name, text in self._troubles.items():
            seat.send({"kind": "trouble", "id": name, "text": text})
        if going and going.state:
            seat.send(self._state_facts(going, going.state))

    def _all(self, message: Plain) -> None:
        for seat in self._seats:
            seat.send(message)

    def _trouble(self, name: str, text: str) -> None:
        """Show a trouble on every page until it is told with an empty text."""
        if self._troubles.get(name, "") == text:
            return
        if text:
            self._troubles[name] = text
        else:
            self._troubles.pop(name, None)
        self._all({"kind": "trouble", "id": name, "text": text})

    def _soon(self, function: Callable[..., None], *values: object) -> None:
        """Call a function on the loop, from any thread; nothing once the loop has ended."""
        try:
            self._loop.call_soon_threadsafe(function, *values)
        except RuntimeError:
            return

    # ---- what pages say ----

    def take(self, seat: Seat, message: messages.Incoming) -> None:
        """Do what a page asks for."""
        match message:
            case messages.Hello():
                return
            case messages.TakeOver():
                self._take_over(seat)
            case messages.CheckCode(text=text):
                seat.send({"kind": "code", "text": text, "advice": code_advice(text)})
            case _ if seat is not self._lead:
                seat.send({"kind": "refused", "text": _NOT_LEADING})
            case messages.ClockMoved(page_ms=page_ms):
                seat.clock.meet(page_ms, self.now_s())
            case messages.LookAgain():
                if self._looker:
                    self._looker.forget()
            case messages.ChoosePack(name=name):
                self._choose_pack(seat, name)
            case messages.Begin():
                self._begin(seat, message)
            case messages.Open(session_id=session_id):
                self._open(seat, session_id)
            case messages.Leave():
                self._leave_session()
            case messages.Practise():
                self._practise(seat, message)
            case _:
                self._act(seat, message)

    def _take_over(self, seat: Seat) -> None:
        if self._lead is seat:
            return
        if self._lead is not None:
            self._lead.send({"kind": "role", "role": "watch", "free": False})
            if self._listener:
                self._listener.flush(lambda: None)
        self._lead = seat
        seat.send({"kind": "role", "role": "lead", "free": False})

    def _choose_pack(self, seat: Seat, name: str) -> None:
        pack = next((pack for pack in self._kit.packs if pack.name == name), None)
        if pack is None or self._going:
            seat.send({"kind": "refused", "text": "There is no such pack to choose now."})
            return
        self._pack = pack
        self._kit.warm(pack)
        self._all({"kind": "pack", "pack": pack_facts(pack)})

    # ---- a session ----

    def _begin(self, seat: Seat, asked: messages.Begin) -> None:
        pack = self._pack
        answers = [
            CautionAnswer(caution.text, answer.present, answer.reason.strip())
            for caution, answer in zip(pack.cautions, asked.answers, strict=False)
        ]
        open_reason = any(answer.present and not answer.reason for answer in answers)
        if self._going or len(asked.answers) != len(pack.cautions) or open_reason:
            why = "Every caution must be answered, and one that is present needs a reason."
            seat.send({"kind": "refused", "text": "A session is going on." if self._going else why})
            return
        facts = SessionFacts(
            patient_code=asked.patient_code.strip() or None,
            examiner_code=asked.examiner_code.strip() or None,
            started_at=self._kit.clock().isoformat(timespec="milliseconds"),
            involved_side=asked.involved_side,
        )

        def opening() -> LiveSession:
            journal = self._kit.open_journal()
            session = LiveSession.begin(journal, facts, pack, self._kit.clock)
            session.act(actions.AnswerCautions(tuple(answers)))
            return session

        self._set_going(opening, pack, asked.keep_media)

    def _open(self, seat: Seat, session_id: str) -> None:
        if self._going:
            seat.send({"kind": "refused", "text": "A session is going on."})
            return

        def opening() -> LiveSession:
            return LiveSession.resume(self._kit.open_journal(), session_id, self._kit.clock)

        self._set_going(opening, self._pack, keep_media=False)

    def _set_going(
        self, opening: Callable[[], LiveSession], pack: Pack, keep_media: bool
    ) -> None:
        outlets = DeskOutlets(
            opened=lambda session, state: self._soon(self._opened, session, state),
            failed=lambda sentence: self._soon(self._failed, sentence),
            stuck=lambda sentence: self._soon(self._trouble, "disk", sentence),
        )
        self._going = _Going(Desk(opening, outlets), pack, keep_media=keep_media)

    def _opened(self, session: LiveSession, state: State) -> None:
        going = self._going
        if going is None:
            return
        going.session_id, going.pack = session.session_id, session.pack
        going.facts = session.facts
        going.begun_s = self.now_s() - session.now_s()
        going.heard = state.last_heard
        self._all({"kind": "pack", "pack": pack_facts(going.pack)})
        self._show(going, state)

    def _failed(self, sentence: str) -> None:
        self._going = None
        self._all({"kind": "refused", "text": sentence})
        self._all({"kind": "left"})

    def _leave_session(self) -> None:
        going, self._going = self._going, None
        self._stop_hearing()
        self._stop_looking()
        self._troubles.clear()
        self._loop.create_task(self._left(going))

    async def _left(self, going: _Going | None) -> None:
        if going:
            await asyncio.to_thread(going.desk.close, _CLOSING_S)
        self._all({"kind": "left"})
        for seat in tuple(self._seats):
            await self._list_to(seat)

    def _stop_hearing(self) -> None:
        if self._listener:
            self._listener.stop()
            self._listener = None

    def _stop_looking(self) -> None:
        if self._looker:
            self._looker.stop()
            self._looker = None

    async def close(self) -> None:
        """Hear to its end what was being said, write down what waits, and end the threads."""
        if self._listener:
            heard = asyncio.Event()
            self._listener.flush(lambda: self._soon(heard.set))
            with_limit = asyncio.wait_for(heard.wait(), _CLOSING_S)
            await asyncio.gather(with_limit, return_exceptions=True)
        self._stop_hearing()
        self._stop_looking()
        if self._going:
            await asyncio.to_thread(self._going.desk.close, _CLOSING_S)

    # ---- acts ----

    def _act(self, seat: Seat, message: messages.Incoming) -> None:
        going = self._going
        if going is None:
            seat.send({"kind": "refused", "text": "There is no session."})
            return
        if isinstance(message, messages.Save):
            self._save(seat, going)
            return
        by = going.facts.examiner_code or "page"
        if isinstance(message, messages.Do) and message.what == "end" and self._listener:
            at_s = self._session_s(seat, message.page_ms)
            self._listener.flush(lambda: self._submit(going, seat, actions.End(at_s)))
            return
        self._submit(going, seat, self._action(seat, message, by))

    def _session_s(self, seat: Seat, page_ms: float) -> float:
        going = self._going
        return max(0.0, seat.clock.at_s(page_ms) - (going.begun_s if going else 0.0))

    def _action(
        self, seat: Seat, message: messages.Incoming, by: str
    ) -> actions.Action | None:
        match message:
            case messages.Do(what=what, page_ms=page_ms, grade=grade):
                at_s = self._session_s(seat, page_ms)
                return _done(what, at_s, grade)
            case messages.ChooseSide(side=side, page_ms=page_ms):
                return actions.SetSide(self._session_s(seat, page_ms), side)
            case messages.Played(start_ms=start_ms, end_ms=end_ms):
                start_s = self._session_s(seat, start_ms)
                return actions.PlayedBack(start_s, self._session_s(seat, end_ms))
            case messages.EditRow(row=row, slot=slot, value=value):
                return actions.EditSlot(row, slot, value, by)
            case messages.Settle(row=row):
                return actions.SettleCheck(row, by)
            case _:
                return None

    def _submit(self, going: _Going, seat: Seat, action: actions.Action | None) -> None:
        if action is None:
            return
        going.desk.submit(
            Job(
                lambda session: session.act(action),
                done=lambda state: self._soon(self._show, going, state),
                refused=lambda why: self._soon(seat.send, {"kind": "refused", "text": why}),
            )
        )

    def _save(self, seat: Seat, going: _Going) -> None:
        def work(session: LiveSession) -> None:
            folder = self._kit.save(session)
            self._soon(self._all, {"kind": "saved", "folder": str(folder)})

        refused = {"kind": "refused"}
        going.desk.submit(
            Job(work, refused=lambda why: self._soon(seat.send, refused | {"text": why}))
        )

    # ---- sound ----

    def sound(self, seat: Seat, block: messages.SoundBlock) -> None:
        """Hear a block of sound from the page that leads."""
        going = self._going
        if seat is not self._lead or going is None or going.state is None:
            return
        if going.state.phase not in {"testing", "paused"}:
            return
        if self._listener is None:
            self._listener = self._new_listener(going)
        at_s = seat.clock.at_s(block.page_ms)
        self._listener.put(Placed(block.number, at_s, block.samples))

    def _new_listener(self, going: _Going) -> Listener:
        return Listener(
            lambda: self._kit.open_ear(going.pack),
            Outlets(
                heard=lambda utterance: self._heard(going, utterance),
                ready=lambda: self._soon(self._all, {"kind": "ready"}),
                broken=lambda sentence: self._soon(self._trouble, "ear", sentence),
                missing=lambda start_s, length_s: self._missing(going, start_s, length_s),
            ),
        )

    def _heard(self, going: _Going, utterance: Utterance) -> None:
        """Take an utterance, on the ear's thread."""
        placed = replace(
            utterance,
            start_s=max(0.0, utterance.start_s - going.begun_s),
            end_s=max(0.0, utterance.end_s - going.begun_s),
        )
        going.desk.submit(
            Job(
                lambda session: session.hear(placed),
                done=lambda state: self._soon(self._show, going, state),
                refused=lambda why: self._soon(self._trouble, "heard", why),
            )
        )

    def _missing(self, going: _Going, start_s: float, length_s: float) -> None:
        """Say that sound is missing, on the page and in what is kept; on the ear's thread."""
        at_s = max(0.0, start_s - going.begun_s)
        text = f"{length_s:.0f} s of sound are missing from {at_s:.0f} s on: say again what was said."
        going.desk.submit(
            Job(
                lambda session: session.act(actions.Warn(at_s, text)),
                done=lambda state: self._soon(self._show, going, state),
            )
        )
        self._soon(self._all, {"kind": "notice", "text": text})

    # ---- pictures ----

    def picture(self, seat: Seat, picture: messages.Picture) -> None:
        """Look at a picture from the page that leads."""
        if seat is not self._lead or self._kit.open_eye is None:
            seat.send({"kind": "ack", "number": picture.number})
            return
        if self._looker is None:
            outlets = EyeOutlets(
                seen=self._seen,
                done=lambda number: self._soon(self._ack, number),
                broken=lambda sentence: self._soon(self._trouble, "eye", sentence),
            )
            self._looker = Looker(self._kit.open_eye, outlets)
        at_s = seat.clock.at_s(picture.page_ms)
        self._looker.put(Shot(picture.number, picture.page_ms, at_s, picture.jpeg))

    def _ack(self, number: int) -> None:
        if self._lead:
            self._lead.send({"kind": "ack", "number": number})

    def _seen(self, sighting: Sighting) -> None:
        """Take what was seen, on the eye's thread."""
        going = self._going
        if going is None or going.state is None or going.state.phase not in {"testing", "paused"}:
            facts = {"kind": "gauge", "window": None, "side": None} | sighting_facts(sighting)
            self._soon(self._all, facts)
            return
        angles = [_moved(angle, going.begun_s) for angle in sighting.look.angles]
        going.desk.submit(
            Job(
                lambda session: session.see(angles),
                done=lambda state: self._soon(self._show_gauge, going, state, sighting),
                may_go=True,
            )
        )

    # ---- showing ----

    def _show(self, going: _Going, state: State) -> None:
        if going is not self._going:
            return
        going.state = state
        self._all(self._state_facts(going, state))
        if state.last_heard is not None and state.last_heard != going.heard:
            going.heard = state.last_heard
            self._all(heard_facts(state.last_heard, self._say(going, state)))
        if state.phase == "ended":
            self._stop_hearing()
            self._stop_looking()

    def _state_facts(self, going: _Going, state: State) -> Plain:
        sent = state_facts(state, going.facts, going.pack)
        sent["now_s"] = round(max(0.0, self.now_s() - going.begun_s), 1)
        sent["session"] = going.session_id
        sent["keep_media"] = going.keep_media
        return sent

    def _say(self, going: _Going, state: State) -> str:
        heard = state.last_heard
        if heard is None or heard.row is None or heard.kind not in {"logged", "completed", "check"}:
            return ""
        row = next((row for row in state.rows if row.number == heard.row), None)
        return "" if row is None else read_back(row.finding, going.pack)

    def _show_gauge(self, going: _Going, state: State, sighting: Sighting) -> None:
        if going is self._going:
            self._all(gauge_facts(state.gauge, state.window, sighting))

    def tick(self) -> None:
        """Say what falls behind; called about once a second."""
        behind = ""
        if self._listener and self._listener.says_behind:
            behind = f"Hearing is {self._listener.behind_s:.0f} s behind: it catches up in pauses."
        self._trouble("behind", behind)
        waiting_s = self._going.desk.waiting_s() if self._going else 0.0
        slow = waiting_s > _SLOW_DISK_S and "disk" not in self._troubles
        text = "The disk is slow: rows are shown late, once they are kept." if slow else ""
        self._trouble("slow", text)


def _moved(angle: ArmAngle, by_s: float) -> ArmAngle:
    return replace(angle, time_s=max(0.0, angle.time_s - by_s))


def _done(what: str, at_s: float, grade: str | None) -> actions.Action:
    match what:
        case "check_position":
            return actions.CheckPosition(at_s)
        case "withdraw":
            return actions.Withdraw(at_s)
        case "pause":
            return actions.Pause(at_s)
        case "resume":
            return actions.Resume(at_s)
        case "begin_bout":
            return actions.BeginBout(at_s, grade)
        case "end_bout":
            return actions.EndBout(at_s)
        case _:
            return actions.End(at_s)
