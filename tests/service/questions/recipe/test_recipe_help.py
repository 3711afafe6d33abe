from __future__ import annotations

import pytest
from msgspec.structs import replace

from featherline.wire.recipes import OldMark
from featherline_service.book.shop_book import Book
from featherline_service.messages.values import said
from featherline_service.quantities import temperature
from featherline_service.questions.recipe import recipe_help
from featherline_service.questions.recipe.recipe_help import helps, what_it_takes
from featherline_service.questions.recipe.recipe_tasks import RecipeTask
from featherline_service.questions.recipe.windows import Candidate, Span

COVERS = ("paper", "ptfe-cloth", "silicone-pad", "silicone-thin")


def task(book: Book, **changes: object) -> RecipeTask:
    """Return the task to press smooth film on lined leather, some of it changed."""
    plain = RecipeTask("smooth", (book.uppers["leather-lined"],), "swing", "shoe-form", COVERS, "metric")
    return plain._replace(**changes)  # type: ignore[arg-type]


def window(
    cover: str | None = "silicone-thin",
    *,
    platen_c: float = 160.0,
    dwell_s: float = 14.0,
    sure: tuple[float, float] = (12.0, 20.0),
) -> Candidate:
    """Return a setting with its window."""
    return Candidate(cover, platen_c, "medium", Span(10.0, 40.0, *sure, "cap", None, None, 10.0, 20.0), dwell_s)


class Settings:
    """Stands for the computation of the best setting: tasks that have a window, by what tells them apart."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.tasks: list[RecipeTask] = []
        self.windows: dict[tuple[str, object], Candidate] = {}
        monkeypatch.setattr(recipe_help, "best_of", self._best_of)

    def _best_of(self, _: Book, asked: RecipeTask) -> Candidate | None:
        self.tasks.append(asked)
        upper = asked.uppers[0].id
        keys = (("film", asked.film), ("press", asked.press), ("upper", upper), ("covers", asked.covers))
        upper_and_film = ("both", (upper, asked.film))
        return next((self.windows[key] for key in (*keys, upper_and_film) if key in self.windows), None)


@pytest.fixture
def settings(monkeypatch: pytest.MonkeyPatch) -> Settings:
    """Return settings none of which has a window."""
    return Settings(monkeypatch)


def changes(book: Book, asked: RecipeTask) -> list[tuple[str, str]]:
    """Return the changes that help, computed anew."""
    return [(one.change, one.to) for one in tuple(recipe_help._found_help(book, asked))]


def test_at_most_three_changes_are_told(book: Book, settings: Settings) -> None:
    """The nearest: a cover sheet, then films by how near their temperature is, then presses."""
    settings.windows = {("film", name): window() for name in book.films}
    told = helps(book, task(book, covers=("paper",)))

    assert ["cover", "film", "film"] == [one.change for one in told]
    assert ["silicone-thin", "flake"] == [one.to for one in told[:2]]


def test_films_are_tried_by_how_near_their_temperature_is(book: Book, settings: Settings) -> None:
    """To that of this film, 160 degC; of equally near ones by their ids. Each is free to have its own temperature."""
    settings.windows = {("film", name): window() for name in book.films}
    asked = task(book, temperature_c=160.0)
    found = changes(book, asked)

    # Flake has 160 degC, flock and glow 157.5, reflective 155, metallic and printed 152.5, stretch 135.
    assert [
        *(f"film {name}" for name in ("flake", "flock", "glow", "reflective", "metallic", "printed", "stretch"))
    ] == [f"{change} {to}" for change, to in found if change == "film"]
    others = [one for one in settings.tasks if one.film != "smooth"]
    assert {None} == {one.temperature_c for one in others}
    assert [160.0] * 2 == [one.temperature_c for one in settings.tasks if one.press != "swing"]


def test_other_cover_sheets_are_tried_where_one_was_chosen(book: Book, settings: Settings) -> None:
    """All of the book's; a setting without a sheet is no help, and where all were considered none is tried again."""
    settings.windows = {("covers", tuple(book.covers)): window("ptfe-cloth")}
    assert [("cover", "ptfe-cloth")] == changes(book, task(book, covers=("paper",)))
    assert tuple(book.covers) == settings.tasks[0].covers
    settings.windows = {}
    assert [] == changes(book, task(book, covers=("paper",)))
    settings.windows = {("covers", tuple(book.covers)): window(None)}
    assert [] == changes(book, task(book, covers=("paper",)))
    settings.tasks.clear()
    assert [] == changes(book, task(book, covers=(None, "paper")))
    assert {(None, "paper")} == {one.covers for one in settings.tasks}


