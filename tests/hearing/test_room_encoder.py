"""The taught encoder beside the one it was made from, on the demonstration's speech."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.random import default_rng
from numpy.typing import NDArray
from scipy.signal import fftconvolve

from logger.core.errors import ModelError
from logger.hearing import moonshine
from logger.hearing.moonshine import MoonshineModel, open_packaged_model, packaged_model_folder
from logger.recording.media import open_recording

pytestmark = pytest.mark.model

FloatArray = NDArray[np.float32]
SESSION = Path(__file__).parents[2] / "demo_media" / "session.mp4"


@pytest.fixture(scope="module")
def speech() -> list[FloatArray]:
    """Five stretches of 4 s in which somebody speaks."""
    sound = np.concatenate([block.samples for block in open_recording(SESSION).audio_blocks(1.0)])
    return [sound[16_000 * at_s : 16_000 * (at_s + 4)] for at_s in (2, 12, 31, 53, 72)]


@pytest.fixture(scope="module")
def first() -> MoonshineModel:
    """Open the model as it comes in its wheel."""
    return MoonshineModel(packaged_model_folder(), threads=1)


@pytest.fixture(scope="module")
def taught() -> MoonshineModel:
    """Open the same with the taught encoder."""
    return open_packaged_model(threads=1)


def heard(model: MoonshineModel, sound: FloatArray) -> FloatArray:
    """Return what the encoder gives."""
    return model.encode(sound).hidden


def off(got: FloatArray, wanted: FloatArray) -> float:
    """Return the share of the variance that is missed."""
    return float(np.mean((got - wanted) ** 2) / np.var(wanted))


def noisy(sound: FloatArray, snr_db: float, seed: int) -> FloatArray:
    """Return it with white noise over it."""
    noise = default_rng(seed).normal(size=len(sound)).astype(np.float32)
    gain = np.sqrt(np.mean(sound**2)) * 10 ** (-snr_db / 20)
    return np.asarray(sound + noise * gain, np.float32)


def echoing(sound: FloatArray, seed: int) -> FloatArray:
    """Return it in a room: noise that dies away by 60 dB in half a second (Polack's model)."""
    time_s = np.arange(8000) / 16_000
    tail = default_rng(seed).normal(size=8000) * 10 ** (-3 * time_s / 0.5) * 0.15
    tail[0] = 1
    return np.asarray(fftconvolve(sound, tail)[: len(sound)], np.float32)


def test_clean_speech_is_heard_as_before(
    first: MoonshineModel, taught: MoonshineModel, speech: list[FloatArray]
) -> None:
    """Within a tenth of the variance, on average."""
    assert np.mean([off(heard(taught, s), heard(first, s)) for s in speech]) < 0.1


@pytest.mark.parametrize("how", ["noise", "room", "both"])
def test_spoilt_speech_is_heard_more_like_the_clean(
    first: MoonshineModel, taught: MoonshineModel, speech: list[FloatArray], how: str
) -> None:
    """By a fifth at the least; neither these noises nor this room were among what it learnt."""
    before, after = [], []
    for seed, clean in enumerate(speech):
        sound = clean if how == "noise" else echoing(clean, seed)
        sound = sound if how == "room" else noisy(sound, 10, seed)
        wanted = heard(first, clean)
        before.append(off(heard(first, sound), wanted))
        after.append(off(heard(taught, sound), wanted))
    assert np.mean(after) < 0.8 * np.mean(before)


def test_how_loud_it_is_does_not_matter(taught: MoonshineModel, speech: list[FloatArray]) -> None:
    """A tenth as loud: the same within a twentieth."""
    for sound in speech:
        assert off(heard(taught, sound * np.float32(0.1)), heard(taught, sound)) < 0.05


def test_an_installation_without_it_is_told(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """With what to do."""
    monkeypatch.setattr(moonshine, "__file__", str(tmp_path / "moonshine.py"))
    with pytest.raises(ModelError, match=r"room_encoder\.onnx is not there\. Install the tool"):
        moonshine.room_encoder()
