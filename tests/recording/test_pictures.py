"""All eight ways in which a picture can be turned and mirrored."""

from __future__ import annotations

import numpy as np
import pytest

from logger.recording.pictures import upright

PICTURE = np.arange(2 * 3 * 3, dtype=np.uint8).reshape(2, 3, 3)
EIGHT = [
    ((a, 0), (0, d)) if straight else ((0, a), (d, 0))
    for straight in (True, False)
    for a in (1, -1)
    for d in (1, -1)
]


@pytest.mark.parametrize("matrix", EIGHT)
def test_every_pixel_goes_where_the_matrix_says(
    matrix: tuple[tuple[int, int], tuple[int, int]],
) -> None:
    """Pixel by pixel, as FFmpeg documents its display matrix: (a x + c y, b x + d y)."""
    (a, b), (c, d) = matrix
    points = {(a * x + c * y, b * x + d * y): PICTURE[y, x] for y in range(2) for x in range(3)}
    left, top = min(x for x, _ in points), min(y for _, y in points)
    got = upright(PICTURE, np.array(matrix, np.int32))
    assert got.shape[:2] == ((2, 3) if a else (3, 2))
    for (x, y), pixel in points.items():
        assert np.array_equal(got[y - top, x - left], pixel)
