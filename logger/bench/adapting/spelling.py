"""What a lesson asks for: how the model would write what was said, and what it was not."""

from __future__ import annotations

import random
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher
from functools import cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from logger.grammar.alike import all_alike
from logger.grammar.pack import Pack
from logger.grammar.phrases import Phrase, spoken_phrases
from logger.hearing.moonshine import END_TOKEN, START_TOKEN, MoonshineModel
from logger.hearing.network import in_digits
from logger.hearing.search import Listening, read_freely, score_paths

_TOKENS_PER_S: Final = 8.0
_MORE_TOKENS: Final = 8
_NEAREST: Final = 2
_ALIKE: Final = 0.75
"""How much alike two texts are from which on they are mostly asked for."""
_LONGEST: Final = 12
"""More words than any phrase has."""


@dataclass(frozen=True, slots=True)
class Rival:
    """A text with another value in one place."""

    tokens: list[int]
    """With its start and end."""
    ahead_nats: float
    """How much more the search credits what was said than this."""
    alike: bool = False
    """Whether it sounds or is written much like what was said, as abduction and adduction do."""


@dataclass(frozen=True, slots=True)
class Lesson:
    """What was said, as the model would write it."""

    tokens: list[int]
    """With their start and end."""
    rivals: tuple[Rival, ...] = ()


class Speller:
    """Makes lessons with the first model."""

    def __init__(
        self, pack: Pack, model: MoonshineModel, credits_nats: Mapping[str, float]
    ) -> None:
        """Take the credits of the phrases that the search will use."""
        self._model, self._credits = model, credits_nats
        self._by_words: dict[tuple[str, ...], Phrase] = {}
        self._by_slot: dict[str, list[Phrase]] = defaultdict(list)
        for phrase in spoken_phrases(pack):
            self._by_words[tuple(phrase.text.split())] = phrase
            if not phrase.beside_row:
                self._by_slot[phrase.slot].append(phrase)
        self._partners: dict[str, list[Phrase]] = defaultdict(list)
        for one, other in all_alike(pack):
            self._partners[one.text].append(other)
            self._partners[other.text].append(one)
        self._others = cache(self._like)

    def lesson(self, sound: NDArray[np.int16], text: str) -> Lesson:
        """Return the likeliest spelling of `text`, and of what it could be taken for.

        Where nobody knows what was said (`text` is empty) it is what the model reads freely.
        """
        samples = sound.astype(np.float32) / np.float32(32768)
        listening = self._model.encode(samples)
        if not text:
            most = int(len(samples) / 16_000 * _TOKENS_PER_S) + _MORE_TOKENS
            return Lesson([START_TOKEN, *read_freely(listening, most).token_ids, END_TOKEN])
        tokens, style = self._likeliest(listening, text)
        rivals = (
            Rival(self._cut(list(spellings(other))[style]), ahead, alike)
            for other, ahead, alike in self._changed(text.split())
        )
        return Lesson(tokens, tuple(rivals))

    def _likeliest(self, listening: Listening, text: str) -> tuple[list[int], int]:
        paths = [self._cut(each) for each in spellings(text)]
        style = int(np.argmax(score_paths(listening, [path[1:] for path in paths])))
        return paths[style], style

    def _cut(self, text: str) -> list[int]:
        return [START_TOKEN, *self._model.tokenize(text), END_TOKEN]

    def _changed(self, words: Sequence[str]) -> Iterator[tuple[str, float, bool]]:
        """Yield the text with one phrase changed, how much less it is credited, and if alike."""
        at = 0
        while at < len(words):
            phrase = self._phrase(words[at : at + _LONGEST])
            if phrase is None:
                at += 1
                continue
            end = at + len(phrase.text.split())
            mark = words[end - 1][len(words[end - 1].rstrip(",.?!")) :]
            for other, alike in self._others(phrase):
                said = f"{' '.join(words[:at])} {other.text}{mark} {' '.join(words[end:])}".strip()
                ahead = self._credits.get(phrase.text, 0.0) - self._credits.get(other.text, 0.0)
                yield said, ahead, alike
            at = end

    def _phrase(self, words: Sequence[str]) -> Phrase | None:
        """Return the longest phrase that the words begin with."""
        plain = [word.strip(",.?!").lower() for word in words]
        ends = (self._by_words.get(tuple(plain[:n])) for n in range(len(plain), 0, -1))
        return next((phrase for phrase in ends if phrase), None)

    def _like(self, phrase: Phrase) -> tuple[tuple[Phrase, bool], ...]:
        """Return phrases of other values, and if each is alike: two or more like it, one by chance.

        What sounds like it comes first, then what is written like it; the latter counts as alike
        only where nothing sounds so: "fifteen" is told from "fifty" rather than from "sixteen".
        """
        length = len(phrase.text.split())
        partners = self._partners[phrase.text]
        others = [
            other
            for other in self._by_slot[phrase.slot]
            if other.value != phrase.value
            and other not in partners
            and abs(len(other.text.split()) - length) <= 1
        ]
        matcher = SequenceMatcher(b=phrase.text)

        def likeness(other: Phrase) -> float:
            matcher.set_seq1(other.text)
            return matcher.ratio()

        written = sorted(others, key=likeness, reverse=True)[: max(0, _NEAREST - len(partners))]
        by_chance = random.Random(phrase.text).sample(others, min(1, len(others)))  # noqa: S311 - no secret
        rest = [
            (other, not partners and likeness(other) >= _ALIKE) for other in (*written, *by_chance)
        ]
        return (*((partner, True) for partner in partners), *rest)


def spellings(text: str) -> Iterator[str]:
    """Yield ways to write a sentence, always in the same order.

    With commas or without, with a full stop or without, with numbers in words or in digits.
    """
    plain = text[:1].lower() + text[1:].rstrip(".?! ")
    for numbers in (plain, in_digits(plain)):
        for commas in (numbers, numbers.replace(",", "")):
            for end in (".", ""):
                yield commas[:1].upper() + commas[1:] + end
