"""What a row's comparison with the other side means for it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Final

from logger.core.events import Finding, RowStatus
from logger.core.statements import AGAINST, SAME_AS

_OTHER: Final = {"left": "right", "right": "left"}


def compared(rows: Sequence[Finding]) -> tuple[Finding, ...]:
    """Return the rows with the mobility that "the same as the other side" takes over.

    It is that of the last row before of the same test or motion on the side named, as it stands in
    the end, and the row says where it comes from. Where there is none, or it is itself in doubt,
    or the side named is the row's own, the row is marked for a check and nothing is filled in that
    was not said. Rows are in the order of time.
    """
    done: list[Finding] = []
    for row in rows:
        done.append(_compared(row, done))
    return tuple(done)


def _compared(row: Finding, before: Sequence[Finding]) -> Finding:
    if row.comparison is None:
        return row
    named = SAME_AS.get(row.comparison, AGAINST.get(row.comparison))
    if named is not None and named == row.side:
        return _checked(row, "comparison: the side named is the side under test")
    return _same(row, next(_sources(row, before), None)) if row.comparison in SAME_AS else row


def _same(row: Finding, source: Finding | None) -> Finding:
    """Take the mobility over from `source`, if that is what was said and can be done."""
    if source is None or source.mobility is None:
        return _checked(row, "mobility: said to be the same, but the other side has none")
    if row.mobility not in (None, source.mobility):
        both = f"{row.mobility}, and the same as the {source.side} side, {source.mobility}"
        return _checked(row, f"mobility: said {both}")
    if any(reason.startswith("mobility") for reason in row.reasons):
        return row
    origin = f"mobility taken over from the {source.side} side at {source.start_s:.1f} s"
    taken = replace(row, mobility=source.mobility, cautions=(*row.cautions, origin))
    if source.status is RowStatus.CHECK:
        return _checked(taken, "mobility: taken over from a row that is marked for a check")
    return taken


def _sources(row: Finding, before: Sequence[Finding]) -> Iterator[Finding]:
    """Yield the rows that the row may be the same as, the last one first."""
    side = _OTHER.get(row.side or "")
    for other in reversed(before):
        what = (other.test, other.motion) == (row.test, row.motion)
        if what and other.side == side and other.status is not RowStatus.WITHDRAWN:
            yield other


def _checked(row: Finding, reason: str) -> Finding:
    """Mark a row for a check; a withdrawn one stays withdrawn."""
    status = RowStatus.CHECK if row.status is RowStatus.LOGGED else row.status
    return replace(row, status=status, reasons=(*row.reasons, reason))
