"""One page's socket: reads within limits, refuses what is not ours, sends what the room says."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Awaitable, Callable
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Any, Final

import anyio
from starlette.websockets import WebSocket, WebSocketDisconnect

from logger.core.sound import SAMPLE_RATE_HZ
from logger.page.guarding import PROTOCOL, Allowance
from logger.page.messages import (
    BadMessage,
    Hello,
    Picture,
    SoundBlock,
    read_binary,
    read_text,
)
from logger.page.room import Room
from logger.page.seats import Seat
from logger.page.timing import PageClock

_TOO_MUCH: Final = 1008
_WRONG: Final = 1007
_MOST_WAITING: Final = 400
_FEW_WAITING: Final = 8
_HELLO_S: Final = 10.0

Now = Callable[[], float]


@dataclass(slots=True)
class Limits:
    """How much one page may send: far above what ours does, far below what would hurt."""

    texts: Allowance = field(default_factory=lambda: Allowance(per_s=20, most=60))
    pictures: Allowance = field(default_factory=lambda: Allowance(per_s=35, most=60))
    sound_s: Allowance = field(default_factory=lambda: Allowance(per_s=1.5, most=60))
    """A page whose machine was busy sends what it has kept, faster than it was said."""

    def allow(self, message: object, now_s: float) -> bool:
        """Return whether a message is within the limits."""
        if isinstance(message, SoundBlock):
            return self.sound_s.take(len(message.samples) / SAMPLE_RATE_HZ, now_s)
        if isinstance(message, Picture):
            return self.pictures.take(1, now_s)
        return self.texts.take(1, now_s)


class _Outbox:
    """Messages for one page; the angles among them are let go where it does not keep up."""

    def __init__(self) -> None:
        self._queue: asyncio.Queue[dict[str, Any] | None] = asyncio.Queue()
        self.full = asyncio.Event()

    def put(self, message: dict[str, Any]) -> None:
        waiting = self._queue.qsize()
        if message["kind"] == "gauge" and waiting > _FEW_WAITING:
            return
        if waiting > _MOST_WAITING:
            self.full.set()
            return
        self._queue.put_nowait(message)

    async def send_all(self, websocket: WebSocket) -> None:
        while (message := await self._queue.get()) is not None:
            await websocket.send_text(json.dumps(message, ensure_ascii=False, allow_nan=False))


async def serve_page(websocket: WebSocket, room: Room, now: Now) -> None:
    """Serve one page until it goes; one that sends too much or what is not ours is cut off."""
    await websocket.accept(subprotocol=PROTOCOL)
    try:
        with anyio.fail_after(_HELLO_S):
            hello = await _first(websocket)
    except (BadMessage, TimeoutError):
        await websocket.close(_WRONG, "a hello was expected")
        return
    except WebSocketDisconnect:
        return
    outbox = _Outbox()
    seat = Seat(outbox.put, PageClock(hello.page_ms, room.now_s()))
    room.enter(seat)
    try:
        async with anyio.create_task_group() as group:

            async def until_the_first_ends(doing: Awaitable[object]) -> None:
                with suppress(WebSocketDisconnect):
                    await doing
                group.cancel_scope.cancel()

            group.start_soon(until_the_first_ends, outbox.send_all(websocket))
            group.start_soon(until_the_first_ends, _read(websocket, room, seat, now))
            group.start_soon(until_the_first_ends, outbox.full.wait())
    finally:
        room.leave(seat)


async def _first(websocket: WebSocket) -> Hello:
    message = read_text(await websocket.receive_text())
    if not isinstance(message, Hello):
        raise BadMessage("no hello")
    return message


async def _read(websocket: WebSocket, room: Room, seat: Seat, now: Now) -> None:
    limits = Limits()
    while True:
        event = await websocket.receive()
        if event["type"] == "websocket.disconnect":
            return
        try:
            message = _parsed(event)
        except BadMessage as error:
            await websocket.close(_WRONG, str(error)[:100])
            return
        if not limits.allow(message, now()):
            await websocket.close(_TOO_MUCH, "too many messages")
            return
        if isinstance(message, SoundBlock):
            room.sound(seat, message)
        elif isinstance(message, Picture):
            room.picture(seat, message)
        else:
            room.take(seat, message)


def _parsed(event: Any) -> Any:
    data = event.get("bytes")
    return read_binary(data) if data is not None else read_text(event.get("text") or "")
