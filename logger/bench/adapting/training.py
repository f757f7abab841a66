"""Teach the encoder to give, for spoilt speech, what it gave for the clean one.

`python -m logger.bench.adapting.training SPEECH.npz OUT.onnx` in an environment with JAX and
optax. No words are used, so nothing of the pack can be learnt by heart; the first encoder is the
teacher, and the decoder stays as it is.
"""

from __future__ import annotations

import argparse
import multiprocessing
import sys
import time
from pathlib import Path
from typing import Any, Final

import jax
import jax.numpy as jnp
import numpy as np
import optax

from logger.bench.adapting.encoder import Graph, Weights, encode, weights_of, what_the_decoder_hears
from logger.bench.adapting.exporting import export
from logger.bench.adapting.speech import load_speech
from logger.bench.adapting.spoiling import Pair, Spoiler
from logger.hearing.moonshine import packaged_model_folder

STEPS: Final = 1700
BATCH_S: Final = 40.0
PEAK_RATE: Final = 3e-4
_WARM_UP: Final = 40
_TOLD: Final = 40
_SEED: Final = 5


def missed(wanted: jax.Array, got: jax.Array, ear: jax.Array) -> jax.Array:
    """Return the share of the variance that is missed, plus the same as the decoder hears it."""
    off, spread = got - wanted, wanted - wanted.mean((0, 1), keepdims=True)
    plain = (off**2).mean() / (spread**2).mean()
    heard = ((off @ ear) ** 2).mean() / ((spread @ ear) ** 2).mean()
    return plain + heard


def train(first: Weights, ear: jax.Array, batches: Any, steps: int) -> Weights:
    """Return the weights after so many batches."""
    rate = optax.warmup_cosine_decay_schedule(
        1e-5, PEAK_RATE, min(_WARM_UP, steps - 1), steps, 1e-5
    )
    optimiser = optax.chain(optax.clip_by_global_norm(1.0), optax.adam(rate))
    teacher: Weights = jax.tree.map(jnp.asarray, first)

    @jax.jit  # type: ignore[untyped-decorator]
    def step(weights: Weights, state: Any, clean: jax.Array, spoilt: jax.Array) -> Any:
        wanted = encode(teacher, clean)
        loss, slope = jax.value_and_grad(lambda w: missed(wanted, encode(w, spoilt), ear))(weights)
        change, state = optimiser.update(slope, state, weights)
        return optax.apply_updates(weights, change), state, loss

    weights, state, losses = teacher, optimiser.init(teacher), []
    begun_s = time.monotonic()
    for number in range(1, steps + 1):
        weights, state, loss = step(weights, state, *batches())
        losses.append(float(loss))
        if number % _TOLD == 0:
            spent_s = time.monotonic() - begun_s
            sys.stdout.write(f"{number} {spent_s:.0f} s {np.mean(losses[-_TOLD:]):.4f}\n")
    trained: Weights = jax.tree.map(np.asarray, weights)
    return trained


def _spoil(path: Path, queue: multiprocessing.Queue[Pair]) -> None:
    for batch in Spoiler(load_speech(path), _SEED).batches(BATCH_S):
        queue.put(batch)


def main() -> None:
    """Train and export."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("speech", type=Path)
    asked.add_argument("out", type=Path)
    asked.add_argument("--steps", type=int, default=STEPS)
    given = asked.parse_args()
    context = multiprocessing.get_context("spawn")
    queue: multiprocessing.Queue[Pair] = context.Queue(12)
    context.Process(target=_spoil, args=(given.speech, queue), daemon=True).start()
    folder = packaged_model_folder()
    first = weights_of(Graph(folder / "encoder_model.ort"))
    ear = jnp.asarray(what_the_decoder_hears(Graph(folder / "decoder_model_merged.ort")))
    export(train(first, ear, queue.get, given.steps), given.out)


if __name__ == "__main__":
    main()
