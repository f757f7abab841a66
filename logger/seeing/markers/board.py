"""The calibration board: a chessboard with markers in its white squares (ChArUco)."""

from __future__ import annotations

from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

SQUARES: Final = (7, 5)
SQUARE_MM: Final = 36.0
CELLS_A_SQUARE: Final = 9
"""A marker is seven cells wide with its border and has one white cell around."""
_DICTIONARY: Final = cv2.aruco.DICT_5X5_50
"""Another one than the strips', so that neither is ever taken for the other."""


def charuco_board() -> cv2.aruco.CharucoBoard:
    """Return the board in millimetres."""
    marker_mm = SQUARE_MM * (CELLS_A_SQUARE - 2) / CELLS_A_SQUARE
    dictionary = cv2.aruco.getPredefinedDictionary(_DICTIONARY)
    return cv2.aruco.CharucoBoard(SQUARES, SQUARE_MM, marker_mm, dictionary)


def board_cells() -> NDArray[np.bool_]:
    """Return what is black, (5 x 9, 7 x 9) cells, the top row first."""
    fine = 10
    size = SQUARES[0] * CELLS_A_SQUARE * fine, SQUARES[1] * CELLS_A_SQUARE * fine
    drawn = charuco_board().generateImage(size, marginSize=0)
    # The middle of each cell.
    black: NDArray[np.bool_] = np.asarray(drawn)[fine // 2 :: fine, fine // 2 :: fine] < 128  # noqa: PLR2004 - grey
    return black
