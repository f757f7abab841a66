"""The review's web application: the list, a session with its recording, and what is changed."""

from __future__ import annotations

import hashlib
import hmac
import secrets
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, Final, Literal
from urllib.parse import quote

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, ValidationError
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles
from starlette.types import ASGIApp

from logger.core.errors import SessionError, SpokenFindingsError, UsageError
from logger.core.events import RowStatus
from logger.files.session_json import SessionRecord
from logger.files.stored import read_angles
from logger.files.tables import csv_text
from logger.page.guarding import Address, Guard
from logger.page.reviewing.facts import Opened, Plain, class_facts, session_facts
from logger.page.reviewing.recordings import Playable, playable
from logger.review.class_table import class_frame, class_table
from logger.review.criteria import load_sheet
from logger.review.scoring import filled_in
from logger.review.store import Reviewer, ReviewFolder, practised

STATIC: Final = Path(__file__).parents[1] / "static"
MOST_BYTES: Final = 20_000
"""Of a change: a note of 2000 characters and its names fit many times."""
_REFUSED: Final = 403
_WRONG: Final = 400
_MISSING: Final = 404


@dataclass(frozen=True, slots=True)
class Desk:
    """What the review works on."""

    folder: ReviewFolder
    reviewer: Reviewer
    sheet: str
    places: Sequence[Path] = ()
    """Where recordings are looked for besides the folder itself."""
    found: dict[str, Playable] = field(default_factory=dict)
    """Recordings found so far, by session: checking their content takes a while."""

    def opened(self, name: str, ticket: Callable[[str], str]) -> Plain:
        """Return everything of one session."""
        return self.shown(name, self.folder.read(name), ticket)

    def shown(self, name: str, record: SessionRecord, ticket: Callable[[str], str]) -> Plain:
        """Return a session as it is shown."""
        pack = self.folder.pack_of(record)
        scores = filled_in(load_sheet(self.sheet, pack), practised(record, pack))
        try:
            angles = read_angles(self.folder.folder(name))
        except SessionError:
            angles = ()
        media = self.media(name, record)
        url = f"/media?session={quote(name, safe='')}&ticket={ticket(name)}" if media.path else ""
        played = {"url": url, "kind": media.kind, "note": media.note}
        return session_facts(Opened(name, record, pack, angles, scores, played))

    def media(self, name: str, record: SessionRecord) -> Playable:
        """Return the recording of a session."""
        if name not in self.found:
            folder = self.folder.folder(name)
            self.found[name] = playable(record.recording, folder, self.places)
        return self.found[name]


class _Of(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)

    session: Annotated[str, Field(max_length=1000)]


class _Row(_Of):
    row: int


class _Correct(_Row):
    kind: Literal["correct"]
    slot: Annotated[str, Field(max_length=40)]
    value: Annotated[str, Field(max_length=4000)]


class _Judge(_Row):
    kind: Literal["judge"]
    slot: Annotated[str, Field(max_length=40)]
    value: Annotated[str, Field(max_length=40)]


class _Settle(_Row):
    kind: Literal["settle"]
    status: Literal["logged", "withdrawn"]


class _Review(_Of):
    kind: Literal["reviewed"]


_Change = _Correct | _Judge | _Settle | _Review
_CHANGE: Final[TypeAdapter[_Change]] = TypeAdapter(Annotated[_Change, Field(discriminator="kind")])


def review_app(desk: Desk, address: Address) -> ASGIApp:
    """Return the application that serves the review of one folder at `address`."""
    answers = _Answers(desk, address)
    routes = [
        Route("/", _index),
        Route("/api/class", answers.listed),
        Route("/api/class-table", answers.exported),
        Route("/api/session", answers.opened),
        Route("/api/change", answers.change, methods=["POST"]),
        Route("/media", answers.media),
        Mount("/static", StaticFiles(directory=STATIC)),
    ]
    return Guard(Starlette(routes=routes), address)


async def _index(_: Request) -> Response:
    return FileResponse(STATIC / "review" / "index.html")


@dataclass(frozen=True, slots=True)
class _Answers:
    desk: Desk
    address: Address

    def ticket(self, name: str) -> str:
        """Return what lets the page play this recording: a player cannot send the token along."""
        key = self.address.token.encode()
        return hmac.new(key, f"media:{name}".encode(), hashlib.sha256).hexdigest()

    async def listed(self, request: Request) -> Response:
        desk = self.desk

        def made() -> Plain:
            return class_facts(class_table(desk.folder, desk.sheet), desk.reviewer.code)

        return await self._answer(request, made)

    async def exported(self, request: Request) -> Response:
        def made() -> Plain:
            lines = class_table(self.desk.folder, self.desk.sheet).lines
            return {"csv": csv_text(class_frame(lines))}

        return await self._answer(request, made)

    async def opened(self, request: Request) -> Response:
        name = request.query_params.get("session", "")
        return await self._answer(request, lambda: self.desk.opened(name, self.ticket))

    async def change(self, request: Request) -> Response:
        content = await _body(request)

        def made() -> Plain:
            asked = _asked(content)
            record = _changed(self.desk, asked)
            return self.desk.shown(asked.session, record, self.ticket)

        return await self._answer(request, made)

    async def media(self, request: Request) -> Response:
        name = request.query_params.get("session", "")
        given = request.query_params.get("ticket", "")
        if not secrets.compare_digest(given.encode(), self.ticket(name).encode()):
            return Response(status_code=_REFUSED)
        try:
            record = await run_in_threadpool(self.desk.folder.read, name)
            played = await run_in_threadpool(self.desk.media, name, record)
        except SpokenFindingsError:
            return Response(status_code=_MISSING)
        if played.path is None:
            return Response(status_code=_MISSING)
        return FileResponse(played.path, media_type=played.kind)

    async def _answer(self, request: Request, make: Callable[[], Plain]) -> Response:
        expected = f"Bearer {self.address.token}".encode()
        given = request.headers.get("authorization", "").encode()
        if not secrets.compare_digest(given, expected):
            return JSONResponse({"error": "Wrong token: open the address anew."}, _REFUSED)
        try:
            return JSONResponse(await run_in_threadpool(make))
        except SpokenFindingsError as error:
            return JSONResponse({"error": str(error)}, _WRONG)


async def _body(request: Request) -> bytes | None:
    """Return what was sent; None where it is more than any change has."""
    content = b""
    async for part in request.stream():
        content += part
        if len(content) > MOST_BYTES:
            return None
    return content


def _asked(content: bytes | None) -> _Change:
    if content is None:
        raise UsageError("The change is too large: shorten the note.")
    try:
        return _CHANGE.validate_json(content)
    except ValidationError as error:
        raise UsageError("The page sent a change that cannot be read: reload it.") from error


def _changed(desk: Desk, asked: _Change) -> SessionRecord:
    folder, by = desk.folder, desk.reviewer
    if isinstance(asked, _Correct):
        return folder.correct(asked.session, asked.row, (asked.slot, asked.value), by)
    if isinstance(asked, _Judge):
        return folder.judge(asked.session, asked.row, (asked.slot, asked.value or None), by)
    if isinstance(asked, _Settle):
        return folder.settle(asked.session, asked.row, RowStatus(asked.status), by)
    return folder.mark_reviewed(asked.session, by)
