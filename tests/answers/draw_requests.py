"""Draw the stored requests anew: ``python tests/answers/draw_requests.py``.

They are drawn from the records of the demo book, which the service itself is asked for, by a generator with a fixed
seed: the same book gives the same bytes. Each line is a request: `path`, `body` as JSON or `raw` as a text, and where
they are not usual `accept` and `type`. Nests of outlines are left out, for they are searched for by the clock.
"""

from __future__ import annotations

import asyncio
import copy
import json
import math
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from random import Random
from typing import Any, Final, TypeVar

import httpx2
from structlog.testing import capture_logs

from featherline_service.app import create_app
from featherline_service.settings import Settings

STORED: Final = Path(__file__).with_name("requests.jsonl")
SEED: Final = 8040
SVG: Final = "image/svg+xml"
KINDS: Final = ("shoes", "films", "fonts", "labels", "uppers", "covers", "presses", "policies", "materials")

Json = dict[str, Any]
Drawn = TypeVar("Drawn")
Table = Mapping[str, Sequence[tuple[str, Any]]]

# How many are drawn of each kind: sound ones, and ones with faults.
COUNTS: Final[Mapping[str, tuple[int, int]]] = {
    "recipe": (86, 8),
    "fit": (96, 9),
    "artwork": (36, 5),
    "order-cost": (32, 4),
    "measured-cost": (34, 6),
    "quote": (80, 9),
    "roster": (26, 5),
    "trial": (46, 4),
}
PATHS: Final = {
    "recipe": "/v1/recipes",
    "fit": "/v1/fits",
    "artwork": "/v1/artworks",
    "order-cost": "/v1/costs",
    "measured-cost": "/v1/costs",
    "quote": "/v1/quotes",
    "roster": "/v1/rosters",
    "trial": "/v1/trials",
}
PICTURES: Final = {"recipe": (SVG,), "fit": (SVG,), "quote": ("text/html", "application/pdf")}
BULK: Final = {"recipe": "recipe", "fit": "fit", "artwork": "artwork", "measured-cost": "cost", "quote": "quote"}

# Interval, zero and step [mm, mm, sizes]: size = (foot length - zero) / interval. ISO/TS 19407:2015 for mondopoint, JP
# and EU; the inch scales as the service's answers tell them, three sizes to the inch.
_INCH: Final = 25.4 / 3.0
SIZES: Final = {
    "mondopoint": (1.0, 0.0, 2.5),
    "JP": (10.0, 0.0, 0.5),
    "EU": (20.0 / 3.0, -40.0 / 3.0, 0.5),
    "UK": (_INCH, 23.0 * _INCH, 0.5),
    "US-men": (_INCH, 22.0 * _INCH, 0.5),
    "US-women": (_INCH, 20.5 * _INCH, 0.5),
    "US-women-FIA": (_INCH, 21.0 * _INCH, 0.5),
}
CHILDREN: Final = {"UK-child": (_INCH, 10.0 * _INCH, 0.5), "US-child": (_INCH, 29.0 / 3.0 * _INCH, 0.5)}
LARGEST_OF_CHILDREN: Final = 13.5

WORDS: Final = ("MARLOW", "TIDEWAY", "Eddy", "BOW 7", "SKÅL", "Wrack & Reed", "7", "42", "N°3", "SANDPIPER", "Quay")
SHORT: Final = ("MARLOW", "7", "42", "BOW", "QUAY 7", "Eddy")
LINES: Final = ("MARLOW\n7", "Salt\nmarsh", "B\nO\nW", "NORTH\nQUAY\n12")
FACES: Final = ("outer", "inner", "toe", "tongue", "heel")
POSES: Final = ("centred", "centred", "at", "searched", "anchored", "anchored")


