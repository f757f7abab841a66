"""Keeps everyone out but the page that this program opened.

Any page in the browser may send requests to this machine, and a name of its own may point here.
So nothing is answered unless the request was sent to our own address, comes from our own page and,
for the socket through which all that matters passes, knows the token.
"""

from __future__ import annotations

import secrets
from dataclasses import dataclass, field
from typing import Final

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send
from starlette.websockets import WebSocketClose

PROTOCOL: Final = "spoken-findings.1"
_TOKEN_PREFIX: Final = "token."  # noqa: S105 - no token
_POLICY: Final = (
    "default-src 'none'; "
    "script-src 'self'; "
    "worker-src 'self'; "
    "style-src 'self'; "
    "img-src 'self'; "
    "media-src 'self'; "
    "connect-src 'self'; "
    "base-uri 'none'; "
    "form-action 'none'; "
    "frame-ancestors 'none'"
)
_HEADERS: Final = {
    "content-security-policy": _POLICY,
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(self), microphone=(self), geolocation=()",
    "referrer-policy": "no-referrer",
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "cache-control": "no-store",
}


@dataclass(frozen=True, slots=True)
class Address:
    """Where the page is served, and the secret that opens it."""

    port: int
    host: str = "127.0.0.1"
    token: str = field(default_factory=lambda: secrets.token_urlsafe(32), repr=False)

    @property
    def hosts(self) -> tuple[str, ...]:
        """Return what a browser on this machine may call us."""
        return (f"{self.host}:{self.port}", f"localhost:{self.port}")

    @property
    def origins(self) -> tuple[str, ...]:
        """Return where our own page may come from."""
        return tuple(f"http://{host}" for host in self.hosts)

    @property
    def url(self) -> str:
        """Return the address to open; what is after the # is never sent over the network."""
        return f"http://{self.host}:{self.port}/#{self.token}"


class Guard:
    """Answers 403 to whatever was not sent to us by our own page, and adds the safe headers."""

    def __init__(self, app: ASGIApp, address: Address) -> None:
        """Guard `app`, served at `address`."""
        self._app = app
        self._address = address

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, or refuse it."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
        elif refusal := self._refusal(scope):
            refused = (
                WebSocketClose(1008, refusal)
                if scope["type"] == "websocket"
                else PlainTextResponse(refusal + "\n", 403, _HEADERS)
            )
            await refused(scope, receive, send)
        else:
            await self._app(scope, receive, _with_headers(send))

    def _refusal(self, scope: Scope) -> str:
        headers = Headers(scope=scope)
        origin = headers.get("origin")
        if headers.get("host") not in self._address.hosts:
            return "Wrong address."
        if origin is not None and origin not in self._address.origins:
            return "Wrong origin."
        if scope["type"] != "websocket":
            # Another page may open ours as a page, which then is itself, but not take parts of it.
            apart = headers.get("sec-fetch-site") in {"cross-site", "same-site"}
            navigating = headers.get("sec-fetch-mode") == "navigate"
            return "Wrong origin." if apart and not navigating else ""
        if origin is None:
            return "Wrong origin."
        return "" if self._knows_token(scope) else "Wrong token."

    def _knows_token(self, scope: Scope) -> bool:
        given = [
            offered.removeprefix(_TOKEN_PREFIX)
            for offered in scope.get("subprotocols", ())
            if offered.startswith(_TOKEN_PREFIX)
        ]
        expected = self._address.token.encode()
        return len(given) == 1 and secrets.compare_digest(given[0].encode(), expected)


def _with_headers(send: Send) -> Send:
    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in _HEADERS.items():
                headers[name] = value
        await send(message)

    return sending


@dataclass(slots=True)
class Allowance:
    """A bucket that fills with time and is emptied by use."""

    per_s: float
    most: float
    _left: float = field(init=False)
    _at_s: float | None = field(init=False, default=None)

    def __post_init__(self) -> None:
        """Start full."""
        self._left = self.most

    def take(self, amount: float, now_s: float) -> bool:
        """Take `amount` if that much is there; `now_s` rises."""
        passed_s = 0.0 if self._at_s is None else max(0.0, now_s - self._at_s)
        self._at_s = now_s
        self._left = min(self.most, self._left + passed_s * self.per_s)
        if amount > self._left:
            return False
        self._left -= amount
        return True
