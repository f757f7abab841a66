"""Writes a recording's pictures, painted over, with its sound into an MP4.

Pictures go through one by one, and both streams are written in the order of time, so that memory
stays bounded. Every picture keeps its time from the recording; nothing of the recording's own
titles, places or names is copied.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from fractions import Fraction
from io import FileIO
from pathlib import Path
from typing import Any, Final, Protocol

import av
import numpy as np
from av.filter import Graph
from numpy.typing import NDArray

from logger.core.errors import OutputError

_TICKS: Final = Fraction(1, 60_000)
"""Of the pictures' times; 23.976, 29.97 and 59.94 a second come out whole."""
_FPS: Final = 30
"""Where a recording has a single picture."""
_ENCODERS: Final = (
    ("libx264", {"preset": "veryfast", "crf": "23", "bf": "0"}),
    ("mpeg4", {"qmin": "2", "qmax": "6"}),
)
"""The first that FFmpeg has. Without B-frames packets leave in the order of time."""
_COPIED: Final = frozenset({"aac", "mp3", "alac", "ac3", "eac3", "opus", "flac"})
"""Sound that players of MP4 expect there; other sound becomes AAC."""
_AAC_SAMPLES: Final = 1024

Pictures = Iterable[tuple[float, NDArray[np.uint8]]]
"""(time_s, (h, w, 3) RGB), in order, all of one size."""


class Sound(Protocol):
    """A stored sound track: PyAV's stream, and its packets on the recording's clock."""

    @property
    def stream(self) -> Any:
        """PyAV's audio stream."""
        ...

    @property
    def packets(self) -> Iterator[Any]:
        """The packets in the file's order."""
        ...


@dataclass(frozen=True, slots=True)
class Shape:
    """What the pictures are like."""

    width: int
    height: int
    fps: float | None
    duration_s: float
    """Of the whole recording."""


def write_video(path: Path, pictures: Pictures, shape: Shape, sound: Sound | None) -> None:
    """Write an MP4 of the pictures and the sound.

    H.264 wants even sizes: an odd one gets its last column or row twice.

    Raises:
        OSError: if the file cannot be written, as on a full disk.
        OutputError: if FFmpeg has no encoder, or one fails.

    """
    with path.open("wb", buffering=0) as plain:
        file = _File(plain)
        try:
            with av.open(file, "w", format="mp4") as container:
                _Writer(container, shape, sound).write(pictures)
        except av.FFmpegError as error:
            if file.error is not None:
                raise file.error from error
            raise OutputError(f"{path.name} cannot be encoded by FFmpeg: {error}.") from error


class _File:
    """A file for FFmpeg to write to, which keeps what the system says is wrong with the disk.

    FFmpeg goes on to the end of the file after an error, and its own errors hide the first.
    """

    def __init__(self, file: FileIO) -> None:
        self._file = file
        self.error: OSError | None = None
        self.seek = file.seek
        self.tell = file.tell
        self.name = file.name

    def write(self, data: bytes) -> int:
        try:
            # A nearly full disk takes a part, and refuses only the next.
            done = 0
            while done < len(data):
                done += self._file.write(data[done:]) or 0
        except OSError as error:
            self.error = self.error or error
            raise
        return done

    def flush(self) -> None:
        """Do nothing: everything is written at once."""


class _Writer:
    def __init__(self, container: Any, shape: Shape, sound: Sound | None) -> None:
        self._container = container
        self._shape = shape
        self._video = _picture_stream(container, shape)
        self._sound = None if sound is None else _sound_packets(container, sound)
        self._next_sound: Any = None
        self._held: Any = None
        """The last picture's packet; only when it is known to be the last has it a length."""

    def write(self, pictures: Pictures) -> None:
        """Write all pictures and all sound."""
        for time_s, rgb in pictures:
            self._write_sound(time_s)
            frame = av.VideoFrame.from_ndarray(_even(rgb), format="rgb24")
            frame.pts, frame.time_base = round(time_s / _TICKS), _TICKS
            self._hold(self._video.encode(frame))
        self._hold(self._video.encode(None))
        if self._held is not None:
            start_s = float(self._held.pts * self._held.time_base)
            left_s = max(self._shape.duration_s - start_s, 0.0)
            lasts_s = min(left_s, 1 / (self._shape.fps or _FPS))
            self._held.duration = max(round(lasts_s / self._held.time_base), 1)
            self._container.mux(self._held)
        self._write_sound(float("inf"))

    def _hold(self, packets: list[Any]) -> None:
        for packet in packets:
            if self._held is not None:
                self._container.mux(self._held)
            self._held = packet

    def _write_sound(self, until_s: float) -> None:
        """Write the sound up to a time."""
        while self._sound is not None:
            if self._next_sound is None:
                self._next_sound = next(self._sound, None)
            if self._next_sound is None:
                self._sound = None
                return
            if float(self._next_sound.dts * self._next_sound.time_base) > until_s:
                return
            self._container.mux(self._next_sound)
            self._next_sound = None