class Draw:
    """Draws requests from the records of a book, by kind and then by id."""

    def __init__(self, book: Mapping[str, Mapping[str, Json]], seed: int) -> None:
        self.book = book
        self.random = Random(seed)  # noqa: S311 - repeatable, not a secret

    def one(self, values: Sequence[Drawn]) -> Drawn:
        """Return one of some values."""
        return values[self.random.randrange(len(values))]

    def chance(self, share: float) -> bool:
        """Return true in a share of the draws."""
        return self.random.random() < share

    def between(self, low: float, high: float, digits: int = 1) -> float:
        """Return a number between two, rounded."""
        return round(self.random.uniform(low, high), digits)

    def id(self, kind: str) -> str:
        """Return the id of a record."""
        return self.one(list(self.book[kind]))

    def some(self, **chances: tuple[float, Callable[[], Any]]) -> Json:
        """Return the fields that were drawn, each by its chance and what draws its value."""
        return {name: draw() for name, (share, draw) in chances.items() if self.chance(share)}

    # Quantities

    def length(self, low: float, high: float) -> str:
        """Return a length between two [mm], in one of the units."""
        value, sign = self.random.uniform(low, high), ""
        if value < 0.0:
            value, sign = -value, "-"
        unit, size, digits = self.one((("mm", 1.0, 1),) * 5 + (("cm", 10.0, 2), ("in", 25.4, 3)))
        return f"{sign}{max(value / size, 10.0**-digits):.{digits}f}{self.one((' ', ' ', ''))}{unit}"

    def angle(self, low: float, high: float) -> str:
        """Return an angle between two [deg], in degrees or radians."""
        value = self.between(low, high)
        return f"{value:g} deg" if self.chance(0.8) else f"{math.radians(value):.4f} rad"

    def units(self) -> str:
        """Return the units of sentences."""
        return self.one(("metric", "metric", "us"))

    # Shoes

    def size(self, shoe: Json) -> Json:
        """Return a size that a shoe of the book is made in, by any system that has it."""
        interval, zero, _ = SIZES[shoe["sizes"]["system"]]
        inside = 0.6  # of the first and last sizes, whose rounding in another system may fall beyond them
        smallest, largest = shoe["sizes"]["smallest"] + inside, shoe["sizes"]["largest"] - inside
        foot = self.random.uniform(smallest, largest) * interval + zero
        scales = {**SIZES, **(CHILDREN if shoe["wearer"] == "child" else {})}
        found = {}
        for system, (step_mm, origin, step) in scales.items():
            value = round((foot - origin) / step_mm / step) * step
            if value >= 0 and (system in SIZES or value <= LARGEST_OF_CHILDREN):
                found[system] = f"{value:g}"
        system = self.one(sorted(found)) if self.chance(0.6) else "EU"
        return {"system": system, "value": found[system]}

    def book_shoe(self, shoe: str | None = None) -> Json:
        """Return a shoe of the book, at a size."""
        shoe = shoe or self.id("shoes")
        return {"kind": "book", "shoe": shoe, "size": self.size(self.book["shoes"][shoe])}

    def measured_shoe(self) -> Json:
        """Return a walk-in shoe by its label and a ruler."""
        label = self.id("labels")
        uppers = [each for each in self.book["uppers"].values() if label in each["labels"]]
        known = self.one(uppers)
        return {
            "kind": "measured",
            "label": label,
            **self.some(
                surface=(0.4, lambda: known["surface"]),
                upper=(0.35, lambda: known["id"]),
                inside_length=(0.75, lambda: self.length(170, 310)),
                width=(0.4, lambda: self.length(75, 165)),
                height=(0.4, lambda: self.length(60, 190)),
                heel_collapses=(0.5, lambda: self.chance(0.5)),
            ),
            "panels": [self.measured_panel(f"side-{number}") for number in range(self.one((1, 1, 2, 3)))],
        }

    def measured_panel(self, name: str) -> Json:
        """Return a panel by a ruler, or traced."""
        kind = self.one(("rectangle", "rectangle", "ellipse", "traced"))
        shape: Json = {"kind": kind}
        if kind == "traced":
            wide, high, cut = self.between(50, 120), self.between(30, 70), self.between(4, 15)
            shape["d"] = f"M0 0 H{wide} L{wide - cut:.1f} {high} Q{wide / 2:.1f} {high - cut:.1f} 0 {high} Z"
        else:
            shape |= {"width": self.length(45, 130), "height": self.length(25, 75)}
        return {
            "panel": name,
            "face": self.one(FACES),
            "shape": shape,
            **self.some(
                curvature=(0.85, lambda: self.one(("flat", "flat", "gentle", "tight", self.length(20, 300)))),
                colour=(0.6, lambda: f"#{self.random.randrange(1 << 24):06x}"),
            ),
        }

    def shoe_panel(self, measured: float = 0.3) -> tuple[Json, Json]:
        """Return a shoe and one of its panels: a record of the book, or as measured."""
        if self.chance(measured):
            shoe = self.measured_shoe()
            return shoe, self.one(shoe["panels"])
        shoe = self.book_shoe()
        return shoe, self.one(self.book["shoes"][shoe["shoe"]]["panels"])

    # Artworks and where they go

    def artwork(self, low: float = 6, high: float = 24, text: str | None = None) -> Json:
        """Return a text or a drawing."""
        kind = "text" if text is not None else self.one(("text", "text", "text", "path", "svg"))
        if kind == "text":
            return self.text(low, high, text or self.one(WORDS + LINES))
        field, value = ("d", self.path()) if kind == "path" else ("svg", self.svg())
        found = {"kind": kind, field: value, "height": self.length(low, high)}
        if kind == "path" and self.chance(0.3):
            found["fill_rule"] = "evenodd"
        return found | self.some(directional=(0.3, lambda: True))

    def text(self, low: float, high: float, text: str) -> Json:
        """Return an artwork of letters."""
        by = "letter_height" if self.chance(0.5) else "height"
        arc = () if "\n" in text else (self.between(3, 30), -self.between(3, 30))
        return {
            "kind": "text",
            "text": text,
            "font": self.id("fonts"),
            by: self.length(low, high),
            **self.some(
                align=(0.2, lambda: self.one(("left", "right"))),
                line_distance=(0.2, lambda: self.between(1.0, 2.0, 2)),
                letter_spacing=(0.3, lambda: self.between(-0.05, 0.4, 2)),
                border=(0.15, lambda: self.between(0.02, 0.3, 2)),
                arc=(0.15 if arc else 0.0, lambda: self.one(arc)),
            ),
        }

    def path(self) -> str:
        """Return path data: a star, a ring, a wave or an arrow."""
        match self.one(("star", "ring", "wave", "arrow")):
            case "star":
                points = self.random.randrange(4, 9)
                inner = self.between(0.3, 0.8, 2)
                corners = []
                for at in range(2 * points):
                    radius, turn = (20 if at % 2 else 20 * inner), math.pi * at / points
                    corners.append(f"{radius * math.sin(turn):.2f} {radius * math.cos(turn):.2f}")
                return f"M{' L'.join(corners)} Z"
            case "ring":
                out, hole = 20, self.between(4, 18)
                return (
                    f"M{out} 0 A{out} {out} 0 1 1 -{out} 0 A{out} {out} 0 1 1 {out} 0 Z "
                    f"M{hole} 0 A{hole} {hole} 0 1 0 -{hole} 0 A{hole} {hole} 0 1 0 {hole} 0 Z"
                )
            case "wave":
                return f"M0 10 C10 {self.between(-10, 5)} 20 {self.between(15, 30)} 30 10 S50 0 60 10 V20 H0 Z"
            case _:
                return f"M0 6 H{self.between(15, 35)} V0 L45 10 L30 {self.between(18, 26)} V14 H0 Z"

    def svg(self) -> str:
        """Return a small SVG document."""
        shapes = {
            "rect": f"<rect x='2' y='2' width='{self.between(10, 40)}' height='{self.between(5, 30)}' rx='2'/>",
            "circle": f"<circle cx='40' cy='15' r='{self.between(4, 12)}'/>",
            "ellipse": f"<ellipse cx='20' cy='34' rx='{self.between(5, 18)}' ry='4'/>",
            "polygon": f"<polygon points='0,40 {self.between(8, 20)},10 30,40'/>",
            "path": f"<path fill-rule='evenodd' d='{self.path()}'/>",
        }
        drawn = "".join(shapes[each] for each in self.random.sample(sorted(shapes), self.one((1, 2, 2, 3))))
        if self.chance(0.4):
            drawn = f"<g transform='rotate({self.between(-30, 30)}) scale(1 {self.between(0.5, 1.5)})'>{drawn}</g>"
        return f"<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 60 40'>{drawn}</svg>"

    def pose(self, panel: Json, artwork: Json) -> Json:
        """Return a pose of any kind that the panel and the artwork allow."""
        kind = self.one(POSES)
        turned = self.some(rotation=(0.3, lambda: self.angle(-40, 40)))
        match kind:
            case "at":
                return {"kind": kind, "x": self.length(-25, 25), "y": self.length(-10, 10), **turned}
            case "searched":
                return {"kind": kind, **turned, **self.some(turn=(0.5, lambda: self.angle(1, 20)))}
            case "anchored":
                return self.anchored(panel, artwork)
            case _:
                return {"kind": kind, **turned}

    def anchored(self, panel: Json, artwork: Json) -> Json:
        """Return a pose by an edge that the panel has."""
        sides = ("above", "below") if panel["face"] == "heel" else ("above", "below", "behind", "in-front-of")
        edges = ("panel", *sorted({each["what"] for each in panel.get("keep_outs", ())}))
        pose = {
            "kind": "anchored",
            "side": self.one(sides),
            "edge": self.one(edges),
            "distance": self.length(0, 14),
            **self.some(along=(0.4, lambda: self.length(-15, 15))),
        }
        straight = artwork["kind"] == "text" and "arc" not in artwork and pose["side"] in {"above", "below"}
        if straight and self.chance(0.5):
            return pose | {"line": "baseline"}
        return pose | self.some(rotation=(0.2, lambda: self.angle(-30, 30)))

    def film_colour(self) -> tuple[str, str]:
        """Return a film and one of its colours; the plain one more often, which takes most."""
        film = "smooth" if self.chance(0.35) else self.id("films")
        return film, self.one(self.book["films"][film]["colours"])["id"]

    def old_marks(self) -> list[Json]:
        """Return films that are on the panel, one at most under the new one."""
        marks: list[Json] = [{"film": self.id("films")} for _ in range(self.one((1, 1, 2)))]
        if self.chance(0.4):
            marks[0]["under"] = True
        return marks

    def on_panel(self, panel: Json, artwork: Json) -> Json:
        """Return the fields that a fit and a placement share, `colour` and `film` apart."""
        return {
            "panel": panel.get("id", panel.get("panel")),
            "artwork": artwork,
            **self.some(
                pose=(0.75, lambda: self.pose(panel, artwork)),
                footprint=(0.3, lambda: self.one(("filled", "hull"))),
                clearance=(0.25, lambda: self.length(0, 5)),
                sides=(0.3, lambda: self.one(("left", "right"))),
            ),
        }

    # What is likely to go: else hardly an order of several placements does

    def likely_shoe(self) -> Json:
        """Return a shoe on whose panels much goes: of the book, or a walk-in of which much is known."""
        if self.chance(0.8):
            return self.book_shoe(self.one(("regatta-deck", "regatta-deck", *self.book["shoes"])))
        shoe = self.measured_shoe()
        uppers = [each for each in self.book["uppers"].values() if shoe["label"] in each["labels"]]
        shoe.pop("surface", None)
        panels = [
            {**each, "face": self.one(("outer", "inner")), "curvature": "flat", "shape": {
                "kind": "rectangle", "width": self.length(90, 130), "height": self.length(45, 70)}}
            for each in shoe["panels"]
        ]  # fmt: skip
        sizes = {"inside_length": self.length(250, 290), "width": "100 mm", "height": "110 mm"}
        return {**shoe, "panels": panels, "upper": self.one(uppers)["id"], **sizes}

    def likely_placement(self, shoe: Json, text: str | None) -> Json:
        """Return a short text in large letters, or a ring, in the middle of a side, in a film that bonds to it."""
        measured = shoe["kind"] == "measured"
        panels = shoe["panels"] if measured else self.book["shoes"][shoe["shoe"]]["panels"]
        panel = self.one([each for each in panels if each["face"] in {"outer", "inner"}] or panels)
        surface = self.book["uppers"][shoe["upper"] if measured else panel["upper"]]["surface"]
        films = [each for each in self.book["films"].values() if surface in each["bonds_to"]]
        film = self.one([each for each in films if each["id"] in {"smooth", "stretch", "printed"}] or films or
                        list(self.book["films"].values()))  # fmt: skip
        artwork: Json = {"kind": "path", "d": self.path(), "height": self.length(9, 14)}
        if text is not None or self.chance(0.7):
            artwork = {"kind": "text", "text": text or self.one(SHORT), "font": self.id("fonts"),
                       "letter_height": self.length(7, 11), "letter_spacing": 0.12}  # fmt: skip
        return {
            "panel": panel.get("id", panel.get("panel")),
            "film": film["id"],
            "colour": self.one(film["colours"])["id"],
            "artwork": artwork,
            **self.some(
                pose=(0.4, lambda: {"kind": "searched", **self.some(turn=(0.5, lambda: self.angle(1, 15)))}),
                sides=(0.2, lambda: self.one(("left", "right"))),
                clearance=(0.3, lambda: self.length(0.5, 2)),
            ),
        }

    # The questions

    def recipe(self) -> Json:
        """Return a question of settings."""
        film, press = self.id("films"), self.id("presses")
        own = self.book["films"][film]["setting"]
        if self.chance(0.25):
            onto = self.stack()
        else:
            shoe, panel = self.shoe_panel()
            onto = {"kind": "panel", "shoe": shoe, "panel": panel.get("id", panel.get("panel"))}
            onto |= self.some(old_marks=(0.3, self.old_marks))
        hottest = own["hottest_c"]
        return {
            "film": film,
            "onto": onto,
            **self.some(
                press=(0.6, lambda: press),
                cover=(0.25, lambda: self.id("covers")),
                temperature=(0.2, lambda: self.one((f"{hottest:g} degC", f"{hottest * 1.8 + 32:.0f} degF"))),
                pressure=(0.2, lambda: self.one((own["pressure"], *own.get("also", ())))),
                guard=(0.2, lambda: self.one(("5 delta_degC", "9 delta_degF", "12.5 delta_degC"))),
            ),
            "units": self.units(),
        }

    def stack(self) -> Json:
        """Return an upper layer by layer."""
        layers: list[Json] = [
            {
                "material": self.id("materials"),
                "thickness": self.length(0.2, 3.0),
                **self.some(bonded=(0.3, lambda: True)),
            }
            for _ in range(self.one((1, 2, 3)))
        ]
        surfaces = ("leather", "suede", "coated", "glossy", "woven", "knit", "foam", "rubber")
        return {"kind": "stack", "surface": self.one(surfaces), "layers": layers}

    def fit(self) -> Json:
        """Return a question of room."""
        if self.chance(0.35):
            shoe = self.likely_shoe()
            return {"shoe": shoe, **self.likely_placement(shoe, None), "units": self.units()}
        shoe, panel = self.shoe_panel()
        film, colour = self.film_colour()
        return {
            "shoe": shoe,
            "film": film,
            **self.on_panel(panel, self.artwork()),
            **self.some(colour=(0.7, lambda: colour), press=(0.5, lambda: self.id("presses"))),
            "units": self.units(),
        }

    def artwork_question(self) -> Json:
        """Return a question of an artwork alone."""
        return {
            "artwork": self.artwork(4, 40),
            **self.some(film=(0.6, lambda: self.id("films")), units=(0.5, self.units)),
        }

    def order(self, texts: Sequence[str] = ()) -> Json:
        """Return an order of one to four placements, or of one for each text."""
        policy = self.id("policies")
        rushed = 0.2 if self.book["policies"][policy].get("rush") is not None else 0.0
        many = len(texts) or self.one((1, 1, 1, 2, 2, 3, 4))
        if self.chance(0.65):
            shoe = self.likely_shoe()
            placements = [self.likely_placement(shoe, texts[at] if texts else None) for at in range(many)]
        else:
            shoe = self.measured_shoe() if self.chance(0.3) else self.book_shoe()
            placements = self.placements(shoe, texts or (None,) * many)
        for placement in placements:
            placement.update(self.some(old_marks=(0.12, self.old_marks)))
        return {
            "shoe": shoe,
            "placements": placements,
            "policy": policy,
            **self.some(
                owner=(0.5, lambda: self.one(("customer", "shop"))),
                pairs=(0.6, lambda: self.one((1, 2, 5, 12, 24, 60))),
                press=(0.4, lambda: self.id("presses")),
                rush=(rushed, lambda: True),
                offcuts=(0.25, self.offcuts),
                hours_a_day=(0.3, lambda: self.between(0.5, 9)),
            ),
            "units": self.units(),
        }

    def placements(self, shoe: Json, texts: Sequence[str | None]) -> list[Json]:
        """Return any placements on a shoe, mostly of one film."""
        panels = shoe["panels"] if shoe["kind"] == "measured" else self.book["shoes"][shoe["shoe"]]["panels"]
        placements: list[Json] = []
        for text in texts:
            one_film = placements and self.chance(0.6)
            film, colour = (placements[0]["film"], placements[0]["colour"]) if one_film else self.film_colour()
            artwork = self.artwork(5, 16, text)
            placements.append({"film": film, "colour": colour, **self.on_panel(self.one(panels), artwork)})
        return placements

    def offcuts(self) -> list[Json]:
        """Return pieces of film that lie ready."""
        found = []
        for number in range(self.one((1, 2))):
            film, colour = self.film_colour()
            shape: Json = {"kind": "rectangle", "width": self.length(60, 300), "height": self.length(40, 150)}
            if self.chance(0.3):
                wide, high = self.between(100, 240), self.between(60, 150)
                shape = {"kind": "traced", "d": f"M0 0 H{wide} V{high / 2:.1f} H{wide / 2:.1f} V{high} H0 Z"}
            found.append({"id": f"left-{number}", "film": film, "colour": colour, "shape": shape})
        return found

    def what_if(self) -> Json:
        """Return what a shop owner asks of a price, one question at least."""

        def charge(low: float, high: float) -> Json:
            return {"amount": f"{self.random.uniform(low, high):.2f}", "currency": "EUR"}

        return self.some(
            outlay=(0.5, lambda: charge(100, 3000)), at_price=(0.5, lambda: charge(5, 60))
        ) or {"for_margin": f"{self.random.uniform(0.05, 0.8):.2f}"}  # fmt: skip

    def order_cost(self) -> Json:
        """Return a question of an order's cost."""
        return {"kind": "order", "order": self.order(), **self.some(what_if=(0.5, self.what_if))}

    def measured_cost(self) -> Json:
        """Return a question of the cost of work known by its measures."""
        policy = self.id("policies")
        rushed = 0.2 if self.book["policies"][policy].get("rush") is not None else 0.0
        pieces = []
        for _ in range(self.one((1, 2, 3))):
            film, colour = self.film_colour()
            pieces.append({
                "film": film,
                "colour": colour,
                "width": self.length(10, 140),
                "height": self.length(6, 90),
                "cut_length": self.length(60, 1500),
                "corners": self.random.randrange(120),
                "waste_pieces": self.random.randrange(20),
                "per_pair": self.one((1, 2, 2, 4)),
            })  # fmt: skip
        pressings: list[Json] = [
            {
                "dwell": self.one((f"{self.between(8, 60)} s", f"{self.between(0.2, 1.0, 2)} min")),
                **self.some(wait=(0.6, lambda: f"{self.between(1, 90)} s"), cover=(0.6, lambda: self.id("covers"))),
                "per_pair": self.one((1, 2, 4)),
            }
            for _ in range(self.one((1, 1, 2)))
        ]
        return {
            "kind": "measures",
            "pieces": pieces,
            "pressings": pressings,
            "policy": policy,
            **self.some(
                owner=(0.5, lambda: self.one(("customer", "shop"))),
                pairs=(0.7, lambda: self.one((1, 3, 11, 12, 24, 50, 400))),
                rush=(rushed, lambda: True),
                offcuts=(0.3, self.offcuts),
                hours_a_day=(0.4, lambda: self.between(0.5, 9)),
                what_if=(0.5, self.what_if),
                units=(0.4, self.units),
            ),
        }

    def roster(self) -> Json:
        """Return a list of names, numbers and sizes."""
        order = self.order(self.one((("{name}",), ("{number}",), ("{name}", "{number}"), ("{name}\n{number}",))))
        order.pop("hours_a_day", None)
        rows = []
        shoe = self.book["shoes"].get(order["shoe"].get("shoe"))
        for number in range(self.one((2, 3, 4, 6))):
            row: Json = {"fields": {"name": self.one(WORDS), "number": str(self.random.randrange(100))}}
            row |= self.some(
                pairs=(0.2, lambda: self.one((1, 2, 5))), owner=(0.2, lambda: self.one(("customer", "shop")))
            )
            if self.chance(0.6):
                row["id"] = f"row {number}"
            if shoe is not None and self.chance(0.5):
                row["size"] = self.size(shoe)
            rows.append(row)
        return {"order": order, "rows": rows, **self.some(seal=(0.3, lambda: True))}

    def trial(self) -> Json:
        """Return a question of a trial, mostly of a walk-in."""
        shoe, panel = self.shoe_panel(measured=0.75)
        if shoe["kind"] == "measured" and self.chance(0.12):  # a stiff heel alone
            panel["face"], shoe["panels"], shoe["heel_collapses"] = "heel", [panel], False
        elif shoe["kind"] == "measured" and self.chance(0.25):  # of which little is known
            shoe = {"kind": "measured", "label": "other", "panels": shoe["panels"]}
        return {
            "shoe": shoe,
            "panel": panel.get("id", panel.get("panel")),
            "film": "smooth" if self.chance(0.3) else self.id("films"),
            **self.some(
                press=(0.7, lambda: self.id("presses")),
                owner=(0.3, lambda: "shop"),
                units=(0.5, self.units),
            ),
        }

    def request(self, kind: str) -> Json:
        """Return a sound question of a kind."""
        draws = {"artwork": self.artwork_question, "order-cost": self.order_cost, "measured-cost": self.measured_cost}
        draws |= {"recipe": self.recipe, "fit": self.fit, "quote": self.order, "roster": self.roster}
        return {**draws, "trial": self.trial}[kind]()


