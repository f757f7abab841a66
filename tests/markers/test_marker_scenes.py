"""What the README states of markers, on scenes rendered for it."""

from __future__ import annotations

import numpy as np
import pytest

from logger.bench.marker_scenes import Scene, render
from logger.bench.markers import CONDITIONS, MarkerFigures, marker_scenes_error
from logger.seeing.markers.camera import camera_of_focal_35mm


def check(figures: dict[str, MarkerFigures], least_given: float) -> None:
    whole = figures["all"].as_json()
    assert figures["all"].given >= least_given * figures["all"].n
    assert whole["mean_abs_error_deg"] is not None
    assert whole["mean_abs_error_deg"] <= 2
    assert whole["max_abs_error_deg"] is not None
    assert whole["max_abs_error_deg"] <= 4


def test_a_few_scenes_of_each_condition() -> None:
    check(marker_scenes_error(count=4, seed=5), 0.4)


@pytest.mark.slow
def test_many_scenes_of_each_condition() -> None:
    figures = marker_scenes_error(count=12, seed=6)
    check(figures, 0.6)
    for name in ("640x480, 1.3 m", "1280x720, 2 m", "1920x1080, 3 m"):
        assert figures[name].given >= 0.6 * figures[name].n


def test_same_scenes_give_the_same_figures() -> None:
    name = next(iter(CONDITIONS))
    assert marker_scenes_error(2, 3, (name,)) == marker_scenes_error(2, 3, (name,))


def test_figures_are_those_of_their_errors() -> None:
    figures = MarkerFigures(5, 4, (1.0, -3.0, 0.0, 6.0), ("too far",))
    assert figures.as_json() == {
        "n": 5,
        "given": 4,
        "mean_abs_error_deg": 2.5,
        "p95_abs_error_deg": pytest.approx(np.percentile([0, 1, 3, 6], 95)),
        "max_abs_error_deg": 6,
        "within_2": 0.5,
        "within_5": 0.75,
        "within_10": 1,
    }
    assert MarkerFigures(2, 0, (), ("a", "b")).as_json()["mean_abs_error_deg"] is None
    assert all(len(f.line("unknown camera")) <= 80 for f in (figures, MarkerFigures(9, 0, (), ())))


def test_lens_bends_the_picture_where_it_should() -> None:
    """A barrel lens (k1 < 0) draws what is off the middle towards it."""
    plain = camera_of_focal_35mm(28, 640, 480)
    scene = Scene(plain, 1200, noise=0, jpeg_quality=None)
    bent = Scene(
        camera_of_focal_35mm(28, 640, 480).__class__(
            640, 480, plain.focal_px, plain.centre_px, (-0.3, 0, 0, 0, 0)
        ),
        1200,
        noise=0,
        jpeg_quality=None,
    )
    assert not np.array_equal(render(scene), render(bent))
    assert np.array_equal(render(scene), render(scene))
