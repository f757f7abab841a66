"""The Moonshine tiny English model, run through onnxruntime directly.

The wheel `moonshine-voice` 0.0.48 carries the files (encoder and decoder in ONNX Runtime's own
format, and the tokenizer; MIT licence). Only the files are used: its library is never loaded.
In place of its encoder there is one that was taught to hear noisy rooms as if they were quiet, and
the words of the trade (`data/README.md`).
"""

from __future__ import annotations

import importlib.metadata
import tomllib
from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType
from typing import Final

import numpy as np
import onnxruntime
from numpy.typing import NDArray

from logger.core.errors import ModelError
from logger.hearing.tokens import Tokenizer

START_TOKEN: Final = 1
END_TOKEN: Final = 2
_LAYERS: Final = 6
_HEADS: Final = 8
_HEAD_WIDTH: Final = 36
_FILES: Final = ("encoder_model.ort", "decoder_model_merged.ort", "tokenizer.bin")
_LEANINGS: Final = Path(__file__).parent / "data" / "leanings.toml"
_SPACE: Final = "\u2581".encode()
# The first ids are the control tokens and the last ones reserved; none of them is text.
_FIRST_TEXT_TOKEN: Final = 3
_RESERVED: Final = b"<<"

FloatArray = NDArray[np.float32]


def packaged_model_folder() -> Path:
    """Return the folder of the model that is installed with the tool.

    Raises:
        ModelError: if the wheel that carries it is not installed.

    """
    try:
        distribution = importlib.metadata.distribution("moonshine-voice")
    except importlib.metadata.PackageNotFoundError:
        raise ModelError(
            "The speech model is missing: the package moonshine-voice 0.0.48 is not installed. "
            "Install the tool again."
        ) from None
    return Path(str(distribution.locate_file("moonshine_voice/assets/tiny-en")))


def room_encoder() -> Path:
    """Return the taught encoder, which goes with the packaged decoder.

    Raises:
        ModelError: if the tool was installed without it.

    """
    path = Path(__file__).parent / "data" / "room_encoder.onnx"
    if not path.is_file():
        raise ModelError(
            f"The speech model is missing: {path} is not there. Install the tool again."
        )
    return path


def open_packaged_model(threads: int = 2) -> MoonshineModel:
    """Load the model that is installed with the tool.

    Raises:
        ModelError: if a part of it is missing or damaged.

    """
    return MoonshineModel(packaged_model_folder(), threads, room_encoder(), _leanings())


def _leanings() -> dict[str, float]:
    try:
        read = tomllib.loads(_LEANINGS.read_text("utf-8"))
        return {phrase: float(nats) for phrase, nats in read.items()}
    except (OSError, ValueError, TypeError) as error:
        raise ModelError(f"{_LEANINGS} cannot be read: {error}. Install the tool again.") from error


def read_tokens(path: Path) -> tuple[bytes, ...]:
    """Read the tokenizer file: each token as a length and its bytes, in merge order.

    A length under 128 is one byte; a longer one has the high bit set and the rest in the next
    byte. The position in the list is the token's id.
    """
    data = path.read_bytes()
    tokens: list[bytes] = []
    at = 0
    while at < len(data):
        length = data[at]
        at += 1
        if length & 0x80:
            length = (length & 0x7F) | (data[at] << 7)
            at += 1
        tokens.append(data[at : at + length])
        at += length
    return tuple(tokens)


def is_text(token_id: int, token: bytes) -> bool:
    """Tell whether a token stands for text, not for control."""
    return token_id >= _FIRST_TEXT_TOKEN and not token.startswith(_RESERVED)


