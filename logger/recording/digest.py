"""What tells two recordings apart, whatever their names."""

from __future__ import annotations

import hashlib
from pathlib import Path

from logger.core.errors import RecordingError


def content_digest(path: Path) -> str:
    """Return the SHA-256 of a file's bytes in hexadecimal.

    Raises:
        RecordingError: if the file cannot be read.

    """
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as error:
        raise RecordingError(
            f"{path} cannot be read: {error.strerror or error}. Check the name and permissions."
        ) from error
