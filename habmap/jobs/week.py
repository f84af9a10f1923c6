"""What a week asks: what is forbidden now, what closes, may be considered for burning, is cut next, is checked."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from habmap.jobs.due import found_due
from habmap.jobs.effort import hour_rates
from habmap.jobs.ports import Store
from habmap.jobs.public import public_view
from habmap.jobs.rank import rank
from habmap.jobs.snapshot import once
from habmap.place.closed_days import plan_days
from habmap.place.named_units import settings_of_now
from habmap.show.week_words import month_off_words, week_cautions, week_items
from habmap.vocabulary import Audience
from habmap.work.bite import USUAL_BITE_ACRES, usual_bite
from habmap.work.priority import Ranked
from habmap.work.said import clearing_machines, has_snags
from habmap.work.week import WeekResult, week_of


@once
def week(store: Store, *, on: date, audience: Audience = "owner") -> WeekResult:
    """Return what the week that begins on a day asks, soonest first.

    Raises
    ------
    InputError
        The elevation that the place names cannot be read.
    """
    found = found_due(store, on=on, audience=audience)
    is_public = audience == "public"
    seen = public_view(store) if is_public else store
    settings = settings_of_now(seen)
    is_month_off = on.month not in settings.effort.working_months
    rates = None if is_public else hour_rates(store, on=on)

    def _bite_of(unit: Ranked) -> tuple[float, float | None]:
        if rates is None:
            return min(unit.remaining_acres, USUAL_BITE_ACRES), None
        hours, density = settings.effort.hours_per_week, rates.density.get(unit.unit_id)
        return usual_bite(unit.remaining_acres, hours=hours, density=density, by=rates.hours)

    order = rank(seen, on=on, today=on).units
    asked = week_of(
        found.items,
        on=on,
        closures=found.closures,
        plan_of=lambda kind, unit_id: plan_days(settings, kind, unit_id),
        order=[replace(unit, pressing=None, contract_due=None) for unit in order] if is_public else order,
        is_month_off=is_month_off,
        bite_of=_bite_of,
    )
    place = settings.place.name
    forbidden, closes, burn, cut, check = (
        week_items(asked, name, place=place, on=on, is_public=is_public)
        for name in ("forbidden", "closes", "burn", "cut", "check")
    )
    return WeekResult(
        places=(place,),
        on=on,
        forbidden=forbidden,
        closes=closes,
        burn=burn,
        cut=cut,
        check=check,
        notes=(month_off_words(on),) if is_month_off else (),
        cautions=week_cautions(
            asked,
            machines=clearing_machines(found.state.entries),
            has_snags=has_snags(piece.state for piece in found.state.pieces),
        ),
    )
