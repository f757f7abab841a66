"""What a rare trade word is granted against a common word that sounds like it.

The model knows "hypermobile" from ordinary text and hardly knows "hypomobile": having heard
nothing, it already prefers the first by about five nats, and in a first trial every confusion
went that way. Of each pair of values of one slot that are written nearly alike, the rarer form is
granted seven tenths of what it lacks when the model listens to faint noise. The share was read
off the margins of 28 findings with "hypomobile" and 36 with "hypermobile" in nine synthetic
voices, with a half tried first; it was not searched for.
"""

from __future__ import annotations

from difflib import SequenceMatcher
from itertools import combinations
from typing import TYPE_CHECKING, Final

import numpy as np

from logger.core.sound import SAMPLE_RATE_HZ
from logger.grammar.pack import WordSlot
from logger.grammar.phrases import slot_phrases
from logger.hearing.search import read_freely

if TYPE_CHECKING:
    from collections.abc import Sequence

    from logger.grammar.pack import Pack
    from logger.hearing.moonshine import MoonshineModel

_ALIKE: Final = 0.8
_SHARE: Final = 0.7
_BEFORE: Final = "Right lateral distraction,"
_NOISE: Final = 1e-3
_NOISE_S: Final = 3


def sound_alike_credits(pack: Pack, model: MoonshineModel) -> dict[str, float]:
    """Return the credit in nats of each phrase that needs one, by its text."""
    noise = np.random.default_rng(0).normal(0, _NOISE, _NOISE_S * SAMPLE_RATE_HZ)
    listening = model.encode(noise.astype(np.float32))

    def prior(text: str) -> float:
        whole = tokenize(f"{_BEFORE} {text}", model.tokens)
        return read_freely(listening, len(whole), whole).log_probability

    found: dict[str, float] = {}
    for slot, rule in pack.slots.items():
        if not isinstance(rule, WordSlot):
            continue
        alone = [phrase for phrase in slot_phrases(pack, slot) if not phrase.beside_row]
        for one, other in combinations(alone, 2):
            ratio = SequenceMatcher(None, one.text, other.text).ratio()
            if one.value != other.value and ratio >= _ALIKE:
                lead = prior(one.text) - prior(other.text)
                rarer = other.text if lead > 0 else one.text
                found[rarer] = max(found.get(rarer, 0.0), _SHARE * abs(lead))
    return found


def tokenize(text: str, tokens: Sequence[bytes]) -> list[int]:
    """Cut text into tokens by merge order: always the pair whose merge comes first in the list."""
    ranks = {token: rank for rank, token in enumerate(tokens)}
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
