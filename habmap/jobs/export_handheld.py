"""What goes onto a handheld: unit edges, the ground that remains, photo points and plots; and spots due again."""

from __future__ import annotations

from datetime import date

from habmap.jobs.export_layers import waiting
from habmap.jobs.ground import ground
from habmap.jobs.photos import found_points
from habmap.jobs.ports import Store
from habmap.jobs.public import public_view
from habmap.jobs.snapshot import once
from habmap.measures import days_after
from habmap.show.handheld import Handheld, tracks
from habmap.vocabulary import Audience
from habmap.work.handheld import remaining_outlines
from habmap.work.photo_pairs import PRIVATE_NEAR_M
from habmap.work.public_copy import private_shapes
from habmap.work.revisits import Revisit, away_from, frame_revisits, photo_revisits, plot_revisits


def handheld(store: Store, *, on: date | None = None, today: date, audience: Audience = "owner") -> Handheld:
    """Return what a handheld shows; no feature is on it for anybody, so that no nest, grave or other site is."""
    owners, day = ground(store, on=on), on or today
    spots = [one for one in revisits(store, on=day, audience=audience) if one.kind != "frame" and one.lonlat]
    store = public_view(store) if audience == "public" else store
    state = ground(store, on=on)
    remaining = remaining_outlines(state, owners=owners)
    outlines = tracks(state.units, remaining, waiting(store, on=day))
    return Handheld(outlines=outlines, remaining=remaining, spots=tuple(spots))


def due_again(store: Store, *, on: date, within_days: int = 0, audience: Audience = "owner") -> tuple[Revisit, ...]:
    """Return the spots that are due again on a day, or will be within so many days, by the day they came due."""
    last = days_after(on, within_days)
    found = [one for one in revisits(store, on=on, audience=audience) if one.is_due(last)]
    return tuple(sorted(found, key=lambda one: one.due_on or date.min))


@once
def revisits(store: Store, *, on: date, audience: Audience = "owner") -> tuple[Revisit, ...]:
    """Return all photo points, plots and frames of plant cover, each with the day on which it is due again.

    For the public without those that stand near a private place or look at one.
    """
    grid, days, features = store.grid, store.settings.seasons, store.features()
    store = public_view(store) if audience == "public" else store
    state = ground(store, on=on)
    points = [(None if one.unit is None else one.unit.unit_id, one.photos) for one in found_points(store, on=on)]
    found = (
        *photo_revisits(points, state=state, days=days.photo_again_days, on=on),
        *plot_revisits(store.plots(), state=state, days=days.plot_again_days, on=on),
        *frame_revisits(store.cover_frames(), days=days.cover_again_days, on=on),
    )
    if audience == "owner" or grid is None:
        return found
    return away_from(found, private_shapes(features, grid), grid=grid, least_m=PRIVATE_NEAR_M)
