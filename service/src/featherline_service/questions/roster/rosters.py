"""The question "what of this list can be done, and for how much?": every row for itself, film and price together."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from typing import Final

from msgspec import Struct
from msgspec.structs import replace

from featherline.wire.artworks import TextArtwork
from featherline.wire.costs import Cost, Order, Placement
from featherline.wire.money import Money
from featherline.wire.problems import Fault
from featherline.wire.rosters import (
    LargestLetters,
    PressingPlan,
    Purchase,
    Roster,
    RosterAnswer,
    RosterCounts,
    RosterPrice,
    RosterRow,
    RowAnswer,
    RowPlacement,
    RowPrice,
)
from featherline.wire.shoes import BookShoe, Shoe
from featherline.wire.verdicts import Reason, Verdict
from featherline_service.book.shop_book import Book
from featherline_service.cost.money import money
from featherline_service.questions import templates
from featherline_service.questions.checks import Checks, RefusedError
from featherline_service.questions.fit import fits
from featherline_service.questions.pricing.cost_lines import Part, Pressed, Work
from featherline_service.questions.pricing.film_lots import too_wide
from featherline_service.questions.pricing.offcuts import offered
from featherline_service.questions.pricing.prices import MOST_PAIRS, AnyPolicy, apportioned, find_policy, price_parts
from featherline_service.questions.pricing.purchases import purchases
from featherline_service.questions.quote.pressings import Marked, Plan, plan, worst
from featherline_service.questions.quote.quotes import findings, fit_request, mark, outline_budget, part_of, pressed_of
from featherline_service.questions.templates import Template, TemplateError
from featherline_service.runtime.engine import ENGINE

_LONGEST_TEXT: Final = 200  # as of an artwork that is no template
_PLACEMENT: Final = re.compile(r"/placements/([0-9]+)/(artwork|panel)(/.*)?")


def compose(book: Book, roster: Roster) -> RosterAnswer:
    """Return what becomes of a roster: every row checked for itself, those that can be done priced together.

    Raises:
        RefusedError: with the faults of the order, or of no row in particular; a fault of a row is in its answer.
    """
    texts, faults = _templates(roster)
    order, of_order = roster.order, Checks()
    policy = find_policy(book, order.policy, of_order, rush=order.rush)
    offcuts = offered(book, order.offcuts, of_order)
    outlines_s = outline_budget(order, of_order)
    faults += [*_under_order(_noted(of_order)), *_too_many(roster)]
    if faults or policy is None:
        raise RefusedError(tuple(faults))
    rows = _Rows(book, roster, texts)
    looked = [rows.look_at(index) for index in range(len(roster.rows))]
    if rows.faults:
        raise RefusedError(tuple(dict.fromkeys(rows.faults)))
    done = [row for row in looked if row.part is not None]
    work = Work(
        parts=tuple(row.part for row in done if row.part is not None),
        offcuts=offcuts,
        rush=order.rush,
        outlines_s=outlines_s,
        hours_a_day=order.hours_a_day,
        units=order.units,
    )
    sold = _sell(book, work, policy) if done else _NOTHING
    of_row = {row.index: (share, price) for row, share, price in zip(done, sold.shares, sold.rows, strict=True)}
    return RosterAnswer(
        verdict=worst([row.verdict for row in done if row.verdict is not None]) if done else "decline",
        counts=_counts(looked),
        pairs=work.pairs,
        rows=tuple(_answer(row, *of_row.get(row.index, (None, None))) for row in looked),
        plans=tuple(rows.plans(done)),
        largest_letters=tuple(_largest_letters(book, roster, looked)),
        unused_fields=tuple(sorted(_given(roster).difference(*(template.fields for template in texts.values())))),
        cost=sold.cost,
        price=sold.price,
        buy=sold.buy,
        book=book.revision,
        engine=ENGINE,
        seal=None,
    )


def prepare(book: Book, roster: Roster, indices: Iterable[int]) -> None:
    """Look at some rows beforehand, so that `compose` need not: nothing depends on it but how long that takes."""
    texts, faults = _templates(roster)
    if not faults:
        rows = _Rows(book, roster, texts)
        for index in indices:
            rows.look_at(index)


def _noted(checks: Checks) -> tuple[Fault, ...]:
    try:
        checks.settle()
    except RefusedError as error:
        return error.faults
    return ()


def _under_order(faults: Iterable[Fault]) -> Iterator[Fault]:
    """Yield faults of an order as faults of a roster's order."""
    for fault in faults:
        yield replace(fault, pointer=f"/order{fault.pointer}")


