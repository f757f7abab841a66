"""The figures of a run of the eye's benchmark."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from logger.bench.seeing.measure import ArmResult, Cost

CONDITIONS: Final = ("front", "oblique", "two", "prone", "session")
_SWAP_GAIN_DEG: Final = 10.0


@dataclass(frozen=True, slots=True)
class Figures:
    """One condition; shares are of the angles given, None where none was given."""

    n: int
    given: int
    mean_abs_error_deg: float | None = None
    p95_abs_error_deg: float | None = None
    max_abs_error_deg: float | None = None
    bias_deg: float | None = None
    within_5: float | None = None
    within_10: float | None = None


def figures(results: Sequence[ArmResult]) -> Figures:
    """Return the figures of some arms."""
    errors = np.array([r.error_deg for r in results if r.error_deg is not None])
    if not errors.size:
        return Figures(len(results), 0)
    off = np.abs(errors)
    return Figures(
        len(results),
        int(errors.size),
        round(float(off.mean()), 2),
        round(float(np.percentile(off, 95)), 2),
        round(float(off.max()), 2),
        round(float(errors.mean()), 2),
        round(float((off <= 5.0).mean()), 3),  # noqa: PLR2004 - named by the field
        round(float((off <= 10.0).mean()), 3),  # noqa: PLR2004
    )


def by_condition(results: Sequence[ArmResult]) -> dict[str, Figures]:
    """Return the figures of each condition, in a fixed order."""
    return {c: figures([r for r in results if r.condition == c]) for c in CONDITIONS}


def wrong_sides(results: Sequence[ArmResult]) -> int:
    """Return in how many pictures the arms' angles fit only when left and right are swapped."""
    pictures: dict[str, list[ArmResult]] = {}
    for result in results:
        if result.given_deg is not None and result.condition != "session":
            pictures.setdefault(result.what, []).append(result)
    swapped = 0
    for pair in pictures.values():
        if len(pair) != 2:  # noqa: PLR2004 - both arms
            continue
        (one, two) = pair
        given = (one.given_deg or 0.0, two.given_deg or 0.0)
        straight = abs(given[0] - one.true_deg) + abs(given[1] - two.true_deg)
        crossed = abs(given[1] - one.true_deg) + abs(given[0] - two.true_deg)
        swapped += straight - crossed > _SWAP_GAIN_DEG
    return swapped


def as_text(results: Sequence[ArmResult], cost: Cost) -> str:
    """Return the report: each arm, each condition, the calibration and the cost."""
    lines = [_arm(result) for result in results]
    lines += ["", "condition     n given  mean   p95   max  bias  in 5  in 10"]
    for name, row in by_condition(results).items():
        if row.n:
            lines.append(_row(name, row))
    setups = [r for r in results if r.condition == "session"]
    if setups:
        blank = sum(r.given_deg is None for r in setups)
        lines.append(f"setups without an angle: {blank} of {len(setups)}")
    lines.append(f"pictures with left and right swapped: {wrong_sides(results)}")
    if cost.frames:
        lines.append(
            f"{cost.frames} frames, {1000 * cost.wall_s / cost.frames:.0f} ms a frame, "
            f"{100 * cost.cpu_s / max(cost.wall_s, 1e-9):.0f} % of one core"
        )
    return "\n".join(lines)


def as_table(results: Sequence[ArmResult]) -> str:
    """Return one CSV line an arm, for plots: what, condition, side and angles in degrees."""
    lines = ["what,condition,side,true_deg,seen_deg,given_deg,from_square_deg"]
    for r in results:
        numbers = (r.true_deg, r.seen_deg, r.given_deg, r.from_square_deg)
        cells = ["" if number is None else f"{number:.2f}" for number in numbers]
        lines.append(",".join([r.what.replace(",", " "), r.condition, r.side, *cells]))
    return "\n".join(lines) + "\n"


def as_object(results: Sequence[ArmResult], cost: Cost) -> dict[str, object]:
    """Return what --json prints: the conditions by name, and the cost under "cost"."""
    out: dict[str, object] = {name: asdict(row) for name, row in by_condition(results).items()}
    out["wrong_side"] = wrong_sides(results)
    out["cost"] = {
        "frames": cost.frames,
        "ms_a_frame": round(1000 * cost.wall_s / cost.frames, 1) if cost.frames else None,
        "cpu_s": round(cost.cpu_s, 2),
    }
    return out


def _arm(result: ArmResult) -> str:
    given = "  blank" if result.given_deg is None else f"{result.given_deg:7.1f}"
    error = "      " if result.error_deg is None else f"{result.error_deg:+6.1f}"
    reason = f"  {result.reason}" if result.given_deg is None else ""
    return f"{result.what:44.44} {result.side:5} true {result.true_deg:5.1f} {given}{error}{reason}"


def _row(name: str, row: Figures) -> str:
    if row.mean_abs_error_deg is None:
        return f"{name:10} {row.n:4d} {row.given:5d}     -     -     -     -     -     -"
    return (
        f"{name:10} {row.n:4d} {row.given:5d} {row.mean_abs_error_deg:5.1f} "
        f"{row.p95_abs_error_deg:5.1f} {row.max_abs_error_deg:5.1f} {row.bias_deg:+5.1f} "
        f"{100 * (row.within_5 or 0):4.0f}% {100 * (row.within_10 or 0):5.0f}%"
    )
