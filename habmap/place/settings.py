"""What ``habmap.toml`` says: the person's own file, every default written out and commented by ``start``."""

from __future__ import annotations

import datetime as dt
from datetime import date
from typing import TYPE_CHECKING, Annotated, Any, Literal, Protocol, TypeVar
from zoneinfo import ZoneInfo

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, field_validator, model_validator

from habmap.vocabulary import CEDAR_RESPROUTS, DEFAULT_CEDAR, PRACTICE_CODES, PRACTICES
from habmap.work.burn.written_plan import author_of
from habmap.work.priority import DenseLimits

if TYPE_CHECKING:
    from habmap.land.facerules import FaceRules

SETTINGS_FILE = "habmap.toml"

Percent = Annotated[float, Field(ge=0, le=100)]
#: Beyond these a number is a slip of the finger, and figures made of it are none.
_LEAST, _MOST = 1e-9, 1e9
Positive = Annotated[float, Field(ge=_LEAST, le=_MOST)]
NonNegative = Annotated[float, Field(ge=0, le=_MOST)]
Weight = Annotated[float, Field(ge=0, le=1e6)]
#: More than these is a typing slip, and past what a calendar holds.
Years = Annotated[float, Field(gt=0, le=200)]
DryingDays = Annotated[int, Field(ge=0, le=3650)]
AgainDays = Annotated[int, Field(ge=1, le=36500)]


def _refuse_backwards(first: date | None, last: date | None, words: str) -> None:
    if first and last and last < first:
        raise ValueError(words)


def _rising(words: str) -> AfterValidator:
    """Return what refuses a pair, in these words, whose second number is the smaller."""

    def checked(pair: tuple[float, float]) -> tuple[float, float]:
        if pair[1] < pair[0]:
            raise ValueError(words)
        return pair

    return AfterValidator(checked)


def _of_practices(told: dict[str, Any]) -> dict[str, Any]:
    unknown = sorted(set(told) - set(PRACTICES))
    if unknown:
        raise ValueError(f"unknown practice {', '.join(unknown)}; known: {', '.join(PRACTICES)}")
    return told


#: Of a table whose names are practices.
ByPractice = AfterValidator(_of_practices)


def _day_that_exists(text: str) -> str:
    try:
        date.fromisoformat(f"2024-{text}")  # a leap year: 29 February is a day
    except ValueError as error:
        raise ValueError("no month has that day") from error
    return text


#: A day of every year as ``MM-DD``.
DayOfYear = Annotated[str, Field(pattern=r"^(0[1-9]|1[0-2])-(0[1-9]|[12]\d|3[01])$"), AfterValidator(_day_that_exists)]
Bearing = Annotated[float, Field(ge=0, le=360)]


class Section(BaseModel):
    """A table of the file; a key that habmap does not know is a fault: a typing slip is not ignored."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True, allow_inf_nan=False)


class PlaceSection(Section):
    name: str = "My place"
    timezone: str = "America/Chicago"
    currency: str = "USD"
    cedar: str = DEFAULT_CEDAR

    @field_validator("cedar")
    @classmethod
    def _known_cedar(cls, value: str) -> str:
        if value.lower() not in CEDAR_RESPROUTS:
            raise ValueError(f"not one of {', '.join(CEDAR_RESPROUTS)}")
        return value.lower()

    @field_validator("timezone")
    @classmethod
    def _known(cls, value: str) -> str:
        try:
            ZoneInfo(value)
        except (KeyError, ValueError, OSError) as error:
            raise ValueError("not a time zone name such as America/Chicago") from error
        return value


class TerrainSection(Section):
    analysis_cell_m: Positive | Literal["native"] = 10
    #: As it stands, this means the sun's side: south of the equator `habmap.work.terrain.rules_here` turns it.
    sun_facing_deg: tuple[Bearing, Bearing] = (112.5, 247.5)
    flat_below_pct: NonNegative = 5
    machine_limit_pct: NonNegative = 30

    @property
    def rules(self) -> FaceRules:
        from habmap.land.facerules import FaceRules

        return FaceRules(
            flat_below_pct=self.flat_below_pct,
            sun_facing_deg=self.sun_facing_deg,
            machine_limit_pct=self.machine_limit_pct,
        )


class DensitySection(Section):
    dense_stems_per_acre: Positive = 250
    dense_canopy_pct: Annotated[float, Field(gt=0, le=100)] = 50
    canopy_height_ft: Positive = 6

    @property
    def limits(self) -> DenseLimits:
        """At and above which a stand is dense."""
        return DenseLimits(stems_per_acre=self.dense_stems_per_acre, canopy_pct=self.dense_canopy_pct)


#: Least and most share of the cedar ground to leave on purpose [%].
LeavePct = Annotated[tuple[Percent, Percent], _rising("the first share is larger than the second")]


class UnitStages(Section):
    """What one unit has otherwise than the place."""

    leave_pct: LeavePct


class StagesSection(Section):
    target_pct: Annotated[float, Field(gt=0, le=100)] = 80
    leave_stems_per_acre: NonNegative = 25
    leave_pct: LeavePct | None = None
    unit: dict[str, UnitStages] = Field(default_factory=dict)


class GpsSection(Section):
    sigma_m: Positive = 3
    correlation_s: NonNegative = 60
    close_gap_ft: NonNegative = 50


class RankWeights(Section):
    """Weights of the parts of a unit's score; only their proportions matter."""

    sun_facing: Weight = 30
    heat_load: Weight = 15
    density: Weight = 30
    remaining: Weight = 10
    near_open: Weight = 15
    gentle: Weight = 5

    @model_validator(mode="after")
    def _some_weight(self) -> RankWeights:
        if not any(self.model_dump().values()):
            raise ValueError("at least one weight must be above zero")
        return self


