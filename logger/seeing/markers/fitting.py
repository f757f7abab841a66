"""Where a folded strip is and how it is turned: a least-squares fit of all its corners at once.

Unknown are the turn, the place and the bend of each fold. What is known of the folds beforehand
(from the wearers in general, later from the whole recording) goes in as a prior. The fit starts
from both poses that a flat marker allows (IPPE, Collins and Bartoli 2014), and where both lead to
a shape that explains the picture, the strip has two readings and neither is taken.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from logger.seeing.markers.camera import Camera
from logger.seeing.markers.strips import UP, Printed, Shape, Strip, Vector, across_up, folded

_POSE: Final = 6
_LEVI_CIVITA: Final = np.array(
    [
        [(0, 0, 0), (0, 0, 1), (0, -1, 0)],
        [(0, 0, -1), (0, 0, 0), (1, 0, 0)],
        [(0, 1, 0), (-1, 0, 0), (0, 0, 0)],
    ],
    dtype=np.float64,
)
_STEP_END: Final = 1e-4
"""A step that makes the fit better by less than this part of itself ends it."""


@dataclass(frozen=True, slots=True)
class Folds:
    """What is known of a strip's folds before a fit, in radians."""

    mean_rad: Vector
    """(facets - 1,)."""
    whitening: Vector
    """(facets - 1, facets - 1): makes of folds less their mean independent errors of size 1."""

    @classmethod
    def usual(cls, strip: Strip) -> Folds:
        """Return what is known of a strip before it has been seen."""
        count = strip.facets - 1
        each, alike = np.radians(strip.fold_sd_deg), np.radians(strip.folds_alike_deg)
        covariance = each**2 * np.ones((count, count)) + alike**2 * np.eye(count)
        whitening = np.linalg.inv(np.linalg.cholesky(covariance))
        return cls(np.full(count, np.radians(strip.fold_deg)), whitening)


@dataclass(frozen=True, slots=True)
class FitSettings:
    """What makes a fit one that counts."""

    noise_px: float = 0.12
    """How far a corner may lie off, one standard deviation: what detection leaves, measured."""
    paper: float = 0.012
    """How far a corner may lie off because paper is not folded and worn just as printed, as a
    part of the marker's side, one standard deviation."""
    most_rms: float = 3.0
    """Corners further off than this on average, in standard deviations, are no strip as
    printed."""
    rounds: int = 25
    twin_apart_deg: float = 2.0
    """Two fits whose arrows differ by less are one."""
    twin_cost: float = 16.0
    """How much worse (in squared standard deviations) the second reading must explain the
    picture for the first to stand."""


@dataclass(frozen=True, slots=True)
class Fit:
    """A strip as it lies before the camera."""

    strip: Strip
    rotation: Vector
    """(3, 3): from the strip's axes to the camera's (x right, y down, z away)."""
    place_mm: Vector
    """(3,): the strip's centre in the camera's axes, if it was printed at true size."""
    folds_rad: Vector
    covariance: Vector
    """Of a small turn (camera's axes), the place and the folds; (6 + folds, 6 + folds)."""
    rms_px: float
    cost: float
    facets: frozenset[int]
    """Which were seen."""
    two_readings: bool = False
    """Whether another pose explains the picture about as well."""

    @property
    def up(self) -> Vector:
        """The arrow's direction in the camera's axes, of length 1."""
        arrow: Vector = self.rotation @ UP
        return arrow

    def direction_covariance(self, direction: Vector) -> Vector:
        """Return the (3, 3) covariance of a direction fixed to the strip, in camera axes."""
        cross = -_cross_matrix(direction)
        spread: Vector = cross @ self.covariance[:3, :3] @ cross.T
        return spread


@dataclass(frozen=True, slots=True)
class _State:
    rotation: Vector
    place: Vector
    folds: Vector


@dataclass(frozen=True, slots=True)
class _Problem:
    """All that stays as it is through a fit."""

    strip: Strip
    printed: Printed
    seen: Vector
    """(markers, 4, 2) on the plane at distance 1 before the camera, without distortion."""
    sharpness: float
    """What one unit on that plane is in standard deviations of a corner."""
    noise_px: float
    prior: Folds