def test_other_presses_are_tried(book: Book, settings: Settings) -> None:
    """The clam, which goes in steps of five degrees, has a window where the swing has one."""
    settings.windows = {("press", "clam"): window(platen_c=160.0), ("press", "swing"): window()}
    press = book.presses["clam"].name
    (told,) = [one for one in recipe_help._found_help(book, task(book)) if one.change == "press"]

    assert ("clam", "help.press", f"{press} has a window: ask again with it for the setting.") == (
        told.to,
        told.message,
        told.sentence,
    )


def test_the_press_that_was_asked_for_is_no_other(book: Book, settings: Settings) -> None:
    """Whatever comes before or after it in the alphabet."""
    settings.windows = {("press", name): window() for name in book.presses}

    assert ["clam", "swing"] == [
        to for change, to in changes(book, task(book, press="self-opening")) if change == "press"
    ]


def test_other_panels_are_tried_in_this_film_or_the_nearest_that_has_a_window(book: Book, settings: Settings) -> None:
    """The vamp alone is of another upper; it is told with the film, and once."""
    settings.windows = {("both", ("soft-leather", film)): window() for film in ("flock", "stretch")}
    canvas = book.uppers["canvas"]
    asked = task(book, uppers=(canvas,), shoe="harbour-dance", panel="outer-quarter", temperature_c=150.0)
    (told,) = recipe_help._found_help(book, asked)
    vamp = next(panel for panel in book.shoes["harbour-dance"].panels if panel.id == "vamp")

    assert ("panel", "vamp") == (told.change, told.to)
    assert told.sentence.startswith(
        f"The panel {vamp.name} ({book.uppers['soft-leather'].name}), with {book.films['flock'].name}, has a window: "
    )
    tried = [(one.film, one.temperature_c) for one in settings.tasks if one.uppers[0].id == "soft-leather"]
    assert [("smooth", 150.0), ("flake", None), ("flock", None)] == tried


def test_panels_of_the_same_upper_help_where_old_marks_do_not_lie(book: Book, settings: Settings) -> None:
    """Without old marks the same upper is no other task; with them every other panel is, and is bare."""
    settings.windows = {("upper", "canvas"): window()}
    canvas = book.uppers["canvas"]
    plain = task(book, uppers=(canvas,), shoe="harbour-dance", panel="outer-quarter")
    marked = plain._replace(old_marks=(OldMark(film="glow"),))

    assert [] == [to for change, to in changes(book, plain) if change == "panel"]
    assert ["inner-quarter", "heel"] == [to for change, to in changes(book, marked) if change == "panel"]
    panels = [one for one in settings.tasks if one.old_marks == () and one.film == "smooth" and one.press == "swing"]
    assert panels
    assert [] == [to for change, to in changes(book, plain._replace(shoe=None)) if change == "panel"]


@pytest.mark.parametrize(
    ("sure", "tried"),
    [((12.0, 20.0), False), ((14.0, 14.0), False), ((14.1, 20.0), True), ((12.0, 13.9), True)],
)
def test_a_setting_that_is_not_sure_is_to_be_tried_first(
    book: Book, settings: Settings, sure: tuple[float, float], tried: bool
) -> None:
    """Its dwell of 14 s lies outside the worst-case window."""
    settings.windows = {("film", "stretch"): window(None, platen_c=135.0, sure=sure)}
    (told,) = recipe_help._found_help(book, task(book, units="us"))

    assert told.sentence == (
        f"{book.films['stretch'].name} has a window{', to be tried first' if tried else ''}: "
        "ask again with it for the setting."
    )


