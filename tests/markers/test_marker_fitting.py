"""Fitting a folded strip: the pose comes out as SciPy put it in, and doubt is admitted."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.optimize import approx_fprime
from scipy.spatial.transform import Rotation
from seen import HD, SQUARE_ON, fitted, seen_corners

from logger.seeing.markers import fitting
from logger.seeing.markers.fitting import FitSettings, Folds, fit_strip
from logger.seeing.markers.strips import STRIPS, Printed, StripName, Vector

TILTS = st.floats(-35, 35)


@settings(max_examples=60, deadline=None)
@given(
    st.sampled_from(sorted(STRIPS)),
    st.tuples(st.floats(-180, 180), TILTS, TILTS),
    st.floats(-6, 6),
    st.floats(800, 3000),
)
def test_pose_and_folds_come_out_as_they_went_in(
    name: StripName, turns_deg: tuple[float, float, float], more: float, away_mm: float
) -> None:
    strip = STRIPS[name]
    turn = Rotation.from_euler("zxy", turns_deg, degrees=True) * SQUARE_ON
    folds = (
        np.full(strip.facets - 1, strip.fold_deg)
        + more * np.array([1, -1, 1, -1])[: strip.facets - 1]
    )
    place = np.array([0.1 * away_mm, -0.05 * away_mm, away_mm])
    corners = seen_corners(name, turn, place.tolist(), folds.tolist())
    facets = {strip.place(number).facet for number in corners}
    assume(len(facets) > 1)
    fit = fitted(name, corners)
    assert not fit.two_readings
    assert np.degrees((turn.inv() * Rotation.from_matrix(fit.rotation)).magnitude()) < 4
    # The turn about the arrow trades with the folds, which are pulled to what is usual.
    off = np.degrees(np.arccos(np.clip(fit.up @ turn.as_matrix()[:, 1], -1, 1)))
    assert off < 0.3
    assert fit.place_mm == pytest.approx(place, rel=0.02, abs=5)
    assert fit.rms_px < 0.1
    assert fit.facets == facets


def test_slopes_are_those_that_scipy_takes_from_differences() -> None:
    strip = STRIPS["left_arm"]
    ids = strip.ids[1:4]
    problem = fitting._Problem(
        strip, Printed.of(strip, ids), np.zeros((3, 4, 2)), 1000.0, 1.0, Folds.usual(strip)
    )
    state = fitting._State(
        Rotation.from_euler("xyz", [170, 20, 30], degrees=True).as_matrix(),
        np.array([10.0, 20.0, 2000.0]),
        np.radians([50.0, 60.0, 55.0, 40.0]),
    )
    _, slopes = fitting._linear(problem, state)
    for row, sloped in enumerate(slopes):

        def error(step: Vector, /, row: int = row) -> float:
            return float(fitting._linear(problem, fitting._moved(state, step))[0][row])

        numeric = approx_fprime(np.zeros(10), error, 1e-7)
        assert sloped == pytest.approx(numeric, rel=1e-4, abs=1e-3)


def test_one_facet_far_away_has_two_readings() -> None:
    """The two poses of a flat square under weak perspective (Collins and Bartoli 2014)."""
    turn = Rotation.from_euler("x", 20, degrees=True) * SQUARE_ON
    corners = seen_corners("chest", turn, (0, 0, 4000), (35, 35))
    alone = {number: corners[number] for number in (STRIPS["chest"].ids[1],)}
    assert fitted("chest", alone).two_readings
    assert not fitted("chest", corners).two_readings


def test_error_that_is_expected_is_the_error_that_comes() -> None:
    """Corners with 0.12 px of noise: the arrow's error over its stated deviation is about 1."""
    rng = np.random.default_rng(3)
    turn = Rotation.from_euler("zxy", [40, 15, 10], degrees=True) * SQUARE_ON
    corners = seen_corners("right_arm", turn, (100, 50, 2000), (57, 57, 57, 57))
    strip = STRIPS["right_arm"]
    plain = FitSettings(paper=0.0)
    squares = []
    for _ in range(200):
        noisy = {n: c + rng.normal(0, plain.noise_px, (4, 2)) for n, c in corners.items()}
        fit = fit_strip(strip, noisy, HD, Folds.usual(strip), plain)
        assert fit is not None
        off = turn.inv().apply(fit.up) - (0, 1, 0)
        spread = fit.direction_covariance(fit.up)
        squares.append(float(off @ off) / float(np.trace(spread)))
    assert np.mean(squares) == pytest.approx(1, abs=0.35)


@pytest.mark.parametrize("shift", [25.0, 60.0])
def test_markers_of_no_strip_do_not_fit(shift: float) -> None:
    corners = seen_corners("chest", SQUARE_ON, (0, 0, 1500), (35, 35))
    first = min(corners)
    corners[first] = corners[first] + (0.0, shift)
    strip = STRIPS["chest"]
    assert fit_strip(strip, corners, HD, Folds.usual(strip), FitSettings()) is None


@settings(max_examples=40, deadline=None)
@given(st.floats(0.5, 2.0))
def test_print_at_another_size_keeps_the_angles(scale: float) -> None:
    """A print at half size half as far away is the same picture: only the place scales."""
    turn = Rotation.from_euler("zxy", [40, 15, 10], degrees=True) * SQUARE_ON
    place = np.array([120.0, -60.0, 1800.0])
    here = seen_corners("chest", turn, place.tolist(), (35, 35))
    there = fitted("chest", seen_corners("chest", turn, (place * scale).tolist(), (35, 35)))
    assert there.place_mm == pytest.approx(place * scale, rel=0.01)
    assert there.up == pytest.approx(fitted("chest", here).up, abs=0.005)
