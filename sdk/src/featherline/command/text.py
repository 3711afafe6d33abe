"""Answers as text for people, 80 columns wide."""

from __future__ import annotations

import math
import re
import textwrap
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from decimal import Decimal
from typing import Any, Final, cast

from msgspec import to_builtins

from featherline.command.parser import SHOE_TESTS
from featherline.wire import (
    BookAnswer,
    BookRevision,
    Caution,
    Cost,
    Fit,
    FitAnswer,
    LargestLetters,
    Money,
    Pressing,
    Price,
    QuantityPrice,
    QuoteAnswer,
    QuotedPlacement,
    Reason,
    Recipe,
    RecipeAnswer,
    Record,
    RecordAnswer,
    RecordsAnswer,
    RosterAnswer,
    RosterPrice,
    RowAnswer,
    Setting,
    Units,
)

_WIDTH: Final = 80
_LEFT: Final = 10  # the column of headings
_RIGHT: Final = _WIDTH - _LEFT
_ROUNDING_STEPS: Final = 1e-6  # of the last digit: less is a rounding error
_MM_PER_INCH: Final = 25.4  # exact: international yard and pound agreement, 1959
_KPA_PER_PSI: Final = 6.894757  # NIST SP 811 (2008) appendix B.8
_COUNTED: Final = {"artwork", "closing", "cut", "order", "pair", "piece"}  # units of cost lines that have a plural
_SIGNIFICANT_DIGITS: Final = 4  # for people; the JSON is exact
_MONEY_DECIMALS: Final = 2
_FIELD: Final = re.compile(r"`([a-z_.]+)`")
# The flags of the fields of requests that sentences name; those of `tests` are told by their pattern.
_FLAGS: Final[Mapping[str, str]] = {
    name: f"--{name.replace('_', '-')}" for name in ("makers_consent", "surface", "upper", "along", "film")
}
_BULLET: Final = re.compile(r"- |[ 0-9]{2}\. ")
# Control characters could rewrite the terminal: sentences quote an artwork's text.
_CONTROL: Final = re.compile(r"[\x00-\x09\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")


def quote(answer: QuoteAnswer, units: Units) -> str:
    """Return a quote as text: verdict, fits, settings, cost and price, and unless declined the steps and cautions."""
    reference = _heading("Order", [] if answer.reference is None else [answer.reference])
    blocks = [_verdict(answer.verdict, answer.reasons), reference, _charge(answer.price)]
    fits = [line for placement in answer.placements for line in _placement(placement, units)]
    sizes = dict.fromkeys(_foot(placement.fit, units) for placement in answer.placements)
    blocks.append(_heading("Fit", [*fits, *filter(None, sizes)]))
    for number, pressing in enumerate(answer.pressings, start=1):
        blocks.append(_heading(f"Press {number}", _pressing(pressing, units)))
        if answer.verdict != "decline":
            blocks.append(_steps(pressing.recipe))
    if answer.verdict != "decline":
        blocks.append(_cautions(caution for pressing in answer.pressings for caution in pressing.recipe.cautions))
    return _page(*blocks, _cost(answer.cost), _price(answer.price), _origin(answer))


def recipe(answer: RecipeAnswer, units: Units) -> str:
    """Return a recipe as text: verdict, setting with its window, steps and cautions."""
    return _page(
        _verdict(answer.recipe.verdict, answer.recipe.reasons),
        _heading("Press", _recipe(answer.recipe, units)),
        _heading("Or", _alternatives(answer.recipe, units)),
        _steps(answer.recipe),
        _cautions(answer.recipe.cautions),
        _origin(answer),
    )


def fit(answer: FitAnswer, units: Units) -> str:
    """Return a fit as text: verdict, size, clearance and the largest that fits."""
    return _page(
        _verdict(answer.fit.verdict, answer.fit.reasons),
        _heading("Fit", filter(None, [*_fit(answer.fit, units), _foot(answer.fit, units)])),
        _origin(answer),
    )


