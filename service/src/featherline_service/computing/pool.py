"""The pool: which question is computed next, by which process, and what is ended because it takes too much.

Everything here runs on the event loop of the process that serves HTTP. A process that computes may die at any moment:
the question that it was at is computed once more by another, unless it was ended for what it took.
"""

from __future__ import annotations

import asyncio
import contextlib
import math
import os
import signal
import time
from collections import Counter, deque
from collections.abc import Callable, Hashable, Mapping
from typing import Final, Literal, NamedTuple, cast, get_args

import psutil
import structlog
from cachetools import LRUCache

from featherline.wire.book import Plugin
from featherline_service.computing.admission import Line
from featherline_service.computing.estimates import Estimates
from featherline_service.computing.fair_queue import FairQueue
from featherline_service.computing.messages import (
    Done,
    Frames,
    OutOfMemory,
    PluginCalled,
    Statistics,
    Work,
    decode_reply,
    framed,
)
from featherline_service.computing.template import MOST_PROCESSES, Ended, Forked, ForkFailed, Prepared, Template
from featherline_service.runtime import logs
from featherline_service.runtime.deadline import DeadlineError

CallerClass = Literal["questions", "bulk", "rosters"]
Limit = Literal["processor time", "memory", "plug-in", "crash"]
LIMITS: Final = get_args(Limit)

WEIGHTS: Final[Mapping[CallerClass, float]] = {"questions": 1.0, "bulk": 0.5, "rosters": 0.5}
ASIDE_S: Final = 0.25
"""Processor time after which a question gives up its place: another process computes beside it."""
MOST_ASIDE: Final = 2
PLUGIN_S: Final = 5.0
"""How long a plug-in may take of a question: by the clock, for one that sleeps uses no processor time."""
_ASIDE_NICE: Final = 15
_RECENT_S: Final = 1.0
"""For so long after a question that is not bulk, bulk leaves a place free for the next."""
_BATCH_S: Final = 0.004
"""Work that is handed over at once, of lines of bulk alone."""
_WATCH_S: Final = 0.02
_GRACE: Final = 1.25
"""A computation checks its own limit; what has not ended at so much of it is killed."""
_MOST_LINES: Final = 4_096
_START_S: Final = 60.0
MOST_TRIES: Final = 8
"""How often a question is computed whose process ends: not all that end are ended by what they compute."""
_FORK_AGAIN_S: Final = 0.5

_log: Final = structlog.stdlib.get_logger()


class EndedError(Exception):
    """A computation was ended for what it took, or has ended its process."""

    def __init__(self, limit: Limit, plugin: Plugin | None = None) -> None:
        super().__init__(limit)
        self.limit = limit
        self.plugin = plugin


class OverloadedError(Exception):
    """The caller has more work in line than can be done soon."""


class Caller(NamedTuple):
    """Whose question it is, and of which class: its lines of bulk and its rosters have turns of their own."""

    name: str
    class_: CallerClass = "questions"


class Task(NamedTuple):
    """A question to compute.

    `kind` tells which questions take alike; those with the same `topic` share much of what is computed. `limit_s` is
    the processor time that it may use. `is_wanted` tells whether anybody still waits.
    """

    question: bytes
    caller: Caller
    kind: Hashable
    topic: Hashable
    limit_s: float
    is_wanted: Callable[[], bool]


class Computed(NamedTuple):
    """An answer, how long its question waited for a process [s], and the processor time that it took [s]."""

    answer: bytes
    waited_s: float
    took_s: float


class _Job:
    """A task in the pool."""

    def __init__(self, task: Task, number: int, seconds: float) -> None:
        self.task = task
        self.number = number
        self.seconds = seconds
        self.ids = dict(logs.request_ids.get())
        self.asked_s = time.monotonic()
        self.begun_s = self.asked_s
        self.tries = 0
        self.done: asyncio.Future[Computed] = asyncio.get_running_loop().create_future()

    @property
    def is_bulk(self) -> bool:
        """Whether it is a line of bulk."""
        return self.task.caller.class_ == "bulk"

    @property
    def is_long(self) -> bool:
        """Whether it is thought to take long."""
        return self.seconds >= ASIDE_S


