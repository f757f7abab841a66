"""When hands cover a shoulder: the looks of one small patch of a body that lies still.

The patch holds the front of one shoulder and the chest beside it, which stay in place while the
arm moves. Its looks over a recording fall into a few kinds: bare, and covered in one way or
another. Which kind is the bare one is decided afterwards, by how well the readings of the arm
agree with each other under each.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

import cv2
import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from logger.core.events import Side
    from logger.seeing.patient import Trunk

_PATCH_PX: Final = 24
_NO_KIND: Final = -1
_NO_READING_DEG: Final = 180.0


@dataclass(frozen=True, slots=True)
class CoverSettings:
    """Where the patch lies, and when two looks of it are of one kind."""

    inward_share: float = 0.5
    """The patch's middle, as a share of the way from the shoulder to the middle of both."""
    down_trunks: float = 0.1
    radius_trunks: float = 0.18
    step_levels: float = 30.0
    """A pixel has changed where a colour channel differs by more, of 255."""
    covered_share: float = 0.21
    """The share of changed pixels from which a look is of another kind. Measured on the practice
    sessions: up to 0.15 while only the arm moves; under hands on the shoulder 0.31 and more."""
    least_frames: int = 3
    """A kind seen less often is not taken for the bare one while there are others."""
    close_deg: float = 2.5
    """Kinds whose readings agree within this of the best are taken as equally good; among them
    the bare one must be both the first seen (a patient is seen before they are touched) and the
    most frequent, else it stays open."""
    most_apart_deg: float = 8.0
    """Where readings differ by more under every look, none is taken for the bare one."""
    most_kinds: int = 64


@dataclass(slots=True)
class _Kind:
    look: NDArray[np.float64]
    disagreements_deg: list[float] = field(default_factory=list)
    frames: int = 0

    @property
    def apart_deg(self) -> float:
        """By how much readings differ where there were any, in the middle."""
        read = [value for value in self.disagreements_deg if value < _NO_READING_DEG]
        return float(np.median(read)) if read else _NO_READING_DEG


class CoverWatch:
    """Sorts the looks of one shoulder into kinds, frame by frame; memory is bounded."""

    def __init__(self, trunk: Trunk, side: Side, settings: CoverSettings) -> None:
        """Lay the patch at the shoulder of `side`."""
        self._settings = settings
        shoulder = trunk.points[0 if side == "left" else 1]
        middle = shoulder + settings.inward_share * (trunk.mid_shoulder - shoulder)
        middle = middle + settings.down_trunks * (trunk.mid_hip - trunk.mid_shoulder)
        radius = settings.radius_trunks * trunk.length_px
        scale = _PATCH_PX / (2 * radius)
        offset = _PATCH_PX / 2 - scale * middle
        self._matrix = np.array([[scale, 0, offset[0]], [0, scale, offset[1]]])
        self._blur = max(radius / 12, 0.5)
        self._kinds: list[_Kind] = []

    def kind(self, rgb: NDArray[np.uint8]) -> int:
        """Return the number of the kind of look this frame shows; -1 where there are too many."""
        look = self._look(rgb)
        shares = [self._changed(look, kind.look) for kind in self._kinds]
        if shares and min(shares) < self._settings.covered_share:
            return int(np.argmin(shares))
        if len(self._kinds) >= self._settings.most_kinds:
            return _NO_KIND
        self._kinds.append(_Kind(look))
        return len(self._kinds) - 1

    def note(self, kind: int, disagreement_deg: float | None) -> None:
        """Count one frame of `kind` and how far its readings disagree; None for no reading."""
        if kind == _NO_KIND:
            return
        self._kinds[kind].frames += 1
        worst = _NO_READING_DEG if disagreement_deg is None else disagreement_deg
        self._kinds[kind].disagreements_deg.append(worst)

    def was_read(self, kind: int) -> bool:
        """Whether an arm was read, well or not, under this kind of look."""
        return self._kinds[kind].frames > 0

    def bare(self) -> int | None:
        """Return the kind of look that shows the bare shoulder; None where that stays open."""
        most = max((kind.frames for kind in self._kinds), default=0)
        least = max(min(self._settings.least_frames, most), 1)
        rated = [
            (float(np.median(kind.disagreements_deg)), number)
            for number, kind in enumerate(self._kinds)
            if kind.frames >= least
        ]
        if not rated:
            return None
        best, number = min(rated)
        if self._kinds[number].apart_deg > self._settings.most_apart_deg:
            return None
        good = [number for cost, number in rated if cost <= best + self._settings.close_deg]
        first, usual = min(good), max(good, key=lambda number: self._kinds[number].frames)
        return first if first == usual else None

    def _look(self, rgb: NDArray[np.uint8]) -> NDArray[np.float64]:
        reach = 3 * self._blur
        corner = -self._matrix[:, 2] / self._matrix[0, 0]
        size = _PATCH_PX / self._matrix[0, 0]
        height, width = rgb.shape[:2]
        x0, y0 = np.clip(np.floor(corner - reach), 0, [width - 1, height - 1]).astype(int)
        x1, y1 = np.clip(np.ceil(corner + size + reach), 1, [width, height]).astype(int)
        part = rgb[y0 : max(y1, y0 + 1), x0 : max(x1, x0 + 1)]
        near = cv2.GaussianBlur(part, (0, 0), self._blur)
        matrix = self._matrix.copy()
        matrix[:, 2] += matrix[0, 0] * np.array([x0, y0])
        return cv2.warpAffine(near, matrix, (_PATCH_PX, _PATCH_PX)).astype(np.float64)

    def _changed(self, look: NDArray[np.float64], other: NDArray[np.float64]) -> float:
        step = np.abs(look - other).max(axis=2)
        return float((step > self._settings.step_levels).mean())
