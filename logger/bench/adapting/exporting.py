"""Write the encoder's weights as an ONNX graph, 8-bit where the first one is."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Any, Final

import numpy as np
import onnx
from onnx import TensorProto, helper, numpy_helper
from onnxruntime.quantization import QuantType, quantize_dynamic

from logger.bench.adapting.encoder import (
    EPSILON,
    HEADS,
    LAYERS,
    STRIDES,
    TURNED,
    WIDTH,
    Weights,
    angles,
)

_MOST_STEPS: Final = 1300
"""31 s; the longest stretch of speech that is heard is 24 s."""
_HALF: Final = TURNED // 2
_ONE_HEAD: Final = (*range(0, TURNED, 2), *range(1, TURNED, 2), *range(TURNED, WIDTH))
_ORDER: Final = [head * WIDTH + each for head in range(HEADS) for each in _ONE_HEAD]
_QUERY_SCALE: Final = WIDTH**-0.5

_OF_THE_START: Final = ("conv1", "conv2", "conv2_bias", "conv3", "conv3_bias", "norm")
_ATTENTION: Final = ("query", "key", "value", "out")
_INNER: Final = ("up", "up_bias", "down", "down_bias")
_OF_A_LAYER: Final = (*_ATTENTION, *_INNER, "norm", "norm_after")


class _Writer:
    """Collects nodes and constants."""

    def __init__(self) -> None:
        self.nodes: list[Any] = []
        self.constants: list[Any] = []

    def constant(self, value: Any, name: str = "") -> str:
        name = name or f"c{len(self.constants)}"
        self.constants.append(numpy_helper.from_array(np.ascontiguousarray(value), name))
        return name

    def numbers(self, *values: int) -> str:
        return self.constant(np.array(values, np.int64))

    def half(self, value: Any, name: str) -> str:
        """Keep a constant in 16 bits; it is widened once, when the graph is loaded."""
        kept = self.constant(np.asarray(value, np.float16), name)
        return self("Cast", kept, to=TensorProto.FLOAT)

    def __call__(self, kind: str, *inputs: str, **attributes: Any) -> str:
        out = f"v{len(self.nodes)}"
        name = f"{kind}_{len(self.nodes)}"
        self.nodes.append(helper.make_node(kind, inputs, [out], name=name, **attributes))
        return out

    def gelu(self, x: str) -> str:
        error = self("Erf", self("Mul", x, self.constant(np.float32(2**-0.5))))
        half = self("Mul", x, self.constant(np.float32(0.5)))
        return self("Mul", half, self("Add", error, self.constant(np.float32(1))))

    def norm(self, x: str, gain: Any, name: str) -> str:
        gained = self.constant(gain, name)
        return self("LayerNormalization", x, gained, axis=-1, epsilon=EPSILON)


def export(weights: Weights, path: Path) -> None:
    """Write the graph: "input_values" (k, n) in, "last_hidden_state" (k, t, 288) out."""
    write = _Writer()
    out = _layers(write, _convolutions(write, weights), weights)
    write.nodes.append(helper.make_node("Identity", [out], ["last_hidden_state"]))
    graph = helper.make_graph(
        write.nodes,
        "encoder",
        [helper.make_tensor_value_info("input_values", TensorProto.FLOAT, ["k", "n"])],
        [helper.make_tensor_value_info("last_hidden_state", TensorProto.FLOAT, ["k", "t", 288])],
        write.constants,
    )
    model = helper.make_model(graph, opset_imports=[helper.make_opsetid("", 18)], ir_version=9)
    onnx.checker.check_model(model)
    with tempfile.TemporaryDirectory() as folder:
        whole = Path(folder) / "whole.onnx"
        onnx.save(model, whole)
        quantize_dynamic(whole, path, op_types_to_quantize=["MatMul"], weight_type=QuantType.QUInt8)


def weights_in(path: Path) -> Weights:
    """Return the weights of a graph that `export` wrote, as near as its 8 bits tell them."""
    kept = {each.name: numpy_helper.to_array(each) for each in onnx.load(path).graph.initializer}

    def constant(name: str) -> Any:
        if name in kept:
            return kept[name].astype(np.float32)
        zero = kept[f"{name}_zero_point"].astype(np.float32)
        return (kept[f"{name}_quantized"].astype(np.float32) - zero) * kept[f"{name}_scale"]

    def layer(number: int) -> Weights:
        stem, back = f"layers.{number}.", np.argsort(_ORDER)
        plain = {name: constant(stem + name) for name in _OF_A_LAYER}
        heads = {"query": plain["query"] / _QUERY_SCALE, "key": plain["key"]}
        return plain | {name: matrix[:, back] for name, matrix in heads.items()}

    groups = {name: constant(name)[:, 0] for name in ("group_gain", "group_bias")}
    others = {name: constant(name) for name in _OF_THE_START}
    return {**groups, **others, "layers": [layer(number) for number in range(LAYERS)]}


def _convolutions(write: _Writer, weights: Weights) -> str:
    x = write("Unsqueeze", "input_values", write.numbers(1))
    x = write("Tanh", write("Conv", x, write.half(weights["conv1"], "conv1"), strides=[STRIDES[0]]))
    axes = write.numbers(1, 2)
    centred = write("Sub", x, write("ReduceMean", x, axes, keepdims=1))
    spread = write("ReduceMean", write("Mul", centred, centred), axes, keepdims=1)
    spread = write("Sqrt", write("Add", spread, write.constant(np.float32(EPSILON))))
    gain, bias = (
        write.constant(weights[name][:, None], name) for name in ("group_gain", "group_bias")
    )
    x = write("Add", write("Mul", write("Div", centred, spread), gain), bias)
    for name, stride in (("conv2", STRIDES[1]), ("conv3", STRIDES[2])):
        kernel = write.half(weights[name], name)
        bias = write.constant(weights[f"{name}_bias"], f"{name}_bias")
        x = write.gelu(write("Conv", x, kernel, bias, strides=[stride]))
    return write("Transpose", x, perm=[0, 2, 1])


def _layers(write: _Writer, x: str, weights: Weights) -> str:
    turn = _Turn(write, x)
    for number in range(LAYERS):
        layer = _Layer(write, number, weights["layers"][number])
        x = write("Add", x, _attention(write, turn, layer.norm(x, "norm"), layer))
        inner = write("MatMul", layer.norm(x, "norm_after"), layer.constant("up"))
        inner = write.gelu(write("Add", inner, layer.constant("up_bias")))
        inner = write("MatMul", inner, layer.constant("down"))
        x = write("Add", x, write("Add", inner, layer.constant("down_bias")))
    return write.norm(x, weights["norm"], "norm")


class _Layer:
    """Writes the weights of one layer under their names."""

    def __init__(self, write: _Writer, number: int, weights: Weights) -> None:
        self._write, self._stem, self._weights = write, f"layers.{number}.", weights

    def constant(self, name: str) -> str:
        return self._write.constant(self._weights[name], self._stem + name)

    def heads(self, name: str, scale: float = 1.0) -> str:
        """Write a projection whose heads are in the order that `_Turn` wants."""
        turned = self._weights[name][:, _ORDER] * np.float32(scale)
        return self._write.constant(turned, self._stem + name)

    def norm(self, x: str, name: str) -> str:
        return self._write.norm(x, self._weights[name], self._stem + name)


class _Turn:
    """Turns positions. The pairs' first numbers come first, then their second: the same scores."""

    def __init__(self, write: _Writer, x: str) -> None:
        self._write = write
        steps = write("Gather", write("Shape", x), write.numbers(1))
        table = angles(_MOST_STEPS)[:, None, :]
        first, axis = write.numbers(0), write.numbers(0)
        self._cos = write("Slice", write.constant(np.cos(table)), first, steps, axis)
        self._sin = write("Slice", write.constant(np.sin(table)), first, steps, axis)
        self._axis = write.numbers(3)

    def __call__(self, x: str) -> str:
        write = self._write
        even, odd, rest = (
            write("Slice", x, write.numbers(first), write.numbers(last), self._axis)
            for first, last in ((0, _HALF), (_HALF, TURNED), (TURNED, WIDTH))
        )
        turned = write("Sub", write("Mul", even, self._cos), write("Mul", odd, self._sin))
        other = write("Add", write("Mul", odd, self._cos), write("Mul", even, self._sin))
        return write("Concat", turned, other, rest, axis=3)


def _attention(write: _Writer, turn: _Turn, x: str, layer: _Layer) -> str:
    heads = write.numbers(0, 0, HEADS, WIDTH)

    def projected(matrix: str) -> str:
        return write("Reshape", write("MatMul", x, matrix), heads)

    query = turn(projected(layer.heads("query", _QUERY_SCALE)))
    key = turn(projected(layer.heads("key")))
    scores = write(
        "MatMul",
        write("Transpose", query, perm=[0, 2, 1, 3]),
        write("Transpose", key, perm=[0, 2, 3, 1]),
    )
    value = write("Transpose", projected(layer.constant("value")), perm=[0, 2, 1, 3])
    mixed = write(
        "Transpose", write("MatMul", write("Softmax", scores, axis=-1), value), perm=[0, 2, 1, 3]
    )
    mixed = write("Reshape", mixed, write.numbers(0, 0, HEADS * WIDTH))
    return write("MatMul", mixed, layer.constant("out"))
