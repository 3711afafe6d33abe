from __future__ import annotations

import pytest
from msgspec.structs import replace

from featherline.wire.shoes import ShoeTests
from featherline_service.book.shop_book import Book
from featherline_service.messages.catalogues import signatures
from featherline_service.questions.shoes.observations import (
    OBSERVATIONS,
    Seen,
    consistent_uppers,
    made,
    open_to,
    sold_under,
)

NARROWING = ShoeTests(fingernail="none", water_drop="soaks-in", thread="sinks", marking="pvc-free")
OTHERWISE = ShoeTests(fingernail="dents", water_drop="beads", thread="floats", marking="pvc")


def ruled_out(book: Book, field: str) -> set[str]:
    """Return the uppers of the book that an observation rules out."""
    (observation,) = (one for one in OBSERVATIONS if one.field == field)
    return {upper.id for upper in book.uppers.values() if observation.rules_out(book, upper)}


@pytest.mark.parametrize(
    ("field", "out"),
    [
        ("fingernail", {"eva-foam"}),
        # A polymer without open pores lets no water in: coated, glossy, foam and rubber (common practice, no source).
        ("water_drop", {"coated-leather", "glitter", "pvc-coated", "glossy", "patent-leather", "eva-foam", "rubber"}),
        # Polypropylene of 910 kg/m3 (EN 12524) is lighter than water; every other fibre of the book is heavier.
        ("thread", {"polypropylene"}),
        ("marking", {"pvc-coated"}),
    ],
)
def test_an_observation_rules_out_what_cannot_show_it(book: Book, field: str, out: set[str]) -> None:
    """Of all the uppers of the book it leaves every other."""
    assert out == ruled_out(book, field)


@pytest.mark.parametrize(("density", "floats"), [(997.9, True), (998.0, False), (998.1, False), (None, False)])
def test_a_thread_floats_that_is_lighter_than_water(book: Book, density: float | None, floats: bool) -> None:
    """Water has 998 kg/m3 at 20 degC; of a material whose density is not known nothing is ruled out."""
    face = book.uppers["canvas"].layers[0].material
    material = replace(book.materials[face], solid_density_kg_m3=density)
    own = replace(book, materials={**book.materials, face: material})

    assert floats == ("canvas" in ruled_out(own, "thread"))


def test_the_face_alone_is_teased_for_a_thread_and_every_layer_may_hold_vinyl(book: Book) -> None:
    """Polypropylene under another face sinks with it; PVC under one is still PVC."""
    canvas, fabric = book.uppers["canvas"], book.uppers["polypropylene"].layers[0]
    vinyl = book.uppers["pvc-coated"].layers[0]
    lined = replace(canvas, layers=(*canvas.layers, fabric, vinyl))
    own = replace(book, uppers={"canvas": lined})

    assert set() == ruled_out(own, "thread")
    assert {"canvas"} == ruled_out(own, "marking")


def test_how_well_an_observation_is_known_is_said(book: Book) -> None:
    """Only the thread's rests on published values."""
    assert ["practice", "practice", "published", "practice"] == [one.evidence for one in OBSERVATIONS]
    assert ["fingernail", "water_drop", "thread", "marking"] == [one.field for one in OBSERVATIONS]
    assert tuple(one.field for one in OBSERVATIONS) == signatures()["shoe.narrowed"]["observation"]
    assert len(book.uppers) > len(OBSERVATIONS)


def test_what_was_seen_narrows_and_what_was_not_is_open() -> None:
    """An outcome that rules nothing out is made no observation, and yet is no longer open."""
    fields = [one.field for one in OBSERVATIONS]

    assert fields == [one.field for one in made(Seen("other", None, NARROWING))]
    assert [] == list(open_to(Seen("other", None, NARROWING)))
    assert [] == list(made(Seen("other", None, OTHERWISE)))
    assert [] == list(open_to(Seen("other", None, OTHERWISE)))
    assert [] == list(made(Seen("other", None, None)))
    assert fields == [one.field for one in open_to(Seen("other", None, None))]
    thread = Seen("other", None, ShoeTests(thread="sinks"))
    assert ["thread"] == [one.field for one in made(thread)]
    assert ["fingernail", "water_drop", "marking"] == [one.field for one in open_to(thread)]


def test_a_label_stands_for_the_uppers_sold_under_it(book: Book) -> None:
    """In the order of the book."""
    assert ["coated-leather", "patent-leather"] == [upper.id for upper in sold_under(book, "coated-leather")]


def test_an_upper_is_possible_by_its_surface_and_every_test(book: Book) -> None:
    """An unknown surface allows all; each test takes its own away, and all of them together what any takes."""
    others = sold_under(book, "other")

    def left(surface: str | None, tests: ShoeTests | None) -> list[str]:
        return [upper.id for upper in consistent_uppers(book, Seen("other", surface, tests), others)]  # type: ignore[arg-type]

    assert ["eva-foam", "glitter", "glossy", "pvc-coated", "rubber"] == left(None, None)
    assert ["glitter", "pvc-coated"] == left("coated", None)
    assert ["glitter"] == left("coated", ShoeTests(marking="pvc-free"))
    assert ["glitter", "glossy", "rubber"] == left(None, ShoeTests(marking="pvc-free", fingernail="none"))
    assert [] == left(None, NARROWING)
    assert [] == left("suede", None)
