"""The protocols of plug-ins: what a shop adds to its service without changing it.

A plug-in is a Python object with the methods of one of four protocols. A distribution provides it as an entry point:
the group is the kind of plug-in, the name is the plug-in's, and the object is a class, or a function without
parameters, that is called once, when the service starts::

    [project.entry-points."featherline.price_policies"]
    club = "saltmarsh_rules:ClubPrice"

The answers of a service are a function of the request, the book and the plug-ins. So a plug-in must be a pure function,
too: the same arguments have the same result, without a clock or a network. If its results change, the version of its
distribution must change. `featherline.testing` has tests for these laws. Arguments are passed by position, so their
names are free.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from importlib import metadata
from typing import Any, Final, Literal, Protocol, runtime_checkable

import msgspec
from msgspec import Struct

from featherline.wire.book import Plugin, PluginKind
from featherline.wire.costs import Cost, Order, PriceStep
from featherline.wire.money import Currency, Money
from featherline.wire.quotes import Pressing, QuotedPlacement
from featherline.wire.records import Kind, Record, Source
from featherline.wire.texts import PathData, Sentence
from featherline.wire.verdicts import Reason, Verdict

GROUPS: Final[Mapping[PluginKind, str]] = {
    "price-policy": "featherline.price_policies",
    "record-source": "featherline.record_sources",
    "artwork-reader": "featherline.artwork_readers",
    "check": "featherline.checks",
}
"""The group of entry points for each kind of plug-in."""


class PluginError(Exception):
    """Plug-ins cannot be loaded; the message names the one at fault and says what to do."""


class ArtworkError(ValueError):
    """An artwork reader cannot read a file. The caller of the service is shown the message."""


class Lot(Struct, frozen=True, kw_only=True):
    """Pairs that are sold at one price: a whole order, or a row of a roster.

    `cost` is the cost of the order, or the row's share of the roster's. `placements` and `characters` are counted over
    all pairs, on each shoe that has them.
    """

    pairs: int
    cost: Money
    placements: int
    characters: int


class Sale(Struct, frozen=True, kw_only=True):
    """The work to price: its cost, line by line, without card fees, and the lots, whose costs add up to it."""

    currency: Currency
    cost: Cost
    lots: tuple[Lot, ...]
    rush: bool


class SalePrice(Struct, frozen=True, kw_only=True):
    """The price of a sale.

    `each` is the price of one pair of each lot; `total` is their sum, each times the pairs of its lot. All amounts have
    as many decimals as those of the cost. `why` are the steps of the calculation, each with the price of everything
    after it; the last is at the total.
    """

    each: tuple[Money, ...]
    total: Money
    why: tuple[PriceStep, ...]
    warnings: tuple[Sentence, ...] = ()


@runtime_checkable
class PricePolicy(Protocol):
    """Prices a sale. Orders name it in `policy`, as they name a policy of the book."""

    def price(self, sale: Sale, /) -> SalePrice:
        """Return the price of a sale."""
        ...


Shelves = Mapping[Kind, Mapping[str, Record]]
"""The records of a book, by kind and id."""


class Supplied(Struct, frozen=True, kw_only=True):
    """Records from a record source, and the source that they cite."""

    source: Source
    records: tuple[Record, ...]


@runtime_checkable
class RecordSource(Protocol):
    """Supplies records from outside the book, such as films and their prices from a supplier's list."""

    def supply(self, book: Shelves, /) -> Supplied:
        """Return records that replace those of their kind and id in the book, or are added to it.

        Called once, when the service starts. A record source supplies no fonts and no benches, and one source record:
        its own.
        """
        ...


class Drawing(Struct, frozen=True, kw_only=True):
    """The outlines of an artwork: closed SVG path data, y downwards, in any unit, and the fill rule."""

    d: PathData
    fill_rule: Literal["nonzero", "evenodd"] = "nonzero"


@runtime_checkable
class ArtworkReader(Protocol):
    """Reads the outlines in a file."""

    @property
    def media_types(self) -> Sequence[str]:
        """The media types that it reads, in lower case and without parameters; a plain attribute will do."""
        ...

    def read(self, content: bytes, media_type: str, /) -> Drawing:
        """Return the outlines in a file.

        Raises:
            ArtworkError: The file cannot be read; the message says what to change.
        """
        ...