def _too_many(roster: Roster) -> Iterator[Fault]:
    pairs = sum(row.pairs or roster.order.pairs for row in roster.rows)
    if pairs > MOST_PAIRS:
        yield Fault(
            pointer="/rows", detail=f"The rows have {pairs:,} pairs in all; give at most {MOST_PAIRS:,} at a time"
        )


def _given(roster: Roster) -> set[str]:
    """Return the fields that rows give."""
    return {name for row in roster.rows for name in row.fields}


_Texts = dict[int, Template]
"""The templates of an order by the places of their placements."""


def _templates(roster: Roster) -> tuple[_Texts, list[Fault]]:
    """Return the templates of an order, and what is wrong with them whatever the row."""
    found: _Texts = {}
    faults = []
    given = _given(roster)
    for index, placement in enumerate(roster.order.placements):
        if not isinstance(placement.artwork, TextArtwork):
            continue
        at = f"/order/placements/{index}/artwork/text"
        try:
            found[index] = templates.read(placement.artwork.text)
        except TemplateError as error:
            faults.append(Fault(pointer=at, detail=str(error)))
            continue
        for name in found[index].fields:
            if name not in given:
                has = ", ".join(sorted(given)) or "none"
                faults.append(Fault(pointer=at, detail=f"No row gives the field {name!r}; rows give: {has}"))
    return found, faults


class _Planned(Struct, frozen=True, kw_only=True):
    """The pressings that a shoe takes, for the bench and as work; no work where they are declined."""

    plan: Plan
    pressed: tuple[Pressed, ...]


class _Row(Struct, frozen=True, kw_only=True):
    """A row as it was understood. With faults, nothing is known but those; declined, there is no work."""

    index: int
    asked: RosterRow
    order: Order
    faults: tuple[Fault, ...] = ()
    marked: tuple[Marked, ...] = ()
    verdict: Verdict | None = None
    reasons: tuple[Reason, ...] = ()
    plan: int | None = None
    part: Part | None = None


