"""One pass through a file without decoding it: what it holds, and where it really ends."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import av

from logger.recording.opening import decoded, opened, packets, picture_stream, sound_stream
from logger.recording.started import started_at

_SHORT_S: Final = 1.0
"""A file that ends this much before the length in its header has been cut off."""
_OBLONG: Final = 4
"""No camera has pixels more oblong; a header that says so is damaged."""
_EXACT_LENGTH: Final = frozenset({"mov", "matroska", "wav", "w64", "flac", "avi", "asf"})
"""Containers whose header tells the length; others leave FFmpeg to guess it."""


@dataclass(slots=True)
class StreamScan:
    """What one stream holds; times are the file's own, in seconds."""

    index: int
    first_frame: Any = None
    """The first frame that could be decoded, None if none could."""
    first_s: float | None = None
    last_s: float = 0.0
    """The start of the last packet."""
    end_s: float = 0.0
    count: int = 0
    key_count: int = 0
    """How many packets can be decoded by themselves."""
    cut: bool = False
    """Whether the last packet is incomplete."""

    @property
    def rate_hz(self) -> float | None:
        """Packets a second on average, None for fewer than two."""
        if self.first_s is None or self.count < 2 or self.last_s <= self.first_s:  # noqa: PLR2004
            return None
        return (self.count - 1) / (self.last_s - self.first_s)

    def see(self, packet: Any) -> None:
        """Count a packet and note its time."""
        if self.first_frame is None:
            self.first_frame = next(iter(decoded(packet)), None)
        if packet.pts is None:
            return
        time_s = float(packet.pts * packet.time_base)
        self.count += 1
        self.key_count += bool(packet.is_keyframe)
        self.cut = bool(packet.is_corrupt)
        self.first_s = time_s if self.first_s is None else min(self.first_s, time_s)
        self.last_s = max(self.last_s, time_s)
        self.end_s = max(self.end_s, time_s + float((packet.duration or 0) * packet.time_base))


@dataclass(frozen=True, slots=True)
class Scan:
    """What a file holds."""

    sound: StreamScan | None
    picture: StreamScan | None
    origin_s: float
    """The file's own time at which the recording starts."""
    duration_s: float
    truncated: bool
    sound_tracks: int
    pixel_aspect: float
    """Width of a pixel for its height."""
    started_at: str | None
    """RFC 3339; None where the file does not tell."""


def scan(path: Path) -> Scan:
    """Read through the whole file once.

    Raises:
        RecordingError: if it cannot be opened.

    """
    with opened(path) as container:
        sound, picture = sound_stream(container), picture_stream(container)
        chosen = [stream for stream in (sound, picture) if stream is not None]
        seen = {stream.index: StreamScan(stream.index) for stream in chosen}
        if chosen:
            for packet in packets(container, *chosen):
                seen[packet.stream.index].see(packet)
        origin_s = _origin_s(container, seen.values())
        header_s = None if container.duration is None else container.duration / av.time_base
        end_s = max((s.end_s for s in seen.values()), default=0.0) - origin_s
        exact = container.format.name.split(",")[0] in _EXACT_LENGTH
        short = exact and header_s is not None and header_s - end_s > _SHORT_S
        aspect = None if picture is None else picture.sample_aspect_ratio
        return Scan(
            None if sound is None else seen[sound.index],
            None if picture is None else seen[picture.index],
            origin_s,
            end_s,
            short or any(stream.cut for stream in seen.values()),
            len(container.streams.audio),
            float(aspect) if aspect and 1 / _OBLONG <= aspect <= _OBLONG else 1.0,
            started_at(container.metadata),
        )


def _origin_s(container: Any, streams: Any) -> float:
    if container.start_time is not None:
        return float(container.start_time / av.time_base)
    return min((s.first_s for s in streams if s.first_s is not None), default=0.0)
