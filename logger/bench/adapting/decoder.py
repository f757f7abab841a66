"""The decoder of the Moonshine tiny English model as a differentiable function, in JAX.

Its form is that of the graph in the wheel `moonshine-voice` 0.0.48: six layers of attention to what
was written and to what the encoder gave, gated inner layers, layer norms without bias. The encoder
is taught through it; it is not taught itself.
"""

from __future__ import annotations

import jax
import jax.numpy as jnp

from logger.bench.adapting.encoder import HEADS, LAYERS, WIDTH, Graph, Weights, normed, turned

_FAR_OFF = -1e9


def weights_of(decoder: Graph) -> Weights:
    """Return the weights of the decoder's graph."""

    def layer(number: int) -> Weights:
        def matrix(part: str) -> jax.Array:
            return jnp.asarray(decoder.matrices(f"layers.{number}/", part)[0])

        def constant(part: str) -> jax.Array:
            return jnp.asarray(decoder.constant(f"model.decoder.layers.{number}.{part}_merged_0"))

        attentions = {
            f"{name} {part}": matrix(f"{attention}/{part}_proj")
            for name, attention in (("own", "self_attn"), ("heard", "encoder_attn"))
            for part in ("q", "k", "v", "o")
        }
        return attentions | {
            "norm": constant("input_layernorm.weight"),
            "norm_heard": constant("post_attention_layernorm.weight"),
            "norm_after": constant("final_layernorm.weight"),
            "up": matrix("mlp/fc1"),
            "up_bias": constant("mlp.fc1.bias"),
            "down": matrix("mlp/fc2"),
            "down_bias": constant("mlp.fc2.bias"),
        }

    return {
        "layers": [layer(number) for number in range(LAYERS)],
        "words": jnp.asarray(decoder.quantized("model.decoder.embed_tokens.weight_merged_0")),
        "out": jnp.asarray(decoder.quantized("onnx::MatMul_3691_merged_0")),
        "norm": jnp.asarray(decoder.constant("model.decoder.norm.weight_merged_0")),
    }


def log_probabilities(weights: Weights, heard: jax.Array, written: jax.Array) -> jax.Array:
    """Return what follows each token, shape (k, n, tokens).

    Args:
        weights: of the decoder.
        heard: what the encoder gave, shape (k, t, 288).
        written: token ids, the start token first, shape (k, n).

    """
    hidden = weights["words"][written]
    steps = written.shape[1]
    before = jnp.tril(jnp.ones((steps, steps), bool))
    for layer in weights["layers"]:
        inner = normed(hidden, -1) * layer["norm"]
        query, key = turned(_heads(inner @ layer["own q"])), turned(_heads(inner @ layer["own k"]))
        value = _heads(inner @ layer["own v"])
        hidden = hidden + _attended(query, key, value, before) @ layer["own o"]
        query = _heads(normed(hidden, -1) * layer["norm_heard"] @ layer["heard q"])
        key, value = _heads(heard @ layer["heard k"]), _heads(heard @ layer["heard v"])
        hidden = hidden + _attended(query, key, value) @ layer["heard o"]
        inner = normed(hidden, -1) * layer["norm_after"] @ layer["up"] + layer["up_bias"]
        plain, gate = jnp.split(inner, 2, -1)
        hidden = hidden + (plain * jax.nn.silu(gate)) @ layer["down"] + layer["down_bias"]
    return jax.nn.log_softmax(normed(hidden, -1) * weights["norm"] @ weights["out"], -1)


def _heads(values: jax.Array) -> jax.Array:
    return values.reshape(*values.shape[:2], HEADS, WIDTH)


def _attended(
    query: jax.Array, key: jax.Array, value: jax.Array, seen: jax.Array | None = None
) -> jax.Array:
    scores = jnp.einsum("bthd,bshd->bhts", query, key) * WIDTH**-0.5
    if seen is not None:
        scores = jnp.where(seen, scores, _FAR_OFF)
    mixed = jnp.einsum("bhts,bshd->bthd", jax.nn.softmax(scores, -1), value)
    return mixed.reshape(*mixed.shape[:2], HEADS * WIDTH)
