"""What holds for all tests."""

from __future__ import annotations

from hypothesis import settings

# A machine that does other things too makes single examples slow: time is no sign of a mistake.
settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")
