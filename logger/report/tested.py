"""The rows of one test on one side as one: what they say, where they differ, what is to check."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

from logger.core.editing import rows_in_force
from logger.core.errors import SessionError
from logger.core.events import Finding, RowStatus, Side
from logger.core.session import Bout
from logger.core.statements import SLOTS, SlotValue
from logger.files.session_json import SessionRecord

OTHER: Final[Mapping[Side, Side]] = {"left": "right", "right": "left"}
_VALUED: Final = tuple(slot for slot in SLOTS if slot not in ("side", "test", "motion", "mode"))


@dataclass(frozen=True, slots=True)
class What:
    """What was tested: a passive accessory test, or a motion in a mode."""

    side: Side
    name: str
    """A key of the pack's tests or motions."""
    mode: str | None = None
    """Of a motion; None where it was not said."""
    is_motion: bool = False

    def across(self) -> What:
        """Return the same on the other side."""
        return What(OTHER[self.side], self.name, self.mode, self.is_motion)


@dataclass(frozen=True, slots=True)
class Row:
    """A finding with its number from 1 over all rows of the session, withdrawn ones included."""

    number: int
    finding: Finding


@dataclass(frozen=True, slots=True)
class Said:
    """What the rows of one test say in one slot."""

    values: tuple[SlotValue, ...] = ()
    """The different values; more than one is a contradiction."""
    to_check: bool = False
    """Whether a row that is marked for a check has a say in it."""

    @property
    def value(self) -> SlotValue | None:
        """The one value; None where none was said, or more than one."""
        return self.values[0] if len(self.values) == 1 else None

    @property
    def number(self) -> int | None:
        """The one value of a slot of numbers."""
        return self.value if isinstance(self.value, int) else None

    @property
    def sure(self) -> bool:
        """Whether nothing about it wants a look."""
        return not self.to_check and len(self.values) <= 1


@dataclass(frozen=True, slots=True)
class OneTest:
    """Everything that stands about one test on one side."""

    what: What
    rows: tuple[Row, ...]
    slots: Mapping[str, Said] = field(default_factory=dict)

    def said(self, slot: str) -> Said:
        """Return what the rows say in a slot."""
        return self.slots.get(slot, Said())

    @property
    def to_check(self) -> bool:
        """Whether any of its rows is marked for a check."""
        return any(row.finding.status is RowStatus.CHECK for row in self.rows)

    @property
    def contradictions(self) -> tuple[str, ...]:
        """The slots in which the rows differ."""
        return tuple(slot for slot, said in self.slots.items() if len(said.values) > 1)


@dataclass(frozen=True, slots=True)
class Stage:
    """What was tested between two bouts of treatment on the same side."""

    bouts_before: int
    tested: Mapping[What, OneTest]


def rows_of(record: SessionRecord) -> tuple[Row, ...]:
    """Return the rows of a session in force, with what people changed in them.

    Raises:
        SessionError: if a change is of a slot or to a status that there is not.

    """
    try:
        return numbered(rows_in_force(record.findings, record.edits))
    except ValueError as error:
        raise SessionError(
            f"The session's changes are damaged or were made by hand: {error} Mend the edits in "
            "session.json, or read the recording anew."
        ) from error


def numbered(findings: Iterable[Finding]) -> tuple[Row, ...]:
    """Return the findings with their numbers."""
    return tuple(Row(number, finding) for number, finding in enumerate(findings, start=1))


def stages(rows: Sequence[Row], bouts: Sequence[Bout] = ()) -> tuple[Stage, ...]:
    """Group the rows that stand or want a check by what they tested; withdrawn ones do not count.

    A row without a side, without a test or motion, or with both, tells nothing of any one test and
    is left out. A test repeated after a bout on its side is a stage of its own: the change is what
    it was repeated for, and no contradiction. The first stage is always there.
    """
    groups: dict[int, dict[What, list[Row]]] = {0: {}}
    for row in rows:
        what = _what(row.finding)
        if what is None or row.finding.status is RowStatus.WITHDRAWN:
            continue
        before = sum(
            bout.start_s < row.finding.start_s and bout.side in (None, what.side) for bout in bouts
        )
        groups.setdefault(before, {}).setdefault(what, []).append(row)
    return tuple(
        Stage(before, {what: _together(what, group) for what, group in tests.items()})
        for before, tests in sorted(groups.items())
    )


def _what(finding: Finding) -> What | None:
    side, test, motion = finding.side, finding.test, finding.motion
    if side not in ("left", "right") or bool(test) == bool(motion):
        return None
    known: Side = "left" if side == "left" else "right"
    if test:
        return What(known, test)
    return What(known, motion or "", finding.mode, is_motion=True)


def _together(what: What, rows: Sequence[Row]) -> OneTest:
    slots = {slot: _said(rows, slot) for slot in _VALUED}
    return OneTest(what, tuple(rows), {slot: said for slot, said in slots.items() if said.values})


def _said(rows: Sequence[Row], slot: str) -> Said:
    stand = _values(rows, slot, RowStatus.LOGGED)
    check = _values(rows, slot, RowStatus.CHECK)
    values = tuple(dict.fromkeys((*stand, *check)))
    # A row to check that only repeats what another row says takes nothing from it.
    return Said(values, to_check=any(value not in stand for value in check))


def _values(rows: Sequence[Row], slot: str, status: RowStatus) -> tuple[SlotValue, ...]:
    values = (getattr(row.finding, slot) for row in rows if row.finding.status is status)
    return tuple(dict.fromkeys(value for value in values if value not in (None, "")))
