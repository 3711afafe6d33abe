"""A counter's terminal: can a walk-in's pair be marked, for how much, and how is it tried first?

The clerk reads the tongue label and holds a ruler to the panel. Unknown properties count as the worst that the label
allows. Without an answer of the service there is no yes.

    python counter.py leather 90x40 MARLOW      # asks FEATHERLINE_URL, else http://127.0.0.1:8037
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from typing import get_args

import msgspec
import stamina.instrumentation

from featherline import Client, FeatherlineError, RequestRefused
from featherline.wire import Label, MeasuredPanel, MeasuredShoe, Order, Placement, Rectangle, TextArtwork, TrialRequest

FILM, COLOUR, PANEL = "smooth", "gorse", "outer-quarter"


def order_of(label: str, area: str, text: str) -> Order:
    """Return the order of a text on a shoe known by its label and the largest rectangle on its panel."""
    width, _, height = area.partition("x")
    panel = MeasuredPanel(panel=PANEL, shape=Rectangle(width=f"{width} mm", height=f"{height} mm"))
    shoe = MeasuredShoe(label=msgspec.convert(label, Label), panels=(panel,))
    artwork = TextArtwork(text=text, font="plain", letter_height="9 mm")
    return Order(shoe=shoe, placements=(Placement(panel=PANEL, film=FILM, colour=COLOUR, artwork=artwork),))


def screen(client: Client, order: Order) -> Iterator[str]:
    """Yield the lines for the clerk."""
    quote = client.quote(order)
    yield {"ready": "YES", "trial": "TRY IT FIRST", "decline": "NO"}[quote.verdict]
    yield from dict.fromkeys(f"  {reason.sentence}" for reason in quote.reasons)
    if quote.price is not None:
        yield f"  {quote.price.total.amount} {quote.price.total.currency}"
    for placement in quote.placements:
        largest = placement.fit.largest
        if placement.fit.verdict == "decline" and largest is not None:
            yield f"  It fits up to {largest.width_mm:.0f} x {largest.height_mm:.0f} mm."
    if quote.verdict == "trial":
        trial = client.trial(TrialRequest(shoe=order.shoe, panel=PANEL, film=FILM)).trial
        yield from (f"  Before: {sentence}" for sentence in trial.before)
        for number, rung in enumerate(trial.rungs, start=1):
            setting = rung.setting
            yield f"  {number}. {setting.temperature_c:.0f} degC, {setting.dwell_s:.0f} s, {setting.pressure} pressure"
        yield from (f"  Stop: {sentence}" for sentence in trial.stop)


def main(argv: list[str]) -> int:
    """Show the answer; return 0 for yes, 2 for a wrong command line, and 1 for anything else."""
    if len(argv) != 3 or argv[0] not in get_args(get_args(Label)[0]):  # noqa: PLR2004 - label, area, text
        print(f"usage: counter.py {'|'.join(get_args(get_args(Label)[0]))} WIDTHxHEIGHT TEXT", file=sys.stderr)
        return 2
    stamina.instrumentation.set_on_retry_hooks([])  # retries are not shown
    with Client(timeout=8) as client:
        try:
            lines = list(screen(client, order_of(*argv)))
        except RequestRefused as error:
            lines = ["ASK AGAIN", *(f"  {fault.detail}" for fault in error.faults)]
        except FeatherlineError as error:
            lines = ["NO ANSWER: do not press", f"  {error}"]
    print("\n".join(lines))
    return 0 if lines[0] == "YES" else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
