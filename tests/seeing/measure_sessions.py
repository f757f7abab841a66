"""Measure the eye on recordings with known angles. Run by hand.

    python tests/seeing/measure_sessions.py [--pose-model FILE] FOLDER...

Each folder holds `session.mp4` and `truth.json` (frames: time_s, right elevation, right plane,
left elevation, left plane, in degrees; events with start times and expected slots). For every
test the last steady stretch of visible samples before it is spoken (at least 0.5 s, spread at
most 5 degrees, at most 30 s old) is compared with the true elevation at its end, and with that
elevation as a square camera would see it.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import av
import numpy as np

from logger.seeing.angles import seen_angle_deg
from logger.seeing.bundle import pose_bundle
from logger.seeing.pose import PoseModel
from logger.seeing.watching import Watcher, WatchSettings

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from logger.core.events import ArmAngle

_COLUMN = {"right": 1, "left": 3}


def frames_of(path: Path) -> Iterator[tuple[float, NDArray[np.uint8]]]:
    """Yield (time_s, RGB) of a video file."""
    with av.open(str(path)) as container:
        for frame in container.decode(video=0):
            yield float(frame.time), frame.to_ndarray(format="rgb24").astype(np.uint8, copy=False)


def last_steady(
    samples: list[ArmAngle], before_s: float, hold_s: float = 0.5, spread_deg: float = 5.0
) -> tuple[float, float] | None:
    """Return (end_s, median_deg) of the last steady run of visible samples, or None."""
    run: list[ArmAngle] = []
    for sample in reversed([s for s in samples if before_s - 30 <= s.time_s <= before_s]):
        kept = sample.angle_deg if sample.visible else None
        if kept is None:
            run = []
            continue
        run.append(sample)
        values = [s.angle_deg for s in run if s.angle_deg is not None]
        while max(values) - min(values) > spread_deg:
            run.pop(0)
            values.pop(0)
        if run[0].time_s - run[-1].time_s >= hold_s - 1e-6:
            return run[0].time_s, float(np.median(values))
    return None


def measure(folder: Path, model: PoseModel, *, verbose: bool) -> list[tuple[float, float]]:
    """Print one session's figures and return its (error, error of the seen angle) pairs."""
    truth: dict[str, Any] = json.loads((folder / "truth.json").read_text())
    rows = np.array(truth["frames"], dtype=np.float64)
    began = time.perf_counter()
    samples = (
        Watcher(WatchSettings(), model).watch(lambda: frames_of(folder / "session.mp4")).angles
    )
    took_s = time.perf_counter() - began
    errors: list[tuple[float, float]] = []
    tests = [e for e in truth["events"] if "test" in (e["expect"] or {})]
    for event in tests:
        side = event["expect"]["side"]
        found = last_steady([s for s in samples if s.side == side], event["start"])
        if found is None:
            line = "not seen"
        else:
            row = rows[np.abs(rows[:, 0] - found[0]).argmin()]
            true, plane = row[_COLUMN[side] : _COLUMN[side] + 2]
            errors.append((abs(found[1] - true), abs(found[1] - seen_angle_deg(true, plane))))
            line = f"{found[1]:5.1f} true {true:5.1f} at {found[0]:.1f}"
        if verbose:
            say(f"   {event['start']:6.1f} {side:5} {event['expect']['test']:22} {line}")
    summary(folder.name, len(tests), errors)
    say(f"   {took_s:.1f} s, {1000 * took_s / max(len(samples) / 2, 1):.0f} ms a frame")
    return errors


def summary(name: str, tests: int, errors: list[tuple[float, float]]) -> None:
    """Print how many were given and how far off they are."""
    true, seen = np.array(errors).reshape(-1, 2).T
    figures = f"mean {true.mean():.1f} max {true.max():.1f}" if true.size else "none"
    projected = f"mean {seen.mean():.1f} max {seen.max():.1f}" if seen.size else "none"
    say(f"{name}: n {tests}, given {true.size}, error {figures}, against the seen {projected}")


def say(line: str) -> None:
    """Write one line to standard output."""
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def main() -> None:
    """Read the command line and measure every folder."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folders", nargs="+", type=Path)
    parser.add_argument("--pose-model", type=Path)
    parser.add_argument("--verbose", action="store_true")
    given = parser.parse_args()
    errors: list[tuple[float, float]] = []
    with PoseModel(pose_bundle(given.pose_model), max_people=2) as model:
        for folder in given.folders:
            errors += measure(folder, model, verbose=given.verbose)
    summary("all", len(errors), errors)


if __name__ == "__main__":
    main()
