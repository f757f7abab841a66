"""The session on a thread of its own: jobs in order, each kept until it is written down.

Where the journal cannot be written (a full disk) the job is tried again until it can, and those
after it wait: nothing that was heard is lost, and nothing is shown that is not kept.
"""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field

from logger.core.errors import JournalError, SpokenFindingsError, UsageError
from logger.live.session import LiveSession
from logger.live.state import State

Work = Callable[[LiveSession], State | None]


@dataclass(frozen=True, slots=True)
class Job:
    """Something to do with the session."""

    work: Work
    done: Callable[[State], None] = lambda _state: None
    """Called on the desk's thread with what there is to show then."""
    refused: Callable[[str], None] = lambda _sentence: None
    """Called on the desk's thread with why it cannot be done as asked."""
    may_go: bool = False
    """Whether it may be let go where far too much waits: an angle, but never a word. The session
    keeps angles that could not be written until it can, so that these are not tried again."""
    since_s: float = field(default_factory=time.monotonic)


@dataclass(frozen=True, slots=True)
class DeskRules:
    """How the desk deals with a disk that is slow or full."""

    again_s: float = 1.0
    """After how long a job that could not be written is tried again."""
    most_waiting: int = 6000
    """Ten minutes of angles. More of them are let go."""


@dataclass(frozen=True, slots=True)
class DeskOutlets:
    """Whom the desk tells; each is called on its thread."""

    opened: Callable[[LiveSession, State], None]
    failed: Callable[[str], None]
    """The session cannot be opened, with a sentence for the user."""
    stuck: Callable[[str], None]
    """Why nothing can be written down, and "" once it can again."""


class Desk:
    """Does what is asked of one session, in order, on one thread, on which it is opened too."""

    def __init__(
        self,
        open_session: Callable[[], LiveSession],
        outlets: DeskOutlets,
        rules: DeskRules | None = None,
    ) -> None:
        """Start the thread."""
        self._open_session = open_session
        self._outlets = outlets
        self._rules = rules or DeskRules()
        self._jobs: deque[Job] = deque()
        self._change = threading.Condition()
        self._stopped = False
        self._is_stuck = False
        self._thread = threading.Thread(target=self._run, name="desk", daemon=True)
        self._thread.start()

    def submit(self, job: Job) -> bool:
        """Take a job from any thread; False where it was let go because far too much waits."""
        with self._change:
            if self._stopped or (job.may_go and len(self._jobs) >= self._rules.most_waiting):
                return False
            self._jobs.append(job)
            self._change.notify()
        return True

    def waiting_s(self) -> float:
        """Return for how long the oldest job has been waiting."""
        with self._change:
            return time.monotonic() - self._jobs[0].since_s if self._jobs else 0.0

    def close(self, timeout_s: float) -> bool:
        """Finish what waits and let go of the session; False where that takes longer."""
        with self._change:
            self._stopped = True
            self._change.notify()
        self._thread.join(timeout_s)
        return not self._thread.is_alive()

    def _run(self) -> None:
        try:
            session = self._open_session()
        except SpokenFindingsError as error:
            self._outlets.failed(str(error))
            return
        try:
            self._outlets.opened(session, session.state())
            self._work(session)
        finally:
            session.close()

    def _work(self, session: LiveSession) -> None:
        while (job := self._next()) is not None:
            if self._do(job, session):
                with self._change:
                    self._jobs.popleft()
            elif self._stopped:
                return
            else:
                time.sleep(self._rules.again_s)

    def _next(self) -> Job | None:
        with self._change:
            self._change.wait_for(lambda: self._jobs or self._stopped)
            return self._jobs[0] if self._jobs else None

    def _do(self, job: Job, session: LiveSession) -> bool:
        """Return whether the job is over: done, or refused for good."""
        try:
            state = job.work(session)
        except JournalError as error:
            self._is_stuck = True
            self._outlets.stuck(str(error))
            if job.may_go:
                job.done(session.state())
            return job.may_go
        except UsageError as error:
            job.refused(str(error))
            return True
        except Exception as error:  # noqa: BLE001 - one bad job must not end the session
            job.refused(_sentence(error))
            return True
        if self._is_stuck:
            self._is_stuck = False
            self._outlets.stuck("")
        if state is not None:
            job.done(state)
        return True


def _sentence(error: Exception) -> str:
    if isinstance(error, SpokenFindingsError):
        return str(error)
    return f"That could not be done ({type(error).__name__})."