def test_what_it_takes_is_a_film_that_bonds_below_the_limit(book: Book) -> None:
    """The coolest that bonds to every upper it may be softens at 90 degC; none bonds to rubber."""
    both = task(book, uppers=(book.uppers["suede"], book.uppers["canvas"]))

    assert ("all", 90.0) == what_it_takes(book, both)
    without = replace(book, films={name: film for name, film in book.films.items() if name != "stretch"})
    assert ("all", 105.0) == what_it_takes(without, both)
    glossy = both._replace(uppers=(book.uppers["glossy"], book.uppers["eva-foam"]), units="us")
    assert ("all", 112.0) == what_it_takes(without, glossy)  # smooth film bonds to both
    rubber = both._replace(uppers=(book.uppers["canvas"], book.uppers["rubber"]))
    assert ("all", None) == what_it_takes(book, rubber)


@pytest.mark.parametrize(
    ("tried", "coolest_c", "told"),
    [
        (
            "all",
            90.0,
            (
                " No film, cover sheet, panel or press of the book opens a window: it takes a film that bonds well "
                "below 70 °C, and the coolest of those that bond to it softens at 90 °C."
            ),
        ),
        (
            "some",
            None,
            (
                " None of the films that soften coolest, and no cover sheet, panel or press of the book, opens a "
                "window: it takes a film that bonds well below 70 °C, and none of them bonds to all that it may be."
            ),
        ),
        ("none", None, ""),
    ],
)
def test_what_it_takes_is_said_after_what_forbids_it(
    book: Book, tried: str, coolest_c: float | None, told: str
) -> None:
    """Whether all films were tried, and the coolest that bonds; nothing where a change of the request helps."""
    sentence = said(
        "heat.no-window.layer",
        layer="lining",
        press=book.presses["swing"],
        peak=temperature(101.0, "metric"),
        film=book.films["smooth"],
        stands=temperature(70.0, "metric"),
        longest=None,
        guard=None,
        harm="it shrinks",
        tried=tried,
        below=temperature(70.4, "metric"),
        coolest=None if coolest_c is None else temperature(coolest_c, "metric"),
    ).sentence
    assert sentence.endswith(f" It stands 70 °C. Above that it shrinks.{told}")


def test_films_alike_but_for_their_colours_are_computed_once(book: Book, settings: Settings) -> None:
    """Where the first has no window, for the panel that was asked for and for each other one; others are tried."""
    flock = book.films["flock"]
    alike = {f"flock-{number}": replace(flock, id=f"flock-{number}", name=f"Flock {number}") for number in range(30)}
    warmer = replace(flock, id="flock-warm", setting=replace(flock.setting, hottest_c=flock.setting.hottest_c + 1.0))
    big = replace(book, films={**book.films, **alike, "flock-warm": warmer})

    assert [] == changes(
        big, task(big, shoe="regatta-deck", panel="outer-quarter", old_marks=(OldMark(film="smooth"),))
    )

    tried = [asked.film for asked in settings.tasks]
    others = len([panel for panel in big.shoes["regatta-deck"].panels if panel.id != "outer-quarter"])
    assert 1 + others == sum(film.startswith("flock") and film != "flock-warm" for film in tried)
    assert 1 + others == tried.count("flock-warm")


def test_films_alike_that_have_a_window_are_all_told(book: Book, settings: Settings) -> None:
    """Each by its own name, up to the three that are told."""
    glow = book.films["glow"]
    twins = [replace(glow, id=f"glow-{number}", name=f"Glow {number}") for number in range(3)]
    big = replace(book, films={**book.films, **{film.id: film for film in twins}})
    settings.windows = {("film", film.id): window() for film in (glow, *twins)}

    assert {("film", film.id) for film in (glow, *twins)} == set(changes(big, task(big)))


def test_of_many_kinds_of_film_the_coolest_are_tried(book: Book, settings: Settings) -> None:
    """And the sentence says that it were only those."""
    smooth = book.films["smooth"]
    kinds = {
        f"kind-{number:02}": replace(
            smooth, id=f"kind-{number:02}", adhesive=replace(smooth.adhesive, onset_c=60.0 + number)
        )
        for number in range(40)
    }
    big = replace(book, films={**book.films, **kinds})

    assert [] == changes(big, task(big))

    tried = {asked.film for asked in settings.tasks} - {"smooth"}
    assert {f"kind-{number:02}" for number in range(23)} == tried
    assert ("some", "all") == (what_it_takes(big, task(big)).tried, what_it_takes(book, task(book)).tried)
