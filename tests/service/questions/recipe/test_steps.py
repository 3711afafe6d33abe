from __future__ import annotations

import re
from typing import Literal

import pytest
from msgspec.structs import replace

from featherline.wire.recipes import PeelPlan, Setting, Step, Units
from featherline.wire.records import Press
from featherline_service.book.shop_book import Book
from featherline_service.questions.recipe.steps import Turn, steps
from featherline_service.questions.shoes.presses import setting_of

SETTING = Setting(
    temperature_c=160.0, temperature_f=320.0, dwell_s=30.0, pressure="medium", pressure_kpa=276.0, cover="silicone-thin"
)
WARM = PeelPlan(when="warm", wait_s=38.4, at_c=70.0)


def of(
    book: Book,
    film: str = "smooth",
    press: str | Press = "swing",
    platen: str = "shoe-form",
    *,
    cover: str | None = "silicone-thin",
    peel: PeelPlan = WARM,
    setting: Setting = SETTING,
    trial: bool = False,
    units: Units = "metric",
    turn: Turn | None = None,
) -> tuple[Step, ...]:
    """Return the steps of one pressing with records of the demo book."""
    return steps(
        book.films[film],
        book.presses[press] if isinstance(press, str) else press,
        book.platens[platen],
        None if cover is None else book.covers[cover],
        setting,
        peel,
        trial=trial,
        units=units,
        turn=turn,
    )


def order(found: tuple[Step, ...]) -> list[str]:
    """Return what the steps do, in order."""
    return [step.do for step in found]


def sentence(found: tuple[Step, ...], do: str) -> str:
    """Return the sentence of the only step that does this."""
    (text,) = [step.sentence for step in found if step.do == do]
    return text


def test_the_usual_pressing_in_order(book: Book) -> None:
    """A smooth film on a swing-away press has the bench's usual order (common practice, no source)."""
    expected = [
        "platen", "set", "cut", "weed", "empty", "wipe", "load", "no-preheat", "position", "second-placement", "cover",
        "press", "open", "wait", "peel", "once", "next-face",
    ]  # fmt: skip

    assert expected == order(of(book))


def test_a_clam_press_is_stood_up_first(book: Book) -> None:
    """A clam press that is on no stand gets one before anything else (common practice, no source)."""
    assert order(of(book, press="clam"))[0] == "stand"


@pytest.mark.parametrize("press", ["swing", "self-opening"])
def test_only_a_clam_wants_a_stand(book: Book, press: str) -> None:
    """Presses that open clear of the shoe need no stand."""
    assert "stand" not in order(of(book, press=press))


def test_a_clam_on_its_stand_is_left_there(book: Book) -> None:
    """A clam press that is on a stand already is not put on one."""
    assert "stand" not in order(of(book, press=replace(book.presses["clam"], on_stand=True)))


def test_footwear_is_never_preheated_and_pressed_once(book: Book) -> None:
    """Every film on every press is pressed once, on a shoe that was not preheated (common practice, no source)."""
    for film in book.films:
        for press in book.presses:
            found = of(book, film, press)
            assert sentence(found, "no-preheat") == "Do not preheat the shoe."
            assert order(found).count("press") == 1
            assert sentence(found, "once").startswith("Press once")


def test_a_carrier_that_does_not_stick_is_taped_before_the_cover(book: Book) -> None:
    """Reflective film is taped between positioning and covering (common practice, no source)."""
    found = order(of(book, "reflective"))

    assert found.index("position") < found.index("tape") < found.index("cover")


def test_tape_goes_where_the_carrier_does_not_stick_and_nowhere_else(book: Book) -> None:
    """Of the demo book's films, those with a carrier that does not hold are taped."""
    taped = {name for name in book.films if "tape" in order(of(book, name))}

    assert taped == {"reflective", "printed"}


def test_a_printed_transfer_is_neither_cut_nor_weeded(book: Book) -> None:
    """A printed transfer is taken as it is (common practice, no source)."""
    found = order(of(book, "printed"))

    assert {"cut", "weed"}.isdisjoint(found)
    assert "transfer" in found


def test_film_is_cut_mirrored_as_its_record_says(book: Book) -> None:
    """The cutting step carries the film's own way, blade, force and passes."""
    assert (
        sentence(of(book, "flake"), "cut")
        == "Cut the film mirrored, through the film and not the carrier: 60 degree drag blade, 180 g, 2 passes. "
        "Cut a scrap first."
    )


def test_film_that_is_not_mirrored_says_so(book: Book) -> None:
    """A film that is cut face up is cut as it reads."""
    upright = replace(book.films["smooth"], cut_mirrored=False)
    found = steps(
        upright, book.presses["swing"], book.platens["shoe-form"], None, SETTING, WARM, trial=False, units="metric"
    )

    assert "as it reads, not mirrored" in sentence(found, "cut")