class Findings(Struct, frozen=True, kw_only=True):
    """The results for an order before its price, as in the answer to a quote."""

    verdict: Verdict
    reasons: tuple[Reason, ...]
    placements: tuple[QuotedPlacement, ...]
    pressings: tuple[Pressing, ...]


@runtime_checkable
class Check(Protocol):
    """Adds reasons of the shop's own to a verdict, such as a club's rules on colours.

    It is called for every valid order: for quotes and their bench cards, for the cost of orders, and for each row of a
    roster. Its reasons are added to the others, so the verdict stays or gets worse. Their codes begin with the name of
    the plug-in and a dot, and their subjects are JSON Pointers into the order. They are for the bench unless their
    `audience` says otherwise: a customer reads the sentence of one for customers as it is, so it tells of no cost.
    """

    def check(self, order: Order, findings: Findings, /) -> Iterable[Reason]:
        """Return reasons against an order, and remarks."""
        ...


PROTOCOLS: Final[Mapping[PluginKind, type]] = {
    "price-policy": PricePolicy,
    "record-source": RecordSource,
    "artwork-reader": ArtworkReader,
    "check": Check,
}


class Installed(Struct, frozen=True, eq=False):
    """A plug-in in force: its name and distribution, and the object itself. Hashed by identity."""

    plugin: Plugin
    made: Any


def load(distributions: Iterable[str]) -> tuple[Installed, ...]:
    """Return the plug-ins of installed distributions: in the order of the distributions, then by kind and name.

    Raises:
        PluginError: A distribution is not installed or has no plug-ins; or a plug-in cannot be loaded, lacks
            a member of its protocol, or has the kind and the name of another.
    """
    installed = [
        _load(Plugin(name=entry.name, kind=kind, distribution=name, version=distribution.version), entry)
        for name, distribution in _distributions(distributions).items()
        for kind, entry in _entry_points(distribution)
    ]
    seen: dict[tuple[PluginKind, str], Plugin] = {}
    for plugin in (item.plugin for item in installed):
        other = seen.setdefault((plugin.kind, plugin.name), plugin)
        if other is not plugin:
            raise PluginError(f"{describe(plugin)} has the name of {describe(other)}: leave one distribution out")
    return tuple(installed)


def available() -> tuple[str, ...]:
    """Return the names of the installed distributions that have plug-ins."""
    return tuple(
        sorted(
            {
                distribution.name
                for distribution in metadata.distributions()
                if distribution.name and any(_entry_points(distribution))
            }
        )
    )


def describe(plugin: Plugin) -> str:
    """Return the kind, name, distribution and version of a plug-in, for a message."""
    return f"The {plugin.kind.replace('-', ' ')} {plugin.name!r} of {plugin.distribution} {plugin.version}"


def _distributions(names: Iterable[str]) -> Mapping[str, metadata.Distribution]:
    """Return distributions that have plug-ins, by their own names."""
    distributions = {}
    for name in names:
        try:
            distribution = metadata.distribution(name)
        except (metadata.PackageNotFoundError, ValueError):
            distribution = None
        if distribution is None or not any(_entry_points(distribution)):
            fault = "is not installed" if distribution is None else "has no plug-ins"
            others = ", ".join(available()) or "none"
            raise PluginError(f"The distribution {name!r} {fault}; installed distributions with plug-ins: {others}")
        distributions[distribution.name] = distribution
    return distributions


def _entry_points(distribution: metadata.Distribution) -> Iterator[tuple[PluginKind, metadata.EntryPoint]]:
    for kind, group in GROUPS.items():
        for entry in sorted(distribution.entry_points.select(group=group), key=lambda entry: entry.name):
            yield kind, entry


def _load(plugin: Plugin, entry: metadata.EntryPoint) -> Installed:
    try:
        msgspec.convert(msgspec.to_builtins(plugin), Plugin)
    except msgspec.ValidationError as error:
        raise PluginError(f"{describe(plugin)} has an invalid name: {error}") from None
    try:
        make: Callable[[], object] = entry.load()
        made = make()
    except (Exception, SystemExit) as error:
        cause = f"{type(error).__name__}: {error}"
        raise PluginError(
            f"{describe(plugin)} cannot be loaded: {cause}. Fix it, or leave the distribution out"
        ) from error
    protocol = PROTOCOLS[plugin.kind]
    if not isinstance(made, protocol):
        raise PluginError(f"{describe(plugin)} lacks a member of {protocol.__name__} in featherline.plugins: add it")
    return Installed(plugin, made)
