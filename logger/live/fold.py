"""The session as what has happened makes it: the same events always give the same session."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from logger.core.events import Finding, RowStatus, Utterance, Verdict
from logger.core.session import CautionAnswer, Edit, SessionFacts
from logger.core.statements import Act, Heard, SlotValue, Statement
from logger.findings.merging import Merged, MergeRules, Outcome, Table
from logger.grammar.interpreting import interpret
from logger.grammar.pack import Pack
from logger.grammar.parsing import Parser
from logger.live import actions
from logger.live.events import Begun, Edited, Happening, Said, Seen, without_words
from logger.live.state import HeardKind, LastHeard

ECHO_S: Final = 0.2
"""How long the page's own voice may still be heard after it ended: the room and the buffers."""

_LOUD_ROOM: Final = (
    "The room is nearly as loud as the speaker: what is heard is marked, and some may be missing. "
    "Bring the microphone nearer."
)
_SHORT_S: Final = 2.0
"""Less than this is told to a tenth of a second."""

_KEYS: Final = {
    actions.CheckPosition: Act.CHECK_POSITION,
    actions.Withdraw: Act.WITHDRAW,
    actions.Pause: Act.PAUSE_LISTENING,
    actions.Resume: Act.RESUME_LISTENING,
    actions.BeginBout: Act.BEGIN_BOUT,
    actions.EndBout: Act.END_BOUT,
    actions.End: Act.END_SESSION,
    actions.SetSide: Act.SIDE,
}
Key = (
    actions.CheckPosition
    | actions.Withdraw
    | actions.Pause
    | actions.Resume
    | actions.BeginBout
    | actions.EndBout
    | actions.End
    | actions.SetSide
)


@dataclass(frozen=True, slots=True)
class _Edit:
    edit: Edit
    heard: Finding
    """The row as it had been heard when it was edited."""