class _Process(asyncio.Protocol):
    """A process that computes, as the pool sees it."""

    def __init__(self, pool: Pool, pid: int, place: int, *, is_warm: bool) -> None:
        self._pool = pool
        self._frames = Frames()
        self._process = psutil.Process(pid)
        self.pid = pid
        self.place = place
        self.jobs: deque[_Job] = deque()
        self.topic: Hashable = None
        self.used_s = 0.0  # processor time when it began its first job
        self.is_aside = False
        self.is_warm = is_warm
        self.ended_for: Limit | None = None
        self.blamed: int | None = None  # the number of the job that it was ended for
        self.plugin: Plugin | None = None
        self.plugin_since_s = 0.0
        self.statistics = Statistics({}, 0)
        self.at_first = self.memory()

    def memory(self) -> int:
        """Return the memory that the process has."""
        return int(self._process.memory_info().rss)

    def running_s(self) -> float:
        """Return the processor time that the first job has taken so far."""
        times = self._process.cpu_times()
        return float(times.user + times.system) - self.used_s

    def give(self, job: _Job) -> None:
        """Have a job done after those before it."""
        job.begun_s = time.monotonic()
        job.tries += 1
        self.jobs.append(job)
        self.topic = job.task.topic
        self._transport.write(framed(Work(job.number, job.task.question, job.task.limit_s, job.ids)))

    def end(self, limit: Limit | None = None) -> None:
        """Kill the process; what it takes is why."""
        if self.ended_for is None and limit is not None:
            self._blame(limit)
        with contextlib.suppress(ProcessLookupError):
            os.kill(self.pid, signal.SIGKILL)

    def _blame(self, limit: Limit) -> None:
        self.ended_for = limit
        self.blamed = self.jobs[0].number if self.jobs else None

    def set_aside(self) -> None:
        """Go on less urgently than others. That cannot be taken back, so the process ends with its question."""
        self.is_aside = True
        with contextlib.suppress(ProcessLookupError, PermissionError):
            os.setpriority(os.PRIO_PROCESS, self.pid, _ASIDE_NICE)

    def retire(self) -> None:
        """Let the process end by itself; it has no jobs."""
        self._transport.close()

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Begin."""
        self._transport = cast("asyncio.WriteTransport", transport)
        self._pool.join(self)

    def data_received(self, data: bytes) -> None:
        """Read what the process says."""
        for content in self._frames.feed(data):
            match decode_reply(content):
                case Done() as reply:
                    self._pool.finish(self, reply)
                case PluginCalled(plugin):
                    self.plugin, self.plugin_since_s = plugin, time.monotonic()
                case OutOfMemory():
                    self._blame("memory")

    def connection_lost(self, _error: Exception | None) -> None:
        """Tell the pool that the process has ended."""
        self._pool.lose(self)


class Pool:
    """Processes that compute, and the questions that wait for them."""

    def __init__(self, template: Template, size: int, budget: int) -> None:
        """Compute in so many processes.

        Args:
            template: Forks the processes.
            size: How many compute at once, besides those that were set aside.
            budget: How many bytes all processes may take together.
        """
        self.size = size
        self._template = template
        self._budget = budget
        self._on_end: Callable[[], None] = lambda: None
        self._queue: FairQueue[_Job] = FairQueue()
        self._lines: LRUCache[Caller, Line] = LRUCache(_MOST_LINES)
        self._estimates = Estimates()
        self._processes: dict[int, _Process] = {}
        self._places = deque(range(MOST_PROCESSES))
        self._forking = 0
        self._numbers = 0
        self._answered = 0
        self._asked_s = -math.inf  # when the last question came that is not bulk
        self._is_warm = False
        self._closed = False
        self._started = asyncio.Event()
        self._joining: set[asyncio.Task[None]] = set()
        self._watching: asyncio.Task[None] | None = None
        self._ended_lookups: Counter[tuple[str, int]] = Counter()
        self._http, self._template_process = psutil.Process(), psutil.Process(template.pid)
        self._http_at_first = self._http.memory_info().rss
        self.ended: Counter[Limit] = Counter()

    async def start(self, on_end: Callable[[], None]) -> None:
        """Make the processes, and wait for the first.

        Args:
            on_end: Called when the template has ended: no process can be made any longer.

        Raises:
            TimeoutError: There is none within a minute.
        """
        self._on_end = on_end
        loop = asyncio.get_running_loop()
        loop.add_reader(self._template.control.fileno(), self._read_events)
        self._grow()
        self._watching = loop.create_task(self._watch())
        self._watching.add_done_callback(self._note_watch)
        async with asyncio.timeout(_START_S):
            await self._started.wait()

    async def close(self) -> None:
        """End every process, and the template."""
        self._closed = True
        if self._watching is not None:
            self._watching.cancel()
            asyncio.get_running_loop().remove_reader(self._template.control.fileno())
        for process in list(self._processes.values()):
            process.end()
            process.retire()
        await asyncio.sleep(0)  # until their connections are closed
        self._template.close()

    async def compute(self, task: Task) -> Computed:
        """Return the answer to a question.

        Raises:
            OverloadedError: Its caller has too much in line.
            EndedError: It took more than it may, or ended its process again and again.
            DeadlineError: Nobody waited for it when its turn came.
        """
        seconds = self._estimates.of(task.kind)
        now_s = time.monotonic()
        line = self._lines.setdefault(task.caller, Line(now_s))
        # Lines of bulk wait for one another in their stream, and are not refused.
        if task.caller.class_ != "bulk":
            self._asked_s = now_s
        if task.caller.class_ != "bulk" and not line.admit(seconds, now_s, self.size, answered=self._answered):
            raise OverloadedError
        self._numbers += 1
        job = _Job(task, self._numbers, seconds)
        self._enqueue(job)
        self._dispatch()
        try:
            return await job.done
        finally:
            if task.caller.class_ != "bulk":
                line.leave(seconds, time.monotonic())

    def give_up(self) -> None:
        """Tell processes whose questions nobody waits for any longer."""
        for process in self._processes.values():
            if process.jobs and not process.jobs[0].task.is_wanted():
                self._template.give_up(process.place, process.jobs[0].number)

    def lengths(self) -> Mapping[CallerClass, int]:
        """Return how many questions wait or run, by class of caller."""
        lengths = Counter(job.task.caller.class_ for process in self._processes.values() for job in process.jobs)
        lengths.update(job.task.caller.class_ for job in self._queue)
        return {class_: lengths[class_] for class_ in WEIGHTS}

    def memory(self) -> Mapping[str, int]:
        """Return the bytes of memory of each process, what is shared divided among those that share it."""
        pids = {"http": os.getpid(), "template": self._template.pid}
        pids |= {f"computing-{process.place}": process.pid for process in self._processes.values()}
        sizes = {}
        for name, pid in pids.items():
            with contextlib.suppress(psutil.Error):
                sizes[name] = int(psutil.Process(pid).memory_full_info().pss)
        return sizes

    def lookups(self) -> Mapping[tuple[str, int], int]:
        """Return lookups of each cache, found (0) and computed (1), by all processes so far."""
        lookups = Counter(self._ended_lookups)
        for process in self._processes.values():
            lookups.update(_lookups(process.statistics))
        return lookups

    def cache_bytes(self) -> int:
        """Return the bytes that the caches of all processes hold."""
        return sum(process.statistics.cache_bytes for process in self._processes.values())

    def processes(self) -> int:
        """Return how many processes there are."""
        return len(self._processes)

    def join(self, process: _Process) -> None:
        """Take a process in that is connected."""
        self._forking -= 1
        self._processes[process.place] = process
        self._started.set()
        self._dispatch()

    def finish(self, process: _Process, reply: Done) -> None:
        """Take an answer from a process."""
        job = process.jobs.popleft()
        took_s = reply.used_s - process.used_s
        process.used_s = reply.used_s
        process.plugin = None
        self._settle(job, took_s)
        if reply.statistics is not None:
            process.statistics = reply.statistics
        for line in reply.lines:
            logs.write(line)
        if not job.done.done():
            job.done.set_result(Computed(reply.answer, job.begun_s - job.asked_s, took_s))
        if not process.jobs:
            if process.is_aside:
                self._dismiss(process)
            self._dispatch()

    def lose(self, process: _Process) -> None:
        """Replace a process that has ended, and have its questions computed once more, unless one is to blame."""
        self._processes.pop(process.place, None)
        self._places.append(process.place)
        self._ended_lookups.update(_lookups(process.statistics))
        if self._closed:
            return
        jobs = list(process.jobs)
        if jobs:
            limit = process.ended_for or "crash"
            is_to_blame = process.blamed == jobs[0].number  # it may have been answered meanwhile
            self.ended[limit] += 1
            _log.error("computing.ended", limit=limit, pid=process.pid, **jobs[0].ids)
            if limit == "plug-in" and process.plugin is not None:
                _log.error("plugin.failed", **_fields(process.plugin), faults=["It did not end in time"], **jobs[0].ids)
            if is_to_blame or jobs[0].tries >= MOST_TRIES:
                self._settle(jobs[0], jobs[0].task.limit_s)
                if not jobs[0].done.done():
                    jobs[0].done.set_exception(EndedError(limit, process.plugin))
                del jobs[0]
            else:
                jobs[0].tries += 1
        for job in jobs:
            job.tries -= 1
            self._enqueue(job)
        self._grow()
        self._dispatch()

    def _settle(self, job: _Job, took_s: float) -> None:
        """Charge a caller for what its question took."""
        caller = job.task.caller
        self._answered += 1
        self._estimates.add(job.task.kind, took_s)
        self._queue.charge(caller, (took_s - job.seconds) / WEIGHTS[caller.class_])

    def _enqueue(self, job: _Job) -> None:
        self._queue.put(job.task.caller, job, job.seconds / WEIGHTS[job.task.caller.class_], job.asked_s)

    def _dispatch(self) -> None:
        """Give questions to processes that have none."""
        while idle := [process for process in self._processes.values() if not process.jobs]:
            if self._busy_places() >= self.size:
                break
            job = self._queue.take(self._may_begin)
            if job is None:
                break
            if not job.task.is_wanted():
                self._abandon(job)
                continue
            topic = job.task.topic
            process = next((process for process in idle if process.topic == topic), idle[0])
            process.give(job)
            self._give_more(process, job)
        self._renew()

    def _give_more(self, process: _Process, first: _Job) -> None:
        """Give a process that does a line of bulk the next ones of that stream."""
        given_s = first.seconds
        while first.is_bulk and given_s < _BATCH_S:
            job = self._queue.take_another(first.task.caller)
            if job is None:
                return
            if job.task.is_wanted():
                process.give(job)
                given_s += job.seconds
            else:
                self._abandon(job)

    def _busy_places(self) -> int:
        """Return how many places are taken: by processes that compute and were not set aside."""
        return sum(bool(process.jobs) and not process.is_aside for process in self._processes.values())

    def _may_begin(self, job: _Job) -> bool:
        """Return whether a question may begin. Long ones and bulk leave a place free, so that others find it."""
        if job.is_bulk and time.monotonic() - self._asked_s > _RECENT_S:
            return True
        if not job.is_bulk and not job.is_long:
            return True
        current = [process.jobs[0] for process in self._processes.values() if process.jobs and not process.is_aside]
        return sum(each.is_bulk or each.is_long for each in current) < max(1, self.size - 1)

    @staticmethod
    def _abandon(job: _Job) -> None:
        if not job.done.done():
            job.done.set_exception(DeadlineError())

    def _renew(self) -> None:
        """Let processes go that are too many, or were made before the template was warm."""
        idle = [process for process in self._processes.values() if not process.jobs]
        surplus = len(self._processes) + self._forking - self._wanted()
        cold = next((process for process in idle if self._is_warm and not process.is_warm), None)
        if surplus > 0 and idle:
            self._dismiss(cold or idle[-1])
        elif cold is not None and len(self._processes) >= self.size and not self._forking:
            self._fork()  # its successor comes first; then it is one too many

    def _dismiss(self, process: _Process) -> None:
        """Let a process go that has nothing to do."""
        del self._processes[process.place]
        process.retire()
        self._grow()

    def _wanted(self) -> int:
        return self.size + sum(process.is_aside for process in self._processes.values())

    def _grow(self) -> None:
        """Ask for as many processes as are missing."""
        while not self._closed and len(self._processes) + self._forking < self._wanted():
            self._fork()

    def _fork(self) -> None:
        self._forking += 1
        self._template.ask(self._places.popleft())

    def _read_events(self) -> None:
        """Take what the template tells."""
        try:
            for event in self._template.events():
                match event:
                    case Forked():
                        joining = asyncio.get_running_loop().create_task(self._connect(event))
                        self._joining.add(joining)  # the loop itself keeps no task alive
                        joining.add_done_callback(self._joining.discard)
                    case Prepared():
                        self._is_warm = True
                        self._renew()
                    case ForkFailed(error):
                        self._forking -= 1
                        _log.error("computing.fork-failed", error=os.strerror(error))
                        asyncio.get_running_loop().call_later(_FORK_AGAIN_S, self._grow)
                    case Ended(pid, exit_code) if exit_code:
                        _log.info("computing.exit", pid=pid, exit_code=exit_code)
        except EOFError:
            asyncio.get_running_loop().remove_reader(self._template.control.fileno())
            if not self._closed:
                _log.critical("computing.template-ended", advice="The service ends: its supervisor starts it again.")
                self._on_end()

    async def _connect(self, forked: Forked) -> None:
        """Take a new process in."""
        try:
            process = _Process(self, forked.pid, forked.place, is_warm=self._is_warm)
        except psutil.NoSuchProcess:  # it has ended already
            forked.connection.close()
            self._places.append(forked.place)
            self._forking -= 1
            asyncio.get_running_loop().call_later(_FORK_AGAIN_S, self._grow)
            return
        await asyncio.get_running_loop().create_unix_connection(lambda: process, sock=forked.connection)

    async def _watch(self) -> None:
        """Look again and again at what the processes take."""
        while True:
            await asyncio.sleep(_WATCH_S)
            busy = [process for process in self._processes.values() if process.jobs]
            if busy:
                with contextlib.suppress(psutil.Error):  # it has ended meanwhile
                    self._look_at(busy)
                self.give_up()

    def _note_watch(self, watching: asyncio.Task[None]) -> None:
        """End the service if the watch has failed: without it no limit would be kept."""
        if not watching.cancelled() and (error := watching.exception()) is not None:
            _log.critical("computing.watch-failed", exc_info=error)
            self._on_end()

    def _look_at(self, busy: list[_Process]) -> None:
        """End what takes too much, and set aside what takes long."""
        now_s = time.monotonic()
        for process in busy:
            job = process.jobs[0]
            running_s = process.running_s()
            if running_s > _GRACE * job.task.limit_s:
                process.end("processor time")
            elif process.plugin is not None and now_s - process.plugin_since_s > PLUGIN_S:
                process.end("plug-in")
            elif running_s > ASIDE_S and not process.is_aside and self._may_be_aside(job.task.caller):
                process.set_aside()
                self._grow()
                self._dispatch()
        if self._grown() > self._budget:
            max(busy, key=lambda process: process.memory() - process.at_first).end("memory")

    def _may_be_aside(self, caller: Caller) -> bool:
        aside = [
            process.jobs[0].task.caller for process in self._processes.values() if process.is_aside and process.jobs
        ]
        return caller.class_ != "bulk" and len(aside) < MOST_ASIDE and caller not in aside

    def _grown(self) -> int:
        """Return about how many bytes all processes take: what they share is counted once."""
        shared = self._template_process.memory_info().rss
        http = self._http.memory_info().rss - self._http_at_first
        own = [process.memory() - process.at_first for process in self._processes.values()]
        return int(shared + http + sum(own))


def _fields(plugin: Plugin) -> Mapping[str, str]:
    """Return what the log tells of a plug-in."""
    return {
        "plugin": plugin.name,
        "kind": plugin.kind,
        "distribution": plugin.distribution,
        "version": plugin.version,
    }


def _lookups(statistics: Statistics) -> Counter[tuple[str, int]]:
    return Counter(
        {(name, index): count for name, use in statistics.lookups.items() for index, count in enumerate(use)}
    )
