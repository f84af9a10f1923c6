"""What came up, in sentences: figures with their limits, days, and never a word of cause."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from habmap.measures import so_many
from habmap.show.words import day_words, joined, tenths
from habmap.vocabulary import PRACTICE_WORDS

if TYPE_CHECKING:
    from habmap.work.response_records import UnitResponse
    from habmap.work.response_regrowth import LookFound


METHOD: Final = (
    "Before is the last round of frames before the first log line that killed cedars or burned on that ground, after "
    "the newest round since (frames of one reading within a month); what was read that very day counts on neither "
    "side. A sighting over several days counts by all of them: before if the last is before that day, after if the "
    "first is after it.",
    "Cover classes stand for their midpoints (Daubenmire 1959: 2.5, 15, 37.5, 62.5, 85, 97.5%). A frame without a "
    "plant counts as 0 for it. Plants grow in layers: the cover of the native ones is summed, and may pass 100%. "
    "Limits are 95%, Student’s t over frames, kept between 0 and 100% for each plant summed; the change’s are "
    "Welch’s.",
    "Native is what the reader wrote, never guessed. Cedars count as crowns, not as native cover or species. Counts of "
    "species depend on how long and how well somebody looked; only equally many frames compare (Mao’s tau, Colwell "
    "and others 2004), with the standard deviation after ±.",
    "Before and after tell when something was seen, not what caused it: rain, grazing and season move these figures "
    "too.",
)


def unit_words(unit: UnitResponse) -> str:
    """Return a unit's answer in a few sentences."""
    sentences = [work_sentence(unit), cover_sentence(unit), canopy_sentence(unit), species_sentence(unit)]
    return " ".join(sentence for sentence in (*sentences, regrowth_sentence(unit)) if sentence)


def work_sentence(unit: UnitResponse) -> str:
    """Return where before ends and after begins."""
    if unit.first_work_on is None:
        return "No cutting or burning is logged here yet, so everything read here is from before."
    did = PRACTICE_WORDS[unit.first_work or "other"]
    return f"First {did} on {day_words(unit.first_work_on)}; {unit.worked_pct:.0f}% of the unit worked since."


def cover_sentence(unit: UnitResponse) -> str:
    """Return native cover before and after, or what is missing to compare."""
    before = _cover(
        unit.native_cover_before_pct,
        (unit.native_cover_before_pct_ci95_low, unit.native_cover_before_pct_ci95_high),
        plants=unit.native_plants_before,
    )
    after = _cover(
        unit.native_cover_after_pct,
        (unit.native_cover_after_pct_ci95_low, unit.native_cover_after_pct_ci95_high),
        plants=unit.native_plants_after,
    )
    if unit.read_before_on is None and unit.read_after_on is None:
        return "No cover was read here: nothing to compare."
    if unit.read_before_on is None and unit.read_after_on is not None:
        return (
            f"Native plants cover {after} in {_frames(unit.frames_after)} on {day_words(unit.read_after_on)}; nothing "
            "was read before the work, so there is nothing to compare."
        )
    if unit.read_after_on is None and unit.read_before_on is not None:
        text = f"Native plants covered {before} in {_frames(unit.frames_before)} on {day_words(unit.read_before_on)}"
        return f"{text}." if unit.first_work_on is None else f"{text}; nothing is read since: nothing to compare."
    assert unit.read_before_on is not None and unit.read_after_on is not None
    text = (
        f"Native plants covered {before} in {_frames(unit.frames_before)} on {day_words(unit.read_before_on)}, and "
        f"{after} in {_frames(unit.frames_after)} on {day_words(unit.read_after_on)}"
    )
    return f"{text}: {_change(unit)}."


