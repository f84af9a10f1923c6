"""The words of the trade that habmap knows, their keys, and how they read on screen.

A key is what files, JSON and the command line carry; ``STAGE_WORDS`` and its kin hold the plain words for people.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final, Literal

#: Whom a page, a file or an answer is for.
Audience = Literal["owner", "public"]

# --- cover: what a unit was when the work began -------------------------------------------------------------
COVERS: Final = ("cedar", "mixed", "grass", "shrub", "hardwood", "crop", "water", "other")
#: Covers whose ground counts as cedar ground; every other cover is stage ``other``.
CEDAR_COVERS: Final = frozenset({"cedar", "mixed"})
#: Covers that are, or are turning back into, open native ground.
OPEN_COVERS: Final = frozenset({"grass"})


# --- practices ----------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Practice:
    """One kind of work, and all that is known of it besides what it does to stages (`habmap.work.stages`).

    Attributes
    ----------
    key, words, noun
        Its key; what was done with it ("piled"), and as a thing ("before the piling").
    code
        NRCS conservation practice standard: 314 brush management, 338 prescribed burning, 384 woody residue treatment,
        528 prescribed grazing, 550 range planting. A place overrides them under ``[codes]``.
    kills
        Whether it kills standing cedars and so raises the killed share.
    default_pct
        Killed share taken where none is written [%], of a cedar whose stumps don't grow again; ``None``: it must be
        said (:func:`default_killed_pct`).
    has_fire, has_saw, has_machine, has_product
        Whether fire, saws, machines, or a product with a label belong to it: their cautions go with it.
    is_work
        Whether it works on what grows or lies there, as against saying what is there, or adding to it.
    is_follow_up
        Whether it takes away what clearing left behind.
    is_statement
        Whether it only says what is there or shall stay: nothing a camera could see, a hold stop or a contract pay.
    is_each_own
        Whether two people may well both log it for one ground and day, each for himself.
    """

    key: str
    words: str
    noun: str
    code: str | None = None
    kills: bool = False
    default_pct: float | None = None
    has_fire: bool = False
    has_saw: bool = False
    has_machine: bool = False
    has_product: bool = False
    is_work: bool = True
    is_follow_up: bool = False
    is_statement: bool = False
    is_each_own: bool = False


#: One row for each practice; the first part is the order in which work of one day is applied.
PRACTICE_ROWS: Final = (
    Practice("keep", "left on purpose", "work", is_work=False, is_statement=True, is_each_own=True),
    Practice("cut", "cut", "cut", "314", kills=True, default_pct=100.0, has_saw=True),
    Practice("mulch", "mulched", "mulching", "314", kills=True, default_pct=100.0, has_machine=True),
    Practice("pull", "pulled", "pulling", "314", kills=True, default_pct=100.0, has_machine=True),
    Practice("girdle", "girdled", "girdling", "314", kills=True, has_saw=True),
    Practice("spray", "sprayed", "spraying", "314", kills=True, has_product=True),
    Practice("pile", "piled", "piling", "384", has_saw=True, is_follow_up=True),
    Practice("haul", "hauled away", "hauling", "384", has_machine=True, is_follow_up=True),
    Practice("burn", "burned", "burn", "338", kills=True, default_pct=0.0, has_fire=True, is_follow_up=True),
    Practice("pile_burn", "piles burned", "burning of the piles", "384", has_fire=True, is_follow_up=True),
    Practice("mow", "mowed", "mowing", has_machine=True),
    Practice("graze", "grazed", "grazing", "528"),
    Practice("checkup", "checked", "check-up", is_work=False, is_statement=True, is_each_own=True),
    Practice("seed", "seeded", "seeding", "550", is_work=False),
    Practice("other", "other work", "work", is_work=False, is_each_own=True),
)
PRACTICES: Final = tuple(row.key for row in PRACTICE_ROWS)
PRACTICE_WORDS: Final = {row.key: row.words for row in PRACTICE_ROWS}
PRACTICE_NOUNS: Final = {row.key: row.noun for row in PRACTICE_ROWS}
PRACTICE_CODES: Final = {row.key: row.code for row in PRACTICE_ROWS if row.code is not None}
#: What files made before the first release call a practice.
OLD_PRACTICES: Final = {"look": "checkup"}


def _with(trait: str) -> frozenset[str]:
    return frozenset(row.key for row in PRACTICE_ROWS if getattr(row, trait))


KILLING: Final = _with("kills")
FIRE: Final = _with("has_fire")
SAWS: Final = _with("has_saw")
MACHINES: Final = _with("has_machine")
PRODUCTS: Final = _with("has_product")
WORKS: Final = _with("is_work")
STATEMENTS: Final = _with("is_statement")
EACH_OWN: Final = _with("is_each_own")
#: What treated ground is kept up with where it is not burned.
UPKEEP_WAYS: Final = ("mow", "graze", "pull")
FOLLOW_UP: Final = tuple(row.key for row in PRACTICE_ROWS if row.is_follow_up)
DEFAULT_KILLED_PCT: Final = {row.key: row.default_pct for row in PRACTICE_ROWS if row.default_pct is not None}
#: The cedars a property may have, and whether a stump of theirs grows again; ``None``: not known, taken as if it did.
#: Sources: OSU Extension, "Cedar Control by Individual Scorched-tree Ignition Following Fire": eastern redcedar and
#: Ashe juniper do not sprout. Texas A&M AgriLife Extension, Brush Busters, "Top Removal Method": redberry resprouts
#: from a basal knob. Rocky Mountain and alligator juniper: Fire Effects Information System (USDA), from memory.
CEDAR_RESPROUTS: Final[dict[str, bool | None]] = {
    "eastern redcedar": False, "ashe juniper": False, "rocky mountain juniper": False, "redberry juniper": True,
    "alligator juniper": True, "other": None,
}  # fmt: skip
DEFAULT_CEDAR: Final = "eastern redcedar"
#: Practices that take a cedar off at or below the ground, and so kill it only where its stump does not grow again.
TOP_KILLING: Final = frozenset(practice for practice, pct in DEFAULT_KILLED_PCT.items() if pct > 0)
#: Common practice: a conifer that does not sprout lives on by any green limb left below the cut.
STUMP_WORDS: Final = (
    "No share was given, so all cedars there count as killed. A stump that keeps a green limb below the cut lives on: "
    "cut below the lowest limb, and look again later for what lives"
)

# --- stages -------------------------------------------------------------------------------------------------
STAGES: Final = (
    "standing", "part_cut", "dead_standing", "down", "piled", "burned", "slash_gone", "kept_up", "coming_back",
    "keep", "other",
)  # fmt: skip
STAGE_WORDS: Final = {
    "standing": "cedars standing", "part_cut": "part killed", "dead_standing": "killed, left standing",
    "down": "cut, slash on ground", "piled": "piled", "burned": "burned over", "slash_gone": "slash gone",
    "kept_up": "kept up", "coming_back": "coming back", "keep": "left on purpose", "other": "not cedar ground",
}  # fmt: skip
TREATED: Final = ("dead_standing", "down", "piled", "burned", "slash_gone", "kept_up", "coming_back")
REMAINING: Final = ("standing", "part_cut")
#: Ground that counts as cedar ground, whatever became of it: the one denominator of every screen and any day.
CEDAR_STAGES: Final = (*TREATED, *REMAINING, "keep")

# --- cut cedar as it dries ----------------------------------------------------------------------------------
#: What the needles on cut cedar say of it. Common practice, no source; Texas A&M AgriLife's rules of thumb for burning
#: juniper class dead juniper with its needles as extremely volatile fuel.
NEEDLE_WORDS: Final = {
    "green": "not dry then, whatever the days say",
    "red": "slash is at its flashiest while red needles hang",
    "dropped": "less flashy, but heavier fuels remain, which burn longer",
}
NEEDLES: Final = tuple(NEEDLE_WORDS)


class _KeyElse(dict[str, str]):
    """Words by key; a key that another program put into the file is its own word."""

    def __missing__(self, key: str) -> str:
        return key


# --- features -----------------------------------------------------------------------------------------------
FEATURE_KINDS: Final = (
    "road", "lane", "house", "building", "pond", "creek", "line", "fence", "gate", "power_line", "gas_line",
    "tank", "hay", "well", "school", "airport", "nest", "grave", "cultural", "pile", "other",
)  # fmt: skip
FEATURE_WORDS: Final = _KeyElse({kind: kind.replace("_", " ") for kind in FEATURE_KINDS} | {
    "line": "firebreak", "cultural": "cultural site", "other": "other feature",
})  # fmt: skip
#: Kinds that never leave the owner's own copy.
PRIVATE_FEATURE_KINDS: Final = frozenset({"nest", "grave", "cultural"})
#: Kinds whose names the public reads too: a neighbor finds the place by them.
PUBLIC_NAME_KINDS: Final = frozenset({"road", "creek", "pond"})
#: Kinds that a fire might not cross. Only the burn boss, on the ground, can say so.
BREAK_FEATURE_KINDS: Final = frozenset({"road", "lane", "line", "creek", "pond"})

# --- directions ---------------------------------------------------------------------------------------------
OCTANTS: Final = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")
WINDS_16: Final = (
    "N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW",
)  # fmt: skip
WIND_WORDS: Final = {
    "N": "north", "NNE": "north-northeast", "NE": "northeast", "ENE": "east-northeast", "E": "east",
    "ESE": "east-southeast", "SE": "southeast", "SSE": "south-southeast", "S": "south", "SSW": "south-southwest",
    "SW": "southwest", "WSW": "west-southwest", "W": "west", "WNW": "west-northwest", "NW": "northwest",
    "NNW": "north-northwest",
}  # fmt: skip


def default_killed_pct(practice: str, *, cedar: str) -> float | None:
    """Return the share of the cedars that a practice kills where none is written [%]; ``None``: it must be said.

    Parameters
    ----------
    cedar
        The property's cedar, a key of ``CEDAR_RESPROUTS``.
    """
    is_sure = CEDAR_RESPROUTS[cedar] is False
    return DEFAULT_KILLED_PCT.get(practice) if is_sure or practice not in TOP_KILLING else None


def octant(bearing_deg: float) -> str:
    """Name the compass octant of a bearing, eight names of 45° each, ``N`` from 337.5° to 22.5°."""
    return OCTANTS[int(octant_number(bearing_deg))]


def octant_number(bearing_deg: Any) -> Any:
    """Return the place of a bearing's octant in `OCTANTS`; of a number or of an array."""
    return (bearing_deg % 360 + 22.5) // 45 % len(OCTANTS)


