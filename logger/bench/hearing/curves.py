"""How many findings are kept and how much talk is let through as the threshold moves."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

import matplotlib as mpl
import numpy as np
from matplotlib.figure import Figure

from logger.bench.hearing.scoring import is_talk
from logger.bench.hearing.scripts import Track
from logger.core.events import Verdict
from logger.core.sound import SAMPLE_RATE_HZ
from logger.core.statements import Heard
from logger.grammar.pack import Pack
from logger.hearing.ear import hear_all
from logger.hearing.engines import HearingRules, MoonshineRecogniser
from logger.hearing.moonshine import open_packaged_model

_BLOCK: Final = SAMPLE_RATE_HZ // 10
_STEPS: Final = np.linspace(0.0, 8.0, 161)


@dataclass(frozen=True, slots=True)
class Gaps:
    """How far the grammar was behind the free reading, in nats a word, on one kind of track."""

    title: str
    seconds: float
    said: int
    """How many lines were to be heard."""
    findings: tuple[float, ...] = ()
    talk: tuple[float, ...] = ()


def lenient(pack: Pack, threads: int) -> tuple[MoonshineRecogniser, HearingRules]:
    """Return the tool's engine with its thresholds taken away, and the thresholds it has."""
    rules = HearingRules()
    open_rules = replace(rules, heard_gap=math.inf, unsure_gap=math.inf)
    model = open_packaged_model(threads)
    return MoonshineRecogniser(pack, model, open_rules), rules


def gaps_of(title: str, tracks: Iterable[Track], recogniser: MoonshineRecogniser) -> Gaps:
    """Hear tracks without a threshold and return the gap of everything that has a reading."""
    gaps = Gaps(title, 0.0, 0)
    for track in tracks:
        found = list(_gaps(track, recogniser))
        said = sum(line.kind not in ("talk", "noise") for line in track.truth.lines)
        gaps = Gaps(
            title,
            gaps.seconds + track.truth.duration_s,
            gaps.said + said,
            (*gaps.findings, *(gap for talk, gap in found if not talk)),
            (*gaps.talk, *(gap for talk, gap in found if talk)),
        )
    return gaps


def _gaps(track: Track, recogniser: MoonshineRecogniser) -> Iterator[tuple[bool, float]]:
    blocks = (track.samples[at : at + _BLOCK] for at in range(0, len(track.samples), _BLOCK))
    for utterance in hear_all(blocks, recogniser):
        if utterance.verdict is not Verdict.TALK and utterance.confidence > 0:
            talk = is_talk(Heard(utterance, None), track.truth.lines)
            yield talk, -math.log(utterance.confidence)


def kept(gaps: Gaps) -> list[float]:
    """Return the share of lines kept at each threshold of the curve."""
    return [sum(gap <= step for gap in gaps.findings) / max(1, gaps.said) for step in _STEPS]


def let_through(gaps: Gaps) -> list[float]:
    """Return how much talk an hour is let through at each threshold of the curve."""
    return [sum(gap <= step for gap in gaps.talk) * 3600 / gaps.seconds for step in _STEPS]


def draw(path: Path, found: Sequence[Gaps], talk: Sequence[Gaps], rules: HearingRules) -> None:
    """Draw both against the threshold, with the thresholds in force, as SVG or PNG."""
    mpl.rcParams["svg.hashsalt"] = "curves"
    figure = Figure(figsize=(8.0, 6.0), layout="constrained")
    above, below = figure.subplots(2, 1, sharex=True)
    for gaps in found:
        above.plot(_STEPS, [100 * share for share in kept(gaps)], label=gaps.title)
    for gaps in talk:
        minutes = gaps.seconds / 60
        below.plot(_STEPS, let_through(gaps), label=f"{gaps.title} ({minutes:.0f} min)")
    above.set(ylabel="lines kept, %", ylim=(0, 102))
    below.set(ylabel="talk let through, an hour", xlabel="gap to the free reading, nats a word")
    for axes in (above, below):
        axes.axvline(rules.heard_gap, color="0.3", linestyle="--", label="heard up to here")
        axes.axvline(rules.unsure_gap, color="0.3", linestyle=":", label="unsure up to here")
        axes.grid(alpha=0.3)
        axes.legend(fontsize="small")
    path.parent.mkdir(parents=True, exist_ok=True)
    metadata: dict[str, Any] = {"Date": None} if path.suffix == ".svg" else {}
    figure.savefig(path, metadata=metadata)
