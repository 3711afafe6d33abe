"""Computing in this process, for tests, and for a service within another application: one question at a time."""

from __future__ import annotations

import time
from collections.abc import Callable

from featherline_service.computing.pool import Computed, Task
from featherline_service.runtime import deadline
from featherline_service.runtime.deadline import DeadlineError


class ThisProcess:
    """Computes where it is asked; meanwhile the event loop does nothing else, and no question is ended by force."""

    def __init__(self, compute: Callable[[bytes], bytes]) -> None:
        self._compute = compute

    async def compute(self, task: Task) -> Computed:
        """Return the answer to a question. DeadlineError: nobody waits for it."""
        if not task.is_wanted():
            raise DeadlineError
        begun_s = time.process_time()
        with deadline.limited(task.limit_s):
            answer = self._compute(task.question)
        return Computed(answer, 0.0, time.process_time() - begun_s)
