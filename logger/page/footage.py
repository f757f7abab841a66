"""Keeps the sound and the pictures of a session, only where the user has turned that on.

One Matroska file that `read` can read: pictures as they came from the page (JPEG) and 16-bit
sound. Such a file is whole up to the last second wherever the program is stopped.
"""

from __future__ import annotations

import os
import queue
import threading
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any, Final

import av
import numpy as np
from av.container import OutputContainer
from numpy.typing import NDArray

from logger.core.sound import SAMPLE_RATE_HZ
from logger.page.looking import decoded

_PATIENCE: Final = 30
"""Blocks of sound, about 3 s, after which no first picture is waited for."""
_SLIP_S: Final = 0.5
"""Sound stamped nearer than this to the end of the sound before it follows it at once."""
_MS: Final = 1000


@dataclass(frozen=True, slots=True)
class _Sound:
    at_s: float
    samples: NDArray[np.int16]


@dataclass(frozen=True, slots=True)
class _Picture:
    at_s: float
    jpeg: bytes


class Footage:
    """Writes one file on a thread of its own; `sound`, `picture` and `close` never wait."""

    def __init__(self, path: Path, failed: Callable[[str], None]) -> None:
        """Write to `path`; `failed` is told on the thread why nothing more can be kept."""
        self.path = path
        self._failed = failed
        self._queue: queue.SimpleQueue[_Sound | _Picture | None] = queue.SimpleQueue()
        self._thread = threading.Thread(target=self._run, name="footage", daemon=True)
        self._thread.start()

    def sound(self, at_s: float, samples: NDArray[np.float32]) -> None:
        """Keep sound, shape (n,), 16 kHz mono, from `at_s` seconds of the session on."""
        self._queue.put(_Sound(at_s, np.round(samples * 32767).astype(np.int16)))

    def picture(self, at_s: float, jpeg: bytes) -> None:
        """Keep a picture."""
        self._queue.put(_Picture(at_s, jpeg))

    def close(self, timeout_s: float = 10.0) -> None:
        """End the file."""
        self._queue.put(None)
        self._thread.join(timeout_s)

    def _run(self) -> None:
        try:
            self._write()
        except (OSError, av.FFmpegError) as error:
            why = getattr(error, "strerror", None) or str(error)
            self._failed(f"Sound and pictures are no longer stored: {why}. Findings still are.")
            while self._queue.get() is not None:
                pass

    def _write(self) -> None:
        first: list[_Sound | _Picture] = []
        while (item := self._queue.get()) is not None:
            first.append(item)
            if isinstance(item, _Picture) or len(first) >= _PATIENCE:
                break
        if not first:
            return
        self.path.parent.mkdir(parents=True, exist_ok=True)
        os.close(os.open(self.path, os.O_CREAT | os.O_WRONLY | os.O_EXCL, 0o600))
        with av.open(str(self.path), "w", format="matroska") as container:
            file = _File(container, next((i for i in first if isinstance(i, _Picture)), None))
            for item in first:
                file.take(item)
            while item is not None and (item := self._queue.get()) is not None:
                file.take(item)


class _File:
    def __init__(self, container: OutputContainer, picture: _Picture | None) -> None:
        self._container = container
        self._sound: Any = container.add_stream("pcm_s16le", rate=SAMPLE_RATE_HZ, layout="mono")
        self._pictures: Any = None
        self._next = 0
        self._last_ms = -1
        frame = decoded(picture.jpeg) if picture else None
        if frame is not None:
            self._pictures = container.add_stream("mjpeg", rate=10)
            self._pictures.width, self._pictures.height = frame.shape[1], frame.shape[0]
            self._pictures.pix_fmt = "yuvj420p"
            self._pictures.codec_context.time_base = Fraction(1, _MS)

    def take(self, item: _Sound | _Picture) -> None:
        if isinstance(item, _Sound):
            self._hear(item)
        elif self._pictures is not None and round(item.at_s * _MS) > self._last_ms:
            self._last_ms = round(item.at_s * _MS)
            self._mux(self._pictures, item.jpeg, self._last_ms, Fraction(1, _MS))

    def _hear(self, item: _Sound) -> None:
        at = round(item.at_s * SAMPLE_RATE_HZ)
        if at - self._next > _SLIP_S * SAMPLE_RATE_HZ or self._next == 0:
            self._next = at
        self._mux(self._sound, item.samples.tobytes(), self._next, Fraction(1, SAMPLE_RATE_HZ))
        self._next += len(item.samples)

    def _mux(self, stream: Any, data: bytes, pts: int, time_base: Fraction) -> None:
        packet = av.Packet(data)
        packet.stream = stream
        packet.pts = packet.dts = pts
        packet.time_base = time_base
        packet.is_keyframe = True
        self._container.mux(packet)