GONE: Final = object()
"""Set in the place of a field: it is left out."""

# Where a fault is put, and which: of form, which the types refuse, and of what the book has or the trade allows.
_SHOE: Final = {
    "form": (
        ("/shoe/kind", "boot"), ("/shoe/size/system", "FR"), ("/shoe/size/value", "forty"), ("/shoe", GONE),
        ("/shoe/panels", []), ("/shoe/panels/0/curvature", "bent"), ("/shoe/panels/0/shape/width", "90"),
        ("/shoe/panels/0/colour", "#FFF"), ("/shoe/label", "wood"), ("/shoe/upper", "Not an id"),
    ),
    "book": (
        ("/shoe/shoe", "glass-slipper"), ("/shoe/size", {"system": "EU", "value": "19"}),
        ("/shoe/size", {"system": "UK", "value": "7.3"}), ("/shoe/size", {"system": "US-child", "value": "20"}),
        ("/shoe/surface", "rubber"), ("/shoe/upper", "cotton-woven"), ("/shoe/upper", "cork"),
        ("/panel", "roof"), ("/film", "cellophane"), ("/press", "waffle-iron"),
    ),
}  # fmt: skip
_ARTWORK: Final = {
    "form": (
        ("/artwork/kind", "photo"), ("/artwork/height", 22), ("/artwork/height", "0 mm"),
        ("/artwork", {"kind": "text", "text": "A", "font": "plain"}), ("/artwork/stroke", "1 mm"),
        ("/artwork", {"kind": "text", "text": "A", "font": "plain", "height": "9 mm", "arc": 0.4}),
        ("/artwork", {"kind": "text", "text": "", "font": "plain", "height": "9 mm", "align": "top"}),
    ),
    "book": (
        ("/artwork", {"kind": "text", "text": "潮", "font": "plain", "height": "9 mm"}),
        ("/artwork", {"kind": "text", "text": "A", "font": "gothic", "height": "9 mm"}),
        ("/artwork", {"kind": "text", "text": " ", "font": "bold", "height": "9 mm"}),
        ("/artwork", {"kind": "path", "d": "M0 0 L10", "height": "9 mm"}),
        ("/artwork", {"kind": "path", "d": "M0 0 L10 10", "height": "9 mm"}),
        ("/artwork", {"kind": "svg", "svg": "<svg", "height": "9 mm"}),
        ("/artwork", {"kind": "svg", "svg": "<svg xmlns='http://www.w3.org/2000/svg'><text>A</text></svg>",
                      "height": "9 mm"}),
        ("/artwork", {"kind": "svg", "svg": "<svg xmlns='http://www.w3.org/2000/svg'><path d='M0 0H9' stroke='red'/>"
                      "</svg>", "height": "9 mm"}),
        ("/artwork", {"kind": "file", "media_type": "image/x-outline", "base64": "AAAA", "height": "9 mm"}),
        ("/artwork/height", "40 m"), ("/film", "cellophane"),
    ),
}  # fmt: skip
_POSE: Final = {
    "form": (
        ("/pose", {"kind": "anchored", "side": "behind", "edge": "panel", "distance": "3 mm", "line": "baseline"}),
        ("/pose", {"kind": "at", "x": "3"}), ("/pose", {"kind": "centred", "rotation": "15°"}),
        ("/clearance", "-1 mm"), ("/footprint", "round"), ("/sides", "all"),
    ),
    "book": (
        ("/pose", {"kind": "at", "x": "3 m", "y": "0 mm"}),
        ("/pose", {"kind": "anchored", "side": "above", "edge": "old-mark", "distance": "3 mm"}),
        ("/pose", {"kind": "anchored", "side": "above", "edge": "panel", "distance": "3 mm", "line": "baseline",
                   "rotation": "20 deg"}),
        ("/colour", "ultraviolet"),
    ),
}  # fmt: skip
_ORDER: Final = {
    "form": (
        ("/pairs", 0), ("/pairs", 2.5), ("/placements", []), ("/hours_a_day", 30), ("/rush", "yes"), ("/owner", "club"),
        ("/placements/0/colour", GONE), ("/colour", "gorse"), ("/units", "imperial"),
    ),
    "book": (("/policy", "haggle"), ("/policy", "letters"), ("/rush", True), ("/press", "waffle-iron")),
}  # fmt: skip
_OFFCUTS: Final = (
    ("/offcuts", [
        {"id": each, "film": "smooth", "colour": "gorse", "shape": {"kind": "rectangle", "width": "9 cm",
         "height": wide}} for each, wide in (("a", "4 cm"), ("a", "90 m"))
    ]),
    ("/offcuts", [{"id": "smooth-gorse-1", "film": "smooth", "colour": "teal", "shape": {"kind": "traced",
                   "d": "M0 0H90V40H0ZM10 10V20H20V10Z"}}]),
)  # fmt: skip


