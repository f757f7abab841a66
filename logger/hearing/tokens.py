"""Cuts text into a model's tokens."""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import pairwise
from typing import Final

_SPACE: Final = "\u2581"
_WORD: Final = re.compile(f"{_SPACE}*[^{_SPACE}]+|{_SPACE}+")


class Tokenizer:
    """Cuts text by merge order: always the pair whose merge comes first in the list of tokens.

    A space stands in no token but at its beginning, so that each word is cut for itself; the words
    of a pack are few, and how each is cut is kept.
    """

    def __init__(self, tokens: Sequence[bytes]) -> None:
        """Take the tokens in merge order; the position of each is its id."""
        self._ranks = {token: rank for rank, token in enumerate(tokens)}
        self._cut: dict[str, list[int]] = {}

    def tokenize(self, text: str) -> list[int]:
        """Return the ids of the text's tokens."""
        ids: list[int] = []
        for word in _WORD.findall(_SPACE + text.replace(" ", _SPACE)):
            if word not in self._cut:
                self._cut[word] = self._merged(word)
            ids += self._cut[word]
        return ids

    def _merged(self, word: str) -> list[int]:
        ranks, parts = self._ranks, [letter.encode() for letter in word]
        while True:
            merges = [
                (ranks[one + other], at)
                for at, (one, other) in enumerate(pairwise(parts))
                if one + other in ranks
            ]
            if not merges:
                return [ranks[part] for part in parts]
            _, at = min(merges)
            parts[at : at + 2] = [parts[at] + parts[at + 1]]
