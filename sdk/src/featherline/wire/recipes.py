"""The question "with which settings?", and its answer."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import UNSET, Meta, Struct

from featherline.wire.evidence import GaugeReadings, RecipeEvidence
from featherline.wire.quantities import Duration, Length, Temperature, TemperatureDifference
from featherline.wire.records import BondOutcome, PeelWhen, PressureLevel, UpperOutcome
from featherline.wire.shoes import Shoe, Surface
from featherline.wire.texts import BookUntil, Engine, Identifier, Name, PathData, Revision, Sentence
from featherline.wire.verdicts import Caution, Evidence, MessageId, Parameter, Reason, SentenceLanguage, Verdict

Units = Annotated[Literal["metric", "us"], Meta(description="The units in sentences for people.")]


class OldMark(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A film that is on the panel already: under the new one, or beside it, where it only gets hot again."""

    film: Identifier
    under: Annotated[bool, Meta(description="Whether the new film is pressed on top of it.")] = False
    outline: Annotated[
        PathData | None,
        Meta(
            description="Its outline in millimetres from the panel's centre, y downwards, as it lies on the right shoe "
            "(on an inner panel, the left one). Marks of an order that do not lie on it keep the clearance from it, "
            "also on panels that the book joins to this one; without an outline its place is not checked."
        ),
    ] = None


OldMarks = Annotated[
    tuple[OldMark, ...],
    Meta(max_length=4, description="The films that are on the panel already, at most one of them under the new film."),
]