def _of(field: str, table: Table) -> dict[str, list[tuple[str, Any]]]:
    """Return the faults of a field alone."""
    return {kind: [fault for fault in faults if fault[0].startswith(field)] for kind, faults in table.items()}


def _below(pointer: str, *tables: Table) -> dict[str, list[tuple[str, Any]]]:
    """Return faults put below a pointer."""
    return {kind: [(pointer + at, value) for each in tables for at, value in each[kind]] for kind in ("form", "book")}


def _together(*tables: Table) -> dict[str, list[tuple[str, Any]]]:
    return _below("", *tables)


_QUOTE: Final = _together(
    _ORDER,
    {"form": (), "book": _OFFCUTS},
    _below("/placements/0", _ARTWORK, _POSE),
    _of("/shoe", _SHOE),
)
_WHAT_IF: Final = {
    "form": (("/what_if", {}), ("/what_if", {"for_margin": 0.4}), ("/what_if", {"outlay": {"amount": "9"}})),
    "book": (
        ("/what_if", {"for_margin": "1"}),
        ("/what_if", {"at_price": {"amount": "0", "currency": "EUR"}}),
        ("/what_if", {"outlay": {"amount": "900", "currency": "GBP"}}),
    ),
}
FAULTS: Final[Mapping[str, Table]] = {
    "recipe": _together(
        _below("/onto", _of("/shoe", _SHOE), {"form": (), "book": (("/panel", "roof"),)}),
        {
            "form": (
                ("/film", GONE), ("/guard", "5 K"), ("/temperature", "hot"), ("/pressure", "hard"),
                ("/onto", "leather"),
                ("/onto", {"kind": "stack", "surface": "leather", "layers": []}),
            ),
            "book": (
                ("/cover", "tinfoil"), ("/temperature", "120 degC"), ("/temperature", "-300 degC"),
                ("/pressure", "light"), ("/film", "cellophane"), ("/press", "waffle-iron"),
                ("/onto", {"kind": "stack", "surface": "leather", "layers": [
                    {"material": "unobtainium", "thickness": "1 mm"},
                    {"material": "upper-leather", "thickness": "9 cm"}]}),
                ("/onto/old_marks", [{"film": "smooth", "under": True}, {"film": "velvet", "under": True}]),
            ),
        },
    ),
    "fit": _together(_SHOE, _ARTWORK, _POSE),
    "artwork": _ARTWORK,
    "quote": _QUOTE,
    "order-cost": _together(_below("/order", _QUOTE), _WHAT_IF),
    "measured-cost": _together(
        _WHAT_IF,
        _ORDER,
        {
            "form": (
                ("/pieces/0/per_pair", 25), ("/pieces/0/corners", -1), ("/pressings/0/dwell", "30"), ("/pieces", []),
            ),
            "book": (
                *_OFFCUTS, ("/pieces/0/film", "cellophane"), ("/pieces/0/colour", "ultraviolet"),
                ("/pieces/0/width", "9 m"), ("/pieces/0/height", "9 m"), ("/pressings/0/cover", "tinfoil"),
                ("/pressings/0/dwell", "90 h"),
            ),
        },
    ),
    "roster": _together(
        _below("/order", _QUOTE),
        {
            "form": (
                ("/rows", []), ("/rows/0/fields", {"Name": "X"}), ("/rows/0/size", "42"), ("/seal", "yes"),
                ("/rows/1", {"size": {"system": "EU", "value": "42"}, "shoe": {"kind": "book"}}),
            ),
            "book": (
                ("/order/placements/0/artwork/text", "{name"), ("/order/placements/0/artwork/text", "{captain}"),
                ("/rows/0/fields", {}), ("/rows/1/size", {"system": "EU", "value": "19"}),
                ("/rows/0/fields/name", "潮"), ("/rows/0/fields/number", "7" * 190),
            ),
        },
    ),
    "trial": _together(_SHOE, {"form": (("/film", None), ("/units", "si")), "book": ()}),
}  # fmt: skip


