"""A room to test in: a scripted ear and eye, a journal in a folder, a clock that can be moved."""

from __future__ import annotations

import io
import json
import struct
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager, nullcontext
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from starlette.testclient import TestClient, WebSocketTestSession

from logger.core.errors import ModelError
from logger.core.events import ArmAngle, SeenBody, Utterance, Verdict
from logger.grammar.loading import load_pack
from logger.grammar.pack import Pack
from logger.keeping.journal import Journal
from logger.page.app import page_app
from logger.page.guarding import PROTOCOL, Address
from logger.page.kit import Kit, Recognisers
from logger.page.listening import HearsBlocks
from logger.page.looking import LooksAtFrames
from logger.seeing.live import Look

BLOCK_S = 0.1
TALK = "talk"
ADDRESS = Address(port=8737, token="the-token")  # noqa: S106 - of these tests
LIVE = f"ws://{ADDRESS.hosts[0]}/live"


def sound_of(word: int) -> bytes:
    """Return a block that the scripted ear takes for line `word` of its script; 0 is silence."""
    return struct.pack("<1600h", *([word * 256] * 1600))


class ScriptedEar:
    """Hears the line of its script whose number is in a block; remembers an open one to the end."""

    in_speech = False

    def __init__(self, script: Sequence[str]) -> None:
        """Hear from `script`; line 0 is silence."""
        self._script = script
        self._pushed = 0

    def push(self, samples: NDArray[np.float32]) -> Iterator[Utterance]:
        """Yield what a block says."""
        start_s = self._pushed / 16_000
        self._pushed += len(samples)
        word = round(float(samples[0]) * 128)
        if word:
            text = self._script[word]
            verdict = Verdict.TALK if text == TALK else Verdict.HEARD
            yield Utterance(text, start_s, start_s + BLOCK_S, 1.0, verdict)

    def finish(self) -> Iterator[Utterance]:
        """Nothing is cut off."""
        return iter(())


class ScriptedEye:
    """Sees both arms at the angle that the picture's brightness says, in degrees."""

    def __init__(self) -> None:
        """Begin with nobody forgotten."""
        self.forgotten = 0

    def look(self, time_s: float, rgb: NDArray[np.uint8]) -> Look:
        """Return what is seen."""
        angle_deg = float(round(rgb.mean()))
        left, right = (
            ArmAngle(time_s, side, angle_deg, visible=True) for side in ("left", "right")
        )
        body = SeenBody(time_s, {"left_shoulder": (32.0, 24.0), "left_elbow": (48.0, 24.0)})
        return Look((left, right), body, True, "", 3.0)

    def forget(self) -> None:
        """Count how often the patient is looked for anew."""
        self.forgotten += 1


class ScriptedKit(Kit):
    """The room's kit with a scripted ear."""

    script: Sequence[str] = ()
    ear_fails: bool = False

    def open_ear(self, pack: Pack) -> Callable[[], HearsBlocks]:
        """Open no model."""
        if self.ear_fails:
            raise ModelError("There is no speech model.")
        assert pack.name
        return lambda: ScriptedEar(self.script)


@dataclass
class MovableClock:
    """The real time, and whatever is added to it."""

    more: timedelta = field(default_factory=timedelta)

    def __call__(self) -> datetime:
        """Return the time."""
        return datetime.now(UTC) + self.more


@dataclass
class Room:
    """What a test works with."""

    client: TestClient
    kit: Kit
    clock: MovableClock
    eye: ScriptedEye

    def page(self, **headers: str) -> AbstractContextManager[Page]:
        """Open a page."""
        return open_page(self.client, **headers)