class _Rows:
    """Looks at the rows of a roster, one by one; what rows share is found once.

    `faults` are those that are not the row's own: every row would have them.
    """

    def __init__(self, book: Book, roster: Roster, texts: _Texts) -> None:
        self._book = book
        self._roster = roster
        self._texts = texts
        self._planned: dict[Shoe, _Planned] = {}
        self._numbers: dict[object, int] = {}
        self.faults: list[Fault] = []

    def look_at(self, index: int) -> _Row:
        """Return what becomes of one row, but for its price."""
        asked = self._roster.rows[index]
        order, faults = self._filled(index, asked)
        row = _Row(index=index, asked=asked, order=order, faults=tuple(faults))
        if faults:
            return row
        checks = Checks()
        marked = mark(self._book, order, checks, largest_too=False)
        own = [self._placed(row, fault.pointer, fault.detail) for fault in _noted(checks)]
        if own:
            return replace(row, faults=tuple(fault for fault in own if fault is not None))
        planned = self._plan(order, marked)
        found = findings(self._book, order, marked, planned.plan)
        row = replace(
            row,
            marked=tuple(marked),
            verdict=found.verdict,
            reasons=tuple(replace(reason, subject=self._subject(row, reason.subject)) for reason in found.reasons),
        )
        if found.verdict == "decline":
            return row
        part = part_of(self._book, order, marked, planned.pressed)
        wide = [
            self._placed(row, piece.pointer, fault)
            for piece in part.pieces
            if (fault := too_wide(self._book, piece)) is not None
        ]
        if wide:
            return replace(row, verdict=None, faults=tuple(fault for fault in wide if fault is not None))
        pressings = tuple(one.pressing for one in planned.plan.pressings)
        return replace(row, part=part, plan=self._numbers.setdefault(pressings, len(self._numbers)))

    def plans(self, done: Sequence[_Row]) -> Iterator[PressingPlan]:
        """Yield the pressings that rows take, those of rows with the same pressings once."""
        for pressings, number in self._numbers.items():
            own = [row for row in done if row.plan == number]
            yield PressingPlan(
                rows=tuple(row.index for row in own),
                pairs=sum(row.order.pairs for row in own),
                pressings=pressings,  # type: ignore[arg-type]  # the keys are nothing else
            )

    def _filled(self, index: int, asked: RosterRow) -> tuple[Order, list[Fault]]:
        """Return the order of a row, its texts filled in, and what is wrong with the row itself."""
        order = self._roster.order
        faults: list[Fault] = []
        placements = list(order.placements)
        for place, template in self._texts.items():
            at = self._fields_at(index, place)
            missing = [name for name in template.fields if name not in asked.fields]
            if missing:
                faults += [
                    Fault(pointer=f"/rows/{index}/fields", detail=f"Give the field {name!r}") for name in missing
                ]
                continue
            text = template.fill(asked.fields)
            if not text.strip():
                faults.append(Fault(pointer=at, detail="The artwork is left without any text"))
            elif len(text) > _LONGEST_TEXT:
                faults.append(
                    Fault(pointer=at, detail=f"The text has {len(text)} characters; give at most {_LONGEST_TEXT}")
                )
            else:
                placements[place] = _with_text(placements[place], text)
        shoe = order.shoe if asked.shoe is None else asked.shoe
        if asked.size is not None:
            if isinstance(shoe, BookShoe):
                shoe = replace(shoe, size=asked.size)
            else:
                faults.append(
                    Fault(
                        pointer=f"/rows/{index}/size",
                        detail="A shoe that was measured has no size: give the row a `shoe` measured for itself",
                    )
                )
        filled = replace(
            order,
            shoe=shoe,
            pairs=asked.pairs or order.pairs,
            owner=asked.owner or order.owner,
            placements=tuple(placements),
        )
        return filled, list(dict.fromkeys(faults))

    def _plan(self, order: Order, marked: Sequence[Marked]) -> _Planned:
        """Return the pressings of an order: its texts have no part in them."""
        found = self._planned.get(order.shoe)
        if found is None:
            planned = plan(self._book, order, marked)
            declined = any(one.recipe.verdict == "decline" for one in marked)
            pressed = () if declined else pressed_of(self._book, marked, planned)
            found = self._planned[order.shoe] = _Planned(plan=planned, pressed=pressed)
        return found

    def _fields_at(self, index: int, place: int) -> str:
        """Return where in a row what fills a placement's text is: one field, or all of them."""
        names = self._texts[place].fields
        return f"/rows/{index}/fields/{names[0]}" if len(names) == 1 else f"/rows/{index}/fields"

    def _own(self, row: _Row, pointer: str) -> str | None:
        """Return where in the row what an order's pointer leads to is from; None where the row has no part in it."""
        at = f"/rows/{row.index}"
        if pointer == "/shoe" or pointer.startswith("/shoe/"):
            if row.asked.shoe is not None:
                return at + pointer
            return f"{at}/size" if row.asked.size is not None and pointer.startswith("/shoe/size") else None
        found = _PLACEMENT.fullmatch(pointer)
        if found is None:
            return None
        place = int(found[1])
        if found[2] == "panel":
            return f"{at}/shoe" if row.asked.shoe is not None else None
        templated = place in self._texts and self._texts[place].fields
        # What is wrong with the font or the height is so in every row; what is too large may be so in one.
        own = found[3] != "/font"
        return self._fields_at(row.index, place) if templated and own else None

    def _placed(self, row: _Row, pointer: str, detail: str) -> Fault | None:
        """Return a fault of a row at its place there; one of the order is kept for itself."""
        own = self._own(row, pointer)
        if own is None:
            self.faults.append(Fault(pointer=f"/order{pointer}", detail=detail))
            return None
        return Fault(pointer=own, detail=detail)

    def _subject(self, row: _Row, pointer: str) -> str:
        return self._own(row, pointer) or f"/order{pointer}"


