"""`agreement`: how far raters agree on the same findings."""

from __future__ import annotations

import sys
from collections import defaultdict
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click
import pandas as pd

from logger.commands.sessions import StoredSession, load_sessions, of_one_pack, tell_failures
from logger.commands.showing import wrapped
from logger.core.clocks import clock_trouble, moment_of
from logger.core.editing import rows_in_force
from logger.core.errors import UsageError
from logger.files.tables import csv_text

if TYPE_CHECKING:
    from logger.agreement.estimates import Estimate
    from logger.agreement.matching import Matched, RatedSession
    from logger.agreement.summary import SlotAgreement

_UNNAMED: Final = "examiner not named"
_ALL_EXAMINERS: Final = "examiners"
_MOST_LISTED: Final = 8
_UNITS: Final = {"range_deg": "°"}
_SHARES: Final = ("same value",)
_DIFFERENCE: Final = "mean difference"
_IN_UNITS: Final = (_DIFFERENCE, "lower limit", "upper limit")
COLUMNS: Final = (
    "slot",
    "raters",
    "measure",
    "value",
    "low",
    "high",
    "findings",
    "lacking",
    "off_list",
    "reason",
)


@click.command("agreement")
@click.argument("folders", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--pack", "pack_name", help="Compare the sessions of this pack: a name or file.")
@click.option(
    "--least",
    type=click.IntRange(2),
    default=10,
    show_default=True,
    help="With fewer findings in common there is no figure.",
)
@click.option(
    "--examiners-as-one",
    is_flag=True,
    help="Take all examiners for one rater, as a class beside its educator.",
)
@click.option("--csv", "as_csv", is_flag=True, help="Print a table in CSV instead.")
def agreement_command(
    folders: Sequence[Path],
    pack_name: str | None,
    least: int,
    examiners_as_one: bool,
    as_csv: bool,
) -> None:
    """Say how far raters agree on the same findings.

    FOLDERS hold sessions of `read`. Raters are who examined, and who judged rows afterwards;
    rows of one recording are matched by side, test or motion and mode, in the order of time.

    Example: spoken-findings agreement findings
    """
    # The statistics take seconds to load, which no other command should wait for.
    from logger.agreement.matching import match_rows  # noqa: PLC0415
    from logger.agreement.scales import scales_of  # noqa: PLC0415
    from logger.agreement.summary import agreements  # noqa: PLC0415

    sessions, failures = load_sessions(folders)
    tell_failures(failures)
    if not sessions:
        sys.exit(failures[0].exit_code)
    chosen, pack, notes = of_one_pack(sessions, pack_name)
    matched = match_rows(rated_sessions(chosen, notes, as_one=examiners_as_one))
    notes += matched.notes
    if len(matched.raters) < 2:  # noqa: PLR2004 - agreement is of two
        raise UsageError(
            "There is only one rater: give sessions of the same recordings by other examiners "
            "(read with --examiner), or judge the rows in a review."
        )
    found = list(agreements(matched, scales_of(pack), least))
    if as_csv:
        click.echo(csv_text(agreement_frame(found)), nl=False)
        for note in _remarks(matched, notes):
            click.echo(note, err=True)
    else:
        click.echo("\n".join(_report(chosen, matched, found, notes)))
    if failures:
        sys.exit(failures[0].exit_code)


def rated_sessions(
    sessions: Sequence[StoredSession], notes: list[str], *, as_one: bool
) -> list[RatedSession]:
    """Return the sessions as their raters see them; add to `notes` what to know about them."""
    from logger.agreement.matching import RatedSession  # noqa: PLC0415

    labels = recording_labels(sessions, notes)
    rated = []
    for session, label in zip(sessions, labels, strict=True):
        record = session.record
        if trouble := clock_trouble(record.facts, (*record.edits, *record.judgements)):
            notes.append(f"{session.folder.name}: {trouble}")
        examiner = _ALL_EXAMINERS if as_one else record.facts.examiner_code or _UNNAMED
        rows = rows_in_force(record.findings, record.edits)
        rated.append(RatedSession(session.folder.name, label, examiner, rows, record.judgements))
    return rated


def recording_labels(sessions: Sequence[StoredSession], notes: list[str]) -> list[str]:
    """Return a name of each session's recording: the same for the same recording only.

    Recordings are the same by their content; where a session does not know it, by name and length.
    """
    keys = [_key(session) for session in sessions]
    by_name: dict[str, list[str]] = defaultdict(list)
    starts: dict[str, set[object]] = defaultdict(set)
    for session, key in zip(sessions, keys, strict=True):
        name = session.record.recording.name
        if key not in by_name[name]:
            by_name[name].append(key)
        if (start := moment_of(session.record.facts.started_at)) is not None:
            starts[key].add(start)
    for name, different in by_name.items():
        if len(different) > 1:
            notes.append(f"{len(different)} different recordings are named {name}")
    labels = []
    told: set[str] = set()
    for session, key in zip(sessions, keys, strict=True):
        name = session.record.recording.name
        place = by_name[name].index(key)
        labels.append(name if place == 0 else f"{name} [{place + 1}]")
        if len(starts[key]) > 1 and key not in told:
            told.add(key)
            notes.append(f"sessions of {labels[-1]} give it different starts: the clocks disagree")
    return _by_first_name(keys, labels)


def _by_first_name(keys: Sequence[str], labels: Sequence[str]) -> list[str]:
    """Let a copy of a recording under another name have the name that came first."""
    first: dict[str, str] = {}
    return [first.setdefault(key, label) for key, label in zip(keys, labels, strict=True)]


def _key(session: StoredSession) -> str:
    facts = session.record.recording
    return facts.sha256 or f"{facts.name} {facts.duration_s:.2f}"


def agreement_frame(found: Sequence[SlotAgreement]) -> pd.DataFrame:
    """Return one row a measure with the columns of `COLUMNS`; an empty value is not defined."""
    lines = [
        {
            "slot": item.slot,
            "raters": _together(item.raters),
            "measure": name,
            "value": what.value,
            "low": what.low,
            "high": what.high,
            "findings": item.count,
            "lacking": item.lacking,
            "off_list": item.off_list,
            "reason": what.reason or None,
        }
        for item in found
        for name, what in item.measures
    ]
    frame = pd.DataFrame(lines, columns=list(COLUMNS))
    texts = dict.fromkeys(("slot", "raters", "measure", "reason"), "string")
    return frame.astype({**texts, **dict.fromkeys(("value", "low", "high"), "Float64")})


def _report(
    sessions: Sequence[StoredSession],
    matched: Matched,
    found: Sequence[SlotAgreement],
    notes: Sequence[str],
) -> Iterator[str]:
    yield f"{len(matched.raters)} raters, {len(sessions)} sessions"
    before: tuple[str, ...] = ()
    for item in found:
        if item.raters != before:
            before = item.raters
            yield f"\n{wrapped('', _together(item.raters))}"
        yield from _slot_lines(item)
    if not found:
        yield "\nNo two raters rated the same finding."
    yield ""
    yield from _remarks(matched, notes)
    yield wrapped(
        "",
        "In brackets: 95 % intervals. Kappa depends on how common each value is, and the steps "
        "of a rank are taken for equal by the linear and quadratic ones. A figure says nothing "
        "of who is right.",
    )


def _slot_lines(item: SlotAgreement) -> Iterator[str]:
    left = []
    if item.lacking:
        left.append(f"{item.lacking} not rated by all")
    if item.off_list:
        left.append(f"{item.off_list} with a value that the pack does not have")
    aside = f" ({', '.join(left)})" if left else ""
    yield f"  {item.slot.replace('_', ' ')}: {item.count} findings{aside}"
    reasons = {what.reason for _, what in item.measures if what.value is None}
    for name, what in item.measures:
        if what.value is None and len(reasons) == 1 and item.count:
            continue
        aside = f"  ({item.raters[1]} less {item.raters[0]})" if name == _DIFFERENCE else ""
        figure = _figure(name, what, _UNITS.get(item.slot, ""))
        yield wrapped(f"    {name:<18}  ", figure + aside)
    if len(reasons) == 1 and item.count:
        yield wrapped(f"    {'no other figure':<18}  ", next(iter(reasons)))


def _figure(name: str, what: Estimate, unit: str) -> str:
    if what.value is None:
        return f"undefined: {what.reason}"
    if what.low is None or what.high is None:
        return f"{_number(name, what.value, unit)}  [{what.reason}]"
    ends = " to ".join(_number(name, end, unit) for end in (what.low, what.high))
    return f"{_number(name, what.value, unit)}  [{ends}]"


def _number(name: str, value: float, unit: str) -> str:
    if name in _SHARES:
        return f"{100 * value:.0f} %"
    return f"{value:.1f}{unit}" if name in _IN_UNITS else f"{value:.2f}"


def _remarks(matched: Matched, notes: Sequence[str]) -> Iterator[str]:
    from logger.agreement.matching import named  # noqa: PLC0415
    from logger.agreement.summary import strangers  # noqa: PLC0415

    remarks = list(notes)
    if matched.unsettled:
        remarks.append(
            f"{matched.unsettled} rows are still to check: what was heard of them is not counted"
        )
    alone = [f"{named(target)}: only {rater}" for rater, target in matched.unmatched]
    if alone:
        remarks.append(f"{len(alone)} findings have no match: {_listed(alone)}")
    if apart := [" and ".join(pair) for pair in strangers(matched)]:
        remarks.append(f"raters who share no session: {_listed(apart)}")
    for remark in remarks:
        yield wrapped("note: ", f"{remark}.")


def _together(raters: Sequence[str]) -> str:
    return f"{', '.join(raters[:-1])} and {raters[-1]}"


def _listed(items: Sequence[str]) -> str:
    more = len(items) - _MOST_LISTED
    return "; ".join(items[:_MOST_LISTED]) + (f"; and {more} more" if more > 0 else "")
