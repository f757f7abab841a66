"""Times, angles and comparisons in a reader's words, the same in tables, plots and videos."""

from __future__ import annotations

from collections.abc import Iterable

from logger.core.events import SetupStatus
from logger.core.holds import Comparison, Fit, Hold, HoldKind, JudgedHold, Target

_SETTLING_DEG = 2.0
"""A first or last second further off than this is worth a word."""
_STATUS_WORDS = {
    SetupStatus.IN_RANGE: "in range",
    SetupStatus.BORDERLINE: "borderline",
    SetupStatus.OUT_OF_RANGE: "out of range",
    SetupStatus.NOT_SEEN: "not seen",
    SetupStatus.NOT_REQUIRED: "no window",
}


def clock(time_s: float) -> str:
    """Return minutes and seconds, "1:05.3"; with hours where there are any, "1:02:03.4"."""
    tenths = max(round(time_s * 10), 0)
    minutes, rest = divmod(tenths, 600)
    hours, minutes = divmod(minutes, 60)
    start = f"{hours}:{minutes:02d}" if hours else f"{minutes}"
    return f"{start}:{rest // 10:02d}.{rest % 10}"


def named(names: Iterable[str]) -> str:
    """Return names of a pack as they are said, joined by commas."""
    return ", ".join(name.replace("_", " ") for name in names)


def window_text(low_deg: float, high_deg: float) -> str:
    """Return the limits with a dash between and one sign of degrees."""
    return f"{low_deg:g}–{high_deg:g}°"  # noqa: RUF001 - a range has an en dash


def target_text(target: Target) -> str:
    """Return the limits, and the plane where it is not the frontal one."""
    limits = window_text(target.low_deg, target.high_deg)
    return f"{limits}, arm {target.plane_deg:g}° forward" if target.plane_deg else limits


def status_text(status: SetupStatus) -> str:
    """Return a setup's status as words."""
    return _STATUS_WORDS[status]


def angle_text(hold: Hold) -> str:
    """Return "52°", of a drift where from and where to."""
    if hold.kind is HoldKind.DRIFT:
        return f"{hold.first_deg:.0f}→{hold.last_deg:.0f}°"
    return f"{hold.angle_deg:.0f}°"


def fit_text(comparison: Comparison) -> str:
    """Return whether the hold is in the window, or by how much it is not.

    Where the window is for an arm held forward, with the angle of such an arm: "in, at 58°".
    """
    if comparison.fit is Fit.AT_REST:
        return "at rest"
    at = f", at {comparison.angle_deg:.0f}°" if comparison.target.plane_deg else ""
    return f"{_fit_alone(comparison)}{at}"


def _fit_alone(comparison: Comparison) -> str:
    beyond = f"{abs(comparison.off_deg):.0f}° {'above' if comparison.off_deg > 0 else 'below'}"
    if comparison.fit is Fit.IN_RANGE:
        return "in"
    if comparison.fit is Fit.OUT_OF_RANGE:
        return f"out, {beyond}"
    return f"borderline, {'just inside' if comparison.off_deg == 0 else beyond}"


def letter(number: int) -> str:
    """Return A for 0, B for 1 and so on; beyond Z, AA, AB."""
    return (letter(number // 26 - 1) if number >= 26 else "") + chr(ord("A") + number % 26)  # noqa: PLR2004 - the alphabet


def fits_text(judged: JudgedHold, targets: tuple[Target, ...]) -> str:
    """Return how a hold fits all targets: "in A and B", "in B; A: out, 15° above"."""
    comparisons = judged.comparisons
    if not comparisons:
        return ""
    texts = [fit_text(comparison) for comparison in comparisons]
    if len(set(texts)) == 1 and (len(texts) == 1 or texts[0] == "at rest"):
        return texts[0]
    letters = {c.target: letter(targets.index(c.target)) for c in comparisons}
    groups: dict[str, list[str]] = {}
    for comparison, text in zip(comparisons, texts, strict=True):
        groups.setdefault(text, []).append(letters[comparison.target])
    return "; ".join(f"{', '.join(names)} {text}" for text, names in groups.items())


def remarks(hold: Hold) -> tuple[str, ...]:
    """Return what else there is to say of a hold: a drift's rate, settling, letting go."""
    said: list[str] = []
    if hold.kind is HoldKind.DRIFT:
        way = "up" if hold.drift_deg_per_s > 0 else "down"
        said.append(f"drifts {way} by {abs(hold.drift_deg_per_s):.1f}° a second")
    else:
        for when, angle in (("first", hold.first_deg), ("last", hold.last_deg)):
            off = angle - hold.angle_deg
            if abs(off) > _SETTLING_DEG:
                said.append(f"{when} second {abs(off):.0f}° {'higher' if off > 0 else 'lower'}")
    return tuple(said)
