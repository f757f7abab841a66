"""Runs the page's server on this machine alone, until it is told to end."""

from __future__ import annotations

import socket
from collections.abc import Callable

import uvicorn
from starlette.types import ASGIApp

from logger.core.errors import UsageError
from logger.page.guarding import Address
from logger.page.messages import MOST_BYTES

LOOPBACK = "127.0.0.1"


def bound_socket(port: int) -> socket.socket:
    """Return a socket that listens on the loopback address; port 0 takes any that is free.

    Raises:
        UsageError: if the port is taken or may not be used.

    """
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind((LOOPBACK, port))
    except OSError as error:
        listening.close()
        why = error.strerror or str(error)
        raise UsageError(
            f"Port {port} cannot be used: {why}. Perhaps the page is served already; else give "
            "another --port, or 0 for any that is free."
        ) from error
    return listening


def serve(
    make_app: Callable[[Address], ASGIApp],
    listening: socket.socket,
    opened: Callable[[str], None],
) -> None:
    """Serve an application on a bound socket; `opened` is told its address once it can be opened.

    `make_app` is given the address with the secret that opens it.
    """
    address = Address(listening.getsockname()[1])
    config = uvicorn.Config(
        make_app(address),
        log_level="error",
        # An access log would hold nothing of use, and no log may ever hold a patient's code.
        access_log=False,
        ws="websockets-sansio",
        ws_max_size=MOST_BYTES,
        ws_per_message_deflate=False,
        server_header=False,
        date_header=False,
        timeout_graceful_shutdown=5,
    )
    server = _Announcing(config, lambda: opened(address.url))
    server.run(sockets=[listening])


class _Announcing(uvicorn.Server):
    def __init__(self, config: uvicorn.Config, started: Callable[[], None]) -> None:
        super().__init__(config)
        self._tell = started

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets=sockets)
        if self.started:
            self._tell()
