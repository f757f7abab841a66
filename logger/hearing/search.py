"""Searches a stretch of speech: freely, and along the pack's word network."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from logger.hearing.moonshine import END_TOKEN, FloatArray, Listening
from logger.hearing.network import Place, Spoken, TokenNetwork

if TYPE_CHECKING:
    from collections.abc import Iterator

ENDS_WITHIN: Final = 2.5
"""A reading ends with the speech if the model would not rather go on by more than this, in nats.
Measured on nine synthetic voices: whole readings up to 1.5, cut-off ones from 3."""
_MOST_SILENT: Final = 2
"""A comma and a space may stand in a row."""
_BEHIND: Final = 8.0
"""Paths further than this behind the best whole reading, in nats, are given up."""


@dataclass(frozen=True, slots=True)
class FreeReading:
    """What the model writes when nothing holds it."""

    token_ids: list[int]
    log_probability: float
    """Of the whole token path with its end, in nats."""


@dataclass(frozen=True, slots=True)
class Reading:
    """One path of the word network that could have been said."""

    said: tuple[Spoken, ...]
    log_probability: float
    end_regret: float
    """How much the model would rather have gone on than ended here, in nats. Speech that the
    path leaves unexplained shows here."""


@dataclass(frozen=True, slots=True)
class _Path:
    place: Place
    score: float
    silent: int
    """How many tokens without a letter it ends with; at the start one, so that few may come."""
    token: int = 0
    parent: int = 0


def read_freely(
    listening: Listening,
    most_tokens: int,
    prefix: Sequence[int] = (),
    give_up_below: float = -np.inf,
) -> FreeReading:
    """Decode greedily, after `prefix` where one is given (its probability counts).

    A reading that falls under `give_up_below`, in nats, is broken off: it can only fall further.
    """
    log_p = listening.start()
    ids: list[int] = []
    total = 0.0
    while len(ids) < most_tokens:
        token = prefix[len(ids)] if len(ids) < len(prefix) else int(log_p[0].argmax())
        total += float(log_p[0, token])
        if token == END_TOKEN or total < give_up_below:
            break
        ids.append(token)
        log_p = listening.advance(np.zeros(1, np.intp), np.array([token], np.int64))
    return FreeReading(ids, total)


def read_network(
    listening: Listening, network: TokenNetwork, *, width: int, most_tokens: int
) -> list[Reading]:
    """Return the readings that the network allows, best first, one for each meaning."""
    paths = [_Path(network.start, 0.0, silent=1)]
    log_p = listening.start()
    found: dict[tuple[object, ...], Reading] = {}
    for _ in range(most_tokens):
        _collect(network, paths, log_p, found)
        paths = _extend(network, paths, log_p, width, _floor(found))
        if not paths:
            break
        parents = np.array([path.parent for path in paths], np.intp)
        log_p = listening.advance(parents, np.array([path.token for path in paths], np.int64))
    return sorted(found.values(), key=lambda reading: -reading.log_probability)


def _floor(found: dict[tuple[object, ...], Reading]) -> float:
    # A reading that ends while the speech goes on scores well by being short: it sets no floor.
    scores = [r.log_probability for r in found.values() if r.end_regret <= ENDS_WITHIN]
    return max(scores, default=-np.inf) - _BEHIND


def _collect(
    network: TokenNetwork,
    paths: list[_Path],
    log_p: FloatArray,
    found: dict[tuple[object, ...], Reading],
) -> None:
    best = log_p.max(axis=-1)
    for row, path in enumerate(paths):
        end = float(log_p[row, END_TOKEN])
        regret = float(best[row]) - end
        for said in network.ends(path.place):
            reading = Reading(
                said,
                path.score + end + network.credit(said[len(path.place.said) :]),
                regret,
            )
            key = Place(0, said).meaning
            if key not in found or found[key].log_probability < reading.log_probability:
                found[key] = reading


def _extend(
    network: TokenNetwork, paths: list[_Path], log_p: FloatArray, width: int, floor: float
) -> list[_Path]:
    steps = sorted(_steps(network, paths, log_p, floor), key=lambda step: -step[0])
    kept: dict[tuple[object, ...], _Path] = {}
    for score, row, token, place, silent in steps:
        key = (*place.meaning, silent)
        if key in kept:
            continue
        kept[key] = _Path(place, score, silent, token, row)
        if len(kept) == width:
            break
    return list(kept.values())


def _steps(
    network: TokenNetwork, paths: list[_Path], log_p: FloatArray, floor: float
) -> Iterator[tuple[float, int, int, Place, int]]:
    for row, path in enumerate(paths):
        scores = log_p[row]
        for token, place in network.moves(path.place):
            credit = network.credit(place.said[len(path.place.said) :])
            score = path.score + float(scores[token]) + credit
            if score > floor:
                yield score, row, token, place, 0
        if path.silent < _MOST_SILENT:
            for token in network.punctuation:
                score = path.score + float(scores[token])
                if score > floor:
                    yield score, row, token, path.place, path.silent + 1
