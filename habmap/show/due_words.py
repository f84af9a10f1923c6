"""What is due, in words: why a row stands there, and the cautions that belong to it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from datetime import date
from typing import Final

from habmap.measures import acres_words
from habmap.vocabulary import UPKEEP_WAYS, cautions_of
from habmap.work.due_rows import SAME_GROUND, SPOTS, DueRow, acres_of
from habmap.work.seasons import COMING_BACK, DueItem

#: Said wherever upkeep burns are listed. Sources: OSU Extension NREM-2876 (every 3–5 years); the rest common practice.
TRADE_OFFS: Final = (
    "Upkeep every 3 to 5 years is the published range. Repeated spring fire can favor sumac; late-spring burns set "
    "fescue back and meet ground-nesting birds."
)
#: Said wherever slash is drying.
_DRYING_WORDS: Final = (
    "Drying days, here {first} to {last}, are your own setting: common practice, no source. Needles tell more: green "
    "is not dry, red is flashiest, dropped leaves heavier fuels. Days within them are no leave to burn."
)
#: Ground whose cedars are partly on the ground and partly standing dead is told so from these shares on [%].
_SHARE_WORTH_SAYING_PCT: Final = 0.5


def due_cautions(rows: Sequence[DueRow], *, has_snags: bool, drying_days: tuple[int, int]) -> tuple[str, ...]:
    """Return the cautions that belong to what is due."""
    upkeep = [part for row in rows if row.what == "upkeep" for part in row.parts]
    ways = {way for part in upkeep for way in (("cut",) if part.name == COMING_BACK else UPKEEP_WAYS)}
    found = [*cautions_of(("burn", *ways), has_snags=has_snags)]
    if any(row.what == "drying" for row in rows):
        found.append(_DRYING_WORDS.format(first=drying_days[0], last=drying_days[1]))
    return (*found, TRADE_OFFS)


def row_words(row: DueRow) -> str:
    """Say why a row stands there: where its parts differ, each with its acres and state; and the shares."""
    if row.what in SPOTS:
        return spot_words(row.parts)
    if row.what in SAME_GROUND:
        days = sorted({part.from_date for part in row.parts[1:] if part.from_date is not None})
        then = f"; again on {', '.join(map(str, days))}" if days else ""
        return f"{row.words}{then}"
    alike: defaultdict[tuple[str, date | None, str], list[DueItem]] = defaultdict(list)
    is_one = len({(part.state, part.words) for part in row.parts}) == 1
    for part in row.parts:
        alike[part.state, None if is_one else part.to_date, part.words].append(part)
    told = [row.words] if is_one else [_part_words(*key, acres_of(parts)) for key, parts in alike.items()]
    return "; ".join(filter(None, [*told, share_words(row)]))


def spot_words(spots: Sequence[DueItem]) -> str:
    """Say why spots are due again; those due for one reason together."""
    alike: defaultdict[str, list[str]] = defaultdict(list)
    for spot in spots:
        alike[spot.words].append(spot.name)
    return "; ".join(f"{', '.join(names)}: {words}" for words, names in alike.items())


def _part_words(state: str, last: date | None, words: str, acres: float | None) -> str:
    size = "" if acres is None else f"{acres_words(acres)} "
    until = "" if last is None else f" (to {last})"
    return f"{size}{state}{until}{': ' if words else ''}{words}"


def share_words(row: DueRow) -> str:
    """Say what share of the cedars lies felled and stands dead, where some stand dead; empty where none do."""
    if row.snag_pct is None or row.snag_pct < _SHARE_WORTH_SAYING_PCT:
        return ""
    felled = f"{row.felled_pct or 0:.0f}% of its cedars lie felled, " if row.what in ("drying", "piles") else ""
    return f"{felled}{row.snag_pct:.0f}% {'' if felled else 'of its cedars '}killed and left standing"
