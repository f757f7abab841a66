"""A row while it is being spoken: every value said for each slot, and what is doubtful."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Final

from logger.core.events import Finding, RowStatus, SetupReading, Utterance, Verdict
from logger.core.statements import SAME_AS, SLOTS, Doubt, Heard, SlotValue

HEARD_UNSURELY: Final = "heard unsurely"
DROWNED: Final = "the room was nearly as loud"
_SAME_THING: Final = {"mobility": "mobility_score", "mobility_score": "mobility"}
_OF_A_MOTION: Final = ("mode", "range_deg")


@dataclass(slots=True)
class SpokenRow:
    """A row of the table that still changes.

    All values said for a slot are kept, so that a conflict stays one however often one of the
    values is repeated; only a correction settles it.
    """

    first: Utterance
    until_s: float
    """The end of the last utterance that went into the row."""
    values: dict[str, tuple[SlotValue, ...]] = field(default_factory=dict)
    slot_doubts: dict[str, tuple[str, ...]] = field(default_factory=dict)
    """Reasons for a check about one slot; a correction of that slot settles them."""
    row_doubts: list[str] = field(default_factory=list)
    """Reasons for a check about the row as a whole; nothing settles them."""
    notes: list[str] = field(default_factory=list)
    said: list[str] = field(default_factory=list)
    confidence: float = 1.0
    withdrawn: bool = False
    perhaps_withdrawn: bool = False
    side_changed: bool = False
    """Whether this row's own words changed the side in force."""
    side_taken_over: bool = False
    """Whether its side is the one in force when it began, none having been said with it."""

    def value(self, slot: str) -> SlotValue | None:
        """Return the one value said for `slot`; None where none or more than one was said."""
        values = self.values.get(slot, ())
        return values[0] if len(values) == 1 else None

    def conflicted(self, slot: str) -> bool:
        """Whether more than one value was said for `slot`."""
        return len(self.values.get(slot, ())) > 1

    def join(self, item: Heard) -> None:
        """Take the words, the confidence and the doubts of an utterance into the row."""
        self.said.append(item.utterance.text)
        self.confidence = min(self.confidence, item.utterance.confidence)
        self.until_s = max(self.until_s, item.utterance.end_s)
        for reason in whole_doubts(item):
            self.doubt(reason)
        for doubt in item.doubts:
            self.doubt_slot(doubt.slot, choices(doubt.slot, doubt.values))

    def fill(self, slots: Mapping[str, tuple[SlotValue, ...]]) -> None:
        """Add the values said; one that differs from what was said before makes a conflict."""
        for slot, values in slots.items():
            self.values[slot] = tuple(dict.fromkeys((*self.values.get(slot, ()), *values)))

    def correct(
        self,
        slots: Mapping[str, tuple[SlotValue, ...]],
        mobility_of_score: Mapping[int, str],
    ) -> None:
        """Replace the slots named; what is in doubt about them is settled.

        Mobility and its score say the same thing twice: correcting one takes back the other
        where the two no longer agree.
        """
        for slot, values in slots.items():
            self.values[slot] = tuple(dict.fromkeys(values))
            self.slot_doubts.pop(slot, None)
            self._take_back_sameness(slot)
            self.side_taken_over &= slot != "side"
            twin = _SAME_THING.get(slot)
            if twin in self.values and twin not in slots and self._contradiction(mobility_of_score):
                del self.values[twin]
                self.slot_doubts.pop(twin, None)

    def _take_back_sameness(self, corrected: str) -> None:
        """Let a mobility said outright and "the same as the other side" replace each other."""
        same = any(value in SAME_AS for value in self.values.get("comparison", ()))
        if corrected == "comparison" and same:
            self.values.pop("mobility", None)
            self.values.pop("mobility_score", None)
        elif corrected in _SAME_THING and same:
            del self.values["comparison"]

    def doubt(self, reason: str) -> None:
        """Mark the whole row for a check."""
        if reason not in self.row_doubts:
            self.row_doubts.append(reason)

    def doubt_slot(self, slot: str, reason: str) -> None:
        """Mark one slot for a check."""
        before = self.slot_doubts.get(slot, ())
        self.slot_doubts[slot] = tuple(dict.fromkeys((*before, reason)))

    def finding(self, mobility_of_score: Mapping[int, str], setup: SetupReading) -> Finding:
        """Return the row of the table; a slot with more than one value stays empty."""
        reasons = tuple(dict.fromkeys(self._reasons(mobility_of_score)))
        status = RowStatus.CHECK if reasons else RowStatus.LOGGED
        slots: dict[str, object] = {slot: self.value(slot) for slot in SLOTS}
        if not self.values.get("mobility"):
            slots["mobility"] = self._meant(mobility_of_score)
        return Finding(
            start_s=self.first.start_s,
            end_s=self.first.end_s,
            note="; ".join(self.notes) or None,
            setup=setup,
            said=" | ".join(self.said),
            confidence=self.confidence,
            status=RowStatus.WITHDRAWN if self.withdrawn else status,
            reasons=reasons,
            cautions=tuple(self._cautions()),
            **slots,  # type: ignore[arg-type]
        )

    def _meant(self, mobility_of_score: Mapping[int, str]) -> str | None:
        score = self.value("mobility_score")
        return mobility_of_score.get(score) if isinstance(score, int) else None

    def _contradiction(self, mobility_of_score: Mapping[int, str]) -> str:
        """Return how the mobility said differs from what its score means; empty if it agrees."""
        meant, said = self._meant(mobility_of_score), self.value("mobility")
        if meant is None or said is None or meant == said:
            return ""
        score = self.value("mobility_score")
        return f"mobility: said {said}, but the score {score} means {meant}"

    def _reasons(self, mobility_of_score: Mapping[int, str]) -> Iterator[str]:
        for slot in SLOTS:
            if self.conflicted(slot):
                yield choices(slot, self.values[slot])
            yield from self.slot_doubts.get(slot, ())
        if not self.values.get("side"):
            yield "side: not said"
        if self.values.get("test") and self.values.get("motion"):
            yield "a test and a motion in one row"
        if not self.values.get("motion"):
            for slot in _OF_A_MOTION:
                if self.values.get(slot):
                    yield f"{slot}: belongs to a motion, and none was said"
        if contradiction := self._contradiction(mobility_of_score):
            yield contradiction
        yield from self.row_doubts

    def _cautions(self) -> Iterator[str]:
        # The grades are those of graded mobilisation, where the fifth is the thrust.
        if any(str(grade).startswith("5") for grade in self.values.get("grade", ())):
            yield "grade 5 is a thrust, not a test"


def whole_doubts(item: Heard) -> tuple[str, ...]:
    """Return why an utterance as a whole is doubtful; empty where it is not."""
    reason = DROWNED if item.utterance.drowned else HEARD_UNSURELY
    unsure = (reason,) if item.utterance.verdict is Verdict.UNSURE else ()
    return (*unsure, item.question) if item.question else unsure


def slot_doubt(item: Heard, slot: str) -> Doubt | None:
    """Return what is doubtful about one slot of an utterance."""
    return next((doubt for doubt in item.doubts if doubt.slot == slot), None)


def choices(slot: str, values: Iterable[SlotValue | None]) -> str:
    """Return the question which of the values is right: "pain: 2 or 5?"."""
    named = ("not said" if value is None else str(value) for value in values)
    return f"{slot}: {' or '.join(named)}?"
