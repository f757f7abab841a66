"""Cuts text into a model's tokens."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache


def tokenize(text: str, tokens: Sequence[bytes]) -> list[int]:
    """Cut text into tokens by merge order: always the pair whose merge comes first in the list."""
    ranks = _ranks(tuple(tokens))
    parts = [letter.encode() for letter in "\u2581" + text.replace(" ", "\u2581")]
    while True:
        merges = [
            (ranks[pair], i)
            for i in range(len(parts) - 1)
            if (pair := parts[i] + parts[i + 1]) in ranks
        ]
        if not merges:
            return [ranks[part] for part in parts]
        _, at = min(merges)
        parts[at : at + 2] = [parts[at] + parts[at + 1]]


@lru_cache(maxsize=4)
def _ranks(tokens: tuple[bytes, ...]) -> Mapping[bytes, int]:
    return {token: rank for rank, token in enumerate(tokens)}
