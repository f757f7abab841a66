"""Which tracks a run makes: the voices of each condition, the seeds, talk by real people."""

from __future__ import annotations

import random
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Literal

from logger.bench.hearing.conditions import Condition
from logger.bench.hearing.finding_scripts import finding_script
from logger.bench.hearing.human import human_tracks, installed_folders, talk_clips
from logger.bench.hearing.natural_scripts import natural_script
from logger.bench.hearing.scripts import Script, Track
from logger.bench.hearing.talk_scripts import noise_script, opened, talk_lines, talk_script
from logger.bench.hearing.tracks import Cast, render
from logger.bench.hearing.voices import KEPT_ASIDE, Voice, Voices
from logger.core.errors import UsageError
from logger.grammar.pack import Pack

Part = Literal["tuned", "kept"]

_NATURAL: Final = ("piper:joe", "kokoro:am_michael", "flite:slt")
"""The most natural voice that is installed speaks the close tracks."""
_DIPHONE: Final = ("flite:awb", "flite:kal16", "festival:kal_diphone")
_KEPT_NATURAL: Final = (
    *("kokoro:bf_isabella", "flite:rms"),
    *("kokoro:am_puck", "kokoro:bf_lily", "kokoro:am_eric"),
)
_KEPT_DIPHONE: Final = ("festival:ked_diphone", "espeak:en-gb-x-rp+klatt2")
_OTHERS: Final = ("flite:slt", "festival:cmu_us_slt_arctic_hts", "espeak:en-us", "piper:joe")
_KEPT_OTHERS: Final = ("flite:rms", "espeak:en-us+f3")
_KEPT_SEED: Final = 91
_TALK_LINES: Final = 2
"""Lines of talk for each finding asked for, on a track of nothing but talk."""


@dataclass(frozen=True, slots=True)
class Plan:
    """What a run makes."""

    pack: Pack
    voices: Voices
    findings: int = 60
    tracks: int = 1
    """For each condition and part, each with another script and, where there is one, voice."""
    seed: int = 12
    talk_minutes: float = 60.0
    talk_folders: tuple[Path, ...] = ()


@dataclass(frozen=True, slots=True)
class Planned:
    """A track before it is made."""

    condition: Condition
    part: Part
    voice: str
    seed: int


def planned(plan: Plan, condition: Condition, part: Part) -> list[Planned]:
    """Return the tracks of one condition in voices that may be tuned on or in those that may not.

    Raises:
        UsageError: if no voice for it is installed.

    """
    names = _voices_for(condition, part)
    found = [name for name in names if plan.voices.named(name) is not None]
    if not found:
        raise UsageError(
            f"No voice for {condition.name} is installed: install one of {', '.join(names)}."
        )
    seed = plan.seed + (_KEPT_SEED if part == "kept" else 0)
    return [
        Planned(condition, part, found[number % len(found)], seed + number)
        for number in range(plan.tracks)
    ]


def made(plan: Plan, item: Planned) -> Track:
    """Return the track; the same plan and item always give the same one."""
    condition = item.condition
    clinician = plan.voices.named(item.voice)
    if clinician is None:
        raise UsageError(f"The voice {item.voice} is not installed.")
    cast = Cast(clinician, _others(plan.voices, item))
    # The script does not hang on the noise: conditions with one content compare line by line.
    script = _script(plan, condition, item.seed)
    noise_seed = zlib.crc32(f"{condition.name} {item.seed}".encode())
    return render(script, cast, condition, noise_seed)


def human(plan: Plan) -> Iterator[Track]:
    """Return tracks of talk by real people, from the folders given and from installed packages.

    Raises:
        UsageError: if there is no recording.

    """
    clips = talk_clips((*plan.talk_folders, *installed_folders()))
    return human_tracks(clips, plan.talk_minutes, plan.seed)


def _script(plan: Plan, condition: Condition, seed: int) -> Script:
    rng = random.Random(seed)  # noqa: S311 - a benchmark
    talk = talk_lines(plan.pack, random.Random(seed + 1))  # noqa: S311 - a benchmark
    if condition.content == "natural":
        script = natural_script(plan.pack, rng, plan.findings, talk)
    elif condition.content == "talk":
        script = talk_script(plan.pack, rng, plan.findings * _TALK_LINES)
    elif condition.content == "noises":
        script = noise_script(rng, plan.findings)
    else:
        script = finding_script(plan.pack, rng, plan.findings, talk)
    return opened(script, condition.opening) if condition.opening else script


def _voices_for(condition: Condition, part: Part) -> Sequence[str]:
    if condition.voices == "diphone":
        return _DIPHONE if part == "tuned" else _KEPT_DIPHONE
    return _NATURAL if part == "tuned" else _KEPT_NATURAL


def _others(voices: Voices, item: Planned) -> list[Voice]:
    names = _OTHERS if item.part == "tuned" else _KEPT_OTHERS
    found = (voices.named(name) for name in names if name != item.voice)
    return [voice for voice in found if voice is not None]


def kept_aside(voices: Voices) -> tuple[str, ...]:
    """Return the installed voices that nothing is tuned on."""
    return tuple(voice.name for voice in voices.found if voice.name in KEPT_ASIDE)
