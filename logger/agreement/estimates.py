"""A figure with its 95 % interval, or the reason why there is none."""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite
from typing import Final

LEVEL: Final = 0.95


@dataclass(frozen=True, slots=True)
class Estimate:
    """What was estimated; a figure that is not defined is None and never a number."""

    value: float | None
    low: float | None = None
    high: float | None = None
    reason: str = ""
    """Why there is no value, or no interval; empty where there are both."""


def undefined(reason: str) -> Estimate:
    """Return the estimate that there is none."""
    return Estimate(None, reason=reason)


def estimate(value: float, low: float, high: float, lacking: str = "") -> Estimate:
    """Return an estimate; without an interval where its ends are no numbers or do not differ.

    Args:
        value: finite.
        low: the interval's lower end.
        high: its upper end.
        lacking: why there is no interval, where that is already known.

    """
    if lacking or not (isfinite(low) and isfinite(high) and low < high):
        return Estimate(value, reason=lacking or "the interval is not defined here")
    return Estimate(value, low, high)