def _even(rgb: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return the picture with even sizes, the last column or row doubled where need be."""
    height, width = rgb.shape[:2]
    if height % 2 == 0 and width % 2 == 0:
        return np.ascontiguousarray(rgb)
    return np.pad(rgb, ((0, height % 2), (0, width % 2), (0, 0)), mode="edge")


def _picture_stream(container: Any, shape: Shape) -> Any:
    rate = Fraction(shape.fps or _FPS).limit_denominator(1001)
    for name, options in _ENCODERS:
        with suppress(av.codec.codec.UnknownCodecError):
            stream = container.add_stream(name, rate=rate, options=options)
            stream.width = shape.width + shape.width % 2
            stream.height = shape.height + shape.height % 2
            stream.pix_fmt = "yuv420p"
            stream.codec_context.time_base = _TICKS
            return stream
    raise OutputError("FFmpeg has no encoder for H.264 or MPEG-4 here: read without --video.")


def _sound_packets(container: Any, sound: Sound) -> Iterator[Any]:
    """Add the sound's stream and return its packets, copied or encoded anew.

    The stream is added at once: a container takes none after its first packet.
    """
    source = sound.stream.codec_context
    whole = source.name != "aac" or source.extradata
    if source.name.removesuffix("float") in _COPIED and whole:
        return _copied(container.add_stream_from_template(sound.stream), sound)
    stream = container.add_stream("aac", rate=source.sample_rate)
    stream.layout = "mono" if source.channels == 1 else "stereo"
    return _encoded(stream, sound)


def _copied(stream: Any, sound: Sound) -> Iterator[Any]:
    last: int | None = None
    for packet in sound.packets:
        if packet.is_corrupt or (last is not None and packet.dts <= last):
            continue
        last = packet.dts
        packet.stream = stream
        yield packet


def _encoded(stream: Any, sound: Sound) -> Iterator[Any]:
    for frame in _even_sound(stream, sound):
        yield from stream.encode(frame)
    yield from stream.encode(None)


def _even_sound(stream: Any, sound: Sound) -> Iterator[Any]:
    """Yield the sound as the encoder takes it, gaps filled with silence."""
    graph: Any = None
    for packet in sound.packets:
        try:
            frames = packet.decode()
        except av.FFmpegError:
            continue
        for frame in frames:
            if graph is None:
                graph = _filling(stream, frame)
            graph.push(frame)
            yield from _pulled(graph)
    if graph is not None:
        graph.push(None)
        yield from _pulled(graph)


def _filling(stream: Any, frame: Any) -> Any:
    graph = Graph()
    nodes = [
        graph.add_abuffer(
            sample_rate=frame.sample_rate,
            format=frame.format.name,
            layout=frame.layout.name,
            time_base=frame.time_base,
        ),
        graph.add("aresample", f"{stream.rate}:async=1:min_hard_comp=0.05"),
        graph.add("aformat", f"sample_fmts=fltp:channel_layouts={stream.layout.name}"),
        graph.add("asetnsamples", f"n={_AAC_SAMPLES}:p=0"),
        graph.add("abuffersink"),
    ]
    graph.link_nodes(*nodes).configure()
    return graph


def _pulled(graph: Any) -> Iterator[Any]:
    while True:
        try:
            yield graph.pull()
        except (BlockingIOError, EOFError):
            return
