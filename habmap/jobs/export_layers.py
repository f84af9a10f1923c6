"""The ledger and the units as layers for other programs, outlines and spots for a handheld, spots due again."""

from __future__ import annotations

from datetime import date

from habmap.jobs.acres import acres as acre_account
from habmap.jobs.ground import ground
from habmap.jobs.photos import found_points
from habmap.jobs.ports import Store
from habmap.jobs.public import public_view
from habmap.jobs.snapshot import once
from habmap.measures import days_after
from habmap.place.closed_days import closures
from habmap.place.named_units import settings_of_now
from habmap.show.handheld import Handheld, tracks
from habmap.show.layer_tables import LayerTable, ledger_layer, units_layer
from habmap.vocabulary import Audience
from habmap.work.burns import burn_of
from habmap.work.handheld import remaining_outlines
from habmap.work.ledger import corrections, effective_entries
from habmap.work.photo_pairs import PRIVATE_NEAR_M
from habmap.work.public_copy import private_shapes
from habmap.work.revisits import Revisit, away_from, frame_revisits, photo_revisits, plot_revisits


def ledger_table(store: Store, *, audience: Audience = "owner") -> LayerTable:
    """Return every line of the log that counts today, corrections applied, with its ground at full precision.

    For the public without the columns that are the owner's, and with ground that tells of no nest, grave or other
    private place (see `habmap.place.public_store`).
    """
    store = public_view(store) if audience == "public" else store
    all_rows, records = store.entries(), store.burns()
    burns = {line.root.entry_id: found for line in corrections(all_rows) if (found := burn_of(line, records))}
    return ledger_layer(effective_entries(all_rows), burns, is_owner=audience == "owner")


def units_table(store: Store, *, on: date | None = None, today: date, audience: Audience = "owner") -> LayerTable:
    """Return the units with the acres of every stage, and which are on hold or closed to cutting on the day."""
    store = public_view(store) if audience == "public" else store
    return units_layer(
        store.units(on),
        {unit.unit_id: unit for unit in acre_account(store, on=on).units},
        waiting(store, on=on or today),
        is_owner=audience == "owner",
    )


def waiting(store: Store, *, on: date) -> dict[str, str | None]:
    """Return by unit that it is on hold or closed to cutting; why is nobody's but the owner's: these files travel."""
    closed = closures(settings_of_now(store))
    found = {unit.unit_id: closed.on(on, unit.unit_id, work=("cut",)) for unit in (*store.units(on), *store.units())}
    return {unit_id: None if closure is None else closure.public_words for unit_id, closure in found.items()}


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
