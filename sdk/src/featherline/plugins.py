"""Plug-ins: what a shop adds to the service of its own, without changing it.

A plug-in is a Python object with the methods of one of four protocols. A distribution brings it as an entry point: its
group says the kind, its name is the plug-in's, and it leads to a class, or a function without parameters, that is
called once, when the service starts::

    [project.entry-points."featherline.price_policies"]
    club = "saltmarsh_rules:ClubPrice"

What a service answers is a function of the request, the book and its plug-ins. So a plug-in is one too: it answers the
same whenever it is asked the same, reads no clock, and asks nobody. What changes its answers changes the version of its
distribution. `featherline.testing` has the tests that hold a plug-in to that.
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
"""The group of entry points of each kind of plug-in."""


class PluginError(Exception):
    """Plug-ins cannot be put in force; the message names the one at fault and says what to do."""


class ArtworkError(ValueError):
    """What an artwork reader raises for a file that it cannot read. The caller is shown the message."""


class Lot(Struct, frozen=True, kw_only=True):
    """Pairs that are sold at one price: a whole order, or a row of a roster.

    `cost` is what they cost the shop, of a row its share. `placements` and `characters` are those of all its pairs, on
    every shoe that bears them.
    """

    pairs: int
    cost: Money
    placements: int
    characters: int


class Sale(Struct, frozen=True, kw_only=True):
    """What is to be priced: what it costs, line by line, and the lots that share the cost, which add up to it."""

    currency: Currency
    cost: Cost
    lots: tuple[Lot, ...]
    rush: bool


class SalePrice(Struct, frozen=True, kw_only=True):
    """What to charge: for a pair of each lot, and for everything, which these add up to.

    All sums have the decimals that those of the cost have. `why` are the steps that led there, each with the price of
    everything after it; the last one's is the total.
    """

    each: tuple[Money, ...]
    total: Money
    why: tuple[PriceStep, ...]
    warnings: tuple[Sentence, ...] = ()


@runtime_checkable
class PricePolicy(Protocol):
    """From what work costs to what is charged. Orders ask for it as for a policy of the book: by its name."""

    def price(self, sale: Sale) -> SalePrice:
        """Return what to charge."""
        ...


Shelves = Mapping[Kind, Mapping[str, Record]]
"""The records of a book: by their ids, on the shelf of their kind."""


class Supplied(Struct, frozen=True, kw_only=True):
    """Records from elsewhere, and the source that they are from, which they cite."""

    source: Source
    records: tuple[Record, ...]


@runtime_checkable
class RecordSource(Protocol):
    """Films, shoes, rates or other records from elsewhere, such as a supplier's price list."""

    def supply(self, book: Shelves) -> Supplied:
        """Return records to lay over a book: each takes the place of the one of its kind and id, or is added.

        Asked once, when the service starts. Fonts, benches and others' sources stay the book's own.
        """
        ...


class Drawing(Struct, frozen=True, kw_only=True):
    """The outlines of an artwork: closed SVG path data, y downwards, in any unit, and the rule that fills it."""

    d: PathData
    fill_rule: Literal["nonzero", "evenodd"] = "nonzero"


@runtime_checkable
class ArtworkReader(Protocol):
    """From the bytes of a file to outlines."""

    @property
    def media_types(self) -> Sequence[str]:
        """The media types that it reads, in lower case and without parameters; a plain attribute will do."""
        ...

    def read(self, content: bytes, media_type: str) -> Drawing:
        """Return the outlines in a file.

        Raises:
            ArtworkError: The file cannot be read; the message tells the caller what to change.
        """
        ...


class Findings(Struct, frozen=True, kw_only=True):
    """What was found of an order before its price: as the answer to a quote has it."""

    verdict: Verdict
    reasons: tuple[Reason, ...]
    placements: tuple[QuotedPlacement, ...]
    pressings: tuple[Pressing, ...]


@runtime_checkable
class Check(Protocol):
    """Reasons of a shop's own for a verdict, such as a club's colour rules.

    It is asked of every order that is understood: for quotes and their bench cards, for what orders cost, and for each
    row of a roster. Its reasons are added to those that were found, so that a verdict gets worse or stays. The codes
    begin with the plug-in's name and a dot; the subjects are JSON Pointers into the order.
    """

    def check(self, order: Order, found: Findings) -> Iterable[Reason]:
        """Return what there is to say against an order, and remarks."""
        ...


PROTOCOLS: Final[Mapping[PluginKind, type]] = {
    "price-policy": PricePolicy,
    "record-source": RecordSource,
    "artwork-reader": ArtworkReader,
    "check": Check,
}


class Installed(Struct, frozen=True, eq=False):
    """A plug-in that is in force, and what it is known by. Hashed by identity."""

    plugin: Plugin
    made: Any


def load(distributions: Iterable[str]) -> tuple[Installed, ...]:
    """Return the plug-ins that installed distributions bring, made; in the order of the names, then by kind and name.

    Raises:
        PluginError: A distribution is not installed or brings none; or a plug-in cannot be made, is not of its kind, or
            has another's kind and name.
    """
    found = [
        _made(Plugin(name=entry.name, kind=kind, distribution=name, version=own.version), entry)
        for name, own in _distributions(distributions).items()
        for kind, entry in _entries(own)
    ]
    first: dict[tuple[PluginKind, str], Plugin] = {}
    for each in found:
        plugin = each.plugin
        other = first.setdefault((plugin.kind, plugin.name), plugin)
        if other is not plugin:
            raise PluginError(f"{said(plugin)} has the name of {said(other)}: leave one of the distributions out")
    return tuple(found)


def available() -> tuple[str, ...]:
    """Return the names of the installed distributions that bring plug-ins."""
    return tuple(sorted({own.name for own in metadata.distributions() if own.name and any(_entries(own))}))


def said(plugin: Plugin) -> str:
    """Return what a plug-in is called in a message."""
    return f"The {plugin.kind.replace('-', ' ')} {plugin.name!r} of {plugin.distribution} {plugin.version}"


def _distributions(names: Iterable[str]) -> Mapping[str, metadata.Distribution]:
    found = {}
    for name in names:
        try:
            own = metadata.distribution(name)
        except (metadata.PackageNotFoundError, ValueError):
            own = None
        if own is None or not any(_entries(own)):
            bring = ", ".join(available()) or "none"
            what = "is not installed" if own is None else "brings no plug-ins"
            raise PluginError(f"The distribution {name!r} {what}; of those installed, these do: {bring}")
        found[own.name] = own
    return found


def _entries(own: metadata.Distribution) -> Iterator[tuple[PluginKind, metadata.EntryPoint]]:
    for kind, group in GROUPS.items():
        for entry in sorted(own.entry_points.select(group=group), key=lambda each: each.name):
            yield kind, entry


def _made(plugin: Plugin, entry: metadata.EntryPoint) -> Installed:
    try:
        msgspec.convert(msgspec.to_builtins(plugin), Plugin)
    except msgspec.ValidationError as error:
        raise PluginError(f"{said(plugin)} cannot be named so: {error}") from None
    try:
        make: Callable[[], object] = entry.load()
        made = make()
    except (Exception, SystemExit) as error:
        raise PluginError(
            f"{said(plugin)} cannot be made: {type(error).__name__}: {error}. Mend it, or leave the distribution out"
        ) from error
    protocol = PROTOCOLS[plugin.kind]
    if not isinstance(made, protocol):
        raise PluginError(f"{said(plugin)} has not all that a {protocol.__name__} of featherline.plugins has: add it")
    return Installed(plugin, made)
