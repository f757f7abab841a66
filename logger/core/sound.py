"""What every sound in the tool is."""

from __future__ import annotations

from typing import Final

SAMPLE_RATE_HZ: Final = 16_000
"""Mono float32 in [-1, 1] at this rate, whatever the recording's own."""
