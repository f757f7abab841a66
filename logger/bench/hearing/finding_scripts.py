"""Seeded scripts of findings: every slot in every order, amendments, and talk between them."""

from __future__ import annotations

import random
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from logger.bench.hearing.scripts import Kind, Line, Script, ScriptRow
from logger.core.events import SIDES
from logger.core.statements import Act, SlotValue
from logger.grammar.pack import Pack
from logger.grammar.phrases import Phrase, command_phrases, slot_phrases

_MOST_IN_A_LINE: Final = 4
"""Attributes said in one breath with a test; more are hardly said."""
_NAMES_SIDE: Final = 0.75
_SWITCHES_FIRST: Final = 0.5
"""Of the rows that do not name their side, how many follow a line that sets it."""
_USUAL_ORDER: Final = 0.4
_FOLLOWED_UP: Final = 0.3
_CORRECTED: Final = 0.15
_WITHDRAWN: Final = 0.06
_NOTED: Final = 0.04
_POSITION_CHECKED: Final = 0.03
_PAUSED: Final = 0.3
_COMMAS: Final = 0.7
_ROUND_DEGREES: Final = 0.7
_TALKS: Final = 0.5
_ORDER: Final = (
    *("side", "test", "motion", "mode", "range_deg", "grade", "mobility", "mobility_score"),
    *("end_feel", "pain", "symptoms"),
)
_NOTES: Final = (
    "guarding early on",
    "settled after a few breaths",
    "towel under the elbow",
    "better than last week",
)


def finding_script(pack: Pack, rng: random.Random, findings: int, talk: Iterator[Line]) -> Script:
    """Return a script of `findings` rows with talk between them.

    Args:
        pack: what can be said.
        rng: the same state gives the same script.
        findings: how many rows are opened, withdrawn ones counted.
        talk: lines of talk without end.

    """
    writer = _Writer(pack, rng, talk)
    for _ in range(findings):
        writer.write_finding()
    return Script(tuple(writer.lines), tuple(row.done() for row in writer.rows))


@dataclass(slots=True)
class _OpenRow:
    line: int
    slots: dict[str, SlotValue]
    withdrawn: bool = False
    noted: bool = False

    def done(self) -> ScriptRow:
        return ScriptRow(self.line, self.slots, self.withdrawn, self.noted)


