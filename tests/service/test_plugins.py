"""Plug-ins put in force and asked: what they do wrong is told, and ends there."""

from __future__ import annotations

import itertools
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import msgspec
import pytest
from structlog.testing import capture_logs

from featherline.plugins import ArtworkError, Drawing, Findings, Installed, PluginError, Sale, Supplied
from featherline.wire import Order, Plugin, PluginKind, QuoteAnswer, Reason
from featherline.wire.records import Source
from featherline_service import plugins
from featherline_service.plugins import PluginFailedError
from featherline_service.runtime import deadline
from featherline_service.runtime.deadline import DeadlineError

EXAMPLES = Path(__file__).parents[2] / "openapi" / "examples"
ORDER = msgspec.json.decode((EXAMPLES / "quote-request.json").read_bytes(), type=Order)
QUOTE = msgspec.json.decode((EXAMPLES / "quote-answer.json").read_bytes(), type=QuoteAnswer)
FOUND = Findings(verdict=QUOTE.verdict, reasons=QUOTE.reasons, placements=QUOTE.placements, pressings=QUOTE.pressings)
REASON = Reason(code="own.late", verdict="trial", subject="", sentence="The tide is out.")
SUPPLIED = Supplied(source=Source(id="tide", name="Tide", kind="invented", reference="Invented."), records=())
READERS = "featherline.artwork_readers"

Install = Callable[..., None]


class Does:
    """A plug-in of any kind that does one thing, whatever it is asked."""

    def __init__(self, act: Callable[[], Any]) -> None:
        self._act = act

    def check(self, _order: Order, _found: Findings) -> Any:  # noqa: ANN401 - anything
        """Do it."""
        return self._act()

    def read(self, _content: bytes, _media_type: str) -> Any:  # noqa: ANN401 - anything
        """Do it."""
        return self._act()


def installed(kind: PluginKind, act: Callable[[], Any]) -> Installed:
    """Return a plug-in in force that does one thing."""
    return Installed(Plugin(name="own", kind=kind, distribution="own-rules", version="1.2"), Does(act))


def raising(error: BaseException) -> Callable[[], None]:
    """Return what raises an error."""

    def act() -> None:
        raise error

    return act


def test_no_plugin_is_in_force_unless_it_is_named() -> None:
    """Without names there is none."""
    assert () == plugins.load_named(()).listed


def test_plugins_are_kept_by_what_asks_them(install: Install) -> None:
    """Price policies by their names, readers by their media types, sources and checks in order."""
    source = """
class All:
    media_types = ("image/x-one", "image/x-two")
    def price(self, sale): ...
    def read(self, content, media_type): ...
    def supply(self, book): ...
    def check(self, order, found): ...
"""
    groups = ("price_policies", "record_sources", "artwork_readers", "checks")
    install("own-rules", {f"featherline.{group}": {"own": "All"} for group in groups}, source)
    found = plugins.load_named(["own-rules"])
    assert ["own"] == list(found.price_policies)
    assert ["image/x-one", "image/x-two"] == list(found.artwork_readers)
    assert (1, 1) == (len(found.record_sources), len(found.checks))
    assert ["price-policy", "record-source", "artwork-reader", "check"] == [each.kind for each in found.listed]


@pytest.mark.parametrize(
    ("first", "second", "said"),
    [
        ("('image/x-one',)", "('image/x-two', 'image/x-one')", "reads image/x-one, as does The artwork reader 'one'"),
        ("('image/x-one',)", "'image/x-two'", "'two' of own-rules 1.0 cannot be used: `media_types` is a tuple"),
    ],
)
def test_every_media_type_has_one_reader(first: str, second: str, said: str, install: Install) -> None:
    """Two for one, or one that says none, stop the start with a sentence."""
    read = "def read(self, content, media_type): ..."
    source = "\n".join(
        f"class {name}:\n    media_types = {types}\n    {read}\n" for name, types in (("One", first), ("Two", second))
    )
    install("own-rules", {READERS: {"one": "One", "two": "Two"}}, source)
    with pytest.raises(PluginError) as told:
        plugins.load_named(["own-rules"])
    assert said in str(told.value)


def test_what_a_plugin_answers_is_returned() -> None:
    """A lawful answer is passed on."""
    assert (REASON,) == plugins.check(installed("check", lambda: iter([REASON])), ORDER, FOUND)


