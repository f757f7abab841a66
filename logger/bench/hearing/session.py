"""One run of the benchmark: conditions by engines, results as they come."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import chain
from pathlib import Path

from logger.bench.hearing import curves as drawing
from logger.bench.hearing.conditions import Condition, chosen
from logger.bench.hearing.exporting import write_track
from logger.bench.hearing.measuring import Laboratory, measured
from logger.bench.hearing.planning import Plan, Planned, human, made, planned
from logger.bench.hearing.report import Result
from logger.bench.hearing.scripts import Track

_KEPT_CURVES = ("close", "pink_5", "far", "diphone_10")
_TALK_CURVES = ("talk", "human")


@dataclass(frozen=True, slots=True)
class Request:
    """What is to be measured."""

    conditions: tuple[Condition, ...]
    kept: bool = True
    """Whether the voices kept aside speak too, in the main conditions."""


def run(plan: Plan, request: Request, laboratory: Laboratory) -> Iterator[Result]:
    """Yield a result for each condition, kind of voice and engine as it is done."""
    for condition in request.conditions:
        if condition.content == "human":
            yield from measured(condition, human(plan), laboratory)
            continue
        for items in _planned(plan, request, condition):
            voices = tuple(dict.fromkeys(item.voice for item in items))
            tracks = (made(plan, item) for item in items)
            kept = items[0].part == "kept"
            yield from measured(condition, tracks, laboratory, voices, kept=kept)


def export(plan: Plan, request: Request, folder: Path) -> Iterator[Path]:
    """Write the tracks as folder/part/condition/number.wav, and yield each path."""
    for condition in request.conditions:
        if condition.content == "human":
            continue
        for number, item in enumerate(chain(*_planned(plan, request, condition)), 1):
            path = folder / item.part / condition.name / f"{number}.wav"
            about = {"condition": condition.name, "voice": item.voice, "seed": item.seed}
            write_track(path, made(plan, item), about)
            yield path


def curves(plan: Plan, picture: Path, threads: int) -> None:
    """Draw the rejection curves of the tool's own engine; no voice kept aside has a say."""
    recogniser, rules = drawing.lenient(plan.pack, threads)
    found, talk = (
        [
            drawing.gaps_of(condition.title, _tuned(plan, condition), recogniser)
            for condition in chosen(names, main=False)
        ]
        for names in (_KEPT_CURVES, _TALK_CURVES)
    )
    drawing.draw(picture, found, talk, rules)


def _tuned(plan: Plan, condition: Condition) -> Iterator[Track]:
    if condition.content == "human":
        return human(plan)
    return (made(plan, item) for item in planned(plan, condition, "tuned"))


def _planned(plan: Plan, request: Request, condition: Condition) -> Iterator[list[Planned]]:
    yield planned(plan, condition, "tuned")
    if request.kept and condition.main:
        yield planned(plan, condition, "kept")
