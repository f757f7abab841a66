"""Make sentences of a pack together with what they mean, for tests and benchmarks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from logger.core.statements import SLOTS, Act, Statement
from logger.grammar.phrases import command_phrases, linking_words, slot_phrases, slot_spans

if TYPE_CHECKING:
    import random
    from collections.abc import Iterator, Mapping, Sequence

    from logger.core.statements import SlotValue
    from logger.grammar.pack import Pack
    from logger.grammar.phrases import CommandPhrase, Phrase

_MOST_SLOTS: Final = 5
"""The most attributes put into one sentence; more are hardly said in one breath."""
_REPEATED: Final = 0.1
"""How often a slot gets a second phrase: the same value again, or a conflict."""
_SPANNED: Final = 0.15
"""How often two numbers are said for one, where a slot has such phrases."""
_KINDS: Final = ("finding", "attributes", "side", "command")
_WEIGHTS: Final = (10, 4, 1, 5)
_WITH_SIDE: Final = 0.8
"""How often a finding names its side."""
_NOW_AND_THEN: Final = 0.3
"""How often attributes name a side, and a correction a side, a test or a motion."""
_WITH_SLOT_OF_A_BOUT: Final = 0.4
"""How often each slot that may follow "begin bout" does."""
_LINKED: Final = 0.6
"""How often linking words stand before a phrase of a whole sentence."""
_NOTE_WORDS: Final = (
    *("guarding", "early", "settled", "after", "a", "few", "breaths", "warm", "hands", "at"),
    *("the", "front", "towel", "under", "elbow", "pain", "three", "normal", "for", "her", "age"),
)


@dataclass(frozen=True, slots=True)
class Sentence:
    """What is said and what it states."""

    text: str
    """Lower-case words parted by single spaces."""
    statement: Statement


def sentences(pack: Pack, rng: random.Random) -> Iterator[Sentence]:
    """Yield sentences without end: every act, slot and spoken form, slots in any order.

    The same state of `rng` gives the same sentences. Each one states something; the meaning is
    put together from the phrases as they are chosen, not read back from the text.
    """
    maker = _Maker(pack, rng)
    while True:
        yield maker.sentence()


class _Maker:
    def __init__(self, pack: Pack, rng: random.Random) -> None:
        self._rng = rng
        self._rules = pack.utterance
        self._commands = command_phrases(pack)
        self._links = [link for link in linking_words(pack) if not link.turns]
        self._completing = self._rules.sentence_completes if self._links else ()
        self._spans = {slot: slot_spans(pack, slot) for slot in pack.slots}
        self._by_value: dict[str, dict[SlotValue, list[Phrase]]] = {}
        for slot in pack.slots:
            for phrase in slot_phrases(pack, slot):
                values = self._by_value.setdefault(slot, {})
                values.setdefault(phrase.value, []).append(phrase)

    def sentence(self) -> Sentence:
        kind = self._rng.choices(_KINDS, _WEIGHTS)[0]
        if kind == "finding":
            return self._finding()
        if kind == "attributes" and self._completing and self._rng.random() < _NOW_AND_THEN:
            return self._of(Act.ATTRIBUTES, self._sentence_phrases(), linked=True)
        if kind == "attributes":
            return self._of(Act.ATTRIBUTES, self._attributes(1, side=True))
        if kind == "side":
            return self._of(Act.SIDE, [self._phrase("side", bare=False)])
        return self._command(self._rng.choice(self._commands))

    def _finding(self) -> Sentence:
        # A keyword style and a whole sentence with linking words: both are findings.
        linked = bool(self._links) and self._rng.random() < _NOW_AND_THEN
        phrases = self._attributes(0, side=False, beside_row=linked)
        phrases += self._phrases(self._rng.choice(self._rules.opens_row))
        # A bare side counts only beside some of the slots that open a row.
        bare = any(phrase.slot in self._rules.bare_side_with for phrase in phrases)
        if self._rng.random() < _WITH_SIDE:
            phrases.append(self._phrase("side", bare=bare, beside_row=linked))
        return self._of(Act.FINDING, phrases, linked=linked)

    def _command(self, command: CommandPhrase) -> Sentence:
        if command.takes_slots:
            phrases = self._attributes(1, side=False)
            if self._rng.random() < _NOW_AND_THEN:
                phrases.append(self._phrase("side", bare=True))
            if self._rng.random() < _NOW_AND_THEN:
                phrases += self._phrases(self._rng.choice(self._rules.opens_row))
            return self._of(command.act, phrases, before=command.text)
        if command.takes_words:
            words = " ".join(self._rng.choices(_NOTE_WORDS, k=self._rng.randint(1, 8)))
            return Sentence(f"{command.text} {words}", Statement(command.act, note=words))
        taken = [slot for slot in command.may_take if self._rng.random() < _WITH_SLOT_OF_A_BOUT]
        return self._of(command.act, [self._phrase(s, bare=True) for s in taken], command.text)

    def _attributes(self, fewest: int, *, side: bool, beside_row: bool = False) -> list[Phrase]:
        only = () if beside_row else self._rules.beside_row_only
        slots = [slot for slot in self._rules.completes_row if slot not in only]
        count = self._rng.randint(fewest, min(_MOST_SLOTS, len(slots)))
        chosen = self._rng.sample(slots, count)
        phrases = [phrase for slot in chosen for phrase in self._phrases(slot, beside_row)]
        if side and self._rng.random() < _NOW_AND_THEN:
            phrases.append(self._phrase("side", bare=False))
        return phrases

    def _sentence_phrases(self) -> list[Phrase]:
        count = self._rng.randint(1, len(self._completing))
        return [
            self._phrase(s, bare=False, beside_row=True)
            for s in self._rng.sample(self._completing, count)
        ]

    def _phrases(self, slot: str, beside_row: bool = False) -> list[Phrase]:
        """Return one phrase of the slot, now and then two."""
        count = 2 if self._rng.random() < _REPEATED else 1
        return [self._phrase(slot, bare=True, beside_row=beside_row) for _ in range(count)]

    def _phrase(self, slot: str, *, bare: bool, beside_row: bool = False) -> Phrase:
        """Choose a value first, so that a number's many forms do not drown the rest.

        Now and then two numbers are said for one.
        """
        spans = [p for p in self._spans[slot] if beside_row or not p.beside_row]
        if spans and self._rng.random() < _SPANNED:
            return self._rng.choice(spans)
        values = self._by_value[slot]
        usable = {
            value: kept
            for value, phrases in values.items()
            if (kept := [p for p in phrases if beside_row or not p.beside_row])
        }
        phrases = usable[self._rng.choice(list(usable))]
        return self._rng.choice([phrase for phrase in phrases if bare or not phrase.bare])

    def _linked(self, texts: Sequence[str]) -> Iterator[str]:
        """Yield the phrases with linking words now and then before, between and after them."""
        first = [link.text for link in self._links if link.may_begin]
        between = [link.text for link in self._links if link.may_join]
        last = [link.text for link in self._links if link.may_end]
        for number, text in enumerate(texts):
            links = between if number else first
            if links and self._rng.random() < _LINKED:
                yield self._rng.choice(links)
            yield text
        if last and self._rng.random() < _NOW_AND_THEN:
            yield self._rng.choice(last)

    def _of(
        self, act: Act, phrases: Sequence[Phrase], before: str = "", *, linked: bool = False
    ) -> Sentence:
        spoken = self._rng.sample(phrases, len(phrases))
        texts = [phrase.text for phrase in spoken]
        words = [before, *(self._linked(texts) if linked else texts)]
        text = " ".join(word for word in words if word)
        return Sentence(text, Statement(act, _meaning(spoken)))


def _meaning(phrases: Sequence[Phrase]) -> Mapping[str, tuple[SlotValue, ...]]:
    said = {slot: [v for p in phrases if p.slot == slot for v in p.values] for slot in SLOTS}
    return {slot: tuple(dict.fromkeys(values)) for slot, values in said.items() if values}
