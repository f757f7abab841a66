"""What a process of its own has loaded."""

from __future__ import annotations

import subprocess
import sys


def loaded_by(code: str, of: set[str]) -> set[str]:
    """Return which modules `of` these are loaded once new Python has run the code."""
    telling = f"import sys; {code}; sys.stderr.write(' '.join({of!r} & set(sys.modules)))"
    told = subprocess.run([sys.executable, "-c", telling], check=True, capture_output=True)  # noqa: S603 - our own code
    return set(told.stderr.decode().split())
