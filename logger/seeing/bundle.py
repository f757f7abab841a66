"""The pose model's bundle: put together once from the two models in the mediapipe wheel.

The Tasks API reads a `.task` file: a zip, stored uncompressed, of a person detector and a
landmark model that carries TFLite metadata. The wheel holds both models, but the landmark model
without metadata. Nothing is downloaded.
"""

from __future__ import annotations

import hashlib
import io
import os
import tempfile
import zipfile
from importlib.resources import files
from pathlib import Path
from typing import Final

import platformdirs

from logger.core.errors import ModelError

DETECTOR_NAME: Final = "pose_detector.tflite"
LANDMARKS_NAME: Final = "pose_landmarks_detector.tflite"
_MODULES: Final = files("mediapipe") / "modules"
_ZIP_DATE: Final = (1980, 1, 1, 0, 0, 0)  # a fixed date makes equal bundles equal byte for byte


def pose_bundle(chosen: Path | None = None, cache_dir: Path | None = None) -> Path:
    """Return a checked pose bundle: `chosen`, or the one of the wheel's own models.

    `cache_dir` defaults to the user's cache folder. The bundle is written there on first use
    and its content compared with what it should be on every later use; a damaged one is written
    afresh. Raises `ModelError` where `chosen` is no bundle or the cache cannot be written.
    """
    if chosen is not None:
        check_bundle(chosen)
        return chosen
    content = _wheel_bundle()
    digest = hashlib.sha256(content).hexdigest()
    folder = cache_dir or platformdirs.user_cache_path("spoken-findings")
    path = folder / f"pose-full-{digest[:12]}.task"
    try:
        if not (path.is_file() and path.read_bytes() == content):
            _write_whole(path, content)
    except OSError as error:
        raise ModelError(
            f"The pose model cannot be kept in {path}: {error.strerror or error}; "
            "make the folder writable or give a bundle with --pose-model."
        ) from error
    return path


def check_bundle(path: Path) -> None:
    """Raise `ModelError` naming `path` unless it is a pose bundle with both of its models."""
    hint = "give a .task bundle of a pose landmarker with --pose-model, or leave the option out."
    if not path.is_file():
        raise ModelError(f"There is no pose model file at {path}; {hint}")
    try:
        with zipfile.ZipFile(path) as bundle:
            held = set(bundle.namelist())
            damaged = bundle.testzip()
    except (OSError, zipfile.BadZipFile) as error:
        raise ModelError(f"{path} is no pose model bundle; {hint}") from error
    if missing := {DETECTOR_NAME, LANDMARKS_NAME} - held:
        raise ModelError(f"{path} is no pose model bundle: it lacks {min(missing)}; {hint}")
    if damaged is not None:
        raise ModelError(f"{path} is a damaged pose model bundle (in {damaged}); {hint}")


def _wheel_bundle() -> bytes:
    """Build the bundle's bytes from the models inside the mediapipe wheel."""
    try:
        detector = (_MODULES / "pose_detection" / "pose_detection.tflite").read_bytes()
        bare = (_MODULES / "pose_landmark" / "pose_landmark_full.tflite").read_bytes()
    except OSError as error:
        raise ModelError(
            "The installed mediapipe carries no pose model; install mediapipe 0.10.21, "
            "or give a bundle with --pose-model."
        ) from error
    # Imported here: it takes seconds, and most commands need no pose model.
    from mediapipe.tasks.python.metadata.metadata_writers import metadata_writer  # noqa: PLC0415

    # Mean 0 and deviation 255: the landmark model takes colours from 0 to 1.
    writer = metadata_writer.MetadataWriter.create(bytearray(bare))
    writer.add_general_info("pose").add_image_input([0.0], [255.0])
    landmarks, _ = writer.populate()
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as bundle:
        for name, model in ((DETECTOR_NAME, detector), (LANDMARKS_NAME, bytes(landmarks))):
            bundle.writestr(zipfile.ZipInfo(name, _ZIP_DATE), model)
    return out.getvalue()


def _write_whole(path: Path, content: bytes) -> None:
    """Write beside the place and move there, so that no reader ever sees half a file."""
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=path.stem, suffix=".part")
    part = Path(name)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)
