"""Where it all meets: the pages that are open, the session or practice that goes on, and the eye.

Everything here runs on the server's own loop; threads hand over what they have by `_soon`.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping
from typing import Any, Final

from logger.core.errors import SpokenFindingsError, UsageError
from logger.core.session import CautionAnswer, SessionFacts
from logger.live import actions
from logger.live.session import LiveSession
from logger.page import messages
from logger.page.codes import code_advice
from logger.page.going import Around, Going, Opening
from logger.page.kit import Kit, RisingSeconds
from logger.page.looking import EyeOutlets, Looker, Shot, Sighting
from logger.page.practising import Practising
from logger.page.seats import Plain, Seat, Seats
from logger.page.showing import pack_facts, sighting_facts

_NOT_LEADING: Final = "This page only watches: another tab leads."
_BUSY: Final = "A session is going on: go back to the start page first."

_LATE_S: Final = 1.0
_REST_SHARE: Final = 0.1
_MOST_REST_S: Final = 0.3
"""Where more sound than `_LATE_S` waits, pictures rest for a share of it: rows come before angles.
The most is short enough for an arm to be seen holding still."""

Handler = Callable[[Seat, Any], None]


class Room:
    """One session at most, one page that leads it, and any number that watch."""

    def __init__(self, kit: Kit) -> None:
        """Make a room, on the running loop."""
        self._kit = kit
        self._loop = asyncio.get_running_loop()
        self.now_s = RisingSeconds(kit.clock)
        """The room's clock, to which the pages' are tied."""
        self._seats = Seats()
        self._pack = kit.packs[0]
        self._going: Going | None = None
        self._practice: Practising | None = None
        self._looker: Looker | None = None
        self._tasks: set[asyncio.Task[None]] = set()
        self._handlers: Mapping[type, Handler] = {
            messages.Hello: lambda _seat, _message: None,
            messages.TakeOver: self._take_over,
            messages.CheckCode: self._check_code,
            messages.ClockMoved: self._clock_moved,
            messages.LookAgain: self._look_again,
            messages.ChoosePack: self._choose_pack,
            messages.Begin: self._begin,
            messages.Open: self._open,
            messages.Leave: self._leave,
            messages.Practise: self._practise,
        }

    def _soon(self, function: Callable[..., None], *values: object) -> None:
        """Call a function on the loop, from any thread; nothing once the loop has ended."""
        try:
            self._loop.call_soon_threadsafe(function, *values)
        except RuntimeError:
            return

    def _start(self, doing: Any) -> None:
        task = self._loop.create_task(doing)
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    # ---- pages ----

    def enter(self, seat: Seat) -> None:
        """Let a page in, and tell it all there is."""
        self._seats.enter(seat)
        self._start(self._welcome(seat))

    def leave(self, seat: Seat) -> None:
        """Let a page go; what was being said before it is heard to its end."""
        if self._seats.leave(seat) and self._going:
            self._going.sound_ends()

    async def _welcome(self, seat: Seat) -> None:
        try:
            kept = await asyncio.to_thread(self._kit.kept_sessions)
        except SpokenFindingsError as error:
            kept = []
            seat.send({"kind": "trouble", "id": "journal", "text": str(error)})
        going = self._going
        seat.send(
            {
                "kind": "welcome",
                "role": self._seats.role(seat),
                "packs": [{"name": pack.name, "title": pack.title} for pack in self._kit.packs],
                "pack": pack_facts(going.pack if going else self._pack),
                "sessions": kept,
                "running": going is not None,
                "camera": self._kit.open_eye is not None,
            }
        )
        for name, text in self._seats.troubles.items():
            seat.send({"kind": "trouble", "id": name, "text": text})
        if going and (facts := going.facts()):
            seat.send(facts)

    def take(self, seat: Seat, message: messages.Incoming) -> None:
        """Do what a page asks for."""
        anyone = isinstance(message, messages.Hello | messages.TakeOver | messages.CheckCode)
        handler = self._handlers.get(type(message))
        if not anyone and seat is not self._seats.lead:
            seat.refuse(_NOT_LEADING)
        elif handler:
            handler(seat, message)
        elif self._going:
            self._going.act(seat, message)
        else:
            seat.refuse("There is no session.")

    def _take_over(self, seat: Seat, _: messages.TakeOver) -> None:
        if self._seats.take_over(seat) and self._going:
            self._going.sound_ends()

    def _check_code(self, seat: Seat, asked: messages.CheckCode) -> None:
        seat.send({"kind": "code", "text": asked.text, "advice": code_advice(asked.text)})

    def _clock_moved(self, seat: Seat, message: messages.ClockMoved) -> None:
        seat.clock.meet(message.page_ms, self.now_s())

    def _choose_pack(self, seat: Seat, asked: messages.ChoosePack) -> None:
        pack = next((pack for pack in self._kit.packs if pack.name == asked.name), None)
        if pack is None or self._going:
            seat.refuse(_BUSY if self._going else "There is no such pack.")
            return
        self._pack = pack
        self._kit.warm(pack)
        self._seats.all({"kind": "pack", "pack": pack_facts(pack)})

    # ---- a session ----

    def _begin(self, seat: Seat, asked: messages.Begin) -> None:
        going, kit = self._going, self._kit
        pack = going.pack if going else self._pack
        answers = tuple(
            CautionAnswer(caution.text, answer.present, answer.reason.strip())
            for caution, answer in zip(pack.cautions, asked.answers, strict=False)
        )
        if len(asked.answers) != len(pack.cautions):
            seat.refuse("Every caution must be answered before testing.")
            return
        if any(answer.present and not answer.reason for answer in answers):
            seat.refuse("A caution that is present needs the reason for testing all the same.")
            return
        if going and going.asks_cautions:
            going.answer(seat, answers)
            return
        facts = SessionFacts(
            patient_code=asked.patient_code.strip() or None,
            examiner_code=asked.examiner_code.strip() or None,
            started_at=kit.clock().isoformat(timespec="milliseconds"),
            involved_side=asked.involved_side,
        )

        def opening() -> LiveSession:
            session = LiveSession.begin(kit.journal, facts, pack, kit.clock)
            session.act(actions.AnswerCautions(answers))
            return session

        self._set_going(seat, Opening(opening, pack, asked.keep_media))

    def _open(self, seat: Seat, asked: messages.Open) -> None:
        kit = self._kit

        def opening() -> LiveSession:
            return LiveSession.resume(kit.journal, asked.session_id, kit.clock)

        self._set_going(seat, Opening(opening, self._pack))

    def _set_going(self, seat: Seat, opening: Opening) -> None:
        if self._going:
            seat.refuse(_BUSY)
            return
        self._practice = None
        around = Around(self._kit, self._seats, self._soon, self.now_s)
        self._going = Going(around, opening, self._failed)

    def _failed(self, sentence: str) -> None:
        self._going = None
        self._seats.all({"kind": "refused", "text": sentence})
        self._start(self._tell_left())

    def _leave(self, _seat: Seat, _: messages.Leave) -> None:
        self._practice = None
        going, self._going = self._going, None
        self._stop_looking()
        self._start(self._left(going))

    async def _left(self, going: Going | None) -> None:
        if going:
            await going.close()
        self._seats.no_troubles()
        await self._tell_left()

    async def _tell_left(self) -> None:
        self._seats.all({"kind": "left"})
        for seat in tuple(self._seats.taken):
            await self._welcome(seat)

    async def close(self) -> None:
        """End what is going on; nothing that was heard is lost."""
        self._stop_looking()
        if self._going:
            await self._going.close()

    # ---- sound and pictures ----

    def sound(self, seat: Seat, block: messages.SoundBlock) -> None:
        """Hear a block of sound from the page that leads."""
        if seat is self._seats.lead and self._going:
            self._going.sound(seat, block)

    def picture(self, seat: Seat, picture: messages.Picture) -> None:
        """Look at a picture from the page that leads."""
        if seat is not self._seats.lead or self._kit.open_eye is None:
            seat.send({"kind": "ack", "number": picture.number})
            return
        if self._looker is None:
            outlets = EyeOutlets(
                seen=self._seen,
                done=lambda number: self._soon(self._done_with, number),
                broken=lambda sentence: self._soon(self._seats.trouble, "eye", sentence),
            )
            self._looker = Looker(self._kit.open_eye, outlets)
        at_s = seat.clock.at_s(picture.page_ms)
        shot = Shot(picture.number, picture.page_ms, at_s, picture.jpeg)
        self._looker.put(shot)
        if self._going:
            self._going.picture(shot)

    def _done_with(self, number: int) -> None:
        """Ask for the next picture, a little later where hearing needs the machine more."""
        behind_s = self._going.behind_s if self._going else 0.0
        rest_s = min(_MOST_REST_S, _REST_SHARE * behind_s) if behind_s > _LATE_S else 0.0
        self._loop.call_later(rest_s, self._ack, number)

    def _ack(self, number: int) -> None:
        if self._seats.lead:
            self._seats.lead.send({"kind": "ack", "number": number})

    def _seen(self, sighting: Sighting) -> None:
        """Hand on what was seen, on the eye's thread."""
        going = self._going
        if going and going.is_open:
            going.seen(sighting)
        else:
            self._soon(self._show_sighting, sighting)

    def _show_sighting(self, sighting: Sighting) -> None:
        """Show what is seen while no session counts it."""
        if self._practice:
            for message in self._practice.seen(sighting):
                self._seats.all(message)
            return
        bare: Plain = {"kind": "gauge", "window": None, "side": None}
        self._seats.all(bare | sighting_facts(sighting))

    def _look_again(self, _seat: Seat, _: messages.LookAgain) -> None:
        if self._looker:
            self._looker.forget()

    def _stop_looking(self) -> None:
        if self._looker:
            self._looker.stop()
            self._looker = None

    # ---- practice ----

    def _practise(self, seat: Seat, asked: messages.Practise) -> None:
        if self._going:
            seat.refuse(_BUSY)
            return
        if asked.test is None:
            self._practice = None
            return
        self._practice = self._practice or Practising(self._pack)
        try:
            self._seats.all(self._practice.next(asked.test, asked.side, self.now_s()))
        except UsageError as error:
            seat.refuse(str(error))

    def tick(self) -> None:
        """Say what falls behind; called about once a second."""
        if self._going:
            self._going.tick()
