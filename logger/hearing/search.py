"""Searches a stretch of speech: freely, and along the pack's word network."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Protocol

import numpy as np
from numpy.typing import NDArray

from logger.hearing.moonshine import END_TOKEN, FloatArray
from logger.hearing.network import Place, Spoken, TokenNetwork

if TYPE_CHECKING:
    from collections.abc import Iterator

_MOST_SILENT: Final = 2
"""A comma and a space may stand in a row."""
_NONE: Final = np.zeros(0, np.int64)


@dataclass(frozen=True, slots=True)
class SearchRules:
    """How far the search looks. All but `width` are in nats."""

    width: int = 16
    """The most paths that are followed at once."""
    behind_step: float = 12.0
    """Paths further than this behind the best at the same step are given up."""
    likeliest: int = 2
    """So many paths, the best of a step by what was heard alone, are followed whatever credits the
    others have had: a sentence's credits come early or late in it, and a step counts tokens."""
    behind_whole: float = 8.0
    """Paths further than this behind the best whole reading are given up."""
    behind_free: float = 50.0
    """So are those further than this behind what is freely read: they could not count."""
    ends_within: float = 2.5
    """A reading ends with the speech if the model would not rather go on by more than this.
    Measured on nine synthetic voices: whole readings up to 1.5, cut-off ones from 3."""


class Listening(Protocol):
    """One stretch of speech with a decoder that can be led along many paths at once."""

    def start(self) -> FloatArray:
        """Return the log-probabilities of the first token, shape (1, tokens)."""

    def advance(self, parents: NDArray[np.intp], tokens: NDArray[np.int64]) -> FloatArray:
        """Extend paths `parents` by `tokens`; return what may follow, shape (paths, tokens)."""

    def follow(self, tokens: NDArray[np.int64], after: int | None = None) -> FloatArray:
        """Lead a single path along `tokens`, after so many that it has been led along, or all.

        Return what may follow each, shape (n, tokens).
        """


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
    """What the model makes of the whole token path with its end, in nats."""
    score: float
    """The same with the weight of the path: what readings are compared by."""
    end_regret: float
    """How much the model would rather have gone on than ended here, in nats. Speech that the
    path leaves unexplained shows here."""
    token_ids: tuple[int, ...] = ()
    """The path as the model writes it, without its end."""


@dataclass(frozen=True, slots=True)
class _Path:
    place: Place
    log_probability: float
    weight: float
    silent: int
    """How many tokens without a letter it ends with; at the start one, so that few may come."""
    token_ids: tuple[int, ...] = ()
    parent: int = 0


class _Free:
    """A free reading, token by token."""

    def __init__(self) -> None:
        self.token_ids: list[int] = []
        self.log_probability = 0.0
        self._ended = False

    def step(self, log_p: FloatArray, forced: int | None = None) -> list[int]:
        """Take what may follow, shape (tokens,); return the token that does, none at the end."""
        if self._ended:
            return []
        token = int(log_p.argmax()) if forced is None else forced
        self.log_probability += float(log_p[token])
        self._ended = token == END_TOKEN
        following = [] if self._ended else [token]
        self.token_ids += following
        return following

    def reading(self) -> FreeReading:
        return FreeReading(self.token_ids, self.log_probability)


def read_freely(
    listening: Listening,
    most_tokens: int,
    prefix: Sequence[int] = (),
    give_up_below: float = -np.inf,
) -> FreeReading:
    """Decode greedily, after `prefix` where one is given (its probability counts).

    A reading that falls under `give_up_below`, in nats, is broken off: it can only fall further.
    """
    free, log_p = _Free(), listening.start()
    while len(free.token_ids) < most_tokens:
        forced = prefix[len(free.token_ids) : len(free.token_ids) + 1]
        token = free.step(log_p[0], *forced)
        if not token or free.log_probability < give_up_below:
            break
        log_p = listening.advance(np.zeros(1, np.intp), np.array(token, np.int64))
    return free.reading()


def reluctance(listening: Listening, token_ids: Sequence[int]) -> float:
    """Return how much likelier the best token is than the one given, summed along a path."""
    log_p = listening.start()
    total = 0.0
    for at, token in enumerate(token_ids):
        if at:
            previous = np.array([token_ids[at - 1]], np.int64)
            log_p = listening.advance(np.zeros(1, np.intp), previous)
        total += float(log_p[0].max() - log_p[0, token])
    return total


