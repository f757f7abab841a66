"""Which frames of a recording are looked at."""

from __future__ import annotations

from typing import TYPE_CHECKING

import cv2
import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from numpy.typing import NDArray

    Picture = NDArray[np.uint8]
    Frames = Iterable[tuple[float, Picture]]

_SAME_LEVELS = 2.0


def paced(frames: Frames, rate_hz: float) -> Iterator[tuple[float, Picture]]:
    """Yield at most `rate_hz` frames a second; all of them where there are fewer."""
    step_s = 1.0 / rate_hz
    due_s: float | None = None
    for time_s, rgb in frames:
        # A tenth of a step of slack: times from a file are not exact.
        if due_s is not None and time_s < due_s - 0.1 * step_s:
            continue
        due_s = time_s + step_s if due_s is None else max(due_s, time_s - step_s / 2) + step_s
        yield time_s, rgb


def spread(frames: Frames, count: int, most_px: int | None = None) -> list[tuple[float, Picture]]:
    """Return up to `count` frames spread evenly over a recording of unknown length.

    Those with a side longer than `most_px` are reduced to it: up to twice `count` are held.
    """
    kept: list[tuple[float, Picture]] = []
    step = 1
    for number, (time_s, rgb) in enumerate(frames):
        if number % step:
            continue
        kept.append((time_s, reduced(rgb, most_px)))
        if len(kept) >= 2 * count:
            kept = kept[::2]
            step *= 2
    chosen = np.unique(np.linspace(0, len(kept) - 1, min(count, len(kept))).round().astype(int))
    return [kept[index] for index in chosen]


def reduced(rgb: Picture, most_px: int | None) -> Picture:
    """Return the picture with its longer side no longer than `most_px`, in proportion."""
    longest = max(rgb.shape[:2])
    if most_px is None or longest <= most_px:
        return rgb
    size = tuple(max(round(side * most_px / longest), 1) for side in rgb.shape[1::-1])
    return cv2.resize(rgb, (size[0], size[1]), interpolation=cv2.INTER_AREA).astype(np.uint8)


def distinct(pictures: Sequence[Picture]) -> tuple[list[Picture], list[int]]:
    """Return the pictures without those that repeat an earlier one, and for each which it is."""
    kept: list[Picture] = []
    small: list[NDArray[np.float64]] = []
    places: list[int] = []
    for rgb in pictures:
        tiny = cv2.resize(rgb, (64, 64), interpolation=cv2.INTER_AREA).astype(np.float64)
        same = (i for i, s in enumerate(small) if np.abs(tiny - s).max() <= _SAME_LEVELS)
        place = next(same, len(kept))
        if place == len(kept):
            kept.append(rgb)
            small.append(tiny)
        places.append(place)
    return kept, places
