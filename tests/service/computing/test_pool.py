"""Processes that compute: who gets a turn, what is ended, and what is never lost."""

from __future__ import annotations

import asyncio
import functools
import gc
import os
import random
import signal
import time
from collections.abc import Awaitable, Callable, Iterator
from typing import Any

import psutil
import pytest
import structlog
from structlog.testing import capture_logs

from featherline.wire.book import Plugin
from featherline_service import plugins
from featherline_service.computing import computing_process, pool
from featherline_service.computing.pool import Caller, Computed, EndedError, OverloadedError, Pool, Task
from featherline_service.computing.template import Template
from featherline_service.runtime import deadline
from featherline_service.runtime.cache import cached
from featherline_service.runtime.deadline import DeadlineError

MB = 1_000_000
PLUGIN = Plugin(name="own", kind="check", distribution="own-rules", version="1.2")
LIGHT, HEAVY = Caller("light"), Caller("heavy")


def compute(question: bytes) -> bytes:
    """Do what a question says: a word and a number."""
    word, _, number = question.decode().partition(" ")
    amount = float(number or 0)
    match word:
        case "burn":
            burn(amount)
        case "checked":
            return checked(amount)
        case "sleep":
            time.sleep(amount)
        case "take":
            return b"%d" % len(bytearray(int(amount) * MB))
        case "hold":
            held = bytearray(int(amount) * MB)
            held[::4096] = b"x" * len(held[::4096])
            burn(2.0)
        case "exit":
            os._exit(3)
        case "plugin":
            plugins._Watch.tell(PLUGIN)
            time.sleep(amount)
            plugins._Watch.tell(None)
        case "cache":
            double(amount)
        case "log":
            structlog.get_logger().warning("tide.turned", number=amount)
    return question + b" by %d" % os.getpid()


@cached
def double(amount: float) -> float:
    """Return what is worth keeping."""
    return 2 * amount


def burn(seconds: float) -> None:
    """Use processor time."""
    until = time.process_time() + seconds
    while time.process_time() < until:
        pass


def checked(seconds: float) -> bytes:
    """Use processor time, and look now and then whether that is allowed."""
    try:
        for _ in range(int(seconds * 100)):
            burn(0.01)
            deadline.check()
    except DeadlineError:
        return b"given up"
    return b"done"


def no_steps() -> Iterator[None]:
    """Prepare nothing."""
    return iter(())


def work(connection: Any, given_up: memoryview) -> None:  # noqa: ANN401 - a socket
    """Do what a process that computes does."""
    computing_process.run(connection, compute, given_up, most_growth=300 * MB, log_level="info")


Scenario = Callable[[Pool], Awaitable[Any]]


def run(
    scenario: Scenario,
    size: int = 1,
    room: int = 100_000 * MB,
    prepare: Callable[[], Iterator[None]] = no_steps,
) -> Any:  # noqa: ANN401 - what the scenario returns
    """Run a scenario with a pool of real processes; afterwards none is left."""

    async def whole() -> Any:  # noqa: ANN401
        template = Template(work, prepare)
        # The template has the memory of this process of tests, whatever that is.
        processes = Pool(template, size, psutil.Process(template.pid).memory_info().rss + room)
        try:
            async with asyncio.timeout(60):
                await processes.start(lambda: None)
                return await scenario(processes)
        finally:
            children = psutil.Process(template.pid).children() if psutil.pid_exists(template.pid) else []
            await processes.close()
            gc.unfreeze()
            assert not psutil.wait_procs(children, timeout=5)[1]

    with capture_logs():
        return asyncio.run(whole())


def task(question: str, caller: Caller = LIGHT, **more: Any) -> Task:  # noqa: ANN401 - as the task's
    """Return a task."""
    fields = {"kind": question, "topic": None, "limit_s": 20.0, "is_wanted": lambda: True, **more}
    return Task(question.encode(), caller, **fields)


async def ask(processes: Pool, question: str, caller: Caller = LIGHT, **more: Any) -> Computed:  # noqa: ANN401
    """Return what is computed."""
    return await processes.compute(task(question, caller, **more))


def test_a_question_is_computed_in_another_process() -> None:
    """Its answer comes with how long it waited and what it took, in processor time."""

    async def scenario(processes: Pool) -> tuple[Computed, Computed]:
        return await ask(processes, "echo"), await ask(processes, "burn 0.1")

    echo, burnt = run(scenario)
    assert b"echo by %d" % os.getpid() != echo.answer
    assert 0.1 <= burnt.took_s < 0.2
    assert echo.took_s < 0.05


def test_many_callers_have_their_own_answers() -> None:
    """Hundreds at once, over two processes."""

    async def scenario(processes: Pool) -> list[Computed]:
        # Until both are there: one alone would be through with all in a hundredth of a second.
        await asyncio.gather(*(ask(processes, "burn 0.3", Caller(f"first {n}", "bulk")) for n in range(2)))
        return await asyncio.gather(*(ask(processes, f"echo {n}", Caller(f"{n % 7}", "bulk")) for n in range(300)))

    answers = [computed.answer for computed in run(scenario, 2)]
    assert [b"echo %d" % n for n in range(300)] == [answer.partition(b" by ")[0] for answer in answers]
    assert 2 == len({answer.partition(b" by ")[2] for answer in answers})


