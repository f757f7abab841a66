"""What a run prints: a table for the terminal, and one JSON object."""

from __future__ import annotations

import os
import platform
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np

from logger.bench.hearing.running import Outcome

HEADING: Final = (
    f"{'':<27}{'exact':>8}{'recall':>7}{'prec':>6}{'wrong':>6}{'check':>6}"
    f"{'false/h':>8}{'amend/h':>8}"
)
LEGEND: Final = (
    "exact: rows with every column right, of all. recall, prec: of the values said\n"
    "and written. wrong: wrong critical values in rows not marked for a check.\n"
    "check: rows marked. false/h, amend/h: rows, and changes of a side or a row, that\n"
    "nobody said, an hour (in brackets: those marked for a check). *: a voice kept\n"
    "aside, never tuned on."
)
NONE: Final = "-"
"""Stands where there is nothing to count."""


@dataclass(frozen=True, slots=True)
class Result:
    """One line of the table."""

    condition: str
    title: str
    engine: str
    outcome: Outcome
    voices: tuple[str, ...] = ()
    kept: bool = False
    """Spoken by voices kept aside."""

    @property
    def heading(self) -> str:
        """The condition, with a star where the voices are kept aside."""
        return self.title + (" *" if self.kept else "")


def line(result: Result, *, engine: bool = False) -> str:
    """Return one line of the terminal's table, at most 80 columns."""
    score = result.outcome.score
    title = f"  {result.engine}" if engine else result.heading
    exact = f"{score.exact}/{score.rows}" if score.rows else NONE
    wrong, check = (f"{len(score.errors)}", f"{score.marked}") if score.rows else ("-", "-")
    false = rate(score.an_hour(score.false_findings), score.an_hour(score.false_checks))
    amend = rate(score.an_hour(score.amendments), score.an_hour(score.doubtful_amendments))
    return (
        f"{title[:27]:<27}{exact:>8}{share(score.recall):>7}{share(score.precision):>6}"
        f"{wrong:>6}{check:>6}{false:>8}{amend:>8}"
    )


def cost(results: Sequence[Result]) -> str:
    """Return what an engine costs over all its lines, in three short lines."""
    whole = Outcome()
    for result in results:
        whole += result.outcome
    seconds = whole.score.seconds or 1.0
    clock, processor = (
        " and ".join(
            NONE if delay is None else f"{delay:.2f}"
            for delay in (whole.delay_s(percent, processor=by) for percent in (50, 95))
        )
        for by in (False, True)
    )
    return (
        f"{results[0].engine}: {whole.speed:.1f} times as fast as the sound, "
        f"{whole.processor_s / seconds:.3f} core-seconds a second;\n"
        f"  end of speech to row {clock} s (p50, p95), by core time {processor} s;\n"
        f"  {whole.peak_mb:.0f} MB"
    )


def as_document(results: Sequence[Result], about: Mapping[str, Any]) -> dict[str, Any]:
    """Return everything as one JSON object."""
    return {**about, "machine": machine(), "results": [_entry(result) for result in results]}


def machine() -> str:
    """Describe this machine and how busy it is in one line, without its name."""
    model = platform.processor() or platform.machine()
    information = Path("/proc/cpuinfo")
    if information.is_file():
        for text in information.read_text(encoding="utf-8").splitlines():
            if text.startswith("model name"):
                model = text.partition(":")[2].strip()
                break
    busy = f", load {os.getloadavg()[0]:.0f}" if hasattr(os, "getloadavg") else ""
    return (
        f"{model}, {os.cpu_count()} cores{busy}, {platform.system()}, "
        f"Python {platform.python_version()}"
    )


def _entry(result: Result) -> dict[str, Any]:
    outcome, score = result.outcome, result.outcome.score
    times_s = score.time_errors_s
    return {
        "condition": result.condition,
        "engine": result.engine,
        "voices": list(result.voices),
        "kept_aside": result.kept,
        "seconds": round(score.seconds, 1),
        "rows": score.rows,
        "exact": score.exact,
        "recall": _rounded(score.recall),
        "precision": _rounded(score.precision),
        "silent_critical_errors": len(score.errors),
        "errors": [error.sentence() for error in score.errors],
        "traces": list(score.traces),
        "marked_check": score.marked,
        "marked_check_though_exact": score.marked_exact,
        "wrongly_standing_or_withdrawn": score.standing,
        "false_findings": score.false_findings,
        "false_checks": score.false_checks,
        "amendments_from_talk": score.amendments,
        "doubtful_amendments_from_talk": score.doubtful_amendments,
        "time_error_p95_s": _rounded(float(np.percentile(times_s, 95)) if times_s else None),
        "speed": round(outcome.speed, 2),
        "core_seconds_a_second": round(outcome.processor_s / (score.seconds or 1.0), 4),
        "delay_p50_s": _rounded(outcome.delay_s(50)),
        "delay_p95_s": _rounded(outcome.delay_s(95)),
        "delay_p50_processor_s": _rounded(outcome.delay_s(50, processor=True)),
        "delay_p95_processor_s": _rounded(outcome.delay_s(95, processor=True)),
        "peak_mb": round(outcome.peak_mb),
    }


def share(value: float | None) -> str:
    """Return a share of 0 to 1 with three places."""
    return NONE if value is None else f"{value:.3f}".removeprefix("0")


def rate(sure: float, doubtful: float) -> str:
    """Return how many an hour, and in brackets how many of the doubtful kind."""
    return f"{sure:.0f} ({doubtful:.0f})" if doubtful else f"{sure:.0f}"


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 4)
