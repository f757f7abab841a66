"""From plain words to a statement: every word must have its place, or it was talk."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

import spacy
from spacy.matcher import PhraseMatcher
from spacy.tokens import Doc

from logger.core.statements import SLOTS, Act, Statement
from logger.grammar.normalising import normalised
from logger.grammar.phrases import Phrase, command_phrases, spoken_phrases

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from logger.core.statements import SlotValue
    from logger.grammar.pack import Pack

_PAUSE_AFTER_NOTE: Final = re.compile(r"\s*[,.;:!-]*(?:\s+|$|(?=[^\W\d]))")


class Parser:
    """Turns the text of an utterance into its meaning, by the rules and phrases of a pack."""

    def __init__(self, pack: Pack) -> None:
        """Build the patterns; about a tenth of a second."""
        self._rules = pack.utterance
        self._vocab = spacy.blank("en").vocab
        self._matcher = PhraseMatcher(self._vocab)
        self._phrases: dict[tuple[str, ...], Phrase] = {}
        for phrase in spoken_phrases(pack):
            for words in _written_forms(phrase.text):
                self._phrases[words] = phrase
        self._matcher.add("phrase", [self._doc(words) for words in self._phrases])
        self._commands = {phrase.text: phrase for phrase in command_phrases(pack)}
        self._with_slots = [p.text for p in self._commands.values() if p.takes_slots]
        notes = "|".join(re.escape(p.text) for p in self._commands.values() if p.takes_words)
        self._note = re.compile(rf"\s*(?:{notes})(?![\w']|-\w)(.*)", re.IGNORECASE | re.DOTALL)

    def parse(self, text: str) -> Statement | None:
        """Return what `text` states, or None where it states nothing.

        `text` is words as spoken, or a transcript with capitals, commas and digits: "Right,
        inferior glide, Grade 2+, pain 3/10, 110°" reads like its words. Every word must belong
        to a phrase of the pack, and a command stands alone, or the whole text is talk: None.

        - A test or a motion makes a FINDING; only attributes make ATTRIBUTES, mode and degrees
          too, which complete the row of a motion; a side alone makes SIDE.
        - A bare "right" is how people begin a sentence. It is a side only where a test or a
          motion, "right shoulder" or "correction" stands with it: "right, pain three" says
          pain 3 and no side, "correction, right" says the side.
        - Different values for one slot are all kept, in order; the same value is kept once.
        - "note" keeps the words after it as they are written. A note that is itself a command
          ("note, scratch that") is a mixture and states nothing.
        """
        if note := self._note.fullmatch(text):
            return self._noted(note[1])
        words = normalised(text)
        command = self._commands.get(" ".join(words))
        if command is not None:
            return None if command.takes_slots else Statement(command.act)
        for correction in self._with_slots:
            start = tuple(correction.split())
            if words[: len(start)] == start:
                phrases = self._cover(words[len(start) :])
                return Statement(Act.CORRECTION, _slots(phrases)) if phrases else None
        return self._stated(self._cover(words))

    def _noted(self, rest: str) -> Statement | None:
        words = rest[_leading_pause(rest) :].rstrip(" ,;:\t\n")
        if not re.search(r"\w", words) or " ".join(normalised(words)) in self._commands:
            return None
        inner = self.parse(words)
        if inner is not None and inner.act in (Act.CORRECTION, Act.NOTE):
            return None
        return Statement(Act.NOTE, note=words)

    def _stated(self, phrases: Sequence[Phrase]) -> Statement | None:
        said = {phrase.slot for phrase in phrases if not phrase.bare}
        if "side" not in said and said.isdisjoint(self._rules.bare_side_with):
            phrases = [phrase for phrase in phrases if not phrase.bare]
        if not phrases:
            return None
        if not said.isdisjoint(self._rules.opens_row):
            act = Act.FINDING
        else:
            act = Act.SIDE if said == {"side"} else Act.ATTRIBUTES
        return Statement(act, _slots(phrases))

    def _cover(self, words: tuple[str, ...]) -> list[Phrase]:
        """Return the phrases that take in every word, as few as can be; empty if none do.

        Of two covers with as many phrases, the one whose first phrase is longer is taken, so
        that "horizontal abduction" is one motion and "grade two plus" one grade.
        """
        if not words:
            return []
        starting: dict[int, list[int]] = {}
        for _, start, end in self._matcher(self._doc(words)):
            starting.setdefault(start, []).append(end)
        # The best cover from each word to the end, as (number of phrases, end of the first).
        best: dict[int, tuple[int, int]] = {len(words): (0, 0)}
        for start in reversed(range(len(words))):
            covers = [(best[end][0] + 1, -end) for end in starting.get(start, ()) if end in best]
            if covers:
                count, negative_end = min(covers)
                best[start] = (count, -negative_end)
        found: list[Phrase] = []
        position = 0
        while position in best and position < len(words):
            end = best[position][1]
            found.append(self._phrases[words[position:end]])
            position = end
        return found

    def _doc(self, words: Iterable[str]) -> Doc:
        return Doc(self._vocab, words=list(words))


def _leading_pause(rest: str) -> int:
    """Return how much of what follows "note" is a pause; the sign of "-5" is none."""
    pause = _PAUSE_AFTER_NOTE.match(rest)
    return pause.end() if pause else 0


def _written_forms(text: str) -> set[tuple[str, ...]]:
    """Return the words of a phrase, and with its letters run together: "a p glide", "ap glide"."""
    joined = re.sub(r"\b([a-z]) (?=[a-z]\b)", r"\1", text)
    return {tuple(text.split()), tuple(joined.split())}


def _slots(phrases: Iterable[Phrase]) -> dict[str, tuple[SlotValue, ...]]:
    values: dict[str, dict[SlotValue, None]] = {}
    for phrase in phrases:
        values.setdefault(phrase.slot, {})[phrase.value] = None
    return {slot: tuple(values[slot]) for slot in SLOTS if slot in values}
