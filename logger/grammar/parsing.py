"""From plain words to a statement: every word must have its place, or it was talk."""

from __future__ import annotations

import re
from difflib import SequenceMatcher
from typing import TYPE_CHECKING, Final

import spacy
from spacy.matcher import PhraseMatcher
from spacy.tokens import Doc

from logger.core.statements import SLOTS, Act, Statement
from logger.grammar.alike import alike_values, named_alike
from logger.grammar.normalising import normalised
from logger.grammar.phrases import (
    CommandPhrase,
    Linking,
    Phrase,
    command_phrases,
    linking_words,
    span_phrases,
    spoken_phrases,
    stands_beside_row,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from logger.core.statements import SlotValue
    from logger.grammar.pack import Pack

_NEARLY: Final = 0.8
_LINK: Final = 0.01
"""So much more than a phrase counts a linking word: "normal, end feel abnormal" is two phrases."""
_PAUSE_AFTER_NOTE: Final = re.compile(r"\s*[,.;:!-]*(?:\s+|$|(?=[^\W\d]))")

_WORDS_WITH_LONE_SIDE: Final = 2
"""In noise "left" by itself is written "left him" or "left there"."""


class Parser:
    """Turns the text of an utterance into its meaning, by the rules and phrases of a pack."""

    def __init__(self, pack: Pack) -> None:
        """Build the patterns; about a tenth of a second."""
        self.alike = alike_values(pack)
        """Pairs of values that are easily heard one for the other."""
        self.named_alike = named_alike(pack)
        """The same of numbers of which one is named: 0 and 3, "pain free" and "pain three"."""
        self._rules = pack.utterance
        self._vocab = spacy.blank("en").vocab
        self._matcher = PhraseMatcher(self._vocab)
        self._phrases: dict[tuple[str, ...], Phrase | Linking] = {}
        every: tuple[Phrase | Linking, ...] = (
            *linking_words(pack),
            *span_phrases(pack),
            *spoken_phrases(pack),
        )
        for phrase in every:
            for words in _written_forms(phrase.text):
                self._phrases[words] = phrase
        self._matcher.add("phrase", [self._doc(words) for words in self._phrases])
        self._commands = {phrase.text: phrase for phrase in command_phrases(pack)}
        self._with_slots = [p.text for p in self._commands.values() if p.takes_slots]
        self._bouts = [p for p in self._commands.values() if p.may_take]
        notes = "|".join(re.escape(p.text) for p in self._commands.values() if p.takes_words)
        openings = "|".join(re.escape(word) for word in self._rules.opening_word)
        self._opening = re.compile(rf"\s*(?:{openings})(?![\w']|-\w)[\s,.;:!-]*", re.IGNORECASE)
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
        - "begin bout" may be followed by phrases of the slots that the pack lists for it.
        - "note" keeps the words after it as they are written, but "note to self" is talk. A note
          that is itself a command ("note, scratch that") is a mixture and states nothing.
        - Linking words and phrases that count only beside a row make the whole text talk unless
          it names a test or a motion, or is a correction, or is a sentence such as "that's a firm
          end feel", of slots that the pack lists for it.
        - A pack with an opening word hears only what begins with it.
        """
        if self._rules.opening_word:
            opening = self._opening.match(text)
            if opening is None:
                return None
            text = text[opening.end() :]
        return self._parse_opened(text)

    def turning(self, text: str) -> str:
        """Return the word of a would-be statement that turns it round, such as "isn't", or ""."""
        words = normalised(text)
        found = [p.text for p in self._cover(words) if isinstance(p, Linking) and p.turns]
        return found[0] if found else ""

    def lone_side(self, text: str) -> str:
        """Return the side if a bare one and at most a word more is all that was said, or ""."""
        words = normalised(text)
        phrase = self._phrases.get(words[:1]) if len(words) <= _WORDS_WITH_LONE_SIDE else None
        if not isinstance(phrase, Phrase) or phrase.slot != "side" or not phrase.bare:
            return ""
        return str(phrase.value)

    def _parse_opened(self, text: str) -> Statement | None:
        if note := self._note.fullmatch(text):
            return self._noted(note[1])
        words = normalised(text)
        command = self._commands.get(" ".join(words))
        if command is not None:
            return None if command.takes_slots else Statement(command.act)
        for bout in self._bouts:
            start = tuple(bout.text.split())
            if words[: len(start)] == start:
                return self._bout(bout, words[len(start) :])
        for correction in self._with_slots:
            start = tuple(correction.split())
            if words[: len(start)] == start:
                spoken = self._cover(words[len(start) :])
                slots = _slots(p for p in spoken if isinstance(p, Phrase))
                said = slots and _well_linked(spoken)
                return Statement(Act.CORRECTION, slots) if said else None
        return self._stated(self._cover(words))

    def _noted(self, rest: str) -> Statement | None:
        words = rest[_leading_pause(rest) :].rstrip(" ,;:\t\n")
        plain = " ".join(normalised(words))
        if not re.search(r"\w", words) or plain in self._commands:
            return None
        if any(_begins_like(plain, talk) for talk in self._rules.no_note):
            return None
        inner = self._parse_opened(words)
        if inner is not None and inner.act in (Act.CORRECTION, Act.NOTE, Act.BEGIN_BOUT):
            return None
        return Statement(Act.NOTE, note=words)

    def _bout(self, command: CommandPhrase, rest: tuple[str, ...]) -> Statement | None:
        spoken = self._cover(rest)
        phrases = [phrase for phrase in spoken if isinstance(phrase, Phrase)]
        fits = all(phrase.slot in command.may_take for phrase in phrases)
        whole = spoken and len(phrases) == len(spoken)
        return Statement(command.act, _slots(phrases)) if fits and whole else None

    def _stated(self, spoken: Sequence[Phrase | Linking]) -> Statement | None:
        phrases = [phrase for phrase in spoken if isinstance(phrase, Phrase)]
        said = {phrase.slot for phrase in phrases if not phrase.bare}
        if not (stands_beside_row(spoken, self._rules) and _well_linked(spoken)):
            return None
        if "side" not in said and said.isdisjoint(self._rules.bare_side_with):
            phrases = [phrase for phrase in phrases if not phrase.bare]
        if not phrases:
            return None
        if not said.isdisjoint(self._rules.opens_row):
            act = Act.FINDING
        else:
            act = Act.SIDE if said == {"side"} else Act.ATTRIBUTES
        return Statement(act, _slots(phrases))

    def _cover(self, words: tuple[str, ...]) -> list[Phrase | Linking]:
        """Return the phrases that take in every word, as few as can be; empty if none do.

        Linking words count a little more than phrases. Of two covers with as many of both, the one
        whose first phrase is longer is taken, so that "horizontal abduction" is one motion and
        "grade two plus" one grade.
        """
        if not words:
            return []
        starting: dict[int, list[int]] = {}
        for _, start, end in self._matcher(self._doc(words)):
            starting.setdefault(start, []).append(end)
        # The best cover from each word to the end, as (number of phrases, end of the first).
        best: dict[int, tuple[float, int]] = {len(words): (0, 0)}
        for start in reversed(range(len(words))):
            covers = [
                (best[end][0] + 1 + _LINK * self._links(words[start:end]), -end)
                for end in starting.get(start, ())
                if end in best and self._fits(words, (start, end, best[end][1]))
            ]
            if covers:
                count, negative_end = min(covers)
                best[start] = (count, -negative_end)
        found: list[Phrase | Linking] = []
        position = 0
        while position in best and position < len(words):
            end = best[position][1]
            found.append(self._phrases[words[position:end]])
            position = end
        return found

    def _links(self, words: tuple[str, ...]) -> bool:
        return isinstance(self._phrases[words], Linking)

    def _fits(self, words: tuple[str, ...], ends: tuple[int, int, int]) -> bool:
        """Whether linking words may stand at `ends`: their start and end and the next one's end."""
        start, end, next_end = ends
        link = self._phrases[words[start:end]]
        if not isinstance(link, Linking):
            return True
        following = self._phrases[words[end:next_end]] if next_end else None
        if not (link.may_join if start else link.may_begin):
            return False
        return not isinstance(following, Linking) and (following is not None or link.may_end)

    def _doc(self, words: Iterable[str]) -> Doc:
        return Doc(self._vocab, words=list(words))


def _well_linked(spoken: Sequence[Phrase | Linking]) -> bool:
    """Whether linking words stand only where they may, and never two in a place."""
    for at, link in enumerate(spoken):
        if not isinstance(link, Linking):
            continue
        if link.turns:
            return False
        last = at == len(spoken) - 1
        fits = link.may_end if last else link.may_join if at else link.may_begin
        if not fits or (at and isinstance(spoken[at - 1], Linking)):
            return False
    return True


def _begins_like(text: str, talk: str) -> bool:
    """Whether the text begins with `talk` or nearly: free words are heard as "note to sell"."""
    first = " ".join(text.split()[: len(talk.split())])
    return SequenceMatcher(None, first, talk).ratio() >= _NEARLY


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
        values.setdefault(phrase.slot, {}).update(dict.fromkeys(phrase.values))
    return {slot: tuple(values[slot]) for slot in SLOTS if slot in values}
