"""What a reader must know of a session before trusting its numbers."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from logger.core.clocks import clock_trouble, moment_of
from logger.core.words import clock
from logger.files.session_json import SessionRecord
from logger.grammar.pack import Pack
from logger.report.tested import Row
from logger.report.wording import clean, isolated

_SLACK_S: Final = 1.0
"""The last word may end a little after the last frame."""


def notices(
    record: SessionRecord, rows: Sequence[Row], pack: Pack, pack_version: str
) -> tuple[str, ...]:
    """Return what is wrong or doubtful about the session as a whole, a sentence each."""
    told = [*_cut_short(record), *_packs(record, pack, pack_version)]
    told += [*_times(record, rows), *map(clean, record.warnings)]
    return tuple(dict.fromkeys(told))


def _cut_short(record: SessionRecord) -> Iterator[str]:
    end_s = record.recording.truncated_at_s
    if end_s is not None:
        yield f"The recording is cut short at {clock(end_s)}: what came after it is missing."
    if not record.findings:
        yield "The session has no findings."


def _packs(record: SessionRecord, pack: Pack, pack_version: str) -> Iterator[str]:
    if record.pack.version != pack_version and record.pack.name == pack.name:
        yield (
            f"The session was read with version {clean(record.pack.version)} of the pack "
            f"{pack.name}; the windows and limits here are those of version {pack_version}."
        )


def _times(record: SessionRecord, rows: Sequence[Row]) -> Iterator[str]:
    """Find clocks that disagree."""
    end_s = record.recording.duration_s
    late = [row.number for row in rows if row.finding.start_s > end_s + _SLACK_S]
    if late:
        which = ", ".join(map(str, late))
        yield f"Rows after the recording's end at {clock(end_s)}: {which}. Their times are wrong."
    back = [row.number for row in rows if row.finding.end_s < row.finding.start_s]
    if back:
        yield f"Rows that end before they begin: {', '.join(map(str, back))}."
    for number, bout in enumerate(record.bouts, start=1):
        if bout.end_s is not None and bout.end_s < bout.start_s:
            yield f"Bout {number} ends before it begins: its length is not known."
    yield from _dates(record)


def _dates(record: SessionRecord) -> Iterator[str]:
    started = record.facts.started_at
    if started and moment_of(started) is None:
        yield f"The session's start, {isolated(started)}, is no time with its offset from UTC."
    trouble = clean(clock_trouble(record.facts, (*record.edits, *record.judgements)))
    if trouble:
        yield f"{trouble[0].upper()}{trouble[1:]}."
