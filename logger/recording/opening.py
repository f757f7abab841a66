"""Opens media files through FFmpeg and decodes them without giving up at the first damage."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

import av
from av.stream import Disposition

from logger.core.errors import RecordingError

# FFmpeg also takes text, pictures, playlists and raw bytes for media, and a playlist may name
# other files or addresses. Only containers that hold sound or video themselves are opened.
_CONTAINERS: Final = (
    "mov,mp4,m4a,3gp,3g2,mj2,matroska,webm,wav,w64,flac,mp3,ogg,aac,avi,asf,mpegts,mpeg,flv,"
    "aiff,caf,amr,au,mxf"
)
_OPTIONS: Final = {"format_whitelist": _CONTAINERS, "protocol_whitelist": "file"}


def check_file(path: Path) -> None:
    """Make sure that `path` is a file with something in it.

    Raises:
        RecordingError: if it is missing, a folder, a device, empty, or not to be looked at.

    """
    try:
        if not path.exists():
            raise RecordingError(f"No such file: {path}. Check the name and the folder.")
        if path.is_dir():
            raise RecordingError(f"{path} is a folder: name a recording in it.")
        if not path.is_file():
            raise RecordingError(f"{path} is no ordinary file: give a recording.")
        if path.stat().st_size == 0:
            raise RecordingError(f"{path} is empty (0 bytes): record or copy it again.")
    except (OSError, ValueError) as error:
        raise RecordingError(f"{path} cannot be looked at: {error}. Check the name.") from error


@contextmanager
def opened(path: Path) -> Iterator[Any]:
    """Open a media file, as a PyAV container.

    Raises:
        RecordingError: if it is no media file, is damaged from the start, or may not be read.

    """
    try:
        # An absolute name, because FFmpeg takes "12:30.mp4" for a protocol called "12".
        container = av.open(str(path.absolute()), options=_OPTIONS)
    except PermissionError as error:
        raise RecordingError(f"{path} may not be read: change its permissions.") from error
    except (av.FFmpegError, OSError, ValueError) as error:
        raise RecordingError(
            f"{path} cannot be read as a recording: it is no media file, or it is damaged or cut "
            "off before its table of contents. Give a sound or video file, or copy it again."
        ) from error
    with container:
        yield container


def sound_stream(container: Any) -> Any | None:
    """Return the first sound track, None where there is none."""
    return next(iter(container.streams.audio), None)


def picture_stream(container: Any) -> Any | None:
    """Return the first video track, None where there is none.

    The cover picture of a sound file is stored as a track, but is no video.
    """
    tracks = container.streams.video
    return next((s for s in tracks if not s.disposition & Disposition.attached_pic), None)


def packets(container: Any, *streams: Any) -> Iterator[Any]:
    """Yield the packets of the streams for as long as the file can be read."""
    reading = container.demux(*streams)
    while True:
        try:
            packet = next(reading, None)
        except av.FFmpegError:
            return
        if packet is None:
            return
        yield packet


def decoded(packet: Any) -> list[Any]:
    """Return the frames of a packet; none where it is damaged.

    A cut-off packet of a picture decodes to half a picture and is left out; one of plain sound
    still holds the samples before the cut.
    """
    if packet.is_corrupt and packet.stream.type == "video":
        return []
    try:
        return list(packet.decode())
    except av.FFmpegError:
        return []