def wind_16(bearing_deg: float) -> str:
    """Name the compass point of a bearing, sixteen names of 22.5° each."""
    return WINDS_16[int(((bearing_deg % 360) + 11.25) // 22.5) % 16]


def file_mark(what: str, audience: str) -> str:
    """Return what a file of habmap's own carries inside, by which a newer one of its kind may take its place.

    Parameters
    ----------
    what
        ``map``, ``sheet`` or ``handout``.
    audience
        ``owner`` or ``public``: a copy for the one never takes the place of a copy for the other unasked.
    """
    return f"habmap {what} for the {audience}"


# --- cautions -----------------------------------------------------------------------------------------------
SAW_CAUTION: Final = (
    "Chain saws and falling trees maim and kill. Never cut alone. Keep others two tree lengths away and stay clear of "
    "power lines. Wear head, eye, ear, hand, leg and foot protection, follow the saw maker's manual, and get the "
    "training your state, employer or insurer requires."
)
MACHINE_CAUTION: Final = (
    "Mulchers and mowers throw debris a long way and can start fires. Keep people back as the manual says. Machines "
    "roll on side slopes. On steep ground never work below another person."
)
FIRE_CAUTION: Final = (
    "Nothing here says that burning is safe or allowed. The burn boss, the written burn plan, permits, burn bans and "
    "local law decide, on the day and on the ground."
)
SNAG_CAUTION: Final = (
    "Cedars killed and left standing drop limbs without warning and torch readily: look up before you work under them."
)
LABEL_CAUTION: Final = (
    "The label is the law: read it for site, rate, weather, protective gear and re-entry. Some products and all hired "
    "spraying may need a state applicator license."
)
STEEP_CAUTION: Final = (
    "The machine's manual and its operator decide what ground a machine may work; this figure only compares slope with "
    "the limit in habmap.toml."
)
#: The same for people who have no use for the name of a file.
STEEP_CAUTION_PUBLIC: Final = (
    "The machine's manual and its operator decide what ground a machine may work; this figure only compares slope with "
    "a limit set for this property."
)
#: What each caution is about, in the order in which they are said.
CAUTIONS: Final = {
    SAW_CAUTION: "saws and falling trees", MACHINE_CAUTION: "machines", FIRE_CAUTION: "fire",
    SNAG_CAUTION: "trees that stand dead", LABEL_CAUTION: "the product's label", STEEP_CAUTION: "steep ground",
    STEEP_CAUTION_PUBLIC: "steep ground",
}  # fmt: skip
#: How burned piles and stumps are checked for heat.
HEAT_CHECK: Final = "tool first, then the back of the hand held near; never into ash"
#: Said under every headline.
NOT_PERMISSION: Final = "A record of work, not permission to cut, spray or burn."


def cautions_of(
    practices: Iterable[str],
    *,
    has_snags: bool = False,
    has_product: bool = False,
    is_steep: bool = False,
    audience: Audience = "owner",
) -> tuple[str, ...]:
    """Return the cautions that belong to practices and to the ground that they are done on, each whole.

    Parameters
    ----------
    has_snags
        Whether cedars killed and left standing are up there.
    has_product
        Whether a product with a label is used, whatever the practice.
    is_steep
        Whether ground was compared with the slope that machines are kept to.
    """
    done = frozenset(practices)
    applies = {
        SAW_CAUTION: bool(done & SAWS),
        MACHINE_CAUTION: bool(done & MACHINES),
        FIRE_CAUTION: bool(done & FIRE),
        SNAG_CAUTION: has_snags,
        LABEL_CAUTION: has_product or bool(done & PRODUCTS),
        STEEP_CAUTION: is_steep and audience == "owner",
        STEEP_CAUTION_PUBLIC: is_steep and audience == "public",
    }
    return tuple(words for words in CAUTIONS if applies[words])