def _with_text(placement: Placement, text: str) -> Placement:
    assert isinstance(placement.artwork, TextArtwork)  # noqa: S101 - only texts are templates
    return replace(placement, artwork=replace(placement.artwork, text=text))


class _Sold(Struct, frozen=True, kw_only=True):
    """Cost, price and purchases of the rows that are done, and each row's share of them."""

    cost: Cost | None
    price: RosterPrice | None
    shares: tuple[Money, ...]
    rows: tuple[RowPrice, ...]
    buy: tuple[Purchase, ...]


_NOTHING: Final = _Sold(cost=None, price=None, shares=(), rows=(), buy=())


def _sell(book: Book, work: Work, policy: AnyPolicy) -> _Sold:
    try:
        costed, priced = price_parts(book, work, policy)
    except RefusedError as error:
        raise RefusedError(tuple(_under_order(error.faults))) from error
    currency = policy.currency
    return _Sold(
        cost=costed.cost,
        price=RosterPrice(
            policy=policy.id,
            total=money(priced.total, currency),
            margin=priced.margin,
            why=priced.why,
            warnings=priced.warnings,
        ),
        shares=apportioned(costed.cost.total, costed.shares),
        rows=tuple(
            RowPrice(each=money(each, currency), total=money(total, currency))
            for each, total in zip(priced.each, priced.totals, strict=True)
        ),
        buy=tuple(purchases(book, costed.lots, work.parts, work.units)),
    )


def _counts(rows: Sequence[_Row]) -> RosterCounts:
    verdicts = [row.verdict for row in rows]
    return RosterCounts(
        ready=verdicts.count("ready"),
        trial=verdicts.count("trial"),
        declined=verdicts.count("decline"),
        faulty=verdicts.count(None),
    )


def _answer(row: _Row, cost: Money | None, price: RowPrice | None) -> RowAnswer:
    return RowAnswer(
        row=row.index,
        id=row.asked.id,
        verdict=row.verdict,
        faults=row.faults,
        reasons=row.reasons,
        pairs=row.order.pairs,
        placements=tuple(
            RowPlacement(
                text=one.placement.artwork.text if isinstance(one.placement.artwork, TextArtwork) else None,
                verdict=worst([one.fit.verdict, one.recipe.verdict]),
                width_mm=one.fit.artwork.width_mm,
                height_mm=one.fit.artwork.height_mm,
                letter_height_mm=one.fit.artwork.letter_height_mm,
                clearance_mm=one.fit.clearance_mm,
            )
            for one in row.marked
        ),
        plan=row.plan,
        cost=cost,
        price=price,
    )


def _largest_letters(book: Book, roster: Roster, rows: Sequence[_Row]) -> Iterator[LargestLetters]:
    """Yield how high the letters of each text may be for all rows that were understood."""
    understood = [row for row in rows if row.marked]
    for place, placement in enumerate(roster.order.placements):
        if understood and isinstance(placement.artwork, TextArtwork) and placement.artwork.letter_height is not None:
            requests = tuple(fit_request(row.order, row.order.placements[place]) for row in understood)
            largest, binds = fits.largest_letters(book, requests)
            yield LargestLetters(placement=place, letter_height_mm=largest, row=understood[binds].index)
