"""Practice sessions under review: what an educator changes in them, on the disk before it shows.

Each change reads session.json afresh, adds to it and puts it back whole, so that what two people
do to the same folder one after the other is all kept. What was heard is never written over.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Final

from logger.core.editing import rows_in_force
from logger.core.errors import SessionError, UsageError
from logger.core.events import Finding, RowStatus
from logger.core.session import Edit, Judgement, KeptRow, Reviewed
from logger.core.statements import Act, SlotValue
from logger.files.saving import save_changes
from logger.files.session_json import SessionRecord
from logger.files.stored import find_sessions, read_session
from logger.grammar.allowed import allowed_value, changed_slots
from logger.grammar.pack import Pack
from logger.review.scoring import Practised

MOST_NOTE_CHARACTERS: Final = 2000


@dataclass(frozen=True, slots=True)
class Reviewer:
    """Who reviews, and the clock that tells when."""

    code: str
    """A code, never a name."""
    clock: Callable[[], datetime]
    """Returns the time with its offset from UTC."""

    def now(self) -> str:
        """Return the time in RFC 3339, to the second."""
        return self.clock().isoformat(timespec="seconds")


@dataclass(frozen=True, slots=True)
class ReviewFolder:
    """The sessions of a class in one folder."""

    root: Path
    packs: Callable[[str], Pack]
    """Loads a pack by the name that a session keeps."""

    def names(self) -> tuple[str, ...]:
        """Return the sessions by their place in the folder, sorted.

        Raises:
            SessionError: if the folder cannot be looked into.

        """
        return tuple(_name(place, self.root) for place in find_sessions(self.root))

    def folder(self, name: str) -> Path:
        """Return where a session is.

        Raises:
            UsageError: if no session of the folder has that name, such as "../elsewhere".

        """
        if name not in self.names():
            raise UsageError(f"There is no session {name!r} in {self.root}: reload the list.")
        return self.root if name == "." else self.root / name

    def read(self, name: str) -> SessionRecord:
        """Return a session as it is on the disk.

        Raises:
            SessionError: if it cannot be read; one sentence.

        """
        return read_session(self.folder(name))

    def pack_of(self, record: SessionRecord) -> Pack:
        """Return the pack by which a session was heard."""
        return self.packs(record.pack.name)

    def correct(
        self, name: str, row: int, change: tuple[str, SlotValue | None], by: Reviewer
    ) -> SessionRecord:
        """Set one slot or the note of a row, and return the session with it.

        Raises:
            UsageError: if there is no such row, or the pack has no such slot or value.
            OutputError: if it cannot be written; the session then stays as it was.

        """
        record = self.read(name)
        before = _row(record, row)
        changes = _changes(self.pack_of(record), before, *change)
        at = by.now()
        edits = (
            Edit(row, slot, getattr(before, slot), after, by.code, at)
            for slot, after in changes.items()
        )
        return self._kept(name, replace(record, edits=(*record.edits, *edits)))

    def settle(self, name: str, row: int, status: RowStatus, by: Reviewer) -> SessionRecord:
        """Say that a row stands as it is, or withdraw it, and return the session with it.

        Raises:
            UsageError: if there is no such row, or for `RowStatus.CHECK`.
            OutputError: if it cannot be written; the session then stays as it was.

        """
        if status is RowStatus.CHECK:
            raise UsageError("A row can be settled as logged or withdrawn, not put back to check.")
        record = self.read(name)
        before = _row(record, row)
        edit = Edit(row, "status", before.status.value, status.value, by.code, by.now())
        return self._kept(name, replace(record, edits=(*record.edits, edit)))

    def judge(
        self, name: str, row: int, judged: tuple[str, SlotValue | None], by: Reviewer
    ) -> SessionRecord:
        """Keep the reviewer's own value for a slot beside the student's; None takes it back.

        Raises:
            UsageError: if there is no such row, or the pack has no such slot or value.
            OutputError: if it cannot be written; the session then stays as it was.

        """
        record = self.read(name)
        _row(record, row)
        slot, value = judged
        allowed = allowed_value(self.pack_of(record), slot, value)
        judgement = Judgement(row, slot, allowed, by.code, by.now())
        return self._kept(name, replace(record, judgements=(*record.judgements, judgement)))

    def mark_reviewed(self, name: str, by: Reviewer) -> SessionRecord:
        """Say that the reviewer has looked through the whole session.

        Raises:
            UsageError: while a row still wants a check.
            OutputError: if it cannot be written; the session then stays as it was.

        """
        record = self.read(name)
        open_rows = to_check(kept_rows(record))
        if open_rows:
            numbers = ", ".join(str(row.number) for row in open_rows)
            raise UsageError(f"Settle row {numbers} first: a reviewed session has no open check.")
        return self._kept(
            name, replace(record, reviews=(*record.reviews, Reviewed(by.code, by.now())))
        )

    def _kept(self, name: str, record: SessionRecord) -> SessionRecord:
        save_changes(self.folder(name), record)
        return record


def kept_rows(record: SessionRecord) -> tuple[KeptRow, ...]:
    """Return every row as it was heard and as it stands."""
    try:
        standing = rows_in_force(record.findings, record.edits)
    except ValueError as error:
        raise SessionError(f"session.json of {record.recording.name}: {error}") from error
    return tuple(
        KeptRow(
            number,
            heard,
            finding,
            edits := tuple(edit for edit in record.edits if edit.row == number),
            any(edit.slot == "status" for edit in edits),
        )
        for number, (heard, finding) in enumerate(
            zip(record.findings, standing, strict=True), start=1
        )
    )


def to_check(rows: Iterable[KeptRow]) -> tuple[KeptRow, ...]:
    """Return the rows that still want a check."""
    return tuple(row for row in rows if row.finding.status is RowStatus.CHECK)


def judgements_in_force(record: SessionRecord) -> tuple[Judgement, ...]:
    """Return the last judgement of each rater on each slot of a row, less those taken back."""
    last = {(j.by, j.row, j.slot): j for j in record.judgements}
    return tuple(judgement for judgement in last.values() if judgement.value is not None)


def practised(record: SessionRecord, pack: Pack) -> Practised:
    """Return what a session sheet is filled in from."""
    openings = pack.commands.get(Act.NOTE, ())
    notes = tuple(
        (item.words.start_s, item.words.text)
        for item in record.unplaced
        if item.words.text.startswith(openings)
    )
    return Practised(tuple(row.finding for row in kept_rows(record)), notes)


def _name(place: Path, root: Path) -> str:
    return place.relative_to(root).as_posix()


def _row(record: SessionRecord, row: int) -> Finding:
    rows = kept_rows(record)
    if not 1 <= row <= len(rows):
        raise UsageError(f"There is no row {row}: this session has {len(rows)}.")
    return rows[row - 1].finding


def _changes(
    pack: Pack, row: Finding, slot: str, value: SlotValue | None
) -> dict[str, SlotValue | None]:
    return {slot: _note(value)} if slot == "note" else changed_slots(pack, row, slot, value)


def _note(value: SlotValue | None) -> str | None:
    text = "" if value is None else str(value).strip()
    if len(text) > MOST_NOTE_CHARACTERS:
        raise UsageError(f"A note may have {MOST_NOTE_CHARACTERS} characters: shorten it.")
    return text or None
