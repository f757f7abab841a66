"""Teach the encoder to hear in spoilt speech what was said.

`python -m logger.bench.adapting.training SPEECH.npz OUT.onnx` in an environment with JAX and optax.
The first encoder, fed with the clean sound, is the teacher. Three things are asked of the new one,
fed with the spoilt sound: to give what the first gave; that the decoder, which stays as it is,
finds in it what it found in that; that the decoder finds in it the words that were said; and, with
`--margins`, that it finds them likelier by 8 nats than the same with another value in one place.
"""

from __future__ import annotations

import argparse
import multiprocessing
import pickle
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, Final, NamedTuple

import jax
import jax.numpy as jnp
import numpy as np
import optax
from numpy.typing import NDArray

from logger.bench.adapting import decoder, encoder
from logger.bench.adapting.encoder import Graph, Weights, encode
from logger.bench.adapting.exporting import export, weights_in
from logger.bench.adapting.speech import Spoken, load_speech
from logger.bench.adapting.spelling import Rival, Speller
from logger.bench.adapting.spoiling import Batch, Spoiler
from logger.core.sound import SAMPLE_RATE_HZ
from logger.grammar.loading import load_pack
from logger.hearing.credits import rare_phrase_credits
from logger.hearing.moonshine import MoonshineModel, packaged_model_folder

STEPS: Final = 1700
BATCH_S: Final = 40.0
PEAK_RATE: Final = 3e-4
_WARM_UP: Final = 40
_TOLD: Final = 40
_SEED: Final = 5
_TOKENS_PER_S: Final = 6.0
_MORE_TOKENS: Final = 10
_NONE: Final = -1
_MARGIN_NATS: Final = 8.0
_MOSTLY: Final = 0.8

Tokens = NDArray[np.int64]


class Lines(NamedTuple):
    """What is asked for of the utterances of a batch, as arrays."""

    said: Any
    """Tokens, shape (k, n), -1 after the end."""
    known: Any
    """Whether somebody knows that this was said, shape (k,)."""
    other: Any
    """Tokens with another value in one place, shape (k, n); nothing but -1 where there is none."""
    ahead_nats: Any
    """How much more the search credits what was said than the other, shape (k,)."""


class Lessons:
    """What is written for each utterance, as arrays."""

    def __init__(self, speech: Sequence[Spoken], speller: Speller) -> None:
        """Make a lesson of each utterance."""
        self._known = np.array([bool(each.text) for each in speech])
        self._lessons = [speller.lesson(each.sound, each.text) for each in speech]
        self._rng = np.random.default_rng(_SEED)

    def of(self, which: NDArray[np.int64], seconds: float) -> Lines:
        """Return what is asked for of these; what is too long for so many seconds is cut off."""
        lessons = [self._lessons[number] for number in which]
        said = self._lines([lesson.tokens for lesson in lessons], seconds)
        rivals = [self._one_of(lesson.rivals) for lesson in lessons]
        others = self._lines([rival.tokens if rival else [] for rival in rivals], seconds)
        ahead = np.array([rival.ahead_nats if rival else 0 for rival in rivals], np.float32)
        return Lines(said, self._known[which], others, ahead)

    def _one_of(self, rivals: Sequence[Rival]) -> Rival | None:
        """Choose one, mostly of those that are much alike."""
        alike = [rival for rival in rivals if rival.alike]
        drawn = alike if alike and self._rng.random() < _MOSTLY else rivals
        return drawn[int(self._rng.integers(len(drawn)))] if drawn else None

    def _lines(self, texts: Sequence[Sequence[int]], seconds: float) -> Tokens:
        most = int(seconds * _TOKENS_PER_S) + _MORE_TOKENS
        lines = np.full((len(texts), most), _NONE)
        for line, tokens in zip(lines, texts, strict=True):
            line[: len(tokens)] = tokens[:most]
        return lines


class Asked:
    """What is asked of the taught encoder, as one number to be made small."""

    def __init__(
        self, first: Weights, decoding: Weights, ear: jax.Array, margin_weight: float
    ) -> None:
        """Take the teacher, the decoder, what the decoder hears, and how much margins count."""
        self._first, self._decoding, self._ear = first, decoding, ear
        self._margin_weight = margin_weight

    def __call__(
        self, weights: Weights, clean: jax.Array, spoilt: jax.Array, lines: Lines
    ) -> tuple[jax.Array, jax.Array]:
        """Return the sum, and its parts: sound, what the decoder finds, words, margins.

        The second and third are in nats a token.
        """
        tokens, rivals = lines.said, lines.other
        wanted, got = encode(self._first, clean), encode(weights, spoilt)
        counts = tokens[:, 1:] != _NONE
        teacher = decoder.log_probabilities(self._decoding, wanted, jnp.maximum(tokens[:, :-1], 0))
        pupil, said = self._read(got, tokens)
        _, other = self._read(got, rivals)
        apart = (jnp.exp(teacher) * (teacher - pupil)).sum(-1)
        better = said.sum(-1) - other.sum(-1) + lines.ahead_nats
        short = jax.nn.softplus(_MARGIN_NATS - better)
        parts = jnp.stack(
            [
                missed(wanted, got, self._ear),
                _mean(apart, counts),
                -_mean(said, counts & lines.known[:, None]),
                self._margin_weight * _mean(short, rivals[:, 1] != _NONE),
            ]
        )
        return parts.sum(), parts

    def _read(self, heard: jax.Array, tokens: jax.Array) -> tuple[jax.Array, jax.Array]:
        """Return what may follow each token, and how likely what does is, 0 after all."""
        after = tokens[:, 1:]
        found = decoder.log_probabilities(self._decoding, heard, jnp.maximum(tokens[:, :-1], 0))
        taken = jnp.take_along_axis(found, jnp.maximum(after, 0)[..., None], -1)[..., 0]
        return found, jnp.where(after != _NONE, taken, 0)


