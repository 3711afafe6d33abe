"""The plug-ins in use, and the one place where they are called.

Whatever a plug-in does wrong ends here: the log has the details, the caller is told which plug-in failed, and nothing
takes its place. The process that it runs in is told when it is called and when it returns, and ends with it where it
does not return.
"""

from __future__ import annotations

import contextlib
import signal
import threading
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from itertools import islice
from types import MappingProxyType
from typing import Any, Final, Literal, NoReturn

import structlog
from msgspec import Struct

from featherline import laws, plugins
from featherline.plugins import ArtworkError, Findings, Installed, PluginError, Sale, SalePrice, Shelves, Supplied
from featherline.wire.book import Plugin, PluginKind
from featherline.wire.costs import Order
from featherline.wire.verdicts import Reason
from featherline_service.runtime import deadline

_MOST_AT_START_S: Final = 60

_log: Final = structlog.stdlib.get_logger()


How = Literal["failed", "late", "against-its-laws"]
_HOW: Final[Mapping[How, str]] = {
    "failed": "failed",
    "late": "did not end in time",
    "against-its-laws": "gave an answer that cannot be used",
}


class PluginFailedError(Exception):
    """A plug-in raised, did not end, or gave an answer against its laws: `faults`. The message names it."""

    def __init__(self, plugin: Plugin, how: How = "failed", faults: Sequence[str] = ()) -> None:
        super().__init__(f"{plugins.describe(plugin)} {_HOW[how]}")
        self.plugin, self.how = plugin, how
        self.faults = tuple(faults)


class Plugins(Struct, frozen=True, kw_only=True, eq=False):
    """The plug-ins in use: price policies by name, artwork readers by the media types that they read."""

    price_policies: Mapping[str, Installed] = MappingProxyType({})
    record_sources: tuple[Installed, ...] = ()
    artwork_readers: Mapping[str, Installed] = MappingProxyType({})
    checks: tuple[Installed, ...] = ()
    listed: tuple[Plugin, ...] = ()


NONE: Final = Plugins()


def load_named(distributions: Sequence[str]) -> Plugins:
    """Return the plug-ins of the distributions named.

    Raises:
        PluginError: They cannot be loaded, or do not go together; the message says what to do.
    """
    loaded = plugins.load(distributions)

    def of(kind: PluginKind) -> tuple[Installed, ...]:
        return tuple(installed for installed in loaded if installed.plugin.kind == kind)

    readers: dict[str, Installed] = {}
    for reader in of("artwork-reader"):
        for fault in laws.of_media_types(reader.made.media_types):
            raise PluginError(f"{plugins.describe(reader.plugin)} cannot be used: {fault}")
        for media_type in reader.made.media_types:
            other = readers.setdefault(media_type, reader)
            if other is not reader:
                raise PluginError(
                    f"{plugins.describe(reader.plugin)} reads {media_type}, as does {plugins.describe(other.plugin)}: "
                    "leave one of the distributions out"
                )
    return Plugins(
        price_policies=MappingProxyType({installed.plugin.name: installed for installed in of("price-policy")}),
        record_sources=of("record-source"),
        artwork_readers=MappingProxyType(readers),
        checks=of("check"),
        listed=tuple(installed.plugin for installed in loaded),
    )


def price(policy: Installed, sale: Sale) -> SalePrice:
    """Return the price by a price policy.

    Raises:
        PluginFailedError: It fails.
    """
    answer: SalePrice = _call_logged(
        policy, lambda plugin: plugin.price(sale), lambda price: laws.of_price(sale, price)
    )
    return answer


def supply(source: Installed, book: Shelves) -> Supplied:
    """Return the records of a record source.

    Raises:
        PluginError: It fails, so there is no book to start with; the message says how.
    """
    try:
        with _alarm(source, _MOST_AT_START_S):
            records: Supplied = _call(source, lambda plugin: plugin.supply(book), laws.of_supplied)
    except PluginFailedError as error:
        cause = error.__cause__
        why = error.faults if cause is None else (f"{type(cause).__name__}: {cause}",)
        summary = f"{error}: {'; '.join(why)}" if why else str(error)
        raise PluginError(f"{summary}. Mend it, or leave the distribution out") from error
    return records


def read(reader: Installed, content: bytes, media_type: str) -> plugins.Drawing:
    """Return the outlines that an artwork reader finds in a file.

    Raises:
        ArtworkError: The file cannot be read.
        PluginFailedError: The reader fails.
    """
    drawing: plugins.Drawing = _call_logged(reader, lambda plugin: plugin.read(content, media_type), laws.of_drawing)
    return drawing


def check(installed: Installed, order: Order, findings: Findings) -> tuple[Reason, ...]:
    """Return the reasons that a check adds.

    Raises:
        PluginFailedError: It fails.
    """
    name = installed.plugin.name
    reasons: tuple[Reason, ...] = _call_logged(
        installed,
        lambda plugin: tuple(islice(plugin.check(order, findings), laws.MOST_REASONS + 1)),
        lambda added: laws.of_reasons(name, order, added),
    )
    return reasons


def _call_logged(installed: Installed, ask: Callable[[Any], Any], faults: Callable[[Any], Iterable[str]]) -> Any:  # noqa: ANN401 - as its kind answers
    """Return the answer of a plug-in to a request; log a failure."""
    try:
        return _call(installed, ask, faults)
    except PluginFailedError as error:
        _log.error(
            "plugin.failed",
            plugin=installed.plugin.name,
            kind=installed.plugin.kind,
            distribution=installed.plugin.distribution,
            version=installed.plugin.version,
            faults=error.faults,
            exc_info=error.__cause__,
        )
        raise


def _call(installed: Installed, ask: Callable[[Any], Any], faults: Callable[[Any], Iterable[str]]) -> Any:  # noqa: ANN401 - as its kind answers
    """Return the answer of a plug-in, checked by the laws of its kind."""
    deadline.check()
    _Watch.tell(installed.plugin)
    try:
        answer = ask(installed.made)
    except (PluginFailedError, MemoryError):
        raise
    except BaseException as error:
        if isinstance(error, ArtworkError) and installed.plugin.kind == "artwork-reader":
            raise
        # Whatever it is: a plug-in that raises SystemExit does not end the process.
        raise PluginFailedError(installed.plugin) from error
    finally:
        _Watch.tell(None)
    deadline.check()
    broken = tuple(faults(answer))
    if broken:
        raise PluginFailedError(installed.plugin, "against-its-laws", broken)
    return answer


class _Watch:
    """Whoever is told which plug-in runs; nobody, at first."""

    tell: Callable[[Plugin | None], None] = staticmethod(lambda _plugin: None)


def watch(tell: Callable[[Plugin | None], None]) -> None:
    """Tell from now on of each plug-in that is called, and when it has returned, by None."""
    _Watch.tell = staticmethod(tell)


@contextlib.contextmanager
def _alarm(installed: Installed, seconds: float) -> Iterator[None]:
    """End a plug-in that does not return at the start, when nothing else runs.

    Only the main thread can be interrupted; in another, such as of tests, a plug-in has its time.
    """

    def ring(*_: object) -> NoReturn:
        raise PluginFailedError(installed.plugin, "late")

    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGALRM, ring)
    signal.setitimer(signal.ITIMER_REAL, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)
