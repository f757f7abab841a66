"""Where the recording of a session is, to be played beside its rows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from logger.files.saving import VIDEO
from logger.files.session_json import RecordingFacts
from logger.recording.digest import content_digest

PLAYED: Final = {
    ".mp4": "video/mp4",
    ".m4v": "video/mp4",
    ".mov": "video/mp4",
    ".webm": "video/webm",
    ".ogv": "video/ogg",
    ".mp3": "audio/mpeg",
    ".m4a": "audio/mp4",
    ".wav": "audio/wav",
    ".ogg": "audio/ogg",
    ".flac": "audio/flac",
}
"""What browsers play, by the name's ending."""


@dataclass(frozen=True, slots=True)
class Playable:
    """What can be played for a session."""

    path: Path | None
    note: str
    """Why there is nothing, or what to know of it; empty where all is well."""

    @property
    def kind(self) -> str:
        """Return the media type; empty where there is nothing."""
        return PLAYED.get(self.path.suffix.lower(), "") if self.path else ""


def playable(facts: RecordingFacts, session: Path, places: Sequence[Path]) -> Playable:
    """Look for the recording of `session` in its own folder, the one above, and `places`.

    A file of the same name but other content is not it: the rows would not fit what is seen.
    """
    name = Path(facts.name).name
    changed = False
    for place in (session, session.parent, *places):
        path = place / name
        if not path.is_file():
            continue
        if facts.sha256 is not None and content_digest(path) != facts.sha256:
            changed = True
            continue
        if path.suffix.lower() in PLAYED:
            return Playable(path, "")
        return _drawn(session, f"{name} is of a kind that browsers do not play")
    if changed:
        return _drawn(session, f"a file {name} was found, but it is not the one that was read")
    return _drawn(session, f"{name} was not found; give its folder with --recordings")


def _drawn(session: Path, why: str) -> Playable:
    """Return the annotated video, which has no sound, where there is one."""
    path = session / VIDEO
    if path.is_file():
        return Playable(path, f"This is the annotated video: {why}.")
    return Playable(None, f"Nothing to play: {why}.")