def test_a_light_caller_is_answered_beside_heavy_ones() -> None:
    """Three callers who each keep a process busy for a second, and one who asks for nothing much."""

    async def scenario(processes: Pool) -> tuple[int, float]:
        for _ in range(2):  # until it is known what they take
            await ask(processes, "burn 0.4", HEAVY)
        heavy = [asyncio.create_task(ask(processes, "burn 0.4", Caller(f"heavy {k}"))) for k in range(3)]
        begun, count = time.monotonic(), 0
        while not all(done.done() for done in heavy):
            await ask(processes, "echo")
            count += 1
        return count, time.monotonic() - begun

    count, seconds = run(scenario, 2)
    assert count / seconds > 20


def test_a_question_that_takes_long_is_set_aside() -> None:
    """With a single process another is made beside it; afterwards there is one again."""

    async def scenario(processes: Pool) -> tuple[bool, int, int]:
        long = asyncio.create_task(ask(processes, "burn 1.0", HEAVY))
        await asyncio.sleep(0.01)
        await ask(processes, "echo")
        was_first, most = not long.done(), processes.processes()
        await long
        await ask(processes, "echo")
        while processes.processes() > 1:  # noqa: ASYNC110 - a pool wakes nobody
            await asyncio.sleep(0.02)
        return was_first, most, processes.processes()

    assert (True, 2, 1) == run(scenario)


@pytest.mark.parametrize(
    ("question", "limit_s", "room", "limit"),
    [
        ("burn 30", 0.2, 100_000 * MB, "processor time"),
        ("hold 200", 20.0, 100 * MB, "memory"),
        ("take 900", 20.0, 100_000 * MB, "memory"),
        ("plugin 30", 20.0, 100_000 * MB, "plug-in"),
        ("exit", 20.0, 100_000 * MB, "crash"),
    ],
)
def test_what_takes_too_much_is_ended(
    monkeypatch: pytest.MonkeyPatch, question: str, limit_s: float, room: int, limit: str
) -> None:
    """The process is replaced, the guilty question told its limit, and one that was behind it answered."""
    monkeypatch.setattr(pool, "PLUGIN_S", 0.2)

    async def scenario(processes: Pool) -> tuple[EndedError, Computed, dict[str, int]]:
        stream = Caller("stream", "bulk")
        first, second = (
            asyncio.create_task(ask(processes, each, stream, limit_s=limit_s)) for each in (question, "echo")
        )
        with pytest.raises(EndedError) as ended:
            await first
        return ended.value, await second, dict(processes.ended)

    error, innocent, ended = run(scenario, room=room)
    assert (limit, PLUGIN if limit == "plug-in" else None) == (error.limit, error.plugin)
    assert innocent.answer.startswith(b"echo by")
    assert {limit: pool.MOST_TRIES if limit == "crash" else 1} == ended


def test_killed_processes_lose_no_question_and_answer_none_wrongly() -> None:
    """Whichever is killed, in the midst of whatever: each question has its own answer."""

    async def scenario(processes: Pool) -> tuple[list[Computed], int]:
        asked = [
            asyncio.create_task(ask(processes, f"burn 0.0{n % 9}{n}", Caller(f"{n % 5}", "bulk"))) for n in range(60)
        ]
        killed, chance = 0, random.Random(7)  # noqa: S311 - which one is no secret
        while killed < 12:
            await asyncio.sleep(0.1)
            victims = [process.pid for process in processes._processes.values() if process.jobs]
            if not victims:
                break
            os.kill(chance.choice(victims), signal.SIGKILL)
            killed += 1
        return await asyncio.gather(*asked), killed

    answers, killed = run(scenario, 2)
    assert [b"burn 0.0%d%d" % (n % 9, n) for n in range(60)] == [each.answer.partition(b" by ")[0] for each in answers]
    assert killed >= 10


def test_what_nobody_waits_for_is_not_computed() -> None:
    """Neither what is in line nor what has begun."""

    async def scenario(processes: Pool) -> tuple[bytes, float]:
        leaves_at = time.monotonic() + 0.2
        begun = time.monotonic()
        running = asyncio.create_task(ask(processes, "checked 20", is_wanted=lambda: time.monotonic() < leaves_at))
        await asyncio.sleep(0.01)
        with pytest.raises(DeadlineError):
            await ask(processes, "burn 20", Caller("gone"), is_wanted=lambda: False)
        return (await running).answer, time.monotonic() - begun

    answer, seconds = run(scenario)
    assert b"given up" == answer
    assert seconds < 10


def test_a_computation_that_looks_ends_at_its_own_limit() -> None:
    """Its process lives on, with what it has cached."""

    async def scenario(processes: Pool) -> tuple[bytes, dict[str, int]]:
        return (await ask(processes, "checked 20", limit_s=0.1)).answer, dict(processes.ended)

    assert (b"given up", {}) == run(scenario)


