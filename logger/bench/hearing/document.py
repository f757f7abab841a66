"""A run as a document in Markdown, to be committed: what was measured, on what, and how again."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from logger.bench.hearing.report import NONE, Result, cost, machine, rate, share

_HEAD: Final = (
    "condition",
    "voices",
    "min",
    "exact",
    "recall",
    "precision",
    "wrong",
    "check",
    "stands",
    "false/h",
    "amend/h",
    "p50 s",
    "p95 s",
    "speed",
)
_PICTURE: Final = """\
![Lines kept and talk let through as the threshold moves](hearing-curves.svg)

The picture: `spoken-findings bench hearing-curves docs/hearing-curves.svg`.
"""
_ORIGIN: Final = (
    "The tracks are made from a seed, in the voices named; no real clinician speaks in them."
)
_LEGEND: Final = """\
- **exact**: rows with every column right, of all. **recall**, **precision**: of the values said and
  of those written.
- **wrong**: silent critical errors, wrong values of side, test, motion, degrees, grade, mobility or
  pain in rows that are not marked for a check. **check**: rows marked. **stands**: unmarked rows
  that stand though they were taken back, or the reverse.
- **false/h**, **amend/h**: rows, and changes of a side or of a row, made of what nobody said to be
  logged, an hour; in brackets those marked for a check.
- **p50 s**, **p95 s**: from the end of speech to its row, the silence that ends an utterance
  included. **speed**: how many times faster than the sound. Both by the clock.
- A star: voices kept aside, that no threshold is ever set with.
"""


APART: Final = "Measured apart"
"""How a paragraph begins that was written by hand and is kept; nothing but the like follows."""


def by_hand(document: str) -> str:
    """Return what was written by hand at the end of a document; "" where nothing was."""
    _, found, rest = document.partition(f"\n{APART}")
    return f"{APART}{rest}" if found else ""


def as_markdown(results: Sequence[Result], command: str, apart: str = "") -> str:
    """Return the whole document.

    Args:
        results: one or more.
        command: what makes the document again.
        apart: what was written by hand in the document that this one replaces.

    """
    engines = list(dict.fromkeys(result.engine for result in results))
    parts = [
        "# How well findings are heard",
        f"Made by\n\n    {command}\n\non: {machine()}.\n{_ORIGIN}",
        _LEGEND,
        "\n".join(_table(results, by_engine=len(engines) > 1)),
        *(
            f"{cost([r for r in results if r.engine == engine]).replace(chr(10) + '  ', ' ')}."
            for engine in engines
        ),
    ]
    parts += [_PICTURE, apart] if apart else [_PICTURE]
    return "\n\n".join(part.strip("\n") for part in parts) + "\n"


def _table(results: Sequence[Result], *, by_engine: bool) -> list[str]:
    head = (_HEAD[0], "engine", *_HEAD[1:]) if by_engine else _HEAD
    lines = [f"| {' | '.join(head)} |", "|---" * len(head) + "|"]
    for result in results:
        cells = _cells(result)
        if by_engine:
            cells.insert(1, result.engine)
        lines.append(f"| {' | '.join(cells)} |")
    return lines


def _cells(result: Result) -> list[str]:
    outcome, score = result.outcome, result.outcome.score
    counts = (len(score.errors), score.marked, score.standing)
    return [
        result.heading,
        ", ".join(result.voices) or NONE,
        f"{score.seconds / 60:.0f}",
        f"{score.exact}/{score.rows}" if score.rows else NONE,
        share(score.recall),
        share(score.precision),
        *(str(count) if score.rows else NONE for count in counts),
        rate(score.an_hour(score.false_findings), score.an_hour(score.false_checks)),
        rate(score.an_hour(score.amendments), score.an_hour(score.doubtful_amendments)),
        _seconds(outcome.delay_s(50)),
        _seconds(outcome.delay_s(95)),
        f"{outcome.speed:.1f}",
    ]


def _seconds(value: float | None) -> str:
    return NONE if value is None else f"{value:.2f}"