def fit_strip(
    strip: Strip,
    corners_px: Mapping[int, Vector],
    camera: Camera,
    prior: Folds,
    settings: FitSettings,
) -> Fit | None:
    """Return the pose of a strip from the corners of its markers; None where none explains them.

    `corners_px` has (4, 2) for each id of the strip that was seen, at least one.
    """
    ids = tuple(sorted(corners_px))
    pixels = np.stack([corners_px[number] for number in ids])
    rays = cv2.undistortPoints(pixels.reshape(-1, 1, 2), camera.matrix, camera.lens)
    seen = np.asarray(rays, dtype=np.float64).reshape(-1, 4, 2)
    focal_px = float(np.mean(camera.focal_px))
    noise_px = math.hypot(settings.noise_px, settings.paper * _side_px(pixels))
    problem = _Problem(strip, Printed.of(strip, ids), seen, focal_px / noise_px, noise_px, prior)
    fits = [
        fit for start in _starts(problem) if (fit := _descend(problem, start, settings)) is not None
    ]
    fits.sort(key=lambda fit: fit.cost)
    if not fits or fits[0].rms_px > settings.most_rms * noise_px:
        return None
    best = fits[0]
    twins = (fit for fit in fits[1:] if _apart_deg(fit, best) > settings.twin_apart_deg)
    two = any(twin.cost - best.cost < settings.twin_cost for twin in twins)
    return replace(best, two_readings=two)


def _side_px(quads: Vector) -> float:
    return float(np.linalg.norm(quads - np.roll(quads, 1, axis=1), axis=2).mean())


def _apart_deg(one: Fit, other: Fit) -> float:
    return float(np.degrees(np.arccos(np.clip(one.up @ other.up, -1.0, 1.0))))


def _starts(problem: _Problem) -> list[_State]:
    """Return both poses that the marker with the largest image allows when taken alone."""
    areas = [cv2.contourArea(quad.astype(np.float32)) for quad in problem.seen]
    best = int(np.argmax(areas))
    half = problem.strip.marker_mm / 2
    square = np.array([(-half, half, 0), (half, half, 0), (half, -half, 0), (-half, -half, 0)])
    _, turns, places, _ = cv2.solvePnPGeneric(
        square, problem.seen[best], np.eye(3), np.zeros(5), flags=cv2.SOLVEPNP_IPPE_SQUARE
    )
    shape = folded(problem.strip, problem.prior.mean_rad)
    facet = problem.printed.facets[best]
    right = shape.rightward[facet]
    # The facet's own axes in those of the strip.
    own = np.stack([right, UP, across_up(right)], axis=1)
    centre = shape.centres_mm[facet] + UP * problem.printed.flat_mm[best, :, 1].mean()
    states = []
    for turn, place in zip(turns, places, strict=True):
        rotation = np.asarray(cv2.Rodrigues(turn)[0], dtype=np.float64) @ own.T
        states.append(_State(rotation, place.ravel() - rotation @ centre, problem.prior.mean_rad))
    return states


def _descend(problem: _Problem, state: _State, settings: FitSettings) -> Fit | None:
    """Levenberg and Marquardt from one start; None where it ends in no possible view."""
    damping, (errors, slopes) = 1e-3, _linear(problem, state)
    cost = float(errors @ errors)
    for _ in range(settings.rounds):
        normal, pull = slopes.T @ slopes, slopes.T @ errors
        step = -_solved(normal + damping * np.diag(np.diag(normal)), pull)
        trial = _moved(state, step)
        trial_errors, trial_slopes = _linear(problem, trial)
        trial_cost = float(trial_errors @ trial_errors)
        if not trial_cost < cost:
            damping *= 10
            if damping > 1e6:  # noqa: PLR2004 - nothing is left to gain
                break
            continue
        done = cost - trial_cost < _STEP_END * (1 + cost)
        state, cost, errors, slopes = trial, trial_cost, trial_errors, trial_slopes
        damping = max(damping / 10, 1e-9)
        if done:
            break
    return _fit(problem, state, (errors, slopes))


