"""The text of a new place's ``habmap.toml``."""

from __future__ import annotations

from pydantic import ValidationError

from habmap.errors import UsageError
from habmap.place.settings import PlaceSection

DEFAULT_TOML = """\
# habmap.toml: this property's own settings. Change what you like; a deleted line means its default.

[place]
name = {name}
timezone = "America/Chicago"   # dates are local days in this zone; GPS times are turned into it
currency = "USD"               # what costs in the log are in; shown beside every cost
cedar = "eastern redcedar"     # or "ashe juniper", "rocky mountain juniper": no new growth from stumps, so cutting,
#                              # mulching and pulling count as killing all where a line says no share (a stump with a
#                              # green limb lives on); "redberry juniper", "alligator juniper", "other": say the share

[terrain]
analysis_cell_m = 10           # finer elevation is averaged to about this cell; "native" keeps it as it is
sun_facing_deg = [112.5, 247.5] # faces that count as sun-facing: southeast, south and southwest. South of the equator
                               # these stand for northwest, north and northeast; other numbers hold as they are
flat_below_pct = 5             # gentler ground than this faces nowhere
machine_limit_pct = 30         # steeper ground is counted as hand-only; the machine's manual and operator decide

[density]
dense_stems_per_acre = 250     # OSU Extension NREM-2876: 250 and more is restoration, not maintenance
dense_canopy_pct = 50          # crown cover that counts as dense (common practice, no source)
canopy_height_ft = 6           # a raster of canopy heights counts as crown cover from this height up

[stages]
target_pct = 80                # share killed at which ground counts as treated
leave_stems_per_acre = 25      # more live cedars than this on treated ground: it is coming back
leave_pct = [10, 20]           # least and most share of each unit's cedar ground to leave on purpose (common practice,
#                              # no source): a line that would take a unit below the least says so; no line: no goal
# unit.C2.leave_pct = [5, 10]  # what one unit has otherwise; [0, 0]: none of it is to be left

[gps]
sigma_m = 3                    # standard deviation of a fix, per axis
correlation_s = 60             # how long GPS errors hang together
close_gap_ft = 50              # an edge walk may stay open by this much

[rank.weights]                 # what puts one stand before another; only the proportions matter
sun_facing = 30                # share of the ground that is sun-facing
heat_load = 15                 # how hot the slope is (McCune & Keon 2002, equation 3)
density = 30                   # stems per acre or crown cover
remaining = 10                 # acres that remain
near_open = 15                 # nearness to ground already opened, or native grass
gentle = 5                     # share of the ground below the machine limit: less effort an acre

[seasons]
drying_days = [30, 60]         # days from cutting to burning (common practice, no source); your burn plan rules
upkeep_years = 4               # burned or mowed again after; published: every 3 to 5 years (OSU Extension NREM-2876)
photo_again_days = 365         # a photo point is due again after so many days, or at once after work in its view;
plot_again_days = 1095         # a plot after these, or once killing work came over it; a frame of plant cover after
cover_again_days = 365         # these, in the same weeks of the year (common practice, no source)

# [[closed]]                   # days that the owner closed, every year ("MM-DD") or once (a date)
# work = "burn"                # to burning, or to "cut"
# reason = "ground-nesting birds"
# from = "04-15"
# to = "07-31"

# [[burn_for]]                 # cedar, sprouts, fescue or grass, with its own years and days
# reason = "fescue"            # late-spring burns set it back but meet nesting; repeated spring fire can favor sumac
# units = ["G1"]
# years = 3
# from = "03-20"
# to = "04-14"

[effort]
# hours_per_week = 10          # person-hours in a working week, all hands together
hours_per_day = 8              # hours that one person works in a day
working_months = [1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12]
# rates.cut = 8.0              # person-hours per acre: your assumption, until the log has hours of its own

[burn]
sensitive_within_m = 800       # every sensitive place this near a burn is listed (about half a mile; no source)
downwind_within_m = 8000       # and those this far downwind (about five miles; no source)
beyond_within_m = 30           # how far beyond an edge the map is looked at
notify = []                    # who is told before a burn, such as "Sheriff's office 555-0100"
#                              # who was told, when and how, `habmap log burn --told` keeps
# blocks.east = ["C1", "C2:down"] # burned as one, C2 only where its slash is down: `habmap burnsheet east`
#                              # a block drawn in a file is kept by `habmap load block FILE --name NAME`
# [[burn.walked]]              # a break that the burn boss walked; it counts for that day only
# break = "Ridge mowed strip"
# date = 2026-03-20
# by = "the burn boss"

# The written burn plan, as its author wrote it: [low, high] each. Without author and date nothing is compared.
# The figures below are published examples, none in force: replace every one by your own plan's.
# [burn_plan.grass]            # Kansas smoke management: humidity, wind, temperature, mixing height, transport wind
# author = ""                  # who wrote and signed it; empty: there is no plan, and nothing is compared
# date = ""                    # the day it was signed, such as 2026-01-31
# from = "12-01"               # days of the year that it is for; leave both out where it names none
# to = "04-10"                 # no source
# temp_f = [55, 80]
# rh_pct = [40, 70]            # never under 30 there; a national extension fire group: 30 to 50
# wind_mph = [5, 12]           # that group: 2 to 15
# wind_from_deg = [135, 225]   # clockwise from the first to the last; [315, 45] passes through north
# wind_height = "20ft"         # where the plan means its wind: "20ft" or "eye"; wind from elsewhere is not compared
# gust_mph = [0, 20]           # no source
# fine_fuel_pct = [5, 15]      # no source
# days_since_rain = [1, 10]    # no source
# mixing_height_ft = [1800, 99999] # the extension group: 1,700 and more
# transport_wind_mph = [8, 20]
# unit.C2.rh_pct = [45, 70]    # what the plan says otherwise for one unit
# [burn_plan.down_cedar]       # juniper slash dozed under 100 days (Bryant 1983): humidity above 45%,
# author = ""                  # wind under 10 km/h (6.2 mph), under 30 °C (86 °F)
# date = ""
# temp_f = [32, 86]
# rh_pct = [45, 100]
# wind_mph = [0, 6.2]
# [burn_plan.piles]            # piles want snow, rain or green-up: a window of their own
# author = ""
# date = ""
# days_since_rain = [0, 2]     # no source

[paperwork]
program_year_starts = "10-01"  # month and day; U.S. federal program years begin on 1 October

[handout]
ask = []                       # help you ask of neighbors at the meeting, such as "A trailer in March", in your own
                               # words; the copy for the public says it too; empty: drawn from the figures

# [[contract]]                 # one block for each line of a cost-share contract; dates without quotes
# program = "EQIP"
# item = "1"
# practice_code = "314"
# units = ["C1", "C2"]         # leave out for every unit
# planned_acres = 12.0
# not_before = 2026-01-15      # work dated earlier is pointed out: it can forfeit payment
# due = 2027-09-30
# rate = 350.0                 # per acre

# [[hold]]                     # ground on which nothing is to be done for a time; leave `to` out while it lasts
# unit = "C2"
# reason = "nesting"
# from = 2026-04-15
# to = 2026-07-15

# [codes]                      # your agency's practice codes, where they differ
# cut = "314"
# burn = "338"
"""


