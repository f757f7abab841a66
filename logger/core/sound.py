"""What every sound in the tool is."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

SAMPLE_RATE_HZ: Final = 16_000
"""Mono float32 in [-1, 1] at this rate, whatever the recording's own."""


def rounded(samples: NDArray[np.float32]) -> NDArray[np.int16]:
    """Return sound in [-1, 1] as a 16-bit file holds it; what is louder is clipped."""
    return (np.clip(samples, -1, 1) * 32767).astype(np.int16)