def _fit(problem: _Problem, state: _State, linear: tuple[Vector, Vector]) -> Fit | None:
    errors, slopes = linear
    shape = folded(problem.strip, state.folds)
    facets = problem.printed.facets
    if not _facing(shape, state, facets):
        return None
    on_picture = errors[: problem.seen.size] * problem.noise_px
    free = problem.seen.size - _POSE
    # Where the corners lie worse than they should, so do the pose and all that follows from it.
    normal = slopes.T @ slopes
    spread = _solved(normal, np.eye(len(normal)))
    worse = max(1.0, float(np.sum(errors[: problem.seen.size] ** 2)) / max(free, 1))
    return Fit(
        problem.strip,
        state.rotation,
        state.place,
        state.folds,
        spread * worse,
        float(np.sqrt(np.mean(on_picture**2) * 2)),
        float(errors @ errors),
        frozenset(facets.tolist()),
    )


def _solved(matrix: Vector, right: Vector) -> Vector:
    return np.asarray(np.linalg.solve(matrix, right), dtype=np.float64)


def _facing(shape: Shape, state: _State, facets: NDArray[np.intp]) -> bool:
    """Whether all facets that were seen lie before the camera and show it their print."""
    centres = shape.centres_mm[facets] @ state.rotation.T + state.place
    normals = shape.normals[facets] @ state.rotation.T
    towards = -np.sum(normals * centres, axis=1)
    return bool((centres[:, 2] > 0).all() and (towards > 0).all())


def _moved(state: _State, step: Vector) -> _State:
    turn = np.asarray(cv2.Rodrigues(step[:3])[0], dtype=np.float64)
    return _State(turn @ state.rotation, state.place + step[3:6], state.folds + step[6:])


def _linear(problem: _Problem, state: _State) -> tuple[Vector, Vector]:
    """Return (n,) errors in standard deviations and their (n, 6 + folds) slopes."""
    strip = problem.strip
    shape = folded(strip, state.folds)
    points = problem.printed.corners_mm(shape)
    turned = points @ state.rotation.T
    placed = turned + state.place
    depth = np.maximum(placed[..., 2:], 1.0)
    flat = placed[..., :2] / depth
    errors = ((flat - problem.seen) * problem.sharpness).ravel()
    # d(x/z) = dx/z - (x/z) dz/z
    moves = np.concatenate([_turn_slopes(turned), _place_slopes(turned)], axis=-1)
    moves = np.concatenate([moves, _fold_slopes(problem, state, shape, points)], axis=-1)
    slopes = (moves[..., :2, :] - flat[..., :, None] * moves[..., 2:, :]) / depth[..., None]
    whitening = problem.prior.whitening
    prior_errors = whitening @ (state.folds - problem.prior.mean_rad)
    prior_slopes = np.hstack([np.zeros((len(whitening), _POSE)), whitening])
    rows = slopes.reshape(errors.size, -1) * problem.sharpness
    return np.concatenate([errors, prior_errors]), np.vstack([rows, prior_slopes])


def _turn_slopes(turned: Vector) -> Vector:
    """Return (..., 3, 3): how points move with a small turn, w x p = -[p]x w."""
    return -_cross_matrix(turned)


def _place_slopes(turned: Vector) -> Vector:
    return np.broadcast_to(np.eye(3), (*turned.shape, 3))


def _fold_slopes(problem: _Problem, state: _State, shape: Shape, points: Vector) -> Vector:
    """Return (markers, 4, 3, folds): how corners move as a fold bends, about its hinge."""
    strip, facets = problem.strip, problem.printed.facets
    slopes = np.zeros((*points.shape, strip.facets - 1))
    for fold, hinge in enumerate(shape.hinges_mm):
        outside = facets > fold if fold >= strip.middle else facets <= fold
        sign = 1.0 if fold >= strip.middle else -1.0
        bent = -sign * across_up(points[outside] - hinge)
        slopes[outside, :, :, fold] = bent @ state.rotation.T
    return slopes


def _cross_matrix(vector: Vector) -> Vector:
    """Return (..., 3, 3) with [v]x w = v x w."""
    rows: Vector = np.einsum("ijk,...j->...ik", _LEVI_CIVITA, vector)
    return rows
