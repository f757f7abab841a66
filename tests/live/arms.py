"""Angle traces for the tests: an arm that is held, moved and hidden, with a camera's jitter."""

from __future__ import annotations

import random
from collections.abc import Iterator, Sequence

from logger.core.events import ArmAngle, Side

RATE_HZ = 10.0


def led(
    way: Sequence[tuple[float, float | None]],
    side: Side = "right",
    jitter_deg: float = 0.5,
    seed: int = 1,
) -> Iterator[ArmAngle]:
    """Yield samples of an arm along (duration_s, angle_deg) legs; None is out of sight.

    A leg to another angle is a straight movement; one to the same angle is a hold.
    """
    rng = random.Random(seed)
    step, angle = 0, next((deg for _, deg in way if deg is not None), 0.0)
    for duration_s, target in way:
        count = round(duration_s * RATE_HZ)
        start = angle
        for i in range(1, count + 1):
            if target is None:
                yield ArmAngle(step / RATE_HZ, side, None, visible=False, reason="hidden")
            else:
                angle = start + (target - start) * i / count
                noisy = angle + rng.gauss(0, jitter_deg)
                yield ArmAngle(step / RATE_HZ, side, noisy, visible=True)
            step += 1
