"""The strips as printed and as folded."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from logger.seeing.markers.strips import (
    ARM_STRIPS,
    STRIPS,
    TRUNK_STRIPS,
    Printed,
    Strip,
    StripName,
    folded,
    strip_of,
)

NAMES = st.sampled_from(sorted(STRIPS))


def test_no_marker_is_on_two_strips_and_all_are_of_the_dictionary() -> None:
    ids = [number for strip in STRIPS.values() for number in strip.ids]
    assert len(set(ids)) == len(ids)
    assert min(ids) >= 0
    assert max(ids) < 50
    assert set(STRIPS) == {*TRUNK_STRIPS, *ARM_STRIPS.values()}
    assert all(number in strip.ids for strip in STRIPS.values() for number in strip.ids)
    assert strip_of(17) is None


def test_markers_lie_row_by_row_from_the_arrows_end() -> None:
    strip = STRIPS["chest"]
    places = [strip.place(number) for number in strip.ids]
    assert places == [(0, 0), (1, 0), (2, 0), (0, 1), (1, 1), (2, 1)]
    top, bottom = (strip.corners_mm(strip.ids[n]).mean(axis=0) for n in (1, 4))
    assert top.tolist() == [0, 26]
    assert bottom.tolist() == [0, -26]


def test_unfolded_strip_is_the_print() -> None:
    strip = STRIPS["right_arm"]
    corners = Printed.of(strip, strip.ids).corners_mm(folded(strip, np.zeros(4)))
    assert corners[..., 2] == pytest.approx(0)
    # The upper left corner of the first marker: two and a half facets left, less the rim of 5 mm.
    assert corners[0, 0].tolist() == pytest.approx([-2.5 * 52 + 5, 52 - 5, 0])
    assert corners[-1, 2].tolist() == pytest.approx([2.5 * 52 - 5, -52 + 5, 0])


def test_prism_of_equal_folds_closes_where_geometry_says() -> None:
    """Facets of width w with folds of 60 degrees lie on a hexagon, w from its middle each."""
    strip = STRIPS["right_arm"]
    shape = folded(strip, np.radians(np.full(4, 60.0)))
    middle = np.array([0.0, 0.0, -strip.pitch_mm * np.sqrt(3) / 2])
    away = np.linalg.norm(shape.centres_mm - middle, axis=1)
    assert away == pytest.approx(np.full(5, strip.pitch_mm * np.sqrt(3) / 2))
    assert np.linalg.norm(shape.hinges_mm - middle, axis=1) == pytest.approx(np.full(4, 52.0))
    assert (np.sum(shape.normals * (shape.centres_mm - middle), axis=1) > 0).all()


@given(NAMES, st.lists(st.floats(-90, 120), min_size=4, max_size=4))
def test_folding_keeps_paper_whole(name: StripName, folds_deg: list[float]) -> None:
    """Neighbours meet at their fold, no length changes, and each fold turns by its angle."""
    strip: Strip = STRIPS[name]
    folds = np.radians(folds_deg[: strip.facets - 1])
    shape = folded(strip, folds)
    half = strip.pitch_mm / 2 * shape.rightward
    assert shape.centres_mm[:-1] + half[:-1] == pytest.approx(shape.hinges_mm)
    assert shape.centres_mm[1:] - half[1:] == pytest.approx(shape.hinges_mm)
    assert shape.centres_mm[strip.middle].tolist() == [0, 0, 0]
    # SciPy's rotation about the arrow is the independent check.
    turned = Rotation.from_euler("y", folds[:, None]).apply(shape.rightward[:-1])
    assert turned == pytest.approx(shape.rightward[1:], abs=1e-9)