def test_a_trial_comes_before_the_shoe_is_loaded(book: Book) -> None:
    """A trial stands before loading, where it does not show; without one there is no such step."""
    found = of(book, trial=True)

    assert order(found).index("trial") < order(found).index("load")
    assert "where it does not show" in sentence(found, "trial")
    assert "trial" not in order(of(book, trial=False))


def test_the_setting_is_said_in_both_scales_metric_first(book: Book) -> None:
    """Metric sentences begin with degrees Celsius and give the pressure in kilopascals."""
    assert (
        sentence(of(book), "press")
        == "Press for 30 s at 160 °C (320 °F), medium pressure (about 276 kPa at the platen)."
    )


def test_the_setting_is_said_in_both_scales_us_first(book: Book) -> None:
    """US sentences begin with degrees Fahrenheit and give the pressure in psi (40 psi: 275.79 kPa)."""
    assert (
        sentence(of(book, units="us"), "press")
        == "Press for 30 s at 320 °F (160 °C), medium pressure (about 40 psi at the platen)."
    )


def test_a_setting_is_said_as_the_press_can_be_set(book: Book) -> None:
    """315 degF is 157.2 degC, no step of 1 degC; 152 degC is 305.6 degF, no step of 5 degF: neither is shown."""
    press = book.presses["swing"]
    fahrenheit, celsius = (
        setting_of(press, "medium", None, platen_c=platen_c, dwell_s=30.0) for platen_c in ((315 - 32) / 1.8, 152.0)
    )

    assert (("degF",), 315.0) == (fahrenheit.settable_in, fahrenheit.temperature_f)
    assert (("degC",), 152.0) == (celsius.settable_in, celsius.temperature_c)
    for units in ("metric", "us"):
        assert "at 315 °F, medium" in sentence(of(book, setting=fahrenheit, units=units), "press")
        assert "at 152 °C, medium" in sentence(of(book, setting=celsius, units=units), "press")


def test_a_heel_is_folded_flat_before_it_is_pressed(book: Book) -> None:
    """Only a heel is folded (common practice, no source)."""
    film, press, platen = book.films["smooth"], book.presses["swing"], book.platens["shoe-form"]
    heel, quarter = (
        order(steps(film, press, platen, None, SETTING, WARM, trial=False, units="metric", face=face))
        for face in ("heel", "outer")
    )

    assert heel.index("load") < heel.index("fold") < heel.index("position")
    assert "fold" not in quarter


def test_wiping_defers_to_the_care_label(book: Book) -> None:
    """It is common practice, tried where it does not show; shoes that lie on the platen are not wiped again."""
    wipe = sentence(of(book), "wipe")

    assert all(words in wipe for words in ("common practice", "care label", "where it does not show"))
    assert {"empty", "wipe"}.isdisjoint(order(of(book, turn=replace(TURN, laid=True))))


def test_waiting_is_rounded_up_and_names_the_temperature(book: Book) -> None:
    """A wait of 38.4 s is said as 39 s, with the temperature in the caller's unit (70 degC: 158 degF)."""
    assert "Wait 39 s" in sentence(of(book), "wait")
    assert "about 70 °C" in sentence(of(book), "wait")
    assert "about 158 °F" in sentence(of(book, units="us"), "wait")


def test_a_hot_peel_has_no_wait(book: Book) -> None:
    """A carrier that comes off hot is peeled at once, at the temperature that is there."""
    found = of(book, peel=PeelPlan(when="hot", wait_s=0.0, at_c=138.0))

    assert "wait" not in order(found)
    assert "hot, at once, at about 138 °C" in sentence(found, "peel")


def test_without_a_cover_nothing_is_covered_or_lifted(book: Book) -> None:
    """A setting without a cover sheet says so, and lifts none."""
    found = of(book, cover=None)

    assert sentence(found, "cover").startswith("Use no cover sheet")
    assert "cover sheet" not in sentence(found, "open")
    assert "take the cover sheet off" in sentence(of(book), "open")


def test_a_platen_for_a_pair_takes_both_shoes(book: Book) -> None:
    """The shoe form takes the pair at once, the full flat platen one shoe (common practice, no source)."""
    assert sentence(of(book), "load").startswith("Load both shoes of the pair")
    assert sentence(of(book, platen="full-flat"), "load").startswith("Load one shoe")


def test_placements_of_a_face_share_a_pressing_and_another_face_is_another_loading(book: Book) -> None:
    """All placements of a face come before covering; the other face comes last (common practice, no source)."""
    found = order(of(book))

    assert found.index("second-placement") < found.index("cover")
    assert found[-1] == "next-face"


