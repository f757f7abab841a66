"""What each phrase is credited for being rare in ordinary text.

The model is a reader as much as an ear: having heard nothing, it expects "hypermobile" rather
than "hypomobile", any common word rather than "caudal", and above all an early end. What it
expects when it listens to faint noise is measured once, phrase by phrase, and a share of it is
given back, so that paths are compared by what was heard.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from logger.core.sound import SAMPLE_RATE_HZ
from logger.grammar.pack import BLANK
from logger.grammar.phrases import spoken_phrases
from logger.hearing.network import NUMBER
from logger.hearing.search import score_paths
from logger.hearing.tokens import tokenize

if TYPE_CHECKING:
    from logger.grammar.pack import Pack
    from logger.hearing.moonshine import MoonshineModel

_SHARE: Final = 0.5
_BEFORE: Final = "Right lateral distraction,"
_NOISE: Final = 1e-3
_NOISE_S: Final = 3


def rare_phrase_credits(pack: Pack, model: MoonshineModel) -> dict[str, float]:
    """Return the credit in nats of each phrase of each slot, by its text; about a second.

    Phrases that differ in their numbers alone are credited alike: which number was said is for
    the ear to tell.
    """
    families: dict[str, list[str]] = {}
    for phrase in spoken_phrases(pack):
        families.setdefault(NUMBER.sub(BLANK, phrase.text), []).append(phrase.text)
    measured = {family: _sample(texts) for family, texts in families.items()}
    expected = _expected(sorted({t for texts in measured.values() for t in texts}), model)
    return {
        text: -_SHARE * sum(expected[each] for each in measured[family]) / len(measured[family])
        for family, texts in families.items()
        for text in texts
    }


def _sample(texts: list[str]) -> list[str]:
    return list(dict.fromkeys((texts[0], texts[len(texts) // 2], texts[-1])))


def _expected(texts: list[str], model: MoonshineModel) -> dict[str, float]:
    """Return the log-probability of each text as the next phrase, when only noise is heard."""
    noise = np.random.default_rng(0).normal(0, _NOISE, _NOISE_S * SAMPLE_RATE_HZ)
    listening = model.encode(noise.astype(np.float32))
    paths = [tokenize(f"{_BEFORE} {text}", model.tokens) for text in texts]
    before, *whole = score_paths(listening, [tokenize(_BEFORE, model.tokens), *paths])
    return {text: nats - before for text, nats in zip(texts, whole, strict=True)}