@contextmanager
def room_in(
    folder: Path, script: Sequence[str] = ("",), ear_fails: bool = False, haste: float = 1.0
) -> Iterator[Room]:
    """Serve a room whose journal and results are in `folder`.

    With `haste` a page may send so many times more than it should.
    """
    clock, eye = MovableClock(), ScriptedEye()

    def no_model(_: Pack) -> Any:
        raise ModelError("There is no speech model.")

    def opening() -> AbstractContextManager[LooksAtFrames]:
        return nullcontext(eye)

    kind = type("Kit", (ScriptedKit,), {"script": script, "ear_fails": ear_fails})
    with Journal(folder / "journal.db") as journal:
        kit: Kit = kind(
            packs=(load_pack("glenohumeral"),),
            journal=journal,
            out=folder / "out",
            recognisers=Recognisers(no_model),
            engine="scripted",
            open_eye=opening,
            clock=clock,
        )
        app = page_app(kit, ADDRESS, lambda: haste * time.monotonic())
        with TestClient(app, base_url=f"http://127.0.0.1:{ADDRESS.port}") as client:
            yield Room(client, kit, clock, eye)


class Page:
    """A page without a browser."""

    def __init__(self, socket: WebSocketTestSession) -> None:
        """Talk through `socket`."""
        self._socket = socket
        self._number = 0
        self.page_ms = 1000.0
        self.read: list[dict[str, Any]] = []

    def say(self, kind: str, **fields: Any) -> None:
        """Send a message."""
        self._socket.send_text(json.dumps({"kind": kind, **fields}))

    def until(
        self, kind: str, what: Callable[[dict[str, Any]], bool] = lambda _: True, most: int = 400
    ) -> dict[str, Any]:
        """Return the next message of a kind for which `what` holds."""
        for _ in range(most):
            message: dict[str, Any] = json.loads(self._socket.receive_text())
            self.read.append(message)
            if message["kind"] == kind and what(message):
                return message
        raise AssertionError(f"no {kind} among {[each['kind'] for each in self.read[-most:]]}")

    def begin(self, **more: Any) -> dict[str, Any]:
        """Begin a session with every caution answered no."""
        cautions = load_pack("glenohumeral").cautions
        answers = [{"present": False, "reason": ""} for _ in cautions]
        self.say("begin", **({"answers": answers} | more))
        return self.until("state", lambda state: state["phase"] == "testing")

    def speak(self, word: int) -> None:
        """Send one block of sound."""
        header = struct.pack("<c3xId", b"A", self._number, self.page_ms)
        self._socket.send_bytes(header + sound_of(word))
        self._number += 1
        self.page_ms += 1000 * BLOCK_S

    def hear_anew(self) -> None:
        """Begin another run of sound."""
        self._number = 0

    def show(self, number: int, level: int, page_ms: float | None = None) -> None:
        """Send a picture of one brightness."""
        at_ms = self.page_ms if page_ms is None else page_ms
        self._socket.send_bytes(struct.pack("<c3xId", b"V", number, at_ms) + jpeg(level))

    def raw(self, data: bytes) -> None:
        """Send bytes as they are."""
        self._socket.send_bytes(data)

    def text(self, text: str) -> None:
        """Send text as it is."""
        self._socket.send_text(text)

    def receive(self) -> Any:
        """Return what comes next, as Starlette gives it."""
        return self._socket.receive()


@contextmanager
def open_page(client: TestClient, token: str = ADDRESS.token, **headers: str) -> Iterator[Page]:
    """Open a socket as our own page does."""
    sent = {"origin": ADDRESS.origins[0]} | headers
    protocols = [PROTOCOL, f"token.{token}"]
    with client.websocket_connect(LIVE, subprotocols=protocols, headers=sent) as socket:
        page = Page(socket)
        page.say("hello", page_ms=page.page_ms)
        yield page


def jpeg(level: int) -> bytes:
    """Return a grey picture of 64 x 48."""
    file = io.BytesIO()
    Image.new("RGB", (64, 48), (level, level, level)).save(file, "JPEG", quality=95)
    return file.getvalue()


class Gate:
    """Lets a journal fail or wait for as long as a test wishes."""

    def __init__(self, journal: Journal) -> None:
        """Stand before `journal`, open."""
        self.error: Exception | None = None
        self.wait = threading.Event()
        self.wait.set()
        self._append = journal.append
        journal.append = self._through  # type: ignore[method-assign]

    def _through(self, session_id: str, *events: Any) -> None:
        self.wait.wait(10)
        if self.error:
            raise self.error
        self._append(session_id, *events)
