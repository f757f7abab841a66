"""Markers as an ideal camera sees them: projected by SciPy's rotations, without a picture."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.spatial.transform import Rotation

from logger.seeing.markers.camera import Camera, camera_of_focal_35mm
from logger.seeing.markers.fitting import Fit, FitSettings, Folds, fit_strip
from logger.seeing.markers.strips import STRIPS, Printed, StripName, Vector, folded

HD: Camera = camera_of_focal_35mm(28, 1280, 720)
SQUARE_ON = Rotation.from_matrix(np.diag([1.0, -1.0, -1.0]))
"""From a strip's axes to the camera's, for a strip that faces it with the arrow up."""


def seen_corners(
    name: StripName,
    turn: Rotation,
    place_mm: Sequence[float],
    folds_deg: Sequence[float],
    camera: Camera = HD,
) -> dict[int, Vector]:
    """Return the corners of all markers that face the camera, by id, in pixels."""
    strip = STRIPS[name]
    shape = folded(strip, np.radians(np.asarray(folds_deg, dtype=np.float64)))
    normals, centres = turn.apply(shape.normals), turn.apply(shape.centres_mm) + place_mm
    facing = -np.sum(normals * centres, axis=1) / np.linalg.norm(centres, axis=1)
    ids = [number for number in strip.ids if facing[strip.place(number).facet] > 0.25]
    if not ids:
        return {}
    points = Printed.of(strip, ids).corners_mm(shape).reshape(-1, 3)
    x, y, z = (turn.apply(points) + place_mm).T
    (fx, fy), (cx, cy) = camera.focal_px, camera.centre_px
    pixels = np.stack([fx * x / z + cx, fy * y / z + cy], axis=1)
    return dict(zip(ids, pixels.reshape(-1, 4, 2), strict=True))


def fitted(name: StripName, corners_px: dict[int, Vector], camera: Camera = HD) -> Fit:
    """Return the fit of corners, which must succeed."""
    strip = STRIPS[name]
    fit = fit_strip(strip, corners_px, camera, Folds.usual(strip), FitSettings())
    assert fit is not None
    return fit
