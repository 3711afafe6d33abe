from __future__ import annotations

import pytest
from msgspec.structs import replace

from featherline.wire.records import ShoeModel
from featherline_service.book.shop_book import Book
from featherline_service.questions.recipe.cautions import cautions

ALWAYS = [
    "rules-first", "try-first", "hot-surfaces", "pinch-points", "fumes", "diisocyanates", "sole-joint",
]  # fmt: skip


@pytest.fixture(scope="module")
def plain(book: Book) -> ShoeModel:
    """Return a shoe for adults that protects from nothing."""
    return replace(book.shoes["regatta-deck"], wearer="adult", protective=False)


def codes(book: Book, film: str, materials: tuple[str, ...], shoe: ShoeModel | None) -> list[str]:
    """Return the codes of the cautions for a film of the demo book on these materials."""
    return [caution.code for caution in cautions(book, film=book.films[film], materials=materials, shoe=shoe)]


def test_a_plain_stack_has_the_usual_cautions_alone(book: Book, plain: ShoeModel) -> None:
    """Smooth film on an adult's leather shoe has the cautions that always hold, local rules first."""
    assert codes(book, "smooth", ("upper-leather", "polyester-fabric"), plain) == ALWAYS


def test_vinyl_names_its_limit_in_both_scales(book: Book, plain: ShoeModel) -> None:
    """PVC in the stack is named with the book's limit (J Occup Med 1977 19(3):188-191: hydrogen chloride)."""
    film = book.films["stretch"]
    softest = replace(
        book.materials["pvc-flexible"],
        id="pvc-soft",
        limit=replace(book.materials["pvc-flexible"].limit, peak_c=80.0),
    )
    with_soft = replace(book, materials={**book.materials, "pvc-soft": softest})
    (found,) = [
        caution
        for caution in cautions(with_soft, film=film, materials=("pvc-flexible", "pvc-soft"), shoe=plain)
        if caution.code == "vinyl"
    ]

    assert "80 °C (176 °F)" in found.sentence
    assert "hydrogen chloride" in found.sentence
    assert found.source.startswith("J Occup Med 1977 19(3):188-191")


def test_reflective_film_makes_nothing_high_visibility(book: Book, plain: ShoeModel) -> None:
    """Of the demo book's films, the reflective one alone carries the caution (EN ISO 20471)."""
    carrying = {name for name in book.films if "not-high-visibility" in codes(book, name, (), plain)}

    assert carrying == {"reflective"}


def test_a_fluorescent_colour_makes_nothing_high_visibility_either(book: Book, plain: ShoeModel) -> None:
    """A film stocked in a fluorescent colour carries the caution of reflective film (EN ISO 20471)."""
    smooth = book.films["smooth"]
    bright = replace(smooth, colours=(*smooth.colours, replace(smooth.colours[0], id="flare", effect="fluorescent")))

    assert "not-high-visibility" in [c.code for c in cautions(book, film=bright, materials=(), shoe=plain)]


def test_protective_footwear_is_left_to_its_maker(book: Book, plain: ShoeModel) -> None:
    """A certified shoe carries the caution, and names the standard and the regulation."""
    found = cautions(book, film=book.films["smooth"], materials=(), shoe=replace(plain, protective=True))
    (caution,) = [one for one in found if one.code == "protective-footwear"]

    assert [one.code for one in found] == [*ALWAYS, "protective-footwear"]
    assert "EN ISO 20345" in caution.source
    assert "2016/425" in caution.source


def test_a_childs_shoe_has_the_substances_caution(book: Book, plain: ShoeModel) -> None:
    """A child's shoe carries the rules on substances: REACH annex XVII 51, 52 and 63, and the CPSIA."""
    found = cautions(book, film=book.films["smooth"], materials=(), shoe=replace(plain, wearer="child"))
    (caution,) = [one for one in found if one.code == "childrens-footwear"]

    assert [one.code for one in found] == [*ALWAYS, "childrens-footwear"]
    assert "entries 51, 52 and 63" in caution.source
    assert "Consumer Product Safety Improvement Act" in caution.source


def test_an_unknown_shoe_may_be_anything(book: Book) -> None:
    """A bare stack or a walk-in shoe is taken to be protective and a child's until somebody looks."""
    assert codes(book, "smooth", (), None) == [*ALWAYS, "protective-footwear", "childrens-footwear"]


def test_a_material_that_is_not_in_the_book_is_an_error(book: Book, plain: ShoeModel) -> None:
    """Nothing is assumed of a material that the book does not hold."""
    with pytest.raises(KeyError, match="unobtainium"):
        codes(book, "smooth", ("unobtainium",), plain)


def test_every_caution_names_what_it_rests_on(book: Book) -> None:
    """No caution comes without a source, and no code twice."""
    found = cautions(book, film=book.films["reflective"], materials=("pvc-flexible",), shoe=None)

    assert len({caution.code for caution in found}) == len(found) == len(ALWAYS) + 4
    assert all(caution.source for caution in found)


@pytest.mark.parametrize(
    ("family", "effect", "carries"),
    [("reflective", "none", True), ("smooth", "reflective", True), ("smooth", "fluorescent", True),
     ("smooth", "metallic", False), ("smooth", "none", False)],
)  # fmt: skip
def test_family_or_effect_makes_a_film_seem_high_visibility(
    book: Book, plain: ShoeModel, family: str, effect: str, carries: bool
) -> None:
    """Either is enough, on any of its colours."""
    smooth = book.films["smooth"]
    colours = (smooth.colours[0], replace(smooth.colours[0], id="other", effect=effect))
    own = replace(smooth, family=family, colours=colours)

    found = {one.code for one in cautions(book, film=own, materials=(), shoe=plain)}
    assert carries == ("not-high-visibility" in found)


def test_every_vinyl_is_named_with_the_lowest_limit(book: Book, plain: ShoeModel) -> None:
    """Each once, by its name; the limit is the lowest of them, and other materials have none to name."""
    pvc = book.materials["pvc-flexible"]
    soft = replace(pvc, id="pvc-soft", name="Soft PVC", limit=replace(pvc.limit, peak_c=80.0))
    hard = replace(pvc, id="pvc-hard", name="Hard PVC", limit=replace(pvc.limit, peak_c=90.0))
    own = replace(book, materials={**book.materials, soft.id: soft, hard.id: hard})
    materials = ("pvc-soft", "upper-leather", "pvc-hard", "pvc-soft")

    found = cautions(own, film=book.films["smooth"], materials=materials, shoe=plain)

    assert [*ALWAYS, "vinyl"] == [one.code for one in found]
    assert found[-1].sentence.startswith(
        "There is PVC in this stack (Hard PVC; Soft PVC): never let it pass 80 °C (176 °F)."
    )