def score_paths(listening: Listening, paths: Sequence[Sequence[int]]) -> list[float]:
    """Return the log-probability of each token path, without its end, in nats.

    What paths have in common at their beginning is worked out once.
    """
    common = min((_common(paths[0], path) for path in paths), default=0)
    log_p, shared = _led_along(listening, paths[0][:common] if paths else ())
    totals, rows = [shared] * len(paths), [0] * len(paths)
    for at in range(common, max(map(len, paths), default=0)):
        steps: dict[tuple[int, int], int] = {}
        for number, path in enumerate(paths):
            if at >= len(path):
                continue
            totals[number] += float(log_p[rows[number], path[at]])
            if at + 1 < len(path):
                rows[number] = steps.setdefault((rows[number], path[at]), len(steps))
        if not steps:
            break
        parents, tokens = zip(*steps, strict=True)
        log_p = listening.advance(np.array(parents, np.intp), np.array(tokens, np.int64))
    return totals


def _led_along(listening: Listening, tokens: Sequence[int]) -> tuple[FloatArray, float]:
    """Return what may follow these tokens, shape (1, tokens), and their log-probability."""
    log_p = listening.start()
    if not tokens:
        return log_p, 0.0
    after = listening.follow(np.array(tokens, np.int64))
    before = np.concatenate((log_p, after[:-1]))
    return after[-1:], float(before[np.arange(len(tokens)), list(tokens)].sum())


def score_beside(
    listening: Listening,
    path: Sequence[int],
    others: Sequence[Sequence[int]],
    far_behind: Sequence[float],
) -> tuple[float, list[float]]:
    """Return the log-probability of a token path, and of others that begin as it does, in nats.

    Each is led along from where it differs, in one call of the decoder. One that is further than
    its own limit `far_behind` behind, there or in the end, has -inf.
    """
    log_p = np.concatenate((listening.start(), listening.follow(np.array(path[:-1], np.int64))))
    own = [0.0, *log_p[np.arange(len(path)), list(path)].cumsum(dtype=np.float64).tolist()]
    scores = [-np.inf] * len(others)
    # What the path and one of them share the next one must share, too: the longest comes first.
    for number in sorted(range(len(others)), key=lambda n: -_common(path, others[n])):
        other, at = others[number], _common(path, others[number])
        total, rest = own[at] + float(log_p[at, other[at]]), other[at + 1 :]
        if total < own[at + 1] - far_behind[number]:
            continue
        if rest:
            led = listening.follow(np.array(other[at:-1], np.int64), after=at)
            total += float(led[np.arange(len(rest)), list(rest)].sum())
        if total >= own[-1] - far_behind[number]:
            scores[number] = total
    return own[-1], scores


def _common(one: Sequence[int], other: Sequence[int]) -> int:
    """Return how many tokens both begin with, a token of each left over."""
    most = min(len(one), len(other)) - 1
    return next((at for at in range(most) if one[at] != other[at]), max(most, 0))


def read_network(
    listening: Listening, network: TokenNetwork, rules: SearchRules, *, most_tokens: int
) -> tuple[FreeReading, list[Reading]]:
    """Return what is freely read, and what the network allows and ends with the speech.

    Of those readings there is one for each meaning, the best first. The free one is led along in
    the same calls of the decoder, where one path more costs little.
    """
    return _Search(listening, network, rules).run(most_tokens)


