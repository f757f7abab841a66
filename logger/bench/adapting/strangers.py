"""Speakers whom nobody has heard: the styles of two voices mixed, and words said in other ways."""

from __future__ import annotations

import random
import re
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Final

import numpy as np

from logger.bench.hearing.voices import (
    AMERICAN,
    BRITISH,
    KEPT_ASIDE,
    KokoroVoice,
    Voice,
    espeak_voices,
    read_style,
    style_files,
)
from logger.grammar.pack import Pack
from logger.grammar.phrases import spoken_phrases

_SHARES: Final = (-0.25, 1.25)
"""Of the one style in the mixture; below 0 and above 1 it is like neither."""
_SPEEDS: Final = (0.85, 1.2)
_OTHERWISE: Final = 0.4
_LANGUAGES: Final = (
    *("en-us", "en-us-nyc", "en-029"),
    *("en-gb", "en-gb-scotland", "en-gb-x-gbclan", "en-gb-x-gbcwmd"),
)
_VARIANTS: Final = ("m1", "m3", "m5", "m7", "f1", "f4", "f5", "croak", "klatt", "klatt4")

ALSO_SAID: Final = {
    "hypomobile": ("hypo-mobile", "hypo mobile"),
    "hypermobile": ("hyper-mobile", "hyper mobile"),
    "abduction": ("ab-duction", "A-B-duction"),
    "adduction": ("ad-duction", "A-D-duction"),
}
"""How a synthesis is asked for a word as it is said with stress, or by its letters."""


def strangers(kokoro_folder: Path, rng: random.Random) -> Iterator[KokoroVoice]:
    """Yield voices without end, each mixed of two; none of those kept aside is in any."""
    styles = {
        name: read_style(path)
        for name, path in style_files(kokoro_folder).items()
        if f"kokoro:{name}" not in KEPT_ASIDE
    }
    names = sorted(styles)
    while True:
        one, other = rng.sample(names, 2)
        share = np.float32(round(rng.uniform(*_SHARES), 2))
        speed = round(rng.uniform(*_SPEEDS), 2)
        language = rng.choice((AMERICAN, BRITISH))
        name = f"mixed:{one}_{share:.2f}_{other}_{speed:.2f}_{language}"
        mixed = share * styles[one] + (1 - share) * styles[other]
        yield KokoroVoice(name, mixed, language, speed)


def variants() -> list[Voice]:
    """Return espeak's Englishes in the voices of its variants."""
    return espeak_voices(f"{one}+{other}" for one in _LANGUAGES for other in _VARIANTS)


def said_otherwise(text: str, rng: random.Random) -> str:
    """Return the text with some of its words as others pronounce them."""

    def word(found: re.Match[str]) -> str:
        ways = ALSO_SAID[found[0].lower()]
        return rng.choice(ways) if rng.random() < _OTHERWISE else found[0]

    return any_of(ALSO_SAID).sub(word, text)


def any_phrase(pack: Pack) -> re.Pattern[str]:
    """Return a pattern of all phrases of the slots, as long as they can be.

    Of all, so that "four degrees" is not found in "fifty four degrees".
    """
    return any_of({phrase.text for phrase in spoken_phrases(pack)})


def any_of(phrases: Iterable[str]) -> re.Pattern[str]:
    """Return a pattern of these as whole words, in capitals or not.

    The longest come first: "abduction" is not meant in "horizontal abduction".
    """
    longest_first = sorted(map(re.escape, phrases), key=len, reverse=True)
    return re.compile(rf"\b({'|'.join(longest_first)})\b", re.IGNORECASE)
