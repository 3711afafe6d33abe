from featherline_service.drawing.scene import Shape, Words
from featherline_service.questions.matrix.pages import Box, Page, Row, draw

BOXES = (Box("ready", "12 mm, 9.90 EUR", "up to 16 mm"), Box("trial", "9 mm", ""), Box("decline", "no", "fit.heel"))
PAGE = Page("Title", ("A sentence.",), ("Smooth", "Flock", "Glow"), (Row("Deck", "Outer quarter", BOXES),))


def test_a_verdict_has_a_mark_that_needs_no_colour() -> None:
    """A full dot, a ring and a line, once in the key and once in the row."""
    shapes = [item for item in draw(PAGE).items if isinstance(item, Shape)]
    assert [2, 2, 2] == [sum(shape.name == verdict for shape in shapes) for verdict in ("ready", "trial", "decline")]
    (full, *_), (ring, *_) = ([one for one in shapes if one.name == name] for name in ("ready", "trial"))
    assert (True, False) == (full.ink.fill is not None, ring.ink.fill is not None)


def test_everything_is_on_the_sheet() -> None:
    """Words and marks lie within the sheet, with long names cut."""
    page = PAGE._replace(films=("A very long name of a film that goes on and on and on",) * 3)
    scene = draw(page)
    for item in scene.items:
        if isinstance(item, Words):
            assert 0.0 <= item.x <= scene.width
            assert 0.0 <= item.y <= scene.height
        else:
            assert all((points >= 0.0).all() and (points[:, 0] <= scene.width).all() for points in item.contours)


def test_the_description_counts_the_panels() -> None:
    """Whoever does not see the page hears how many panels take each film."""
    expected = (
        "Smooth: 1 of 1 panels ready, 0 to be tried. Flock: 0 of 1 panels ready, 1 to be tried. "
        "Glow: 0 of 1 panels ready, 0 to be tried"
    )
    assert expected == draw(PAGE).description
