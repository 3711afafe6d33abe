"""The question "what of this list can be done, and for how much?": rows checked apart, film and price together."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from functools import cached_property
from typing import Final

from msgspec import Struct
from msgspec.structs import replace

from featherline.wire import costs
from featherline.wire.artworks import TextArtwork
from featherline.wire.costs import Cost, Owner
from featherline.wire.money import Money
from featherline.wire.problems import Fault
from featherline.wire.quantities import LARGEST
from featherline.wire.quotes import Pressing
from featherline.wire.records import Film
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
from featherline.wire.texts import Identifier
from featherline.wire.verdicts import Message, Reason, Verdict
from featherline_service.book.shop_book import Book
from featherline_service.messages.told import told
from featherline_service.messages.values import Said, messages, said
from featherline_service.questions import templates
from featherline_service.questions.checks import Checks, Places, RefusedError, said_fault, told_fault
from featherline_service.questions.fit.fits import largest_letters
from featherline_service.questions.order import fine_detail
from featherline_service.questions.order.orders import Order, read_order
from featherline_service.questions.pricing.cost_lines import Part, Presswork, Work
from featherline_service.questions.pricing.film_lots import too_wide
from featherline_service.questions.pricing.prices import MOST_PAIRS, apportioned, price_parts
from featherline_service.questions.pricing.purchases import purchases
from featherline_service.questions.pricing.terms import read_terms
from featherline_service.questions.pricing.trial_costs import TrialWork
from featherline_service.questions.quote.evidence import sightings_of
from featherline_service.questions.quote.first_trials import trial_work, trials_of
from featherline_service.questions.quote.marks import Mark
from featherline_service.questions.quote.pressings import Plan, plan
from featherline_service.questions.quote.quotes import findings_of, mark
from featherline_service.questions.quote.work import Settings, part_of, presswork_of
from featherline_service.questions.recipe.evidence.sightings import Sighting
from featherline_service.questions.roster import letter_spacings
from featherline_service.questions.templates import Template, TemplateError
from featherline_service.questions.verdicts import worst
from featherline_service.runtime.engine import ENGINE
from featherline_service.shape.outlines.figures import Figure

_LONGEST_TEXT: Final = 200  # of an artwork's text, on the wire


def compose(book: Book, roster: Roster) -> RosterAnswer:
    """Return the answer to a roster: every row checked alone, those that can be done priced together.

    Raises:
        RefusedError: with the faults of the order or the whole roster; a fault of a row is in its answer.
    """
    checks = Checks()
    of_order = checks.under("/order")
    texts = _templates(roster, of_order)
    terms = read_terms(book, roster.order, of_order)
    _check_pairs(roster, checks)
    if roster.order.quantities:
        checks.note(
            "/order/quantities",
            told("roster.quantities", "A roster has the pairs of its rows: leave the quantities out"),
        )
    if roster.order.propose is not None:
        checks.note(
            "/order/propose",
            told("roster.propose", "Proposals are for one order: ask for a quote or an offer of the row"),
        )
    checks.settle()
    assert terms is not None  # noqa: S101 - settle has raised where there are none
    rows = _Rows(book, roster, texts, outlined=bool(terms.outlines_s))
    roster, spacings = letter_spacings.spaced(book, roster, rows.orders())
    if spacings:
        rows = _Rows(book, roster, texts, outlined=bool(terms.outlines_s))
    looked = [rows.look_at(index) for index in range(len(roster.rows))]
    if rows.faults:
        raise RefusedError(tuple(dict.fromkeys(rows.faults)))
    done = [row for row in looked if row.part is not None]
    work = Work(parts=tuple(row.part for row in done if row.part is not None), terms=terms)
    left_out = [row for row in looked if row.part is None]
    sold = _sell(book, work, of_order, left_out) if done else _NOTHING
    repeated = _repeated_ids(roster)
    of_row = {row.index: (share, price) for row, share, price in zip(done, sold.shares, sold.rows, strict=True)}
    return RosterAnswer(
        reference=roster.order.reference,
        verdict=worst([row.verdict for row in done if row.verdict is not None]) if done else "decline",
        counts=_counts(looked),
        pairs=work.pairs,
        rows=tuple(
            replace(
                _answer(row, *of_row.get(row.index, (None, None))),
                warnings=(repeated[row.id].sentence,) if row.id in repeated else (),
                warnings_messages=(repeated[row.id],) if row.id in repeated else (),
            )
            for row in looked
        ),
        plans=tuple(rows.plans(done)),
        largest_letters=tuple(_largest_letters(looked)),
        letter_spacings=spacings,
        unused_fields=tuple(sorted(_given(roster).difference(*(template.fields for template in texts.values())))),
        cost=sold.cost,
        price=sold.price,
        buy=sold.buy,
        book=book.revision,
        book_until=book.until,
        engine=ENGINE,
        seal=None,
    )


def _check_pairs(roster: Roster, checks: Checks) -> None:
    pairs = sum(row.pairs or roster.order.pairs for row in roster.rows)
    if pairs > MOST_PAIRS:
        checks.note(
            "/rows",
            told(
                "roster.too-many-pairs",
                "The rows have {pairs:,} pairs in all; give at most {most_pairs:,} at a time",
                pairs=pairs,
                most_pairs=MOST_PAIRS,
            ),
        )


def _given(roster: Roster) -> set[str]:
    """Return the fields that rows give."""
    return {name for row in roster.rows for name in row.fields}


def _repeated_ids(roster: Roster) -> dict[str, Message]:
    """Return a sentence for each id that several rows have."""
    counts = Counter(row.id for row in roster.rows if row.id is not None)
    return {
        name: messages([said("roster.repeated-id", rows=count, id=name)])[0]
        for name, count in counts.items()
        if count > 1
    }


_Texts = dict[int, Template]
"""Templates of an order by the index of their placement."""


def _templates(roster: Roster, checks: Checks) -> _Texts:
    """Return the templates of an order; note what is wrong with them for every row."""
    texts: _Texts = {}
    given = _given(roster)
    readable = any(not row.faults for row in roster.rows)
    for index, placement in enumerate(roster.order.placements):
        if not isinstance(placement.artwork, TextArtwork):
            continue
        if placement.artwork.letter_height == LARGEST:
            checks.note(
                f"/placements/{index}/artwork/letter_height",
                told(
                    "roster.largest-letters",
                    "The letters of a roster are of one size: give a height; `largest_letters` of the "
                    "answer says the most",
                ),
            )
        at = f"/placements/{index}/artwork/text"
        try:
            texts[index] = templates.read(placement.artwork.text)
        except TemplateError as error:
            checks.note(at, error.told)
            continue
        for name in texts[index].fields if readable else ():
            if name not in given:
                has = ", ".join(sorted(given)) or "none"
                near = templates.nearest(name, given.difference(texts[index].fields))
                hint = "" if near is None else f"; did you mean {near!r}?"
                checks.note(
                    at,
                    told(
                        "roster.field-nowhere",
                        "No row gives the field {name!r}; rows give: {has}{hint}",
                        name=name,
                        has=has,
                        hint=hint,
                    ),
                )
    return texts


class _Planned(Struct, frozen=True, kw_only=True):
    """The pressings of a shoe, for the bench and as work; no work where they are declined."""

    plan: Plan
    presswork: tuple[Presswork, ...]
    trials: tuple[TrialWork, ...]


_PlanKey = tuple[Shoe, Owner, int, tuple[tuple[Identifier, ...], ...]]
"""What the pressings of a roster's rows depend on: shoe, owner, pairs on a platen, and platens of each placement."""