TURN = Turn(
    shoes=("left", "right"),
    shoes_at_once=2,
    artworks=(1, 1),
    set_up=True,
    laid=False,
    then="nothing",
    keep_out=(),
    cut=(),
)
"""The only pressing of an order, of one artwork on both shoes."""


def test_the_only_pressing_of_an_order_speaks_of_no_other(book: Book) -> None:
    """Neither of a second artwork nor of another face, film or loading: its last step is not to press again."""
    found = order(of(book, turn=TURN))

    assert {"second-placement", "next-face", "next-film", "next-loading"}.isdisjoint(found)
    assert "once" == found[-1]


@pytest.mark.parametrize(
    ("then", "last"), [("face", "next-face"), ("loading", "next-loading"), ("film", "next-film"), ("nothing", "once")]
)
def test_what_follows_is_said_last(book: Book, then: Literal["film", "loading", "face", "nothing"], last: str) -> None:
    """Another face, another panel of this face, another film, or nothing."""
    assert last == order(of(book, turn=replace(TURN, then=then)))[-1]


def test_a_pressing_after_another_sets_up_only_what_changes(book: Book) -> None:
    """The stand and the platen are there, the setting is its own; shoes that lie there are not loaded again."""
    found = order(of(book, press="clam", turn=replace(TURN, set_up=False, laid=True)))

    assert {"stand", "platen", "load"}.isdisjoint(found)
    assert ["set", "leave"] == [do for do in found if do in {"set", "leave"}]


@pytest.mark.parametrize(
    ("shoes", "at_once", "said"),
    [
        (("left", "right"), 2, "Load both shoes of the pair,"),
        (("left", "right"), 1, "Load one shoe of the pair after the other,"),
        (("right",), 1, "Load the right shoe,"),
        (("right",), 2, "Load the right shoes of 2 pairs,"),
        (("left", "right"), 4, "Load both shoes of 2 pairs,"),
    ],
)
def test_the_shoes_that_are_marked_are_loaded(
    book: Book, shoes: tuple[Literal["left", "right"], ...], at_once: int, said: str
) -> None:
    """Both at once, one after the other, or the one that is marked."""
    assert sentence(of(book, turn=replace(TURN, shoes=shoes, shoes_at_once=at_once)), "load").startswith(said)


@pytest.mark.parametrize(
    ("films", "told"),
    [
        ((), []),
        (("smooth",), ["Cut the film mirrored", "Weed"]),
        (("printed",), ["Take the printed transfer as it is"]),
        (
            ("smooth", "printed", "stretch"),
            [
                "Cut Smooth polyurethane film mirrored",
                "Weed",
                "Take {printed} as it is",
                "Cut {stretch} mirrored",
                "Weed",
            ],
        ),
    ],
)
def test_all_films_of_a_loading_are_cut_before_shoes_are_laid_on(
    book: Book, films: tuple[str, ...], told: list[str]
) -> None:
    """Several by their names; a pressing that follows on the loading has none to cut."""
    found = of(book, turn=replace(TURN, cut=tuple(book.films[film] for film in films)))
    names = {film: book.films[film].name for film in films}
    cuts = [step.sentence for step in found if step.do in {"cut", "weed", "transfer"}]

    assert [True] * len(told) == [
        sentence.startswith(words.format(**names)) for words, sentence in zip(told, cuts, strict=True)
    ]
    assert all(order(found).index(do) < order(found).index("empty") for do in ("cut", "transfer") if do in order(found))


def test_every_panel_to_keep_out_is_named(book: Book) -> None:
    """One step each, before anything is laid."""
    found = of(book, turn=replace(TURN, keep_out=("toe cap", "tongue")))

    assert ["toe cap", "tongue"] == [
        name for step in found if step.do == "keep-out" for name in ("toe cap", "tongue") if name in step.sentence
    ]
    assert order(found).index("keep-out") < order(found).index("position")


def test_artworks_that_share_a_pressing_are_counted(book: Book) -> None:
    """Three of them on a face are laid before it is covered."""
    found = of(book, turn=replace(TURN, artworks=(3, 3)))

    uneven = of(book, turn=replace(TURN, artworks=(2, 1)))
    assert "all 3 artworks of this film on the face now, on each shoe:" in sentence(found, "second-placement")
    assert "2 on the left shoe and 1 on the right shoe:" in sentence(uneven, "second-placement")


def test_metric_sentences_name_no_us_unit_but_the_press_scale(book: Book) -> None:
    """Each step's sentence is in the asked units; the setting alone is in both scales."""
    for units, other in (("metric", r"psi|\d °F(?!\))"), ("us", r"kPa|\d °C(?!\))")):
        for step in of(book, units=units):
            assert not re.search(other, step.sentence), step.sentence