@pytest.mark.parametrize("error", [ZeroDivisionError("1 / 0"), SystemExit(3), KeyboardInterrupt(), ArtworkError("no")])
def test_whatever_a_plugin_raises_is_its_failure(error: BaseException) -> None:
    """The log tells the error and whose it is; whoever asked is told the plug-in, and no more."""
    with capture_logs() as logs, pytest.raises(PluginFailedError) as told:
        plugins.check(installed("check", raising(error)), ORDER, FOUND)
    assert "The check 'own' of own-rules 1.2 failed" == str(told.value)
    (line,) = logs
    assert ("plugin.failed", "error", "own", "check", "own-rules", "1.2", error) == tuple(
        line[key] for key in ("event", "log_level", "plugin", "kind", "distribution", "version", "exc_info")
    )


def test_an_answer_against_the_laws_is_a_failure() -> None:
    """The log tells what is wrong with it."""
    with capture_logs() as logs, pytest.raises(PluginFailedError, match="gave an answer that cannot be used"):
        plugins.read(installed("artwork-reader", lambda: Drawing(d="M0 0H1V1")), b"", "image/x-one")
    assert ("`d` is not closed: end every subpath with Z",) == logs[0]["faults"]


def test_reasons_without_end_are_not_waited_for() -> None:
    """A check that yields for ever is stopped by its number."""
    with capture_logs() as logs, pytest.raises(PluginFailedError):
        plugins.check(installed("check", lambda: itertools.repeat(REASON)), ORDER, FOUND)
    assert ("There are more than 100 reasons: say the most important",) == logs[0]["faults"]


def test_a_file_that_cannot_be_read_is_the_callers_matter() -> None:
    """An artwork reader's word for it is passed on, and no failure is logged."""
    with capture_logs() as logs, pytest.raises(ArtworkError, match="not an outline"):
        plugins.read(installed("artwork-reader", raising(ArtworkError("not an outline"))), b"", "image/x-one")
    assert [] == logs


def test_nobody_waits_for_an_answer_that_is_late() -> None:
    """A plug-in is not asked when the time is over, and what it answers later is given up."""
    asked = []

    def slowly() -> tuple[Reason, ...]:
        asked.append(True)
        until = time.process_time() + 0.05
        while time.process_time() < until:
            pass
        return ()

    with deadline.limited(-1), pytest.raises(DeadlineError):
        plugins.check(installed("check", slowly), ORDER, FOUND)
    assert [] == asked
    with deadline.limited(0.02), pytest.raises(DeadlineError):
        plugins.check(installed("check", slowly), ORDER, FOUND)
    assert [True] == asked


def test_who_watches_is_told_which_plugin_runs(monkeypatch: pytest.MonkeyPatch) -> None:
    """Before it is called, and when it has returned or raised."""
    told: list[Plugin | None] = []
    monkeypatch.setattr(plugins._Watch, "tell", staticmethod(lambda _: None))
    plugins.watch(told.append)
    plugins.check(installed("check", tuple), ORDER, FOUND)
    with capture_logs(), pytest.raises(PluginFailedError):
        plugins.check(installed("check", raising(ZeroDivisionError())), ORDER, FOUND)

    assert [installed("check", tuple).plugin, None] * 2 == told


def test_a_record_source_that_does_not_end_stops_the_start(monkeypatch: pytest.MonkeyPatch) -> None:
    """It is named, after the time that it may take; elsewhere than in the main thread nothing can interrupt it."""

    class Forever:
        def __init__(self, seconds: float = 60.0) -> None:
            self.until = time.monotonic() + seconds

        def supply(self, _book: object) -> Supplied:
            while time.monotonic() < self.until:
                pass
            return SUPPLIED

    def source(made: Forever) -> Installed:
        return Installed(Plugin(name="own", kind="record-source", distribution="own-rules", version="1.2"), made)

    monkeypatch.setattr(plugins, "_MOST_AT_START_S", 0.1)
    with pytest.raises(PluginError, match=r"did not end in time\. Mend it"):
        plugins.supply(source(Forever()), {})
    with ThreadPoolExecutor(1) as thread:
        assert SUPPLIED == thread.submit(plugins.supply, source(Forever(0.2)), {}).result()


def test_a_price_policy_is_held_to_its_sale() -> None:
    """What it answers is compared with what is sold."""
    assert QUOTE.cost is not None
    sale = Sale(currency="EUR", cost=QUOTE.cost, lots=(), rush=False)
    policy = Installed(Plugin(name="own", kind="price-policy", distribution="own-rules", version="1.2"), Cheap())
    with capture_logs() as logs, pytest.raises(PluginFailedError, match="The price policy 'own'"):
        plugins.price(policy, sale)
    assert ("A price policy returns a SalePrice, not str",) == logs[0]["faults"]


class Cheap:
    def price(self, sale: Sale) -> str:
        """Return what a price policy may not."""
        return sale.cost.total.amount