class _Search:
    """One beam search, step by step."""

    def __init__(self, listening: Listening, network: TokenNetwork, rules: SearchRules) -> None:
        self._listening = listening
        self._network = network
        self._rules = rules
        self._free = _Free()
        self._found: dict[tuple[object, ...], Reading] = {}

    def run(self, most_tokens: int) -> tuple[FreeReading, list[Reading]]:
        paths = [_Path(self._network.start, 0.0, 0.0, silent=1)]
        log_p = self._listening.start()
        first = 0
        for _ in range(most_tokens):
            free = self._free.step(log_p[0])
            if paths:
                self._collect(paths, log_p[first:])
                paths = self._extend(paths, log_p[first:])
            parents = [0] * len(free) + [first + path.parent for path in paths]
            tokens = free + [path.token_ids[-1] for path in paths]
            if not tokens:
                break
            # The free reading has the row before those of the paths, until it ends.
            first = len(free)
            log_p = self._listening.advance(np.array(parents, np.intp), np.array(tokens, np.int64))
        found = sorted(self._found.values(), key=lambda reading: -reading.score)
        return self._free.reading(), found

    def _collect(self, paths: list[_Path], log_p: FloatArray) -> None:
        best = log_p.max(axis=-1)
        for row, path in enumerate(paths):
            end = float(log_p[row, END_TOKEN])
            regret = float(best[row]) - end
            # A reading that ends while the speech goes on scores well by being short: none it is.
            if regret > self._rules.ends_within:
                continue
            for said in self._network.ends(path.place):
                self._keep(said, path, end, regret)

    def _keep(self, said: tuple[Spoken, ...], path: _Path, end: float, regret: float) -> None:
        whole = Place(0, said)
        log_probability = path.log_probability + end
        score = log_probability + self._network.weight(whole)
        known = self._found.get(whole.meaning)
        if known is None or known.score < score:
            reading = Reading(said, log_probability, score, regret, path.token_ids)
            self._found[whole.meaning] = reading

    def _extend(self, paths: list[_Path], log_p: FloatArray) -> list[_Path]:
        kept: dict[tuple[object, ...], _Path] = {}
        for path in self._steps(paths, log_p):
            key = (*path.place.meaning, path.silent)
            if key not in kept:
                kept[key] = path
            if len(kept) == self._rules.width:
                break
        return list(kept.values())

    def _steps(self, paths: list[_Path], log_p: FloatArray) -> Iterator[_Path]:
        """Yield every step that is worth it, best first."""
        steps = [self._row(path, log_p[row]) for row, path in enumerate(paths)]
        raw = np.concatenate([raw for raw, _ in steps])
        weights = np.concatenate([weights for _, weights in steps])
        scores = raw + weights
        starts = np.cumsum([0, *(len(each) for each, _ in steps)])
        for i in self._worth(raw, scores):
            row = int(np.searchsorted(starts, i, "right")) - 1
            at, column = paths[row], int(i - starts[row])
            moves = self._network.moves(at.place, joined=not at.silent)
            place, silent = at.place, at.silent + 1
            if column < len(moves.token_ids):
                token, place, silent = int(moves.token_ids[column]), moves.place(place, column), 0
            else:
                token = int(self._network.punctuation[column - len(moves.token_ids)])
            token_ids = (*at.token_ids, token)
            yield _Path(place, float(raw[i]), float(weights[i]), silent, token_ids, row)

    def _worth(self, raw: FloatArray, scores: FloatArray) -> NDArray[np.intp]:
        """Return which steps are worth it: the likeliest, then the others by their scores."""
        rules, whole = self._rules, self._found.values()
        best_raw = max((reading.log_probability for reading in whole), default=-np.inf)
        best_score = max((reading.score for reading in whole), default=-np.inf)
        worst = self._free.log_probability - rules.behind_free
        possible = np.flatnonzero(raw > max(worst, best_raw - rules.behind_whole))
        likeliest = possible[np.argsort(-raw[possible], kind="stable")[: rules.likeliest]]
        best_step = scores.max(initial=-np.inf)
        floor = max(best_score - rules.behind_whole, best_step - rules.behind_step)
        others = np.setdiff1d(np.flatnonzero((scores > floor) & (raw > worst)), likeliest)
        best_first = others[np.argsort(-scores[others], kind="stable")]
        return np.concatenate((likeliest, best_first))

    def _row(self, path: _Path, log_p: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the log-probability and the weight after each move, then each punctuation."""
        moves = self._network.moves(path.place, joined=not path.silent)
        silent = self._network.punctuation if path.silent < _MOST_SILENT else _NONE
        raw = path.log_probability + np.concatenate((log_p[moves.token_ids], log_p[silent]))
        added = np.concatenate((moves.weights_nats, np.zeros(len(silent), np.float32)))
        return raw, path.weight + added