class Fold:
    """Takes one happening after the other."""

    def __init__(self, pack: Pack) -> None:
        """Begin before the first; about a tenth of a second."""
        self.pack = pack
        self.facts = SessionFacts()
        self.table = Table(MergeRules(pack.setup, pack.mobility_of_score))
        self.heard: list[Heard] = []
        """Everything that was heard, talk with its times alone."""
        self.warnings: list[str] = []
        self.last_heard: LastHeard | None = None
        self.last_s = 0.0
        """The newest time in anything that happened."""
        self.seen_any = False
        self.parser = Parser(pack)
        self._played: list[actions.PlayedBack] = []
        self._edits: list[_Edit] = []
        self._merged: Merged | None = None

    @property
    def cautions(self) -> tuple[CautionAnswer, ...]:
        """The answers to the pack's cautions; empty until they are answered."""
        return self.facts.cautions

    @property
    def asks_cautions(self) -> bool:
        """Whether the cautions are still to be answered."""
        return len(self.cautions) < len(self.pack.cautions)

    def merged(self) -> Merged:
        """Return the table as it was heard."""
        if self._merged is None or self.table.unsettled:
            self._merged = self.table.merged()
        return self._merged

    def edits(self) -> tuple[Edit, ...]:
        """Return the edits that stand: what was said of the same slot afterwards undoes one."""
        rows = self.merged().rows
        return tuple(e.edit for e in self._edits if _stands(e, rows[e.edit.row - 1]))

    def apply(self, happening: Happening) -> None:
        """Take the next happening."""
        if isinstance(happening, Seen):
            self.table.see(happening.angles)
            self.seen_any = True
            self.last_s = max(self.last_s, self.table.trace.until_s)
            return
        if isinstance(happening, Said):
            self._hear(happening.utterance)
        elif isinstance(happening, Edited):
            rows = self.merged().rows
            self._edits += [_Edit(edit, rows[edit.row - 1]) for edit in happening.edits]
        elif isinstance(happening, actions.PlayedBack):
            self._play(happening)
        elif isinstance(happening, Begun):
            self.facts = happening.facts
        elif isinstance(happening, actions.AnswerCautions):
            self.facts = _answered(self.facts, happening.answers)
        elif isinstance(happening, actions.SoundMissing):
            self._miss(happening)
        else:
            self._press(happening)
        self._merged = None

    def _hear(self, utterance: Utterance) -> None:
        self.last_s = max(self.last_s, utterance.end_s)
        item = interpret(utterance, self.parser)
        talk = utterance.verdict is Verdict.TALK
        self.heard.append(Heard(without_words(utterance), None) if talk else item)
        if self.asks_cautions:
            outcome = self.table.set_aside(item, "it was said before the cautions were answered")
        elif any(_overlap(utterance, played) for played in self._played):
            outcome = self.table.set_aside(item, "it was heard while the page itself was speaking")
        else:
            outcome = self.table.take(item)
        if utterance.drowned and _LOUD_ROOM not in self.warnings:
            self.warnings.append(_LOUD_ROOM)
        self._tell(utterance, outcome)

    def _press(self, key: Key) -> None:
        self.last_s = max(self.last_s, key.at_s)
        act, slots = _KEYS[type(key)], _slots(key)
        words = " ".join((self.pack.commands.get(act) or (act.value.replace("_", " "),))[:1])
        values = " ".join(str(value) for each in slots.values() for value in each)
        text = f"[by hand: {f'{words} {values}'.strip()}]"
        utterance = Utterance(text, key.at_s, key.at_s, 1.0, Verdict.HEARD)
        outcome = self.table.take(Heard(utterance, Statement(act, slots)), by_hand=True)
        self._tell(utterance, outcome)

    def _play(self, played: actions.PlayedBack) -> None:
        self._played.append(played)
        for item in reversed(self.heard):
            utterance = item.utterance
            if utterance.end_s < played.start_s:
                break
            if item.statement is not None and _overlap(utterance, played):
                # It came too late: the row that it made stays, to be looked at.
                self.table.doubt(utterance.start_s, utterance.end_s, "perhaps the page's own voice")

    def _miss(self, missing: actions.SoundMissing) -> None:
        length_s = missing.end_s - missing.start_s
        told = f"{length_s:.1f}" if length_s < _SHORT_S else f"{length_s:.0f}"
        text = f"{told} s of sound are missing from {missing.start_s:.0f} s on: say it again."
        self.warnings.append(text)
        self.table.miss(missing.start_s, missing.end_s)

    def _tell(self, utterance: Utterance, outcome: Outcome) -> None:
        kind: HeardKind = outcome.kind
        reason = outcome.reason
        self._merged = None
        if outcome.row is not None:
            row = self.merged().rows[outcome.row - 1]
            if row.status is RowStatus.CHECK:
                kind, reason = "check", "; ".join(row.reasons)
        self.last_heard = LastHeard(utterance.text, kind, reason, outcome.row, utterance.start_s)


def _slots(key: Key) -> dict[str, tuple[SlotValue, ...]]:
    if isinstance(key, actions.SetSide):
        return {"side": (key.side,)}
    if isinstance(key, actions.BeginBout) and key.grade:
        return {"grade": (key.grade,)}
    return {}


def _answered(facts: SessionFacts, answers: tuple[CautionAnswer, ...]) -> SessionFacts:
    return SessionFacts(
        facts.patient_code, facts.examiner_code, facts.started_at, facts.involved_side, answers
    )


def _overlap(utterance: Utterance, played: actions.PlayedBack) -> bool:
    return utterance.start_s < played.end_s + ECHO_S and played.start_s < utterance.end_s


def _stands(kept: _Edit, now: Finding) -> bool:
    """Whether nothing was said afterwards about what was edited."""
    slot, was = kept.edit.slot, kept.heard
    if slot != "status":
        return bool(getattr(was, slot) == getattr(now, slot))
    withdrawn = now.status is RowStatus.WITHDRAWN and was.status is not RowStatus.WITHDRAWN
    doubted = kept.edit.after == "logged" and not set(now.reasons) <= set(was.reasons)
    return not withdrawn and not doubted