def put(body: Json, pointer: str, value: Any) -> bool:  # noqa: ANN401 - JSON
    """Set a value in a request, or take it out; return whether there is what it belongs into."""
    *way, last = pointer.split("/")[1:]
    inside: Any = body
    for name in way:
        if isinstance(inside, list) and int(name) < len(inside):
            inside = inside[int(name)]
        elif isinstance(inside, dict) and name in inside:
            inside = inside[name]
        else:
            return False
    if isinstance(inside, list):
        if int(last) >= len(inside):
            return False
        inside[int(last)] = copy.deepcopy(value)
    elif not isinstance(inside, dict) or (value is GONE and last not in inside):
        return False
    elif value is GONE:
        del inside[last]
    else:
        inside[last] = copy.deepcopy(value)
    return True


def _belongs(body: Json, pointer: str) -> bool:
    """Whether a fault is of a field that the request's shoe, or what a film is pressed onto, has."""
    names = {"book": {"kind", "shoe", "size"}, "measured": {"kind", "label", "surface", "upper", "panels"},
             "stack": {"kind", "surface", "layers"}, "panel": {"kind", "shoe", "panel", "old_marks"}}  # fmt: skip
    inside: Any = body
    for name in pointer.split("/")[1:]:
        kind = inside.get("kind") if isinstance(inside, dict) else None
        if name not in names.get(str(kind), {name}):
            return False
        inside = inside.get(name) if isinstance(inside, dict) else None
    return True