def _mean(values: jax.Array, counts: jax.Array) -> jax.Array:
    return jnp.where(counts, values, 0).sum() / jnp.maximum(counts.sum(), 1)


def missed(wanted: jax.Array, got: jax.Array, ear: jax.Array) -> jax.Array:
    """Return the share of the variance that is missed, plus the same as the decoder hears it."""
    off, spread = got - wanted, wanted - wanted.mean((0, 1), keepdims=True)
    plain = (off**2).mean() / (spread**2).mean()
    heard = ((off @ ear) ** 2).mean() / ((spread @ ear) ** 2).mean()
    return plain + heard


class Pace(NamedTuple):
    """How long and how fast to learn."""

    steps: int
    peak_rate: float


def train(
    begin: Weights, asked: Asked, batches: Callable[[], Any], pace: Pace, keep: Path
) -> Weights:
    """Return the weights after so many batches; now and then they are kept in a file."""
    steps = pace.steps
    rate = optax.warmup_cosine_decay_schedule(
        1e-5, pace.peak_rate, min(_WARM_UP, steps - 1), steps, 1e-5
    )
    optimiser = optax.chain(optax.clip_by_global_norm(1.0), optax.adam(rate))

    @jax.jit  # type: ignore[untyped-decorator]
    def step(weights: Weights, state: Any, batch: Any) -> Any:
        slope, parts = jax.grad(asked, has_aux=True)(weights, *batch)
        change, state = optimiser.update(slope, state, weights)
        return optax.apply_updates(weights, change), state, parts

    weights = jax.tree.map(jnp.asarray, begin)
    state, told = optimiser.init(weights), []
    begun_s = time.monotonic()
    for number in range(1, steps + 1):
        weights, state, parts = step(weights, state, batches())
        told.append(np.asarray(parts))
        if number % _TOLD == 0 or number == steps:
            spent_s = time.monotonic() - begun_s
            means = " ".join(f"{mean:.4f}" for mean in np.mean(told[-_TOLD:], axis=0))
            sys.stdout.write(f"{number} {spent_s:.0f} s {means}\n")
            sys.stdout.flush()
            keep.write_bytes(pickle.dumps(jax.tree.map(np.asarray, weights)))
    trained: Weights = jax.tree.map(np.asarray, weights)
    return trained


def _spoil(path: Path, seed: int, queue: multiprocessing.Queue[Batch]) -> None:
    sounds = [each.sound for each in load_speech(path)]
    for batch in Spoiler(sounds, seed).batches(BATCH_S):
        queue.put(batch)


def _begun(path: Path) -> Weights:
    if path.suffix == ".onnx":
        return weights_in(path)
    kept: Weights = pickle.loads(path.read_bytes())  # noqa: S301 - our own file
    return kept


def main() -> None:
    """Train and export."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("speech", type=Path)
    asked.add_argument("out", type=Path)
    asked.add_argument("--steps", type=int, default=STEPS)
    asked.add_argument("--peak-rate", type=float, default=PEAK_RATE)
    asked.add_argument("--begin", type=Path, help="an encoder of an earlier run, .onnx or .pkl")
    asked.add_argument("--margins", type=float, default=0.0, help="how much margins count; 0.5")
    asked.add_argument("--seed", type=int, default=_SEED, help="another for each run that goes on")
    given = asked.parse_args()
    context = multiprocessing.get_context("spawn")
    queue: multiprocessing.Queue[Batch] = context.Queue(12)
    context.Process(target=_spoil, args=(given.speech, given.seed, queue), daemon=True).start()
    folder = packaged_model_folder()
    model, pack = MoonshineModel(folder), load_pack("glenohumeral")
    speller = Speller(pack, model, rare_phrase_credits(pack, model))
    lessons = Lessons(load_speech(given.speech), speller)

    def batches() -> Any:
        which, clean, spoilt = queue.get()
        return clean, spoilt, lessons.of(which, clean.shape[1] / SAMPLE_RATE_HZ)

    first = encoder.weights_of(Graph(folder / "encoder_model.ort"))
    decoding = Graph(folder / "decoder_model_merged.ort")
    aims = Asked(
        jax.tree.map(jnp.asarray, first),
        decoder.weights_of(decoding),
        jnp.asarray(encoder.what_the_decoder_hears(decoding)),
        given.margins,
    )
    begin = _begun(given.begin) if given.begin else first
    pace = Pace(given.steps, given.peak_rate)
    export(train(begin, aims, batches, pace, given.out.with_suffix(".pkl")), given.out)


if __name__ == "__main__":
    main()
