"""Seeded scripts of findings in running speech, from the templates of the data file."""

from __future__ import annotations

import random
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Final, Literal

from logger.bench.hearing.finding_scripts import spelled
from logger.bench.hearing.scripts import Line, Script, ScriptRow
from logger.bench.hearing.talk_scripts import read_data
from logger.core.events import SIDES
from logger.core.statements import SlotValue
from logger.grammar.numbers import number_words
from logger.grammar.pack import Pack, WordSlot

_MARK: Final = re.compile(r"\{(\w+)\}|\[(\w+)=(\w+)\|([^\]]+)\]")
_NUMBERS: Final = {"grade": "grade", "score": "mobility_score", "pain": "pain"}
_FIXED_MOBILITY: Final = {"stiff": "hypomobile", "loose": "hypermobile"}
_COMPLETED: Final = 0.2
_TALKS: Final = 0.4
_DEGREES: Final = range(20, 181, 5)


@dataclass(frozen=True, slots=True)
class Template:
    """One way to phrase a finding."""

    text: str
    compares: Literal["", "same_as", "against"] = ""
    """With the other side; what is the same takes its mobility from that side's row."""
    completes: bool = False
    """Opens no row but completes the one before."""


def templates() -> tuple[Template, ...]:
    """Return every template of the data file."""
    return tuple(
        Template(text, group.get("compares", ""), bool(group.get("completes")))
        for group in read_data("natural.toml")["templates"]
        for text in group["sentences"]
    )


def natural_script(pack: Pack, rng: random.Random, findings: int, talk: Iterator[Line]) -> Script:
    """Return a script of `findings` rows phrased as in running speech, with talk between."""
    writer = _Writer(pack, rng)
    openers = [template for template in templates() if not template.completes]
    completers = [template for template in templates() if template.completes]
    while len(writer.rows) < findings:
        for template in rng.sample(openers, len(openers)):
            if rng.random() < _TALKS:
                writer.lines.append(next(talk))
            writer.open_row(template)
            if rng.random() < _COMPLETED:
                writer.complete(rng.choice(completers))
            if len(writer.rows) >= findings:
                break
    return Script(tuple(writer.lines), tuple(writer.rows))


@dataclass(slots=True)
class _Said:
    words: str
    slots: dict[str, SlotValue] = field(default_factory=dict)


class _Writer:
    def __init__(self, pack: Pack, rng: random.Random) -> None:
        self.lines: list[Line] = []
        self.rows: list[ScriptRow] = []
        self._pack = pack
        self._rng = rng

    def open_row(self, template: Template) -> None:
        """Say one template; before one that compares, a plain row of the other side."""
        known: dict[str, SlotValue] = {}
        if template.compares == "same_as":
            known = self._said_of_the_other_side()
        said = self._fill(template.text, known)
        if template.compares == "same_as":
            said.slots["mobility"] = known["mobility"]
        if template.compares:
            other = SIDES[1 - SIDES.index(said.slots["side"])]
            named = other if "{other_side}" in template.text else "other_side"
            said.slots["comparison"] = f"{template.compares}_{named}"
        self._add(said)

    def complete(self, template: Template) -> None:
        """Say something that completes the last row."""
        taken = self.rows[-1].slots
        said = self._fill(template.text, {})
        if set(said.slots) & set(taken):
            return
        self.lines.append(Line((said.words,), "attributes"))
        row = self.rows[-1]
        self.rows[-1] = ScriptRow(row.line, {**row.slots, **said.slots})

    def _said_of_the_other_side(self) -> dict[str, SlotValue]:
        before = self._fill("{side} {test}, {mobility}.", {})
        self._add(before)
        side = SIDES[1 - SIDES.index(before.slots["side"])]
        return {**before.slots, "side": side}

    def _add(self, said: _Said) -> None:
        self.rows.append(ScriptRow(len(self.lines), said.slots))
        self.lines.append(Line((said.words,), "finding"))

    def _fill(self, text: str, known: Mapping[str, SlotValue]) -> _Said:
        said = _Said("")
        side = str(known.get("side") or self._rng.choice(SIDES))
        mobility = self._mobility(text)

        def put(mark: re.Match[str]) -> str:
            name, slot, value, words = mark.groups()
            if slot:
                said.slots[slot] = int(value) if value.isdigit() else value
                return words
            if name == "other_side":
                return SIDES[1 - SIDES.index(side)]
            if name == "side":
                said.slots["side"] = side
                return side
            return self._spoken(name, mobility, known, said)

        words = _MARK.sub(put, text)
        said.words = words[0].upper() + words[1:]
        self._mean_score(said)
        return said

    def _spoken(self, name: str, mobility: str, known: Mapping[str, SlotValue], said: _Said) -> str:
        """Choose a value for one blank, note it and return its words."""
        if name == "degrees":
            said.slots["range_deg"] = self._rng.choice(_DEGREES)
            return number_words(int(said.slots["range_deg"]))
        if name in _NUMBERS:
            return self._number(name, mobility, said)
        slot = "mobility" if name in (*_FIXED_MOBILITY, "mobility") else name
        rule = self._pack.slots[slot]
        if not isinstance(rule, WordSlot):
            raise TypeError(f"{name} takes no words")
        value = mobility if slot == "mobility" else str(known.get(slot, ""))
        value = value or self._rng.choice(list(rule.values))
        said.slots[slot] = value
        return spelled(self._rng.choice(rule.values[value]))

    def _number(self, name: str, mobility: str, said: _Said) -> str:
        scores = self._pack.mobility_of_score
        numbers = {
            "grade": range(1, 5),
            "pain": range(11),
            "score": [n for n, meant in scores.items() if not mobility or meant == mobility],
        }[name]
        number = self._rng.choice(list(numbers))
        said.slots[_NUMBERS[name]] = str(number) if name == "grade" else number
        return number_words(number)

    def _mobility(self, text: str) -> str:
        """Return the mobility that the text speaks of, empty where it names none."""
        for name, value in _FIXED_MOBILITY.items():
            if f"{{{name}}}" in text:
                return value
        rule = self._pack.slots["mobility"]
        if "{mobility}" in text and isinstance(rule, WordSlot):
            return self._rng.choice(list(rule.values))
        return ""

    def _mean_score(self, said: _Said) -> None:
        score = said.slots.get("mobility_score")
        if isinstance(score, int):
            said.slots["mobility"] = self._pack.mobility_of_score[score]