def spoil(draw: Draw, kind: str) -> Json:
    """Return a question of a kind with two to four faults that belong to it: all of form, or all of content."""
    body = draw.request(kind)
    faults = list(FAULTS[kind][draw.one(("form", "book", "book"))])
    draw.random.shuffle(faults)
    left = draw.one((2, 3, 4))
    for pointer, value in faults:
        if left and _belongs(body, pointer) and put(body, pointer, value):
            left -= 1
    return body


def broken(draw: Draw) -> list[Json]:
    """Return requests whose body is no JSON, or not of the type, or that accept what there is not."""
    body = json.dumps(draw.recipe(), ensure_ascii=False)
    path = "/v1/recipes"
    return [
        {"path": path, "raw": body[: len(body) // 2]},
        {"path": path, "raw": ""},
        {"path": path, "raw": "[]"},
        {"path": path, "raw": "null"},
        {"path": path, "raw": f"{body} x"},
        {"path": path, "raw": body.replace('"film"', '"film": "glow", "film"', 1)},
        {"path": "/v1/fits", "raw": '{"film": "\udcff"}'},
        {"path": "/v1/artworks", "raw": "[" * 100 + "]" * 100},
        {"path": "/v1/costs", "raw": '{"kind": "measures", "pairs": NaN}'},
        {"path": "/v1/quotes", "raw": body, "type": "text/plain"},
        {"path": "/v1/rosters", "raw": body, "accept": "image/png"},
        {"path": "/v1/trials?dry=1", "raw": body},
    ]


def bulk(draw: Draw, lines: int) -> Json:
    """Return a stream of questions, each fifth with faults."""
    asked = []
    for number in range(lines):
        kind = draw.one(list(BULK))
        request = spoil(draw, kind) if number % 5 == lines % 5 else draw.request(kind)
        asked.append(json.dumps({"kind": BULK[kind], "request": request, **draw.some(id=(0.5, lambda: "a line"))}))
    return {"path": "/v1/bulk", "raw": "\n".join([*asked, "{"]), "type": "application/jsonl"}


def requests(book: Mapping[str, Mapping[str, Json]], seed: int = SEED) -> list[Json]:
    """Return all that is drawn from a book, in the order in which it is asked."""
    draw = Draw(book, seed)
    drawn: list[Json] = []
    for kind, (sound, faulty) in COUNTS.items():
        for _ in range(sound):
            request: Json = {"path": PATHS[kind]}
            if kind in PICTURES and draw.chance(0.16):
                request["accept"] = draw.one(PICTURES[kind])
            drawn.append(request | {"body": draw.request(kind)})
        drawn += [{"path": PATHS[kind], "body": spoil(draw, kind)} for _ in range(faulty)]
    drawn += broken(draw)
    drawn += [bulk(draw, lines) for lines in (3, 6)]
    draw.random.shuffle(drawn)
    return drawn


async def read_book() -> dict[str, dict[str, Json]]:
    """Return the records that requests are drawn from, by kind and id, as the service gives them."""
    transport = httpx2.ASGITransport(create_app(Settings()))  # type: ignore[arg-type]  # httpx types ASGI more widely
    async with httpx2.AsyncClient(transport=transport, base_url="http://saltmarsh.test") as client:
        shelves = {kind: (await client.get(f"/v1/book/{kind}")).json()["records"] for kind in KINDS}
    return {kind: {record["id"]: record for record in records} for kind, records in shelves.items()}


def as_lines(drawn: Sequence[Json]) -> str:
    """Return requests as JSON lines."""
    return "".join(f"{json.dumps(request, separators=(',', ':'))}\n" for request in drawn)


if __name__ == "__main__":
    with capture_logs():
        found = asyncio.run(read_book())
    STORED.write_text(as_lines(requests(found)), "utf-8")
