"""The arm's angle for the eyes: the same judgement as of a setup, at every moment."""

from __future__ import annotations

from logger.core.events import ArmAngle, SetupStatus
from logger.core.statements import SetupWindow
from logger.core.words import status_text
from logger.findings.setup import SetupRules, in_plane_deg, status_in_window, steady_for_s
from logger.findings.trace import AngleTrace
from logger.live.state import Gauge

_STALE_S = 1.0
"""An angle older than this is no longer where the arm is."""

MOST_STEADY_S = 15.0
"""No more is said of how long the arm has held still: it is looked at ten times a second."""


def gauge_of(
    trace: AngleTrace, side: str | None, window: SetupWindow | None, now_s: float
) -> Gauge:
    """Return what the gauge shows for one arm at `now_s`."""
    if side is None:
        return Gauge(words="say a side")
    sample = trace.last(side)
    if sample is None or now_s - sample.time_s > _STALE_S:
        return Gauge(sample)
    if not sample.visible or sample.angle_deg is None:
        return Gauge(sample, words=sample.reason or "not seen")
    rules = SetupRules()
    angle_deg = shown_deg(sample, window)
    error_deg = rules.error_deg if sample.error_deg is None else sample.error_deg
    status = status_in_window(angle_deg, window, error_deg)
    plane_deg = window.plane_deg if window else 0.0
    recent = trace.recent(side, MOST_STEADY_S)
    steady_s = steady_for_s(recent, side, sample.time_s, plane_deg, rules)
    words = f"{angle_deg:.0f}\u00b0"
    if status is not SetupStatus.NOT_REQUIRED:
        words += f", {status_text(status)}"
    return Gauge(sample, angle_deg, status, words, steady_s)


def shown_deg(sample: ArmAngle, window: SetupWindow | None) -> float:
    """Return a sample's angle in the plane in which the window's test is held."""
    return in_plane_deg(sample, sample.angle_deg or 0.0, window.plane_deg if window else 0.0)
