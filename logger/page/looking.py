"""The eye on a thread of its own: always the newest picture, the others are let go."""

from __future__ import annotations

import io
import threading
from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import dataclass
from typing import Final, Protocol

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from logger.core.errors import SpokenFindingsError
from logger.seeing.live import Look

Frame = NDArray[np.uint8]

_LONGEST_PX: Final = 4096
"""A small file may claim to be a picture that fills the memory."""


class LooksAtFrames(Protocol):
    """What is asked of an eye; `logger.seeing.live.LiveEye` is one."""

    def look(self, time_s: float, rgb: Frame) -> Look:
        """Return what is in one (h, w, 3) picture; times rise."""
        ...

    def forget(self) -> None:
        """Look for the patient anew."""
        ...


@dataclass(frozen=True, slots=True)
class Shot:
    """A picture with its place in the session."""

    number: int
    page_ms: float
    at_s: float
    jpeg: bytes


@dataclass(frozen=True, slots=True)
class Sighting:
    """What was seen in a picture, and how large it is."""

    shot: Shot
    look: Look
    width_px: int
    height_px: int


@dataclass(frozen=True, slots=True)
class EyeOutlets:
    """Whom the eye's thread tells; each is called on that thread."""

    seen: Callable[[Sighting], None]
    done: Callable[[int], None]
    """The picture of this number has been looked at or let go: another may be sent."""
    broken: Callable[[str], None]


class Looker:
    """Looks at one camera's pictures. `put`, `forget` and `stop` are for any thread, never wait."""

    def __init__(
        self, open_eye: Callable[[], AbstractContextManager[LooksAtFrames]], outlets: EyeOutlets
    ) -> None:
        """Start the thread, which opens the model first."""
        self._open_eye = open_eye
        self._outlets = outlets
        self._change = threading.Condition()
        self._next: Shot | None = None
        self._forget = False
        self._stopped = False
        self._thread = threading.Thread(target=self._run, name="eye", daemon=True)
        self._thread.start()

    def put(self, shot: Shot) -> None:
        """Take a picture in the place of one that is still waiting."""
        with self._change:
            dropped, self._next = self._next, shot
            self._change.notify()
        if dropped is not None:
            self._outlets.done(dropped.number)

    def forget(self) -> None:
        """Look for the patient anew from the next picture on."""
        with self._change:
            self._forget = True

    def stop(self) -> None:
        """End the thread after the picture it is at."""
        with self._change:
            self._stopped = True
            self._change.notify()

    def _run(self) -> None:
        try:
            with self._open_eye() as eye:
                self._look(eye)
        except SpokenFindingsError as error:
            self._outlets.broken(str(error))
        except Exception as error:  # noqa: BLE001 - the page must not show an old angle as a new one
            kind = type(error).__name__
            self._outlets.broken(f"The camera's pictures cannot be read any more ({kind}).")

    def _look(self, eye: LooksAtFrames) -> None:
        last_s = -1.0
        while (shot := self._wait(eye)) is not None:
            frame = decoded(shot.jpeg)
            # A page may be reloaded, and its clock tied anew a little earlier.
            if frame is not None and shot.at_s > last_s:
                last_s = shot.at_s
                look = eye.look(shot.at_s, frame)
                self._outlets.seen(Sighting(shot, look, frame.shape[1], frame.shape[0]))
            self._outlets.done(shot.number)

    def _wait(self, eye: LooksAtFrames) -> Shot | None:
        with self._change:
            self._change.wait_for(lambda: self._next is not None or self._stopped)
            shot, self._next = self._next, None
            forget, self._forget = self._forget, False
            if self._stopped:
                return None
        if forget:
            eye.forget()
        return shot


def decoded(jpeg: bytes) -> Frame | None:
    """Return a JPEG as (h, w, 3) RGB; None if it is none, or far larger than a camera's picture."""
    try:
        with Image.open(io.BytesIO(jpeg), formats=["JPEG"]) as header:
            if max(header.size) > _LONGEST_PX:
                return None
    except OSError:
        return None
    bgr = cv2.imdecode(np.frombuffer(jpeg, np.uint8), cv2.IMREAD_COLOR)
    return None if bgr is None else np.asarray(cv2.cvtColor(bgr, cv2.COLOR_BGR2RGB), np.uint8)
