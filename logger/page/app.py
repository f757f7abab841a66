"""The web application: static files for anyone on this machine, one socket for our own page."""

from __future__ import annotations

import asyncio
import time
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress
from pathlib import Path
from typing import Final

from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import FileResponse, Response
from starlette.routing import Mount, Route, WebSocketRoute
from starlette.staticfiles import StaticFiles
from starlette.types import ASGIApp
from starlette.websockets import WebSocket

from logger.page.connection import Now, serve_page
from logger.page.guarding import Address, Guard
from logger.page.kit import Kit
from logger.page.room import Room

STATIC: Final = Path(__file__).parent / "static"
_TICK_S: Final = 1.0


def page_app(kit: Kit, address: Address, now: Now = time.monotonic) -> ASGIApp:
    """Return the application that serves the page and its session at `address`.

    `now` gives the seconds by which it is counted how much a page sends.
    """

    @asynccontextmanager
    async def lifespan(app: Starlette) -> AsyncIterator[None]:
        room = Room(kit)
        app.state.room = room
        kit.warm(kit.packs[0])
        ticking = asyncio.create_task(_tick(room))
        try:
            yield
        finally:
            ticking.cancel()
            with suppress(asyncio.CancelledError):
                await ticking
            await room.close()

    async def index(_: Request) -> Response:
        return FileResponse(STATIC / "index.html")

    async def live(websocket: WebSocket) -> None:
        await serve_page(websocket, websocket.app.state.room, now)

    routes = [
        Route("/", index),
        Mount("/static", StaticFiles(directory=STATIC)),
        WebSocketRoute("/live", live),
    ]
    return Guard(Starlette(routes=routes, lifespan=lifespan), address)


async def _tick(room: Room) -> None:
    while True:
        await asyncio.sleep(_TICK_S)
        room.tick()