class RankSection(Section):
    weights: RankWeights = RankWeights()


class ContractItem(Section):
    """One line of a cost-share contract; acres are planned for all its units together."""

    program: str
    item: str
    practice_code: str
    units: tuple[str, ...] = ()
    planned_acres: Positive | None = None
    not_before: date | None = None
    due: date | None = None
    rate: NonNegative | None = None

    @model_validator(mode="after")
    def _in_order(self) -> ContractItem:
        _refuse_backwards(self.not_before, self.due, "due lies before not_before")
        return self


class Hold(Section):
    """Ground on which nothing is to be done for a time: a wet draw, a sale, a nest."""

    unit: str
    reason: str
    from_: Annotated[date | None, Field(alias="from")] = None
    to: date | None = None

    @model_validator(mode="after")
    def _in_order(self) -> Hold:
        _refuse_backwards(self.from_, self.to, "the hold ends before it begins")
        return self


class SeasonsSection(Section):
    drying_days: Annotated[
        tuple[DryingDays, DryingDays], _rising("the last day of the window comes before the first")
    ] = (30, 60)
    upkeep_years: Years = 4
    #: Days after which a spot is looked at again; at once where work changed what it shows (`habmap.work.revisits`).
    photo_again_days: AgainDays = 365
    plot_again_days: AgainDays = 1095
    cover_again_days: AgainDays = 365


class ClosedDays(Section):
    """Days that the owner closed to cutting or to burning: of every year ("MM-DD") or once (a date)."""

    work: Literal["cut", "burn"]
    reason: str = ""
    units: tuple[str, ...] = ()
    from_: Annotated[DayOfYear | date, Field(alias="from")]
    to: DayOfYear | date

    @model_validator(mode="after")
    def _one_kind(self) -> ClosedDays:
        if isinstance(self.from_, date) != isinstance(self.to, date):
            raise ValueError('from and to must both be dates, or both "MM-DD" for every year')
        if isinstance(self.from_, date) and isinstance(self.to, date) and self.to < self.from_:
            raise ValueError("it ends before it begins")
        return self


class _Spanning(Protocol):
    from_: str | None
    to: str | None


Spanning = TypeVar("Spanning", bound=_Spanning)


def _with_both_ends(section: Spanning) -> Spanning:
    if (section.from_ is None) != (section.to is None):
        raise ValueError("give both from and to, or neither")
    return section


class BurnFor(Section):
    """Why some units are burned again: against cedar or sprouts, to set fescue back, or for the grass itself."""

    reason: Literal["cedar", "sprouts", "fescue", "grass"]
    units: tuple[str, ...] = ()
    years: Years | None = None
    from_: Annotated[DayOfYear | None, Field(alias="from")] = None
    to: DayOfYear | None = None

    @model_validator(mode="after")
    def _both_ends(self) -> BurnFor:
        return _with_both_ends(self)


class EffortSection(Section):
    hours_per_week: Positive | None = None
    hours_per_day: Annotated[float, Field(gt=0, le=24)] = 8
    working_months: tuple[Annotated[int, Field(ge=1, le=12)], ...] = tuple(range(1, 13))
    #: Person-hours per acre by practice; used only where the log has none of its own.
    rates: Annotated[dict[str, Positive], ByPractice] = Field(default_factory=dict)

    @field_validator("working_months")
    @classmethod
    def _some_month(cls, value: tuple[int, ...]) -> tuple[int, ...]:
        if not value:
            raise ValueError("at least one month")
        return value