def roster(answer: RosterAnswer, lines: Sequence[int], remarks: Iterable[str] = ()) -> str:
    """Return the summary of a roster as text: counts, price, the rows that are not ready, letter heights, purchases.

    Args:
        answer: The answer.
        lines: The number of each row's line in its file.
        remarks: What is to be known of the file itself.
    """
    counts = answer.counts
    summary = (
        f"{_count(len(answer.rows), 'row')}, {_count(answer.pairs, 'pair')} to press: {counts.ready} ready, "
        f"{counts.trial} to try first, {counts.declined} declined, {counts.faulty} faulty"
    )
    return _page(
        _heading("Roster", [summary]),
        _heading("List", remarks),
        _roster_charge(answer.price),
        _heading("Rows", _rows(answer.rows, lines)),
        _heading("Letters", (_largest_letters(largest, lines) for largest in answer.largest_letters)),
        _heading("Buy", (f"- {purchase.sentence}" for purchase in answer.buy)),
        _heading("Time", [] if answer.cost is None else [_times(answer.cost)]),
        _origin(answer),
    )


def _rows(rows: Sequence[RowAnswer], lines: Sequence[int]) -> Iterator[str]:
    """Yield what is said of rows that are not ready, once for all lines of which it is said.

    A fault that several rows have, such as one of a column, is told by itself.
    """
    told = [
        (f"{line} ({row.id})" if row.id else str(line), row.verdict or "fault", row_reasons(row))
        for line, row in zip(lines, rows, strict=True)
        if row.verdict != "ready" or row.warnings
    ]
    counts = Counter(reason for _, verdict, reasons in told if verdict == "fault" for reason in reasons)
    alike: dict[str, list[str]] = {}
    for line, verdict, reasons in told:
        shared = [reason for reason in reasons if verdict == "fault" and counts[reason] > 1]
        others = " ".join(reason for reason in reasons if reason not in shared)
        for said in [*shared, others] if others or not shared else shared:
            alike.setdefault(f"{verdict}. {said}".rstrip(), []).append(line)
    for said, of in alike.items():
        if len(of) == len(rows) > 1:
            yield f"- every line: {said}"
        else:
            yield f"- line{'s' if len(of) > 1 else ''} {', '.join(of)}: {said}"


def with_flags(sentence: str) -> str:
    """Return a sentence of the service with the flag after each field of a request that it names and a flag states."""
    return _FIELD.sub(_with_flag, sentence)


def _with_flag(field: re.Match[str]) -> str:
    name = field[1].removeprefix("tests.")
    flag = f"--{name.replace('_', '-')}" if name in SHOE_TESTS and name != field[1] else _FLAGS.get(field[1])
    return field[0] if flag is None else f"{field[0]} ({flag})"


def row_reasons(row: RowAnswer) -> Sequence[str]:
    """Return the faults of a roster's row, the reasons for its verdict and its warnings, without repetition."""
    faults = (detail if (detail := fault.detail).endswith((".", "?", "!")) else f"{detail}." for fault in row.faults)
    sentences = (*faults, *(reason.sentence for reason in row.reasons), *row.warnings)
    return tuple(dict.fromkeys(map(with_flags, sentences)))


def _roster_charge(price: RosterPrice | None) -> list[str]:
    if price is None:
        return []
    return _heading("Charge", [_total(price), *price.warnings])


def _largest_letters(largest: LargestLetters, lines: Sequence[int]) -> str:
    if largest.too_fine is not None:
        return (
            f"placement {largest.placement + 1}: no height suits every row: letters low enough for line "
            f"{lines[largest.row]} to fit make line {lines[largest.too_fine]} too fine for the film"
        )
    if largest.letter_height_mm is None:
        return f"placement {largest.placement + 1}: the letters of one row fit at no height"
    return f"placement {largest.placement + 1}: up to {largest.letter_height_mm:.1f} mm high for every row to fit"