def canopy_sentence(unit: UnitResponse) -> str:
    """Return the cedars' crown cover before and after; empty where neither is known."""
    parts = []
    for pct, low, high, rests_on in (
        (
            unit.canopy_before_pct,
            unit.canopy_before_pct_ci95_low,
            unit.canopy_before_pct_ci95_high,
            unit.canopy_before_rests_on,
        ),
        (
            unit.canopy_after_pct,
            unit.canopy_after_pct_ci95_low,
            unit.canopy_after_pct_ci95_high,
            unit.canopy_after_rests_on,
        ),
    ):
        parts.append("not measured" if pct is None else f"{_cover(pct, (low, high))}, from {rests_on}")
    if unit.canopy_before_pct is None and unit.canopy_after_pct is None:
        return ""
    if unit.first_work_on is None:
        return f"Cedar crowns: {parts[0]}."
    return f"Cedar crowns before: {parts[0]}; after: {parts[1]}."


def species_sentence(unit: UnitResponse) -> str:
    """Return the species noted on each side with the effort behind them; empty where none were."""
    if not (unit.species_before or unit.species_after):
        return ""
    before = _effort(unit.sightings_before, unit.species_frames_before)
    after = _effort(unit.sightings_after, unit.species_frames_after)
    if unit.first_work_on is None:
        text = f"Species noted: {unit.species_before} ({before})"
    else:
        text = f"Species noted: {unit.species_before} before ({before}), {unit.species_after} after ({after})"
    text += "; a count of what was noted, not a census."
    if unit.frames_compared and unit.frame_species_before is not None and unit.frame_species_after is not None:
        text += (
            f" In equally many frames ({unit.frames_compared}): "
            f"{_spread(unit.frame_species_before, unit.frame_species_before_sd)} before, "
            f"{_spread(unit.frame_species_after, unit.frame_species_after_sd)} after."
        )
    return text


def regrowth_sentence(unit: UnitResponse) -> str:
    """Return what is coming back, as the looks found it; empty where nobody looked."""
    if not unit.coming_back.looks:
        return ""
    return f"Coming back: {'; '.join(_look(look) for look in unit.coming_back.looks)}."


def _look(look: LookFound) -> str:
    parts = []
    if look.live_stems_per_acre is not None:
        parts.append(f"{look.live_stems_per_acre:,.0f} live cedars an acre")
    if look.seedlings_per_acre is not None:
        parts.append(f"{look.seedlings_per_acre:,.0f} cedar seedlings an acre")
    if look.sprouts:
        parts.append("sprouts of " + joined([f"{species} ({count})" for species, count in look.sprouts.items()]))
    text = joined(parts)
    if look.tallest_ft is not None:
        text += f", the tallest {look.tallest_ft:g} ft"
    return f"{text} (checked {day_words(look.on)}, {tenths(look.acres)} acres)"


def _change(unit: UnitResponse) -> str:
    points = unit.native_cover_change_pct or 0.0
    low, high = unit.native_cover_change_pct_ci95_low, unit.native_cover_change_pct_ci95_high
    text = f"{abs(points):.0f} points {'more' if points >= 0 else 'less'}"
    if low is None or high is None:
        return f"{text}, with too few frames to say how sure"
    text += f" (95%: {_signed(low)} to {_signed(high)})"
    return text if low > 0 or high < 0 else f"{text}, a difference that chance alone could make"


def _cover(pct: float | None, limits: tuple[float | None, float | None], *, plants: int = 1) -> str:
    if pct is None:
        return "an unknown share of the ground"
    low, high = limits
    summed = f", the layers of {plants} plants summed," if plants > 1 else ""
    if low is None or high is None or low == high:  # frames all alike give no limits worth saying
        return f"{pct:.0f}%{summed}"
    return f"{pct:.0f}% ({low:.0f} to {high:.0f}){summed}"


def _spread(species: float, sd: float | None) -> str:
    """Return a number of species with its standard deviation, where that is more than nothing."""
    return f"{species:.1f} ± {sd:.1f}" if sd is not None and sd >= 0.05 else f"{species:.1f}"


def _signed(points: float) -> str:
    rounded = round(points)
    return f"−{-rounded}" if rounded < 0 else f"+{rounded}" if rounded else "0"


def _effort(sightings: int, frames: int) -> str:
    parts = []
    if sightings:
        parts.append(so_many(sightings, "sighting"))
    if frames:
        parts.append(_frames(frames))
    return joined(parts) if parts else "nobody looked"


def _frames(number: int) -> str:
    return so_many(number, "frame")
