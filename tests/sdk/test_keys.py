"""Both clients in front of a running service that asks for keys."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from pathlib import Path
from typing import Any

import msgspec
import pytest

from featherline import AsyncClient, Client, KeyRefused, Unavailable
from featherline.wire import CostRequest, Measured

EXAMPLES = Path(__file__).parents[2] / "openapi" / "examples"
WORK: Measured = msgspec.json.decode((EXAMPLES / "cost-request-measures.json").read_bytes(), type=CostRequest)

Ask = Callable[..., Any]


@pytest.fixture(params=["Client", "AsyncClient"])
def ask(request: pytest.FixtureRequest, keyed: Any) -> Ask:  # noqa: ANN401 - of conftest.py
    """Ask the service with a key, by a method and its arguments; of a stream, return the replies: once a client."""

    def plainly(key: str | None, method: str, *args: object, **manners: Any) -> Any:  # noqa: ANN401 - of the client
        with Client(keyed.url, key=key, **manners) as client:
            if method == "bulk":
                return list(client.bulk(*args, at_once=1))
            return getattr(client, method)(*args)

    def asynchronously(key: str | None, method: str, *args: object, **manners: Any) -> Any:  # noqa: ANN401 - of the client
        async def run() -> object:
            async with AsyncClient(keyed.url, key=key, **manners) as client:
                if method == "bulk":
                    return [reply async for reply in client.bulk(*args, at_once=1)]
                return await getattr(client, method)(*args)

        return asyncio.run(run())

    return plainly if request.param == "Client" else asynchronously


def test_a_key_opens(ask: Ask, keyed: Any, monkeypatch: pytest.MonkeyPatch) -> None:  # noqa: ANN401 - of conftest.py
    """Given as an argument or by the environment, alone and in a stream."""
    given = ask(keyed.key, "cost", WORK)
    streamed = [reply.answer for reply in ask(keyed.key, "bulk", [WORK, WORK])]
    monkeypatch.setenv("FEATHERLINE_API_KEY", keyed.key)

    assert [given] * 3 == [ask(None, "cost", WORK), *streamed]


@pytest.mark.parametrize("method", ["cost", "bulk"])
@pytest.mark.parametrize(("key", "kind"), [(None, "key-required"), ("fl_nobodys-key", "key-refused")])
def test_no_key_and_a_wrong_one_are_refused_at_once(
    ask: Ask, monkeypatch: pytest.MonkeyPatch, method: str, key: str | None, kind: str
) -> None:
    """The error carries the problem, which tells the two apart; the key is not in it."""
    monkeypatch.delenv("FEATHERLINE_API_KEY", raising=False)
    with pytest.raises(KeyRefused) as refused:
        ask(key, method, WORK if method == "cost" else [WORK])

    assert (401, f"urn:featherline:problem:{kind}") == (refused.value.status, refused.value.problem.type)
    assert key is None or key not in str(refused.value)


def test_a_key_that_is_not_for_it_is_refused(ask: Ask, keyed: Any) -> None:  # noqa: ANN401 - of conftest.py
    """403 says which scope is wanted; what is public needs none."""
    with pytest.raises(KeyRefused, match="needs a key with the scope `book`") as refused:
        ask(keyed.key, "book")

    assert (403, "urn:featherline:problem:out-of-scope") == (refused.value.status, refused.value.problem.type)
    assert ask("fl_nobodys-key", "seal_keys").keys


def test_a_key_that_asks_too_much_waits_as_long_as_it_is_told(
    ask: Ask,
    keyed: Any,  # noqa: ANN401 - of conftest.py
    waits: list[float],
) -> None:
    """Each request after the first is refused with Retry-After: the client waits for that, and then has the answer."""
    replies = ask(keyed.slow, "bulk", [WORK] * 3)

    assert [1, 2, 3] == [reply.line for reply in replies if reply.problem is None]
    assert len(waits) >= 2
    assert {1.0} == set(waits)


def test_a_wait_that_is_too_long_is_not_waited_for(ask: Ask, keyed: Any) -> None:  # noqa: ANN401 - of conftest.py
    """Where Retry-After is beyond the call's time, the error comes at once and says when."""
    with pytest.raises(Unavailable) as busy:
        [ask(keyed.slow, "cost", WORK, timeout=0.9) for _ in range(3)]

    assert (429, 1.0) == (busy.value.status, busy.value.retry_after_s)
    assert "urn:featherline:problem:too-many-requests" == getattr(busy.value.problem, "type", None)
