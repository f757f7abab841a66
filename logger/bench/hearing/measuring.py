"""Tracks through engines, each engine in a process of its own so that its memory is its own."""

from __future__ import annotations

import os
import threading
from collections.abc import Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import ExitStack
from dataclasses import dataclass
from functools import cache
from multiprocessing import get_context, parent_process
from multiprocessing.connection import wait
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Self

from logger.bench.hearing.conditions import Condition
from logger.bench.hearing.peers import PEERS, TAKE_OPENING, open_peer, with_opening
from logger.bench.hearing.report import Result
from logger.bench.hearing.running import Outcome, Stored, run_track
from logger.bench.hearing.scripts import FloatArray, Track, Truth
from logger.core.sound import rounded
from logger.grammar.loading import load_pack
from logger.grammar.pack import Pack
from logger.hearing.engines import Recogniser


@dataclass(frozen=True, slots=True)
class Engine:
    """What opens a recogniser in another process."""

    name: str
    """One of `peers.PEERS`."""
    pack_name: str = "glenohumeral"
    vosk_model: Path | None = None
    threads: int = 2


class Laboratory:
    """Engines ready to hear tracks, one process each, ended on leaving the context."""

    def __init__(self, engines: Iterable[Engine]) -> None:
        """Take the engines; a process starts with its first track."""
        self._stack = ExitStack()
        self._pools = {
            engine: self._stack.enter_context(
                ProcessPoolExecutor(
                    1, mp_context=get_context("spawn"), initializer=_end_with_parent
                )
            )
            for engine in engines
        }

    def __enter__(self) -> Self:
        """Enter the context."""
        return self

    def __exit__(self, *_: object) -> None:
        """End the processes."""
        self._stack.close()

    def measure(
        self, samples: FloatArray, truth: Truth, opening: str = ""
    ) -> Iterator[tuple[Engine, Outcome]]:
        """Yield what each engine made of a track, one engine after the other.

        With an `opening` word, only the engines that can be told one.
        """
        with TemporaryDirectory() as folder:
            path = Path(folder) / "track.s16"
            rounded(samples).tofile(path)
            for engine, pool in self._pools.items():
                if not opening or engine.name in TAKE_OPENING:
                    yield engine, pool.submit(_heard, engine, path, truth, opening).result()


def _end_with_parent() -> None:
    """End this process when the one that started it is gone, killed or not."""
    parent = parent_process()
    if parent is None:
        return
    sentinel = parent.sentinel

    def watch() -> None:
        wait([sentinel])
        os._exit(1)

    threading.Thread(target=watch, daemon=True).start()


def _heard(engine: Engine, path: Path, truth: Truth, opening: str) -> Outcome:
    pack, recogniser = _opened(engine, opening)
    return run_track(Stored(path), truth, recogniser, pack)


@cache
def _opened(engine: Engine, opening: str) -> tuple[Pack, Recogniser]:
    pack = load_pack(engine.pack_name)
    if opening and engine.name == PEERS[0]:
        pack = with_opening(pack, opening)
    return pack, open_peer(
        engine.name,
        pack,
        vosk_model=engine.vosk_model,
        threads=engine.threads,
        opening=opening,
    )


def measured(
    condition: Condition,
    tracks: Iterable[Track],
    laboratory: Laboratory,
    voices: tuple[str, ...] = (),
    *,
    kept: bool = False,
) -> Iterator[Result]:
    """Yield what each engine made of all the tracks of one line of the table."""
    outcomes: dict[Engine, Outcome] = {}
    for track in tracks:
        for engine, outcome in laboratory.measure(track.samples, track.truth, condition.opening):
            outcomes[engine] = outcomes.get(engine, Outcome()) + outcome
    for engine, outcome in outcomes.items():
        yield Result(condition.name, condition.title, engine.name, outcome, voices, kept)
