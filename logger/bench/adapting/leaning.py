"""How much rather the taught encoder lets one of two values be heard that sound alike.

`python -m logger.bench.adapting.leaning OUT.toml SPEECH.npz...`. Where noise hides what tells two
words apart, the model still prefers one: "adduction", when nine of ten times in doubt it was
"abduction". What was said of spoilt speech is known, so that the number of nats to put on each
phrase can be fitted: those with which the chance of the right one, by the difference of both, is
greatest over all. The same weight is held to each phrase of a pair, said equally often or not.
Some speakers' words no nats would save: what is far off counts as no worse than so much.
"""

from __future__ import annotations

import argparse
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import islice
from pathlib import Path
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.special import expit

from logger.bench.adapting.speech import Spoken, load_speech
from logger.bench.adapting.spelling import spellings
from logger.bench.adapting.spoiling import Spoiler
from logger.bench.adapting.strangers import any_phrase
from logger.grammar import alike
from logger.grammar.loading import load_pack
from logger.grammar.pack import Pack
from logger.grammar.phrases import Phrase
from logger.hearing.credits import rare_phrase_credits
from logger.hearing.moonshine import (
    END_TOKEN,
    MoonshineModel,
    packaged_model_folder,
    room_encoder,
)
from logger.hearing.search import Listening, score_paths

_SEED: Final = 77
_HELD_TO_NOTHING: Final = 0.1
"""The cost of a nat, squared: what hardly anything speaks for stays near nothing."""
_BEYOND_HELP: Final = 0.05
"""The share of phrases heard wrong, or right, whatever is put on."""

_HEADING: Final = """\
# Nats put on each phrase, of numbers on each kind, since the taught encoder lets too few of it be
# heard for what sounds like it. Measured on spoilt speech:
# python -m logger.bench.adapting.leaning
"""

Pair = tuple[Phrase, Phrase]


class Margin(NamedTuple):
    """How far what was said came out ahead of what sounds like it."""

    said: str
    other: str
    nats: float


def alike_pairs(pack: Pack) -> tuple[Pair, ...]:
    """Return the phrases of words and of numbers that sound alike, each pair in both orders."""
    pairs = tuple(alike.all_alike(pack))
    return pairs + tuple((other, one) for one, other in pairs)


def margins(
    speech: Sequence[Spoken],
    count: int,
    pack: Pack,
    model: MoonshineModel,
    credits_nats: Mapping[str, float],
) -> Iterator[Margin]:
    """Yield the margins in `count` spoilt utterances that hold a phrase of a like pair."""
    others: dict[str, list[str]] = defaultdict(list)
    for one, other in alike_pairs(pack):
        others[one.text].append(other.text)
    phrase = any_phrase(pack)
    telling = [e for e in speech if any(f[0].lower() in others for f in phrase.finditer(e.text))]
    spoilt = Spoiler([each.sound for each in telling], _SEED).pairs()
    for which, _, heard in islice(spoilt, count):
        text, listening = telling[which].text, model.encode(heard)
        for found in phrase.finditer(text):
            said = found[0].lower()
            for instead in others.get(said, ()):
                changed = f"{text[: found.start()]}{instead}{text[found.end() :]}"
                more = credits_nats.get(said, 0.0) - credits_nats.get(instead, 0.0)
                yield Margin(said, instead, _ahead(listening, text, changed, model) + more)


def _ahead(listening: Listening, said: str, other: str, model: MoonshineModel) -> float:
    """Return how much likelier what was said is than the other, both in its likeliest spelling."""
    ways = list(zip(spellings(said), spellings(other), strict=True))
    paths = [[*model.tokenize(text), END_TOKEN] for way in ways for text in way]
    scores = np.array(score_paths(listening, paths)).reshape(-1, 2)
    best = scores[int(scores.max(axis=1).argmax())]
    return float(best[0] - best[1])


def leanings(found: Iterable[Margin]) -> dict[str, float]:
    """Return how many nats to put on each phrase, of numbers on each kind.

    What nothing was found of gets none.

    The chance of what was said is that of a logistic curve over its margin, whose steepness is
    fitted along with the nats, and which is never quite 0 or 1. Each of two phrases counts alike,
    however often it was said.
    """
    all_found = list(found)
    phrases = sorted({alike.of_kind(margin.said) for margin in all_found})
    number = {phrase: at for at, phrase in enumerate(phrases)}
    kept = [margin for margin in all_found if alike.of_kind(margin.other) in number]
    if not kept:
        return {}
    said = np.array([number[alike.of_kind(margin.said)] for margin in kept])
    other = np.array([number[alike.of_kind(margin.other)] for margin in kept])
    nats = np.array([margin.nats for margin in kept])
    weights = len(kept) / len(phrases) / np.bincount(said, minlength=len(phrases))[said]

    def cost(values: NDArray[np.float64]) -> float:
        ahead = nats + values[said + 1] - values[other + 1]
        chance = _BEYOND_HELP + (1 - 2 * _BEYOND_HELP) * expit(np.exp(values[0]) * ahead)
        missed = -np.log(chance)
        return float((weights * missed).sum() + _HELD_TO_NOTHING * (values[1:] ** 2).sum())

    fitted = minimize(cost, np.zeros(len(phrases) + 1))
    return {phrase: round(float(fitted.x[at + 1]), 2) for phrase, at in number.items()}


def main() -> None:
    """Measure and write."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("out", type=Path)
    asked.add_argument("speech", type=Path, nargs="+", help="each as much as the others")
    asked.add_argument("--count", type=int, default=2000, help="utterances of each")
    given = asked.parse_args()
    pack = load_pack("glenohumeral")
    model = MoonshineModel(packaged_model_folder(), room_encoder=room_encoder())
    credits_nats = rare_phrase_credits(pack, model)
    found = [
        margin
        for path in given.speech
        for margin in margins(load_speech(path), given.count, pack, model, credits_nats)
    ]
    lines = (f'"{phrase}" = {nats}\n' for phrase, nats in leanings(found).items())
    given.out.write_text(_HEADING + "".join(lines), "utf-8")


if __name__ == "__main__":
    main()