class MoonshineModel:
    """Encoder, decoder and tokens of one Moonshine model."""

    def __init__(
        self,
        folder: Path,
        threads: int = 2,
        room_encoder: Path | None = None,
        leanings: Mapping[str, float] = MappingProxyType({}),
    ) -> None:
        """Load the model, and to be used in place of its encoder a taught one if that is given.

        Args:
            folder: of the model's files.
            threads: for the computing.
            room_encoder: the taught one.
            leanings: nats to put on phrases of which it hears too few, by their text.

        Raises:
            ModelError: if the folder is no Moonshine model, naming what is wrong.

        """
        self.leanings = leanings
        missing = [name for name in _FILES if not (folder / name).is_file()]
        if missing:
            raise ModelError(
                f"{folder} is not a Moonshine model folder: {', '.join(missing)} not found. "
                "Give a folder that holds these files, or leave --speech-model out."
            )
        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = threads
        options.log_severity_level = 4
        # Its own store of memory never shrinks: 365 MB in use instead of 246, for no time gained.
        options.enable_cpu_mem_arena = False
        try:
            self.tokens = read_tokens(folder / _FILES[2])
            self._tokenizer = Tokenizer(self.tokens)
            self._encoder = onnxruntime.InferenceSession(str(folder / _FILES[0]), options)
            self._room_encoder = room_encoder and onnxruntime.InferenceSession(
                str(room_encoder), options
            )
            self._decoder = onnxruntime.InferenceSession(str(folder / _FILES[1]), options)
        except Exception as error:  # onnxruntime raises its own, undocumented classes
            raise ModelError(
                f"The speech model in {folder} cannot be loaded: a file in it is damaged. "
                "Install the tool again, or give another --speech-model."
            ) from error
        self._past_names = [
            f"past_key_values.{layer}.{part}.{kind}"
            for layer in range(_LAYERS)
            for part in ("decoder", "encoder")
            for kind in ("key", "value")
        ]
        self._output_names = [
            "logits",
            *(name.replace("past_key_values", "present") for name in self._past_names),
        ]

    def encode(self, samples: FloatArray, *, untaught: bool = False) -> Listening:
        """Encode speech, shape (n,), 16 kHz mono in [-1, 1], at least a tenth of a second.

        With `untaught` by the model's own encoder, whatever other there is.
        """
        audio = samples.astype(np.float32, copy=False)[np.newaxis]
        mask = np.ones(audio.shape, np.int64)
        if self._room_encoder and not untaught:
            (hidden,) = self._room_encoder.run(None, {"input_values": audio})
        else:
            feed = {"input_values": audio, "attention_mask": mask}
            (hidden,) = self._encoder.run(None, feed)
        return Listening(self, hidden, mask)

    def run_decoder(self, feed: dict[str, object]) -> list[FloatArray]:
        """Run the decoder once; used by `Listening`."""
        outputs: list[FloatArray] = self._decoder.run(self._output_names, feed)
        return outputs

    @property
    def past_names(self) -> list[str]:
        """The names of the decoder's cache inputs, in order."""
        return self._past_names

    def tokenize(self, text: str) -> list[int]:
        """Return the ids of a text's tokens, as the model would write it at once."""
        return self._tokenizer.tokenize(text)

    def text(self, token_ids: list[int]) -> str:
        """Return the text of a token path, as the model wrote it."""
        parts = (self.tokens[i] for i in token_ids if is_text(i, self.tokens[i]))
        return b"".join(parts).replace(_SPACE, b" ").decode("utf-8", "replace").strip()


class Listening:
    """One stretch of encoded speech, and the decoder's state while it is searched.

    The encoder's keys and values are kept once, for a batch of one: the decoder's attention
    broadcasts them over all paths (the same scores to the last bit, in less than half the time).
    """

    def __init__(self, model: MoonshineModel, hidden: FloatArray, mask: NDArray[np.int64]) -> None:
        """Take the encoder's output; use `MoonshineModel.encode` instead."""
        self._model = model
        # The decoder thins this mask by 384 inside: it wants the mask of the audio samples.
        self.hidden = hidden
        """What the encoder gave, shape (1, t, 288)."""
        self._fixed = {"encoder_hidden_states": hidden, "encoder_attention_mask": mask}
        self._past: list[FloatArray] = []
        self._first: list[FloatArray] = []

    def start(self) -> FloatArray:
        """Return the log-probabilities of the first token, shape (1, tokens)."""
        if not self._first:
            empty = np.zeros((1, _HEADS, 0, _HEAD_WIDTH), np.float32)
            self._past = [empty] * len(self._model.past_names)
            logits, *past = self._step(np.array([[START_TOKEN]]), first=True)
            self._first = [_log_softmax(logits[:, -1]), *past]
        log_p, *self._past = self._first
        return log_p

    def advance(self, parents: NDArray[np.intp], tokens: NDArray[np.int64]) -> FloatArray:
        """Extend paths, and return the log-probabilities of what follows.

        Args:
            parents: for each new path, the index of the path that it extends, shape (paths,).
            tokens: the token each adds, shape (paths,).

        Returns:
            Log-probabilities, shape (paths, tokens).

        """
        for i, name in enumerate(self._model.past_names):
            if ".decoder." in name:
                self._past[i] = self._past[i][parents]
        logits, *past = self._step(tokens[:, np.newaxis], first=False)
        self._keep(past)
        return _log_softmax(logits[:, -1])

    def follow(self, tokens: NDArray[np.int64], after: int | None = None) -> FloatArray:
        """Lead the one path there is along tokens, shape (n,), in one call of the decoder.

        Args:
            tokens: the next ones.
            after: so many tokens that the path has been led along, the rest taken back; or all.

        Returns:
            Log-probabilities of what follows each, shape (n, tokens).

        """
        if after is not None:
            self._keep([past[:, :, : after + 1] for past in self._past])
        logits, *past = self._step(tokens[np.newaxis], first=False)
        self._keep(past)
        return _log_softmax(logits[0])

    def _keep(self, past: list[FloatArray]) -> None:
        """Take over the decoder's own keys and values; the encoder's stay as they are."""
        for i, name in enumerate(self._model.past_names):
            if ".decoder." in name:
                self._past[i] = past[i]

    def _step(self, ids: NDArray[np.int64], *, first: bool) -> list[FloatArray]:
        feed: dict[str, object] = {
            **self._fixed,
            **dict(zip(self._model.past_names, self._past, strict=True)),
            "input_ids": ids,
            "use_cache_branch": np.array([not first]),
        }
        return self._model.run_decoder(feed)


def _log_softmax(logits: FloatArray) -> FloatArray:
    shifted = logits - logits.max(axis=-1, keepdims=True)
    result: FloatArray = shifted - np.log(np.exp(shifted).sum(axis=-1, keepdims=True))
    return result
