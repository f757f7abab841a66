"""A track through the very path that `read` uses, with its time and its memory.

Kept free of everything that only making tracks needs, so that the memory measured in a process of
its own is the tool's.
"""

from __future__ import annotations

import re
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final, Protocol

import numpy as np
from numpy.typing import NDArray

from logger.bench.hearing.scoring import Score, score
from logger.bench.hearing.scripts import Truth
from logger.core.events import Finding, Utterance, Verdict
from logger.core.sound import SAMPLE_RATE_HZ
from logger.findings.merging import MergeRules, merge
from logger.grammar.interpreting import interpret
from logger.grammar.pack import Pack
from logger.grammar.parsing import Parser
from logger.hearing.ear import hear_all
from logger.hearing.engines import Recogniser

FloatArray = NDArray[np.float32]

_BLOCK_S: Final = 0.05
"""Sound comes in blocks of this length, as from the page's microphone."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of one or more tracks; they add up with `+`."""

    score: Score = field(default_factory=Score)
    delays_s: tuple[float, ...] = ()
    """From the end of each thing said (not talk) to its utterance: the silence and the work."""
    processor_delays_s: tuple[float, ...] = ()
    """The same with the time of all cores in place of the clock's: with one thread, what the
    delay is on a machine that does nothing else."""
    hearing_s: float = 0.0
    """Wall-clock time spent."""
    processor_s: float = 0.0
    """Time of all cores together."""
    peak_mb: float = 0.0
    """The most memory that the process has ever had in use; 0 where it cannot be told."""
    rows: tuple[Finding, ...] = ()
    """Of the last track, for showing."""

    def __add__(self, other: Outcome) -> Outcome:
        """Return both together."""
        return Outcome(
            self.score + other.score,
            self.delays_s + other.delays_s,
            self.processor_delays_s + other.processor_delays_s,
            self.hearing_s + other.hearing_s,
            self.processor_s + other.processor_s,
            max(self.peak_mb, other.peak_mb),
            other.rows,
        )

    @property
    def speed(self) -> float:
        """How many times faster than the sound it was heard."""
        return self.score.seconds / self.hearing_s if self.hearing_s else 0.0

    def delay_s(self, percent: float, *, processor: bool = False) -> float | None:
        """Return the delay that `percent` of all stay under; None where nothing was heard."""
        delays_s = self.processor_delays_s if processor else self.delays_s
        return float(np.percentile(delays_s, percent)) if delays_s else None


class _Clock:
    """The time that a listener to a live microphone would see.

    A block cannot be taken before it has been spoken, and not before the one before it is done
    with: who is busy finds the next blocks waiting.
    """

    def __init__(self, timer: Callable[[], float]) -> None:
        self._timer = timer
        self._taken_s = 0.0
        self._taken_at = timer()

    def now_s(self) -> float:
        """Return how far the live clock is, with the work since the last block."""
        return self._taken_s + self._timer() - self._taken_at

    def take(self, spoken_s: float) -> None:
        """Take a block that ends at `spoken_s`."""
        self._taken_s = max(self.now_s(), spoken_s)
        self._taken_at = self._timer()


class Samples(Protocol):
    """16-bit sound of which pieces can be taken: an array of shape (n,), or what is stored."""

    def __len__(self) -> int:
        """Return how many samples there are."""

    def __getitem__(self, wanted: slice, /) -> NDArray[np.int16]:
        """Return the samples from a start to an end, in steps of one."""


class Stored:
    """The samples of a raw file, read piece by piece.

    An hour of sound in a process would count as the memory of the recogniser that it measures.
    """

    def __init__(self, path: Path) -> None:
        """Take a file of 16-bit samples in this machine's byte order."""
        self._path = path

    def __len__(self) -> int:
        """Return how many samples there are."""
        return self._path.stat().st_size // 2

    def __getitem__(self, wanted: slice, /) -> NDArray[np.int16]:
        """Return the samples from a start to an end."""
        start, stop, _ = wanted.indices(len(self))
        return np.fromfile(self._path, np.int16, max(stop - start, 0), offset=2 * start)


def _blocks(samples: Samples, *clocks: _Clock) -> Iterator[FloatArray]:
    size = round(_BLOCK_S * SAMPLE_RATE_HZ)
    for at in range(0, len(samples), size):
        block = samples[at : at + size].astype(np.float32) / np.float32(32768)
        for clock in clocks:
            clock.take((at + len(block)) / SAMPLE_RATE_HZ)
        yield block


def run_track(
    samples: Samples,
    truth: Truth,
    recogniser: Recogniser,
    pack: Pack,
    *,
    ahead: bool = True,
) -> Outcome:
    """Hear a track block by block as if live, make its table and compare it with the truth."""
    parser = Parser(pack)
    clock, processor_clock = _Clock(time.perf_counter), _Clock(time.process_time)
    utterances: list[Utterance] = []
    ready_s: list[float] = []
    ready_processor_s: list[float] = []
    began, began_processor = time.perf_counter(), time.process_time()
    for utterance in hear_all(_blocks(samples, clock, processor_clock), recogniser, ahead=ahead):
        utterances.append(utterance)
        ready_s.append(clock.now_s())
        ready_processor_s.append(processor_clock.now_s())
    heard = [interpret(utterance, parser) for utterance in utterances]
    rules = MergeRules(pack.setup, pack.mobility_of_score)
    merged = merge(heard, (), rules)
    hearing_s = time.perf_counter() - began
    return Outcome(
        score(truth, merged.rows, heard),
        tuple(_delays(utterances, ready_s, truth)),
        tuple(_delays(utterances, ready_processor_s, truth)),
        hearing_s,
        time.process_time() - began_processor,
        peak_mb(),
        merged.rows,
    )


def _delays(
    utterances: Sequence[Utterance], ready_s: Sequence[float], truth: Truth
) -> Iterator[float]:
    said = [line for line in truth.lines if line.kind not in ("talk", "noise")]
    for utterance, at_s in zip(utterances, ready_s, strict=True):
        if utterance.verdict is Verdict.TALK:
            continue
        ends = [
            line.end_s
            for line in said
            if line.start_s < utterance.end_s and utterance.start_s < line.end_s
        ]
        if ends:
            yield at_s - max(ends)


def peak_mb() -> float:
    """Return the most memory this process has had in use, in megabytes; 0 where unknown.

    Linux's `ru_maxrss` outlives the start of another program: a new process would begin with the
    peak of the one that started it.
    """
    status = Path("/proc/self/status")
    if status.is_file():
        found = re.search(r"VmHWM:\s+(\d+) kB", status.read_text("ascii", "replace"))
        return int(found[1]) / 1024 if found else 0.0
    if sys.platform == "win32":
        return 0.0
    import resource  # noqa: PLC0415 - not on Windows

    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak / (1024**2 if sys.platform == "darwin" else 1024)