def book(answer: BookAnswer) -> str:
    """Return the contents of the book as text."""
    invented = "Demonstration data: the shop, its names and its prices are invented." if answer.invented else ""
    return _page(
        _heading("Book", [answer.name, *filter(None, [invented])]),
        [_wrap(f"{shelf.kind:<{_LEFT}}{', '.join(shelf.ids)}", _LEFT, 0) for shelf in answer.kinds],
        _heading("Revisions", map(_revision, answer.revisions) if len(answer.revisions) > 1 else ()),
        _heading("Plug-ins", (f"{it.kind} {it.name}: {it.distribution} {it.version}" for it in answer.plugins)),
        _origin(answer),
    )


def _revision(revision: BookRevision) -> str:
    """Return when a revision of the book is in force, and what it changes."""
    since = "" if revision.since is None else f" from {revision.since:%Y-%m-%d %H:%M:%S} UTC"
    until = "" if revision.until is None else f" until {revision.until:%Y-%m-%d %H:%M:%S} UTC"
    changed = ", ".join(f"{shelf.kind}/{name}" for shelf in revision.changes for name in shelf.ids)
    changes = f"; changes {changed}" if changed else ""
    return f"{_short(revision.revision)} {revision.state}{since}{until}{changes}"


def _short(revision: str) -> str:
    return revision.removeprefix("sha256:")[:12]


def records(answer: RecordsAnswer[Record]) -> str:
    """Return the ids and names of the records of one kind as text."""
    widest = max((len(record.id) for record in answer.records), default=0) + 2
    return _page([f"{record.id:<{widest}}{getattr(record, 'name', '')}".rstrip() for record in answer.records])


def record(answer: RecordAnswer[Record]) -> str:
    """Return every field of a record as text."""
    return _page(list(_fields(to_builtins(answer.record), 0)))


def _page(*blocks: Sequence[str]) -> str:
    """Return blocks of lines, divided by empty lines, without control characters."""
    text = "\n\n".join("\n".join(block) for block in blocks if block)
    return _CONTROL.sub("?", text)


def _wrap(line: str, hang: int, indent: int = _LEFT) -> str:
    """Return a paragraph, wrapped, with its second and later lines indented by `hang` more."""
    return textwrap.fill(
        line,
        _WIDTH,
        initial_indent=" " * indent,
        subsequent_indent=" " * (indent + hang),
        break_long_words=False,
        break_on_hyphens=False,
    )


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def _heading(name: str, lines: Iterable[str]) -> list[str]:
    """Return lines in the right column, with a heading beside the first; without lines nothing."""
    block = [_wrap(line, len(bullet[0]) if (bullet := _BULLET.match(line)) else 0) for line in lines]
    return _beside(name, block) if block else []


def _verdict(verdict: str, reasons: Iterable[Reason]) -> list[str]:
    meanings = {
        "ready": "ready: do it",
        "trial": "trial: try it first, as the reasons say",
        "decline": "decline: do not",
    }
    sentences = dict.fromkeys(f"- {with_flags(reason.sentence)}{_evidence(reason)}" for reason in reasons)
    return _heading("Verdict", [meanings[verdict], *sentences])


def _evidence(reason: Reason) -> str:
    return "" if reason.evidence in {None, "published"} else f" (evidence: {reason.evidence})"


def _placement(placement: QuotedPlacement, units: Units) -> Iterator[str]:
    shoes = {"both": "both shoes", "left": "left shoe", "right": "right shoe"}[placement.sides]
    lines = _fit(placement.fit, units)
    yield f"{next(lines)}, {shoes}: {placement.fit.verdict}"
    yield from lines


