"""Runs the same work on many recordings: here, in processes beside each other, or on a cluster.

Whatever happens to one recording, the others are read: a process that dies takes none with it but
the one that killed it.
"""

from __future__ import annotations

import multiprocessing
import os
import threading
from collections import deque
from collections.abc import Generator, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from multiprocessing.connection import wait as wait_for
from typing import Any, Final

from logger.batch.tasks import Outcome, Task, Work
from logger.core.errors import RecordingError, UsageError

_DIED: Final = (
    "the program reading it was ended, perhaps for want of memory: close other programs, or give "
    "fewer --jobs."
)
_CONNECT_S: Final = 15


def run_here(tasks: Iterable[Task], work: Work) -> Iterator[Outcome]:
    """Yield what came of each task, one after the other."""
    for task in tasks:
        yield work(task)


def run_in_processes(tasks: Iterable[Task], work: Work, jobs: int) -> Iterator[Outcome]:
    """Yield what came of each task as soon as it is known, `jobs` at a time.

    The processes end with this one, even if it is killed.
    """
    waiting = deque(tasks)
    while waiting:
        suspects = yield from _until_one_dies(waiting, work, jobs)
        for task in suspects:
            # One of these ended its process; alone, it cannot take others with it.
            alone = deque([task])
            if (yield from _until_one_dies(alone, work, 1)):
                yield _failed(task, _DIED)


def _until_one_dies(
    waiting: deque[Task], work: Work, jobs: int
) -> Generator[Outcome, None, list[Task]]:
    """Work through the tasks; return those that were under way when a process died."""
    running: dict[Future[Outcome], Task] = {}
    started = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(jobs, mp_context=started, initializer=_end_with_parent) as pool:
        try:
            while waiting or running:
                while waiting and len(running) < jobs:
                    # Taken off first when it is under way, so that none is lost or done twice.
                    running[pool.submit(work, waiting[0])] = waiting[0]
                    waiting.popleft()
                done, _ = wait(running, return_when=FIRST_COMPLETED)
                for future in done:
                    outcome = future.result()
                    del running[future]
                    yield outcome
        except BrokenProcessPool:
            return list(running.values())
        finally:
            pool.shutdown(wait=False, cancel_futures=True)
    return []


def _end_with_parent() -> None:
    """Let this process end when the one that started it does, however that ends.

    Otherwise a process that was left alone would go on writing beside those of the next run.
    """
    parent = multiprocessing.parent_process()

    def watch(sentinel: int) -> None:
        wait_for([sentinel])
        os._exit(1)

    if parent is not None:
        threading.Thread(target=watch, args=(parent.sentinel,), daemon=True).start()


def run_on_cluster(tasks: Iterable[Task], work: Work, address: str) -> Iterator[Outcome]:
    """Yield what came of each task as soon as it is known, read by the workers of a Dask cluster.

    They need this version of the program, and see recordings and results under the same paths.

    Raises:
        UsageError: if Dask is not installed or no scheduler answers at `address`.

    """
    client = _connected(address)
    with client:
        from distributed import as_completed  # noqa: PLC0415 - an extra

        futures = {
            # Not pure: the same call at another time may find another recording.
            client.submit(work, task, pure=False): task
            for task in tasks
        }
        for future in as_completed(futures):  # type: ignore[no-untyped-call]
            error = future.exception()
            yield _failed(futures[future], _gone(error)) if error else future.result()


def _connected(address: str) -> Any:
    try:
        from distributed import Client  # noqa: PLC0415 - an extra
    except ImportError as error:
        raise UsageError(
            "--scheduler needs Dask: install spoken-findings[dask], or give --jobs instead."
        ) from error
    try:
        return Client(address, timeout=_CONNECT_S)  # type: ignore[no-untyped-call]
    except (OSError, ValueError) as error:
        raise UsageError(
            f"No Dask scheduler answers at {address}: start one, or give its address as it prints "
            "it, such as tcp://127.0.0.1:8786."
        ) from error


def _gone(error: BaseException) -> str:
    return f"its worker on the cluster was lost ({type(error).__name__}): see the worker's log."


def _failed(task: Task, why: str) -> Outcome:
    return Outcome(task, f"{task.recording}: {why}", RecordingError.exit_code)
