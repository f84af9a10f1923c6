"""Many properties on one page, for a meeting or a board: no script, nothing fetched, readable on paper."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Final

from habmap.show import palette
from habmap.show.templating import ENVIRONMENT
from habmap.show.week_words import HEADS, SECTIONS
from habmap.vocabulary import STAGE_WORDS, STAGES, Audience, file_mark
from habmap.work.region_account import PropertyAccount, RegionFault

#: Stages that have a column of their own; what was left on purpose has one anyway.
_SHOWN: Final = tuple(stage for stage in STAGES if stage not in ("keep", "other"))


def region_page(
    rows: Sequence[PropertyAccount],
    total: PropertyAccount,
    *,
    on: date,
    faults: Sequence[RegionFault],
    cautions: Sequence[str],
    audience: Audience,
    version: str,
) -> str:
    """Return the page: every property's acres, what this week asks of it, hours and money where they may be told."""
    return ENVIRONMENT.get_template("region.html.j2").render(
        rows=rows,
        total=total,
        on=on,
        faults=faults,
        cautions=cautions,
        lists=[(name, HEADS[name]) for name in SECTIONS],
        stages=[(stage, STAGE_WORDS[stage], palette.STAGE_FILLS[stage]) for stage in _SHOWN],
        has_money=any(row.person_hours is not None for row in rows),
        mark=file_mark("region", audience),
        palette=palette,
        version=version,
    )
