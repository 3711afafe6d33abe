"""Both clients in front of a running service that wants keys."""

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
    """Call a method of a client with a key, and return the answer or the replies: once for each client."""

    def blocking(key: str | None, method: str, *args: object, **options: Any) -> Any:  # noqa: ANN401 - of the client
        with Client(keyed.url, key=key, **options) as client:
            if method == "bulk":
                return list(client.bulk(*args, at_once=1))
            return getattr(client, method)(*args)

    def asynchronous(key: str | None, method: str, *args: object, **options: Any) -> Any:  # noqa: ANN401 - of the client
        async def run() -> object:
            async with AsyncClient(keyed.url, key=key, **options) as client:
                if method == "bulk":
                    return [reply async for reply in client.bulk(*args, at_once=1)]
                return await getattr(client, method)(*args)

        return asyncio.run(run())

    return blocking if request.param == "Client" else asynchronous


def test_a_key_is_accepted(ask: Ask, keyed: Any, monkeypatch: pytest.MonkeyPatch) -> None:  # noqa: ANN401 - of conftest.py
    """It may be an argument or an environment variable, for a question or for bulk."""
    answer = ask(keyed.key, "cost", WORK)
    answers = [reply.answer for reply in ask(keyed.key, "bulk", [WORK, WORK])]
    monkeypatch.setenv("FEATHERLINE_API_KEY", keyed.key)

    assert [answer] * 3 == [ask(None, "cost", WORK), *answers]


@pytest.mark.parametrize("method", ["cost", "bulk"])
@pytest.mark.parametrize(("key", "kind"), [(None, "key-required"), ("fl_nobodys-key", "key-refused")])
def test_a_missing_or_unknown_key_is_refused(
    ask: Ask, monkeypatch: pytest.MonkeyPatch, method: str, key: str | None, kind: str
) -> None:
    """The problem has a type of its own for each case; the key is not in it."""
    monkeypatch.delenv("FEATHERLINE_API_KEY", raising=False)
    with pytest.raises(KeyRefused) as refused:
        ask(key, method, WORK if method == "cost" else [WORK])

    assert (401, f"urn:featherline:problem:{kind}") == (refused.value.status, refused.value.problem.type)
    assert key is None or key not in str(refused.value)


def test_a_key_without_the_scope_is_refused(ask: Ask, keyed: Any) -> None:  # noqa: ANN401 - of conftest.py
    """The error names the scope; public paths need no key."""
    with pytest.raises(KeyRefused, match="needs a key with the scope `book`") as refused:
        ask(keyed.key, "book")

    assert (403, "urn:featherline:problem:out-of-scope") == (refused.value.status, refused.value.problem.type)
    assert ask("fl_nobodys-key", "seal_keys").keys


def test_a_client_waits_for_the_rate_limit_of_its_key(
    ask: Ask,
    keyed: Any,  # noqa: ANN401 - of conftest.py
    waits: list[float],
) -> None:
    """Each request after the first is refused with Retry-After; the client waits for that time and asks again."""
    replies = ask(keyed.slow, "bulk", [WORK] * 3)

    assert [1, 2, 3] == [reply.line for reply in replies if reply.problem is None]
    assert len(waits) >= 2
    assert {1.0} == set(waits)


def test_a_client_does_not_wait_beyond_its_timeout(ask: Ask, keyed: Any) -> None:  # noqa: ANN401 - of conftest.py
    """If Retry-After is beyond the deadline, the error is raised at once, with that time."""
    with pytest.raises(Unavailable) as busy:
        [ask(keyed.slow, "cost", WORK, timeout=0.9) for _ in range(3)]

    assert (429, 1.0) == (busy.value.status, busy.value.retry_after_s)
    assert "urn:featherline:problem:too-many-requests" == getattr(busy.value.problem, "type", None)