class PlanWindow(Section):
    """Limits of a written burn plan, ``[low, high]`` each; what is left out the plan does not limit."""

    temp_f: tuple[float, float] | None = None
    rh_pct: tuple[Percent, Percent] | None = None
    wind_mph: tuple[NonNegative, NonNegative] | None = None
    #: First and last direction that the wind may come from, clockwise; may pass through north.
    wind_from_deg: tuple[Bearing, Bearing] | None = None
    gust_mph: tuple[NonNegative, NonNegative] | None = None
    fine_fuel_pct: tuple[NonNegative, NonNegative] | None = None
    days_since_rain: tuple[NonNegative, NonNegative] | None = None
    mixing_height_ft: tuple[NonNegative, NonNegative] | None = None
    transport_wind_mph: tuple[NonNegative, NonNegative] | None = None
    #: Where the plan means its wind and gusts: 20 ft above the fuel, or at eye level; ``None`` = it does not say.
    wind_height: Literal["20ft", "eye"] | None = None
    author: str | None = None
    date: dt.date | None = None
    #: Days of the year that the plan is for.
    from_: Annotated[DayOfYear | None, Field(alias="from")] = None
    to: DayOfYear | None = None

    @model_validator(mode="after")
    def _both_ends(self) -> PlanWindow:
        return _with_both_ends(self)

    @field_validator("author")
    @classmethod
    def _somebody(cls, value: str | None) -> str | None:
        """Take a placeholder for what it is: nobody signed."""
        return author_of(value)

    @field_validator("date", mode="before")
    @classmethod
    def _a_day(cls, value: object) -> object:
        """Take dots, words and numbers for what they are: no date."""
        if isinstance(value, dt.date):
            return value
        try:
            return dt.date.fromisoformat(str(value).strip())
        except ValueError:
            return None

    @model_validator(mode="after")
    def _in_order(self) -> PlanWindow:
        for item, limits in self:
            if isinstance(limits, tuple) and item != "wind_from_deg" and limits[1] < limits[0]:
                raise ValueError(f"{item}: the low limit lies above the high one")
        return self


class WrittenPlan(PlanWindow):
    """One written plan; ``unit`` holds what it says otherwise for single units, by ``unit_id``."""

    unit: dict[str, PlanWindow] = Field(default_factory=dict)


class PlanSection(Section):
    """The written plans: none is in force until its author and date are there."""

    grass: WrittenPlan = WrittenPlan()
    down_cedar: WrittenPlan = WrittenPlan()
    piles: WrittenPlan = WrittenPlan()

    def kept(self) -> dict[str, object]:
        """Return the plans as they are kept with a burn that is logged."""
        return self.model_dump(mode="json", exclude_defaults=True)


class WalkedBreak(Section):
    """A break on the map that the burn boss walked, as written down by hand; it counts for its own day only."""

    break_: Annotated[str, Field(alias="break")]
    date: dt.date
    by: Annotated[str, Field(min_length=1)]


class BurnSection(Section):
    #: How far around a burn every sensitive place is listed, and how far downwind [m].
    sensitive_within_m: Positive = 800
    downwind_within_m: Positive = 8000
    #: How far beyond an edge the ground is looked at [m].
    beyond_within_m: Positive = 30
    #: Who is told before a burn, as the person wrote it.
    notify: tuple[str, ...] = ()
    #: Several units burned as one, by a name of their own.
    blocks: dict[str, tuple[str, ...]] = Field(default_factory=dict)
    walked: tuple[WalkedBreak, ...] = ()


class HandoutSection(Section):
    #: What is asked of neighbors and funders, in the steward's own words; the copy for the public says it too.
    ask: tuple[str, ...] = ()


class PaperworkSection(Section):
    #: Month and day on which a program year begins: 1 October for U.S. federal programs.
    program_year_starts: DayOfYear = "10-01"


class Settings(Section):
    """All sections; a section that the file leaves out has its defaults.

    Sections of jobs that read them elsewhere (plans, contract, seasons …) are added beside their job.
    """

    place: PlaceSection = PlaceSection()
    terrain: TerrainSection = TerrainSection()
    density: DensitySection = DensitySection()
    stages: StagesSection = StagesSection()
    gps: GpsSection = GpsSection()
    rank: RankSection = RankSection()
    seasons: SeasonsSection = SeasonsSection()
    effort: EffortSection = EffortSection()
    closed: tuple[ClosedDays, ...] = ()
    burn_for: tuple[BurnFor, ...] = ()
    contract: tuple[ContractItem, ...] = ()
    hold: tuple[Hold, ...] = ()
    paperwork: PaperworkSection = PaperworkSection()
    burn_plan: PlanSection = PlanSection()
    burn: BurnSection = BurnSection()
    handout: HandoutSection = HandoutSection()
    codes: Annotated[dict[str, str], ByPractice] = Field(default_factory=dict)

    def practice_code(self, practice: str) -> str | None:
        """Return the paperwork code of a practice, the place's own before the published one."""
        return self.codes.get(practice, PRACTICE_CODES.get(practice))