class _Row(Struct, frozen=True, kw_only=True):
    """The outcome of a row. One with faults has no verdict; one that is declined has no work."""

    index: int
    id: str | None
    pairs: int
    faults: tuple[Fault, ...] = ()
    marks: tuple[Mark, ...] = ()
    verdict: Verdict | None = None
    reasons: tuple[Reason, ...] = ()
    plan: int | None = None
    part: Part | None = None


class _Rows:
    """Checks the rows of a roster one by one, and keeps what they share.

    `faults` are the order's, not a row's own.
    """

    def __init__(self, book: Book, roster: Roster, texts: _Texts, *, outlined: bool) -> None:
        self._book = book
        self._roster = roster
        self._texts = texts
        self._outlined = outlined
        self._planned: dict[_PlanKey, _Planned] = {}
        self._settings: Settings = {}
        self._numbers: dict[tuple[Pressing, ...], int] = {}
        self.faults: list[Fault] = []

    @cached_property
    def _sightings(self) -> tuple[Sighting, ...]:
        """What the order observes, for all rows: on the order's own shoe where an observation names none."""
        return sightings_of(self._book, self._roster.order, Checks().under("/order"))

    def orders(self) -> list[tuple[int, costs.Order]]:
        """Return the orders of rows whose fields and sizes have no faults, by index."""
        filled = [(index, *self._filled(index, asked)) for index, asked in enumerate(self._roster.rows)]
        return [(index, order) for index, order, faults in filled if not faults]

    def look_at(self, index: int) -> _Row:
        """Return the outcome of one row without its price."""
        asked = self._roster.rows[index]
        request, faults = self._filled(index, asked)
        row = _Row(index=index, id=asked.id, pairs=request.pairs, faults=tuple(faults))
        if faults:
            return row
        checks = Checks().at(self._places(index, asked))
        order = read_order(self._book, request, checks)
        if order is None or checks.faults:
            return replace(row, faults=self._own(checks))
        try:
            marks = mark(self._book, order, self._sightings, largest_too=False)
        except RefusedError as error:
            self.faults += error.faults
            return row
        planned = self._plan(order, marks)
        findings = findings_of(self._book, order, marks, planned.plan)
        row = replace(
            row,
            marks=tuple(marks),
            verdict=findings.verdict,
            reasons=tuple(replace(reason, subject=checks.pointer(reason.subject)) for reason in findings.reasons),
        )
        if findings.verdict == "decline":
            return row
        part = part_of(order, marks, planned.presswork, planned.trials, outlined=self._outlined)
        for piece in part.pieces:
            if (fault := too_wide(self._book, piece)) is not None:
                checks.note(piece.pointer, fault)
        if checks.faults:
            return replace(row, verdict=None, faults=self._own(checks))
        number = self._numbers.setdefault(findings.pressings, len(self._numbers))
        return replace(row, part=part, plan=number)

    def _own(self, checks: Checks) -> tuple[Fault, ...]:
        """Return the faults of the row itself; keep those of the order."""
        self.faults += [fault for fault in checks.faults if not fault.pointer.startswith("/rows/")]
        return tuple(fault for fault in checks.faults if fault.pointer.startswith("/rows/"))

    def plans(self, done: Sequence[_Row]) -> Iterator[PressingPlan]:
        """Yield the pressings that rows take, those of rows with the same pressings once."""
        for pressings, number in self._numbers.items():
            sharing = [row for row in done if row.plan == number]
            yield PressingPlan(
                rows=tuple(row.index for row in sharing),
                pairs=sum(row.pairs for row in sharing),
                pressings=pressings,
            )

    def _filled(self, index: int, asked: RosterRow) -> tuple[costs.Order, list[Fault]]:
        """Return the order of a row with its texts filled in, and the faults of the row's fields and size."""
        order = self._roster.order
        if asked.faults:
            stated = [
                told_fault(f"/rows/{index}/faults/{at}", told("row.stated", "{stated}", stated=text))
                for at, text in enumerate(asked.faults)
            ]
            return replace(order, pairs=asked.pairs or order.pairs), stated
        faults = _misplaced(index, asked, self._texts)
        placements = list(order.placements)
        for placement_index, template in self._texts.items():
            at = self._fields_at(index, placement_index)
            missing = [name for name in template.fields if name not in asked.fields]
            if missing:
                faults += [
                    told_fault(f"/rows/{index}/fields", told("missing", "Give the field {name!r}", name=name))
                    for name in missing
                ]
                continue
            text = template.fill(asked.fields)
            if not text.strip():
                faults.append(said_fault(at, said("fault.text.empty")))
            elif len(text) > _LONGEST_TEXT:
                faults.append(said_fault(at, said("fault.text.too-long", characters=len(text), most=_LONGEST_TEXT)))
            else:
                placements[placement_index] = _with_text(placements[placement_index], text)
        shoe = order.shoe if asked.shoe is None else asked.shoe
        if asked.size is not None:
            if isinstance(shoe, BookShoe):
                shoe = replace(shoe, size=asked.size)
            else:
                faults.append(
                    told_fault(
                        f"/rows/{index}/size",
                        told(
                            "roster.size-of-measured",
                            "A shoe that was measured has no size: give the row a `shoe` measured for itself",
                        ),
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

    def _plan(self, order: Order, marks: Sequence[Mark]) -> _Planned:
        """Return the pressings of an order; rows that are pressed alike share them.

        A text has a part in them by the platens that hold it, the pairs by how many lie on a platen at once.
        """
        most = max(self._book.platens[name].shoes_at_once for name in order.press.platens)
        key = (
            order.request.shoe,
            order.request.owner,
            min(order.request.pairs, most),
            tuple(row_mark.fit.platens for row_mark in marks),
        )
        planned = self._planned.get(key)
        if planned is None:
            pressings = plan(self._book, order, marks)
            declined = any(row_mark.recipe.verdict == "decline" for row_mark in marks)
            presswork: tuple[Presswork, ...] = ()
            trials: tuple[TrialWork, ...] = ()
            if not declined:
                tried = trials_of(self._book, order, marks)
                presswork = presswork_of(self._book, order, pressings, tried=tried, settings=self._settings)
                trials = trial_work(self._book, order, marks, tried)
            planned = self._planned[key] = _Planned(plan=pressings, presswork=presswork, trials=trials)
        return planned

    def _fields_at(self, index: int, placement_index: int) -> str:
        """Return where a placement's text is given in a row: at its one field, or at all of them."""
        names = self._texts[placement_index].fields
        return f"/rows/{index}/fields/{names[0]}" if len(names) == 1 else f"/rows/{index}/fields"

    def _places(self, index: int, asked: RosterRow) -> Places:
        """Return where the parts of a row's order are: in the row where it gives them, else in the roster's order."""
        parts: dict[str, str] = {}
        whole: dict[str, str] = {}
        if asked.shoe is not None:
            parts["/shoe"] = f"/rows/{index}/shoe"
            for placement_index in range(len(self._roster.order.placements)):
                whole[f"/placements/{placement_index}/panel"] = f"/rows/{index}/shoe"
        elif asked.size is not None:
            whole["/shoe/size"] = f"/rows/{index}/size"
        for placement_index, template in self._texts.items():
            if template.fields:
                artwork = f"/placements/{placement_index}/artwork"
                whole[artwork] = self._fields_at(index, placement_index)
                # The font is the order's.
                parts[f"{artwork}/font"] = f"/order{artwork}/font"
        return Places(rest="/order", parts=parts, whole=whole)


def _misplaced(index: int, asked: RosterRow, texts: _Texts) -> list[Fault]:
    """Return the faults of fields that no text asks for and that have the name of a value beside `fields`.

    Without them the row would be answered with the order's size or pairs, which the caller meant to replace.
    """
    wanted = {name for template in texts.values() for name in template.fields}
    return [
        told_fault(
            f"/rows/{index}/fields/{name}",
            told(
                "roster.size-among-fields",
                "No text asks for the field {name!r}; give the row's {name} beside `fields`, not among them",
                name=name,
            ),
        )
        for name in ("size", "shoe", "pairs", "owner")
        if name in asked.fields and name not in wanted and getattr(asked, name) is None
    ]


def _with_text(placement: costs.Placement, text: str) -> costs.Placement:
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


def _sell(book: Book, work: Work, checks: Checks, left_out: Sequence[_Row]) -> _Sold:
    costed, price, rows = price_parts(book, work, checks)
    leaves_out = messages(_left_out(left_out))
    return _Sold(
        cost=costed.cost,
        price=replace(
            price,
            warnings=(*price.warnings, *(each.sentence for each in leaves_out)),
            warnings_messages=(*price.warnings_messages, *leaves_out),
            leaves_out=tuple(row.index for row in left_out),
        ),
        shares=apportioned(costed.cost.total, costed.shares),
        rows=rows,
        buy=tuple(purchases(book, costed.lots, work.parts, work.terms.units)),
    )


def _left_out(rows: Sequence[_Row]) -> Iterator[Said]:
    """Yield the sentence that says which rows a total leaves out; nothing where it has all of them."""
    faulty = sum(row.verdict is None for row in rows)
    if rows:
        yield said("roster.leaves-out", rows=len(rows), faulty=faulty, declined=len(rows) - faulty)


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
        id=row.id,
        verdict=row.verdict,
        faults=row.faults,
        reasons=row.reasons,
        pairs=row.pairs,
        placements=tuple(
            RowPlacement(
                text=row_mark.placement.artwork.text,
                verdict=worst([row_mark.fit.verdict, row_mark.recipe.verdict]),
                width_mm=row_mark.fit.artwork.width_mm,
                height_mm=row_mark.fit.artwork.height_mm,
                letter_height_mm=row_mark.fit.artwork.letter_height_mm,
                clearance_mm=row_mark.fit.clearance_mm,
                mends=tuple(
                    replace(mend, subject=f"/order/placements/{row_mark.index}{mend.subject}")
                    for mend in row_mark.fit.mends
                ),
            )
            for row_mark in row.marks
        ),
        plan=row.plan,
        cost=cost,
        price=price,
    )


def _largest_letters(rows: Sequence[_Row]) -> Iterator[LargestLetters]:
    """Yield how high the letters of each text may be to fit in every row without faults."""
    understood = [row for row in rows if row.marks]
    for index, first in enumerate(understood[0].marks if understood else ()):
        if first.placement.artwork.by_letters:
            largest, binds = largest_letters([row.marks[index].placement for row in understood])
            fine = (
                None if largest is None else _too_fine([(row.index, row.marks[index]) for row in understood], largest)
            )
            yield LargestLetters(
                placement=index,
                letter_height_mm=largest if fine is None else None,
                row=understood[binds].index,
                too_fine=fine,
            )


def _too_fine(marks: Sequence[tuple[int, Mark]], letter_height_mm: float) -> int | None:
    """Return the first row whose text has too fine detail for its film with letters of a height [mm]; None for none.

    Detail grows with letters: a text that the film takes in smaller letters is not measured again.
    """
    for index, row_mark in marks:
        artwork, film = row_mark.placement.artwork, row_mark.placement.film
        capital = artwork.figure.capital
        assert capital is not None  # noqa: S101 - only texts have letters

        def declined(scale: float, film: Film = film, figure: Figure = artwork.figure) -> bool:
            return fine_detail.verdict(fine_detail.flaws(film, figure, scale)) == "decline"

        scale = letter_height_mm / capital
        if (scale < artwork.scale or declined(artwork.scale)) and declined(scale):
            return index
    return None