def settings_text(name: str, *, timezone: str | None = None) -> str:
    """Return the commented ``habmap.toml`` of a new place.

    Raises
    ------
    UsageError
        The time zone is unknown, or the name cannot be written.
    """
    try:
        if not name.strip():
            raise UsageError("a property needs a name", value=name, mend="give it with --name", where="--name")
        PlaceSection(name=name, **({} if timezone is None else {"timezone": timezone}))
        name.encode("utf-8")
    except (ValidationError, UnicodeEncodeError) as error:
        raise UsageError(
            "the name or the time zone cannot be used",
            value=f"{name!a}, {timezone}",
            allowed="any text as name; a time zone such as America/Chicago",
            where="--name, --timezone",
            mend="give another name or zone",
        ) from error
    # DEFAULT_TOML has one field only; ``replace`` because its other braces, if any, are not fields.
    text = DEFAULT_TOML.replace("{name}", _toml_string(name), 1)
    if timezone is not None:
        default = PlaceSection().timezone
        text = text.replace(f'timezone = "{default}"', f"timezone = {_toml_string(timezone)}", 1)
    return text


def _toml_string(text: str) -> str:
    """Return text as a basic TOML string (TOML 1.0: quote, backslash and control characters are escaped)."""
    short = {'"': '\\"', "\\": "\\\\", "\n": "\\n", "\t": "\\t", "\r": "\\r", "\b": "\\b", "\f": "\\f"}

    def escaped(character: str) -> str:
        if character in short:
            return short[character]
        return f"\\u{ord(character):04X}" if ord(character) < 0x20 or ord(character) == 0x7F else character

    return '"' + "".join(escaped(character) for character in text) + '"'
