"""What the setup practice passes between the layers: holds, targets and how they compare.

Times are seconds from the recording's start, angles degrees between upper arm and trunk as for an
arm in the frontal plane, unless said otherwise.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from logger.core.events import Side


class HoldKind(StrEnum):
    """Whether the arm stayed where it was put."""

    HOLD = "hold"
    DRIFT = "drift"
    """The arm moved slowly and steadily all the time, as when it sags or is raised by degrees."""


class Fit(StrEnum):
    """How a hold compares with a target window."""

    IN_RANGE = "in_range"
    BORDERLINE = "borderline"
    """Nearer to a limit than the measurement's own error, on either side of it."""
    OUT_OF_RANGE = "out_of_range"
    AT_REST = "at_rest"
    """The arm lies at the side and outside every window: no attempt, so it is not judged."""


@dataclass(frozen=True, slots=True)
class Hold:
    """One stretch in which an arm stayed in place, or drifted."""

    side: Side
    kind: HoldKind
    start_s: float
    end_s: float
    angle_deg: float
    """Median; of a hold of 3 s or more without its first and last second."""
    first_deg: float
    """Median of the first second, in which a hold may still settle."""
    last_deg: float
    """Median of the last second."""
    spread_deg: float
    """The width of the middle 90 % of the angles: about the median, of a drift about its line."""
    drift_deg_per_s: float
    """The slope of a line through the angles; positive is away from the trunk."""
    got_there_s: float | None
    """From leaving the hold before to the start of this one; None for an arm's first hold and
    where the leaving or the arriving was not seen."""
    moved_deg: float | None
    """This angle less that of the hold before; None where `got_there_s` is."""
    seen_share: float
    """0 to 1: for how much of the time since the hold before, and of this one, the arm was seen."""

    @property
    def duration_s(self) -> float:
        """How long it was seen to last."""
        return self.end_s - self.start_s


@dataclass(frozen=True, slots=True)
class Target:
    """A window of angles, ends included, and the tests that are set up in it."""

    low_deg: float
    high_deg: float
    tests: tuple[str, ...]
    plane_deg: float = 0.0
    """The plane of elevation in which the arm is held for them, as in `SetupWindow`."""


@dataclass(frozen=True, slots=True)
class Comparison:
    """A hold against one target."""

    target: Target
    angle_deg: float
    """The hold's angle in the target's plane; of a drift, at the end that fits worse."""
    fit: Fit
    off_deg: float
    """How far beyond the nearer limit: negative below the window, positive above, 0 inside. Of a
    drift, at the end that fits worse."""


@dataclass(frozen=True, slots=True)
class JudgedHold:
    """A hold, its number in the practice and how it compares with every target."""

    number: int
    """From 1, in the order of start over both arms."""
    hold: Hold
    comparisons: tuple[Comparison, ...]


@dataclass(frozen=True, slots=True)
class Unseen:
    """A stretch in which one arm was not seen: nothing is known of its angle."""

    side: Side
    start_s: float
    end_s: float
    reason: str
    """The reason given most often in the stretch; may be empty."""


@dataclass(frozen=True, slots=True)
class Practice:
    """Everything there is to show of one practice recording."""

    duration_s: float
    holds: tuple[JudgedHold, ...]
    unseen: tuple[Unseen, ...]
    targets: tuple[Target, ...]