class ShoePanel(Struct, tag_field="kind", tag="panel", frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A panel of a shoe, with the films that are on it already."""

    shoe: Shoe
    panel: Identifier
    old_marks: OldMarks = ()


class BareLayer(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A layer of a bare stack: a material of the book and a thickness."""

    material: Identifier
    thickness: Length
    bonded: bool = False


class BareStack(Struct, tag_field="kind", tag="stack", frozen=True, kw_only=True, forbid_unknown_fields=True):
    """An upper given layer by layer, from the face that is marked inwards."""

    surface: Surface
    layers: Annotated[tuple[BareLayer, ...], Meta(min_length=1, max_length=8)]


class Observation(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A pressing, and what was read in the stack, whether the film held and how the upper looked.

    What is left out of `film`, `onto` and `press` is as in the request. `beside` is how the upper looked where the
    cover sheet lay on it.
    """

    film: Identifier | None = None
    onto: ShoePanel | BareStack | None = None
    press: Identifier | None = None
    cover: Annotated[Identifier | None, Meta(description="A cover sheet of the book, or null for none.")]
    temperature: Temperature
    pressure: PressureLevel = "medium"
    dwell: Duration
    bond: BondOutcome | None = None
    upper: UpperOutcome | None = None
    beside: UpperOutcome | None = None
    readings: GaugeReadings = ()


Observations = Annotated[
    tuple[Observation, ...],
    Meta(
        max_length=20, description="What was observed of pressings, on this stack or on others that have parts of it."
    ),
]


class RecipeRequest(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How to press a film on a panel, or on a bare stack.

    Without `press`, the bench's is used. `cover`, `temperature` and `pressure` restrict the recipe to one cover sheet,
    platen temperature and pressure level. `guard` is a margin by which every layer stays below its limit.
    """

    film: Identifier
    onto: ShoePanel | BareStack
    press: Identifier | None = None
    cover: Identifier | None = None
    temperature: Temperature | None = None
    pressure: PressureLevel | None = None
    guard: TemperatureDifference = "0 delta_degC"
    units: Units = "metric"
    observations: Observations = ()


class Setting(Struct, frozen=True, kw_only=True):
    """A setting of the press. `temperature_c` and `temperature_f` are the same temperature on its two scales.

    The press can be set to it on the scales in `settable_in`, where it is one of the press's steps; on the other it may
    fall between two steps, and is not to be shown to whoever sets the press.
    """

    temperature_c: float
    temperature_f: float
    settable_in: tuple[Literal["degC", "degF"], ...] = ("degC", "degF")
    dwell_s: float
    pressure: PressureLevel
    pressure_kpa: float
    cover: Annotated[Identifier | None, Meta(description="A cover sheet of the book, or null for none.")]


class Band(Struct, frozen=True, kw_only=True):
    """The shortest dwell that bonds and the longest that harms nothing; null if there is none."""

    shortest_s: float | None
    longest_s: float | None


class Bound(Struct, frozen=True, kw_only=True):
    """The limit at one end of the window.

    `by` is the `bond`, the limit of a `layer`, a harm that the record of the `film` states, or the `cap` on all dwells.
    """

    end: Literal["shortest", "longest"]
    by: Literal["bond", "layer", "film", "cap"]
    layer: Name | None
    sentence: Sentence
    message: MessageId = ""
    parameters: tuple[Parameter, ...] = ()
    language: SentenceLanguage = UNSET


class Window(Struct, frozen=True, kw_only=True):
    """The range of dwells at the recommended temperature and cover sheet: nominal, and in the 95 % worst case.

    `published_s` is the dwell that gives the bond line what the film's longest published dwell gives it on cloth. A
    longer one is remarked on (`heat.film-longer`), but is not beyond a limit.
    """

    shortest_s: float | None
    longest_s: float | None
    worst_case: Band
    published_s: Annotated[float | None, Meta(description="Null if no dwell gives it so much.")] = None
    bound_by: tuple[Bound, ...]


class LayerPeak(Struct, frozen=True, kw_only=True):
    """The peak temperature of a layer, its time from the closing of the press, and the limit of the layer.

    A layer may reach its peak after the press opens.
    """

    layer: Name
    material: Identifier
    peak_c: float
    worst_case_c: float
    at_s: float
    limit_c: float
    margin_k: float
    evidence: Evidence


class Bond(Struct, frozen=True, kw_only=True):
    """The dose of the bond line in equivalent seconds at the film's published temperature, and the dose it needs."""

    dose_s: float
    needed_s: float
    peak_c: float


class PeelPlan(Struct, frozen=True, kw_only=True):
    """When to peel off the carrier: the temperature of the bond line, and the wait for it after the press opens."""

    when: PeelWhen
    wait_s: float
    at_c: float
    block_s: Annotated[
        float | None,
        Meta(description="The wait with a cold metal block held on the carrier; null where none is needed."),
    ] = None


class Alternative(Struct, frozen=True, kw_only=True):
    """Another setting that works, with its own window."""

    setting: Setting
    window: Band


class Help(Struct, frozen=True, kw_only=True):
    """A change that would open the window; its sentence has the setting that was computed for it."""

    change: Literal["film", "cover", "press", "panel"]
    to: Identifier
    sentence: Sentence
    message: MessageId = ""
    parameters: tuple[Parameter, ...] = ()
    language: SentenceLanguage = UNSET


class Step(Struct, frozen=True, kw_only=True):
    """One step of the work at the bench."""

    do: str
    sentence: Sentence
    message: MessageId = ""
    parameters: tuple[Parameter, ...] = ()
    language: SentenceLanguage = UNSET


class Recipe(Struct, frozen=True, kw_only=True):
    """The setting and the steps of one pressing.

    Where the recipe or its order is declined, `setting`, `window`, `bond`, `peel` and `evidence` are null, and
    `layers`, `alternatives` and `steps` are empty; without a usable window, `help` has the changes that would open
    one.
    """

    verdict: Verdict
    reasons: tuple[Reason, ...]
    film: Identifier
    press: Identifier
    setting: Setting | None
    window: Window | None
    bond: Bond | None
    layers: tuple[LayerPeak, ...]
    peel: PeelPlan | None
    alternatives: tuple[Alternative, ...]
    help: tuple[Help, ...]
    steps: tuple[Step, ...]
    cautions: tuple[Caution, ...]
    evidence: RecipeEvidence | None = None


class RecipeAnswer(Struct, frozen=True, kw_only=True):
    """The answer to a `RecipeRequest`."""

    recipe: Recipe
    book: Revision
    book_until: BookUntil = None
    engine: Engine