def _fit(answer: Fit, units: Units) -> Iterator[str]:
    artwork = answer.artwork
    yield f"{answer.panel} ({answer.face} face)"
    yield f"artwork {_length(artwork.width_mm, units)} wide, {_length(artwork.height_mm, units)} high as cut"
    is_over = answer.clearance_mm < 0.0
    distance = _bound(abs(answer.clearance_mm), units, upwards=is_over)
    needed, side = _bound(answer.clearance_needed_mm, units, upwards=True), "over" if is_over else "clear of"
    yield f"{distance} {side} the nearest {answer.bound_by}; {needed} clear needed"
    if answer.largest is None:
        yield "no size of it fits at this place"
    else:
        yield (
            f"largest at this place {_length(answer.largest.width_mm, units)} wide, "
            f"{_length(answer.largest.height_mm, units)} high ({answer.largest.scale:.0%})"
        )
    gap = "" if artwork.narrowest_gap_mm is None else f", narrowest gap {_length(artwork.narrowest_gap_mm, units)}"
    yield f"narrowest stroke {_length(artwork.narrowest_stroke_mm, units)}{gap}"
    if answer.contrast is not None:
        yield answer.contrast.sentence


def _foot(answer: Fit, units: Units) -> str:
    """Return the foot that a shoe's size is for, and the scale that says so; empty for a shoe without a size."""
    if answer.size is None:
        return ""
    return f"the shoe is for a foot {_length(answer.size.foot_mm, units)} long; {answer.size.convention}"


def _pressing(pressing: Pressing, units: Units) -> Iterator[str]:
    shoes = " and ".join(pressing.shoes)
    yield f"loading {pressing.loading}, {pressing.face} face, {shoes}, {pressing.shoes_at_once} at once"
    yield from _recipe(pressing.recipe, units)


def _recipe(answer: Recipe, units: Units) -> Iterator[str]:
    yield f"{answer.film} on the {answer.press} press"
    if answer.setting is None:
        yield "no setting: the reasons say why"
    else:
        yield _setting(answer.setting, units)
    if answer.window is not None:
        worst = answer.window.worst_case
        yield f"dwell {_band(answer.window.shortest_s, answer.window.longest_s)}"
        yield f"in the worst case of 95 % {_band(worst.shortest_s, worst.longest_s)}"
        yield from (f"- {bound.sentence}" for bound in answer.window.bound_by)
    if answer.peel is not None:
        wait_s = answer.peel.wait_s
        yield f"peel {answer.peel.when}, {f'{wait_s:.0f} s after opening' if wait_s >= 1.0 else 'at once'}"
    yield from (f"- {with_flags(help_.sentence)}" for help_ in answer.help)


def _steps(answer: Recipe) -> list[str]:
    return _heading("Steps", (f"{number:>2}. {step.sentence}" for number, step in enumerate(answer.steps, start=1)))


def _setting(setting: Setting, units: Units) -> str:
    kpa, psi = f"{setting.pressure_kpa:.0f} kPa", f"{setting.pressure_kpa / _KPA_PER_PSI:.0f} psi"
    temperature = temperatures(setting, units)
    pressure = psi if units == "us" else kpa
    cover = "without a cover sheet" if setting.cover is None else f"under {setting.cover}"
    return f"SET {temperature}, {setting.dwell_s:g} s, {setting.pressure} pressure ({pressure}), {cover}"


def temperatures(setting: Setting, units: Units) -> str:
    """Return a setting's temperature on the scales that the press can be set in, that of `units` first."""
    said = {"degC": f"{setting.temperature_c:.4g} degC", "degF": f"{setting.temperature_f:.4g} degF"}
    scales = ("degF", "degC") if units == "us" else ("degC", "degF")
    first, *other = [said[scale] for scale in scales if scale in setting.settable_in]
    return f"{first} ({other[0]})" if other else first


def _band(shortest: float | None, longest: float | None) -> str:
    """Return a range of dwells, rounded inwards: none is promised that lies outside."""
    if shortest is None or longest is None or shortest > longest:
        bonds = "does not bond" if shortest is None else f"bonds from {_rounded(shortest, 0, upwards=True)} s"
        harms = "harms at once" if longest is None else f"harms after {_rounded(longest, 0, upwards=False)} s"
        return f"without a window: {bonds}, {harms}"
    places = 0 if math.ceil(shortest - _ROUNDING_STEPS) <= math.floor(longest + _ROUNDING_STEPS) else 1
    first, last = _rounded(shortest, places, upwards=True), _rounded(longest, places, upwards=False)
    return f"from {first} s to {last} s"