class _Writer:
    def __init__(self, pack: Pack, rng: random.Random, talk: Iterator[Line]) -> None:
        self.lines: list[Line] = []
        self.rows: list[_OpenRow] = []
        self._pack = pack
        self._rng = rng
        self._talk = talk
        self._side: str | None = None
        self._commands = {phrase.act: phrase.text for phrase in command_phrases(pack)}
        self._by_value: dict[str, dict[SlotValue, list[Phrase]]] = {}
        for slot in pack.slots:
            for phrase in slot_phrases(pack, slot):
                if phrase.beside_row:  # whole sentences have scripts of their own
                    continue
                values = self._by_value.setdefault(slot, {})
                values.setdefault(phrase.value, []).append(phrase)

    def write_finding(self) -> None:
        self._chat()
        opener = self._rng.choice([slot for slot in ("test", "motion") if slot in self._by_value])
        side = self._side_phrase()
        attributes = self._attributes(opener)
        first = attributes[: self._rng.randint(0, min(_MOST_IN_A_LINE, len(attributes)))]
        later = attributes[len(first) :]
        spoken = [self._phrase(opener), *first, *([side] if side else [])]
        row = _OpenRow(len(self.lines), self._meaning([*spoken]))
        row.slots.setdefault("side", self._side or "")
        self._say("finding", spoken)
        self.rows.append(row)
        if later and self._rng.random() < _FOLLOWED_UP:
            self._follow_up(row, later)
        if self._rng.random() < _CORRECTED:
            self._correct(row)
        self._command_now_and_then(row)

    def _command_now_and_then(self, row: _OpenRow) -> None:
        chance = self._rng.random()
        if chance < _WITHDRAWN:
            self._command(Act.WITHDRAW)
            row.withdrawn = True
            # Whether the side stays in force after a withdrawal is the tool's to doubt.
            self._side = None
        elif chance < _WITHDRAWN + _NOTED:
            words = self._rng.choice(_NOTES)
            self.lines.append(Line((f"{self._commands[Act.NOTE].capitalize()}, {words}.",), "note"))
            row.noted = True
        elif chance < _WITHDRAWN + _NOTED + _POSITION_CHECKED:
            self._command(Act.CHECK_POSITION)

    def _chat(self) -> None:
        while self._rng.random() < _TALKS:
            self.lines.append(next(self._talk))

    def _side_phrase(self) -> Phrase | None:
        """Return the side to be said with the finding, or set it with a line of its own."""
        if self._side is None or self._rng.random() < _NAMES_SIDE:
            phrase = self._phrase("side", self._rng.choice(SIDES))
            self._side = str(phrase.value)
            return phrase
        if self._rng.random() < _SWITCHES_FIRST:
            if self._rng.random() < _SWITCHES_FIRST:
                self._command(Act.OTHER_SIDE)
                self._side = SIDES[1 - SIDES.index(self._side)]
            else:
                side = self._rng.choice(SIDES)
                self._say("side", [self._phrase("side", side, bare=False)])
                self._side = side
        return None

    def _attributes(self, opener: str) -> list[Phrase]:
        slots = [
            slot
            for slot in self._pack.utterance.completes_row
            if slot in self._by_value and opener in self._pack.utterance.needs.get(slot, (opener,))
        ]
        twins = {"mobility", "mobility_score"} & set(slots)
        if len(twins) > 1:
            # Both at once may contradict each other, which is a check and not a slip of the ear.
            slots.remove(self._rng.choice(sorted(twins)))
        chosen = self._rng.sample(slots, self._rng.randint(1, len(slots)))
        return [self._phrase(slot) for slot in chosen]

    def _follow_up(self, row: _OpenRow, later: Sequence[Phrase]) -> None:
        if self._rng.random() < _FOLLOWED_UP:
            self.lines.append(next(self._talk))
        said = later[:_MOST_IN_A_LINE]
        self._say("attributes", said)
        row.slots |= self._meaning(said)

    def _correct(self, row: _OpenRow) -> None:
        slots = [slot for slot in row.slots if slot in self._by_value]
        slot = self._rng.choice(slots)
        if slot == "mobility" and "mobility_score" in row.slots:
            slot = "mobility_score"
        others = [value for value in self._by_value[slot] if value != row.slots[slot]]
        phrase = self._phrase(slot, self._rng.choice(others))
        self._say("correction", [phrase], before=self._commands[Act.CORRECTION])
        row.slots |= self._meaning([phrase])
        if slot == "side":
            self._side = str(phrase.value)

    def _phrase(self, slot: str, value: SlotValue | None = None, *, bare: bool = True) -> Phrase:
        """Choose a value first, so that a number's many forms do not drown the rest."""
        values = self._by_value[slot]
        if value is None:
            choices = list(values)
            if slot == "range_deg" and self._rng.random() < _ROUND_DEGREES:
                choices = [number for number in choices if int(number) % 5 == 0]
            value = self._rng.choice(choices)
        return self._rng.choice([phrase for phrase in values[value] if bare or not phrase.bare])

    def _meaning(self, phrases: Sequence[Phrase]) -> dict[str, SlotValue]:
        slots: dict[str, SlotValue] = {phrase.slot: phrase.value for phrase in phrases}
        score = slots.get("mobility_score")
        if isinstance(score, int) and score in self._pack.mobility_of_score:
            slots["mobility"] = self._pack.mobility_of_score[score]
        return slots

    def _command(self, act: Act) -> None:
        kinds: dict[Act, Kind] = {
            Act.WITHDRAW: "withdraw",
            Act.OTHER_SIDE: "other_side",
            Act.CHECK_POSITION: "check_position",
        }
        self.lines.append(Line((f"{self._commands[act].capitalize()}.",), kinds[act]))

    def _say(self, kind: Kind, phrases: Sequence[Phrase], before: str = "") -> None:
        order = list(phrases)
        if self._rng.random() < _USUAL_ORDER:
            order.sort(key=lambda phrase: _ORDER.index(phrase.slot))
        else:
            self._rng.shuffle(order)
        words = [before, *(phrase.text for phrase in order)]
        words = [spelled(text) for text in words if text]
        cut = len(words)
        if len(words) > 1 and self._rng.random() < _PAUSED:
            cut = self._rng.randint(1, len(words) - 1)
        parts = [part for part in (words[:cut], words[cut:]) if part]
        comma = ", " if self._rng.random() < _COMMAS else " "
        pieces = [comma.join(part) for part in parts]
        pieces[0] = pieces[0][0].upper() + pieces[0][1:]
        ends = [*("," for _ in pieces[1:]), "."]
        self.lines.append(
            Line(tuple(piece + end for piece, end in zip(pieces, ends, strict=True)), kind)
        )


def spelled(text: str) -> str:
    """Write single letters large, so that a voice spells them: "a p glide" as "A P glide"."""
    return re.sub(r"\b[a-z](?= [a-z]\b)|(?<=\b[a-z] )[a-z]\b", lambda found: found[0].upper(), text)