def test_a_caller_with_too_much_in_line_is_refused_and_others_are_not(monkeypatch: pytest.MonkeyPatch) -> None:
    """At once; a stream of bulk waits in line as it reads."""
    monkeypatch.setattr("featherline_service.computing.admission.COLD_QUESTIONS", 0)

    async def scenario(processes: Pool) -> tuple[int, int, float]:
        flood = [asyncio.create_task(ask(processes, "sleep 0.01", HEAVY)) for _ in range(100)]
        stream = [asyncio.create_task(ask(processes, "sleep 0.001", Caller("heavy", "bulk"))) for _ in range(100)]
        begun = time.monotonic()
        await ask(processes, "echo")
        took_s = time.monotonic() - begun
        refused = await asyncio.gather(*flood, return_exceptions=True)
        answered = await asyncio.gather(*stream)
        return sum(isinstance(each, OverloadedError) for each in refused), len(answered), took_s

    refused, answered, took_s = run(scenario)
    assert 70 <= refused < 100
    assert 100 == answered
    assert took_s < 0.5


def test_new_processes_have_what_the_template_has_prepared() -> None:
    """Those that were made before are replaced when they have nothing to do."""
    prepared: list[float] = []

    def prepare() -> Iterator[None]:
        time.sleep(0.2)
        prepared.append(1.0)
        yield

    async def scenario(processes: Pool) -> list[bytes]:
        first = (await ask(processes, "echo")).answer
        for _ in range(100):
            await asyncio.sleep(0.05)
            if (last := (await ask(processes, "echo")).answer) != first:
                break
        return [first, last]

    first, last = run(scenario, prepare=prepare)
    assert first != last


def test_lines_that_a_computation_logs_come_with_its_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    """The process that serves HTTP writes them."""
    written: list[bytes] = []
    monkeypatch.setattr(pool.logs, "write", written.append)
    run(functools.partial(ask, question="log 7"))

    (line,) = written
    assert b'"number":7.0' in line
    assert b'"event":"tide.turned"' in line


def test_figures_of_the_processes_are_told() -> None:
    """How many questions there are by class, what each process takes, what was looked up."""

    async def scenario(processes: Pool) -> tuple[Any, ...]:
        # Until the first process is replaced by one made from the prepared template, if it was not so made.
        while not all(process.is_warm for process in processes._processes.values()):
            await asyncio.sleep(0.02)
            await ask(processes, "echo")
        await ask(processes, "cache 7")
        asked = [asyncio.create_task(ask(processes, "sleep 0.5", Caller("crew", "rosters"))) for _ in range(2)]
        await asyncio.sleep(0.05)
        lengths = dict(processes.lengths())
        memory = processes.memory()
        await asyncio.gather(*asked)
        return lengths, memory, processes.lookups(), processes.cache_bytes()

    lengths, memory, lookups, held = run(scenario)
    assert {"questions": 0, "bulk": 0, "rosters": 2} == lengths
    assert {"http", "template", "computing"} == {name.partition("-")[0] for name in memory}
    assert all(size > MB for size in memory.values())
    assert 1 == lookups[f"{__name__}.double", 1]
    assert held > 0


def test_the_service_is_told_when_the_template_has_ended() -> None:
    """From then on no process can be made, so that it has to end, too."""

    async def scenario() -> bool:
        template = Template(work, no_steps)
        processes = Pool(template, 1, 100_000 * MB)
        ended = asyncio.Event()
        await processes.start(ended.set)
        os.kill(template.pid, signal.SIGKILL)
        try:
            await asyncio.wait_for(ended.wait(), 5)
        finally:
            await processes.close()
            gc.unfreeze()
        return True

    with capture_logs() as logs:
        assert asyncio.run(scenario())
    assert "computing.template-ended" in [line["event"] for line in logs]


def test_a_process_that_cannot_be_made_is_tried_for_again(monkeypatch: pytest.MonkeyPatch) -> None:
    """A limit of processes, as in a container, holds up no longer than it is reached."""
    monkeypatch.setattr(pool, "_FORK_AGAIN_S", 0.01)
    fork, calls = os.fork, [0]

    def sometimes() -> int:
        calls[0] += 1
        if calls[0] == 1:  # in the template, which has its own count
            raise BlockingIOError(11, "Resource temporarily unavailable")
        return fork()

    def prepare() -> Iterator[None]:
        os.fork = sometimes  # in the template alone
        return iter(())

    assert run(functools.partial(ask, question="echo"), prepare=prepare).answer.startswith(b"echo")


def test_a_watch_that_fails_ends_the_service(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without it no question would be held to its limits."""

    def fails(*_: object) -> None:
        raise LookupError

    monkeypatch.setattr(Pool, "_look_at", fails)

    async def scenario(processes: Pool) -> bool:
        ended = asyncio.Event()
        processes._on_end = ended.set
        await ask(processes, "sleep 0.2")
        await asyncio.wait_for(ended.wait(), 5)
        return ended.is_set()

    assert run(scenario)