def _alternatives(answer: Recipe, units: Units) -> Iterator[str]:
    for alternative in answer.alternatives:
        setting, window = _setting(alternative.setting, units).removeprefix("SET "), alternative.window
        yield f"- {setting}; dwell {_band(window.shortest_s, window.longest_s)}"


def _cautions(cautions: Iterable[Caution]) -> list[str]:
    return _heading("Cautions", dict.fromkeys(f"- {caution.sentence}" for caution in cautions))


def _cost(cost: Cost | None) -> list[str]:
    if cost is None:
        return _heading("Cost", ["no cost and no price: the order is declined"])
    rows = [
        (f"{line.detail} ({_quantity(line.quantity, line.unit)} at {_decimals(line.rate)})", line.amount.amount)
        for line in cost.lines
    ]
    return [
        *_table("Cost", [*rows, (f"total in {cost.total.currency}", cost.total.amount)]),
        _wrap(f"of it material {cost.material.amount}; chance of spoiling a pair {cost.spoil_chance:.2%}", 0),
        _wrap(_times(cost), 0),
        *(_wrap(f"{use.film} in {use.colour}, {use.buy.sentence}", 0) for use in cost.film if use.buy is not None),
    ]


def _quantity(quantity: str, unit: str) -> str:
    """Return a quantity of a cost line, with the plural of a unit that is counted."""
    is_plural = unit in _COUNTED and Decimal(quantity) != 1
    return f"{_decimals(quantity)} {unit}{'s' if is_plural else ''}"


def _decimals(text: str) -> str:
    """Return an exact decimal number with no more decimals than four significant digits need, but two at least."""
    number = Decimal(text)
    decimals = -cast("int", number.as_tuple().exponent)
    places = max(_MONEY_DECIMALS, _SIGNIFICANT_DIGITS - 1 - number.adjusted() if number else 0)
    return text if decimals <= places else f"{number:.{places}f}"


def _times(cost: Cost) -> str:
    times = cost.times
    busy = (("press", times.press_s), ("cutter", times.cutter_s), ("cooling places", times.cooling_s))
    places = "".join(f", {name} {_minutes(seconds)}" for name, seconds in busy if seconds)
    free = f" and {_minutes(times.idle_s)} free" if times.idle_s else ""
    return f"start to end {_minutes(times.elapsed_s)}: hands {_minutes(times.labour_s)} paid{free}{places}"


def _minutes(seconds: float) -> str:
    return f"{seconds / 60:.1f} min"


def _price(price: Price | None) -> list[str]:
    if price is None:
        return []
    return _table("Price", [(step.sentence, step.amount.amount) for step in price.why])


def _charge(price: Price | None) -> list[str]:
    if price is None:
        return []
    lines = [f"{_amount(price.each)} a pair, {_total(price)}", *price.warnings]
    return [*_heading("Charge", lines), *_quantities(price.quantities)]


def _quantities(quantities: Sequence[QuantityPrice]) -> list[str]:
    """Return a table of the prices of other numbers of pairs."""
    rows = [(f"{_count(line.pairs, 'pair')}, {_amount(line.each)} each", line.total.amount) for line in quantities]
    return _table("Other quantities", rows) if rows else []


def _total(price: Price | RosterPrice) -> str:
    """Return the total of a price, set-up and what reaches the minimum order in it, its tax, policy and margin."""
    set_up = price.set_up
    once = (
        f", {_amount(set_up)} of it for set-up and order costs" if set_up is not None and Decimal(set_up.amount) else ""
    )
    if price.to_minimum is not None:
        once += f", {_amount(price.to_minimum)} of it to the minimum order"
    tax = "before tax" if price.tax is None else f"{_amount(price.tax.gross)} with {_amount(price.tax.tax)} of tax"
    basis = f"{tax}; policy {price.policy}, {price.margin:.0%} margin"
    return f"{_amount(price.total)} in all{once} ({basis})"


