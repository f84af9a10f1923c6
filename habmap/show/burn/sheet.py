"""What a burn sheet says, as plain records for paper and screen alike. It compares and lists; it decides nothing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Final, Literal

from habmap.vocabulary import HEAT_CHECK

if TYPE_CHECKING:  # printed in a terminal too, where nothing is drawn
    from shapely import MultiPolygon
    from shapely.geometry.base import BaseGeometry

    from habmap.land.grid import LocalGrid
    from habmap.show.burn.chart import HoursChart
    from habmap.show.records import PageFeature
    from habmap.show.relief import Relief
    from habmap.show.shares import PageShare
    from habmap.work.burn.block_edges import Edge
    from habmap.work.burn.surroundings import NearPlace

BurnPaper = Literal["letter", "a4"]
SIDE_LETTERS: Final[dict[str, str]] = {"downwind": "D", "side": "S", "upwind": "U"}
SIDE_LINES: Final[dict[str, str]] = {"downwind": "heavy solid line", "side": "long dashes", "upwind": "dots"}
#: What the boss draws or writes under the map by hand.
WRITING_BOXES: Final = ("Escape routes, safety zones", "Contingency lines", "Firing sequence")
CHART_TITLE: Final = "The forecast, hour by hour"
#: On every page: names, telephone numbers and private places stand on it.
NOT_FOR_ALL: Final = "not permission to burn · for the crew, not for the public"
NOT_PERMISSION: Final = (
    "This sheet compares and lists; it is not permission to burn. The burn boss decides, on the day and on the ground."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """One part of the pages after the map.

    Attributes
    ----------
    title
        Its heading.
    sentences
        Said under the heading.
    header, rows
        A table; a cell that is empty is a place to write. Without rows there is none.
    shares
        Widths of the columns as shares of the whole.
    boxes
        Lines that begin with an empty box to tick.
    blanks
        Lines that end with a rule to write on.
    after
        Said below all that.
    is_framed
        Set in a ruled box, as cautions are.
    may_move
        May fill the foot of a column on paper that the next section has no room in.
    """

    title: str
    sentences: tuple[str, ...] = ()
    header: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    shares: tuple[float, ...] = ()
    boxes: tuple[str, ...] = ()
    blanks: tuple[str, ...] = ()
    after: tuple[str, ...] = ()
    is_framed: bool = False
    may_move: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class BurnGround:
    """All ground of the block in one stage (lon/lat)."""

    stage: str
    acres: float
    geometry: BaseGeometry


@dataclass(frozen=True, slots=True, kw_only=True)
class BurnSheet:
    """Everything the pages show.

    Attributes
    ----------
    headline, lines
        The block, its acres and hour; below it the weather and what there is to burn.
    keys
        Each stretch's key, as D1, by what it is listed as.
    units
        Id, name and outline (lon/lat) of every unit.
    burn_day
        The day of the burn: its compass directions are told for it.
    past_title
        What stands on every page of a past burn's sheet made again; ``None`` = it is no such sheet.
    wind_words
        What stands beside the wind arrow, line by line.
    ringed
        Sensitive places, and what is to be kept from fire (lon/lat), to be ringed on the map.
    places
        Places that the sheet lists: the map shows the nearest houses of them, or names them at its edge.
    kept
        What lies inside the block and is to be kept from fire, in a sentence; empty: nothing on the map.
    stages
        Ground of the block by its stage.
    shares
        Ground in the block on which felled cedar lies, killed cedar stands, or both.
    chart, chart_words
        The forecast's hours, drawn below the map, and where they come from and what their marks mean; ``None`` = none.
    measured, by_hand
        The second page: what was compared and measured; and the third, what people fill in.
    """

    place: str
    headline: str
    lines: tuple[str, ...]
    drawn_on: date
    burn_day: date
    past_title: str | None = None
    grid: LocalGrid
    edges: tuple[Edge, ...]
    keys: Mapping[tuple[str, str], str]
    units: tuple[tuple[str, str, BaseGeometry], ...]
    features: tuple[PageFeature, ...]
    ringed: tuple[BaseGeometry, ...]
    places: tuple[NearPlace, ...] = ()
    kept: str = ""
    stages: tuple[BurnGround, ...] = ()
    boundary: MultiPolygon | None
    relief: Relief | None
    shares: tuple[PageShare, ...] = ()
    wind_from_deg: float
    wind_words: tuple[str, ...]
    measured: tuple[Section, ...]
    by_hand: tuple[Section, ...]
    chart: HoursChart | None = None
    chart_words: str = ""


def hand_sections(
    *,
    notify: tuple[str, ...],
    middle_words: str,
    crew_rows: int,
    notices: tuple[tuple[str, str, str], ...] = (),
    kept: str = "",
) -> tuple[Section, ...]:
    """Return the parts that people fill in: but for logged notices nothing in them is ticked, filled or counted here.

    Parameters
    ----------
    notify
        Who is told before a burn, as the owner wrote it.
    middle_words
        Where the block is, in figures, for the 911 line.
    crew_rows
        Rows to write the crew in.
    notices
        Notices that the log has: who, when, how.
    kept
        What lies inside the block and is to be kept from fire, in a sentence.
    """
    return (
        Section(
            title="Notices: who, when, how",
            header=("who", "when", "how"),
            rows=_notice_rows(notify, notices),
            shares=(0.42, 0.29, 0.29) if notices else (0.5, 0.17, 0.33),
        ),
        Section(
            title="Crew and equipment",
            header=("name", "job", "equipment, radio, phone"),
            rows=(("", "", ""),) * crew_rows,
            shares=(0.34, 0.2, 0.46),
        ),
        Section(
            title="Go / no-go",
            sentences=(
                "The burn boss marks these on site. One empty box means no ignition; when all are marked it is "
                "still the burn boss who decides.",
            ),
            boxes=(
                "Written plan and permit in hand, every condition read",
                "Burn boss qualified as the state, insurer or employer requires",
                "Burn bans, red flag warnings and drought checked today",
                "Smoke or air approval in hand where it is required",
                "Spot forecast read through the following night",
                "Weather on site taken here, compared with the plan’s limits",
                "All notices made and confirmed",
                "Every edge walked; each firebreak looked at by the burn boss",
                "Crew fit, in full PPE, briefed; each knows the burn boss and their assignment",
                "Said to all: anyone may call a stop",
                "Escape routes, safety zones and lookouts shown to all",
                "Nearest hospital and EMS known to all, and the way there",
                "Water, pumps, tools, radios tested on site",
                "Contingency crew, equipment and lines named",
                "Power lines, gas lines, tanks, hay and houses: protected, or the burn called off",
                *((kept,) if kept else ()),
                "Smoke: roads and houses downwind, tonight as well",
            ),
        ),
        Section(
            title="Test fire",
            blanks=("Place, time, fire and smoke behavior", "Burn boss’s decision after it"),
        ),
        Section(
            title="Mop-up and patrol",
            boxes=(
                "Mop-up from the edges inward; stumps, snags, logs, burned piles checked for heat: " + HEAT_CHECK,
                "Watched through the night where the plan asks it",
                "Day 1 (next day): edges walked, by ____________________",
                "Day 3: edges walked, by ____________________",
                "Day 7: edges walked, by ____________________",
            ),
        ),
        Section(
            title="For 911",
            blanks=("Address, gate, road", "Nearest hospital, EMS"),
            after=(middle_words,),
            may_move=True,
        ),
        Section(title="Burn boss", blanks=("Name", "Signature, date, time")),
    )


def _notice_rows(
    notify: tuple[str, ...], notices: tuple[tuple[str, str, str], ...]
) -> tuple[tuple[str, str, str], ...]:
    """Return notices as logged, then recipients whom the log does not have, then room to write."""
    told = {who.strip().casefold() for who, _, _ in notices}
    open_rows = tuple((who, "", "") for who in notify if who.strip().casefold() not in told)
    return (*notices, *open_rows, *(("", "", ""),) * max(1, 3 - len(notices) - len(open_rows)))