def _amount(money: Money) -> str:
    return f"{money.amount} {money.currency}"


def _table(name: str, rows: Sequence[tuple[str, str]]) -> list[str]:
    """Return rows of a text, wrapped, with an amount at the right edge of the last line."""
    width = max(len(amount) for _, amount in rows) + 2
    block: list[str] = []
    for text, amount in rows:
        lines = textwrap.wrap(text, _RIGHT - width, subsequent_indent="  ", break_on_hyphens=False) or [""]
        block += [" " * _LEFT + line for line in lines]
        block[-1] = f"{block[-1]:<{_WIDTH - width}}{amount:>{width}}"
    return _beside(name, block)


def _beside(name: str, block: list[str]) -> list[str]:
    """Return lines in the right column with a heading beside the first, or above it if the heading is long."""
    if len(name) >= _LEFT:
        return [name, *block]
    return [f"{name:<{_LEFT}}{block[0][_LEFT:]}", *block[1:]]


def _origin(answer: QuoteAnswer | RecipeAnswer | FitAnswer | RosterAnswer | BookAnswer) -> list[str]:
    return [f"{'':<{_LEFT}}book {_short(answer.book)}, engine {answer.engine}"]


def _length(millimetres: float, units: Units) -> str:
    if units == "metric":
        return f"{millimetres:.1f} mm"
    inches = millimetres / _MM_PER_INCH
    return f"{inches:.2f} in" if inches >= 1 else f"{inches:.3f} in"


def _bound(millimetres: float, units: Units, *, upwards: bool) -> str:
    """Return a length rounded down where it promises room, and up where it takes or needs it, as the service does."""
    places, value, unit = (1, millimetres, "mm") if units == "metric" else (2, millimetres / _MM_PER_INCH, "in")
    return f"{_rounded(value, places, upwards=upwards)} {unit}"


def _rounded(value: float, places: int, *, upwards: bool) -> str:
    """Return a value rounded down or up; one within rounding errors of a whole step counts as that step."""
    steps = value * 10.0**places
    whole = math.ceil(steps - _ROUNDING_STEPS) if upwards else math.floor(steps + _ROUNDING_STEPS)
    return f"{whole / 10.0**places:.{places}f}"


def _fields(value: Any, depth: int) -> Iterator[str]:  # noqa: ANN401 - plain data of any shape
    """Yield the fields of an object: flat values on the line of their name, others indented below it."""
    for key, item in value.items():
        is_list = isinstance(item, list | tuple) and any(isinstance(part, dict) for part in item)
        if not is_list and _is_flat(item):
            yield _wrap(f"{key}: {_flat(item)}", 2, 2 * depth)
            continue
        yield f"{'  ' * depth}{key}:"
        for part in item if is_list else [item]:
            if _is_flat(part):
                yield _wrap(f"- {_flat(part)}", 2, 2 * depth + 2)
            else:
                first, *others = _fields(part, depth + 2)
                yield f"{'  ' * depth}  - {first.lstrip()}" if is_list else first.removeprefix("  ")
                yield from others if is_list else (line.removeprefix("  ") for line in others)


def _is_flat(value: Any) -> bool:  # noqa: ANN401
    """Return whether a value holds no objects, except for an object of flat values."""
    parts = value.values() if isinstance(value, dict) else value if isinstance(value, list | tuple) else ()
    return not any(isinstance(part, dict) or not _is_flat(part) for part in parts)


def _flat(value: Any) -> str:  # noqa: ANN401
    """Return a flat value as text."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, dict):
        if value.keys() == {"amount", "currency"}:
            return f"{value['amount']} {value['currency']}"
        return ", ".join(f"{key} {_flat(part)}" for key, part in value.items() if part is not None and part != "")
    if isinstance(value, list | tuple):
        return ", ".join(map(_flat, value)) or "none"
    return f"{value:.10g}" if isinstance(value, float) else "none" if value in {None, ""} else str(value)
