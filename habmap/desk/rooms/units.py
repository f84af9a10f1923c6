"""Units: the table of them in the order of work; new ones, and those that are split, redrawn, merged or retired."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from starlette.responses import Response

from habmap.desk.asked import Asked
from habmap.desk.pages import page, table
from habmap.desk.room import Room
from habmap.errors import HabmapError, UsageError

if TYPE_CHECKING:
    from habmap.jobs.unit import UnitEdit

#: What may be done with an outline, in the words of its form.
_CHANGES: Final = {
    "split": "split a unit around it",
    "redraw": "give a unit this outline",
    "merge": "make one unit of several",
    "retire": "let a unit be no unit any more",
    "undo": "take a unit's last change back",
}


def show(asked: Asked, *, error: HabmapError | None = None) -> Response:
    """Show every unit with its account, terrain and density, in the order of work."""
    from habmap import api
    from habmap.show.words import whole

    store = asked.store
    units = store.units()
    if not units:
        return page(asked, "units.html.j2", error=error, units=(), **_forms(asked))
    order = api.rank(store, today=asked.today)
    account = {unit.unit_id: unit for unit in api.acres(store).units}
    lie = {unit.unit_id: unit for unit in api.terrain(store).units} if store.elevation() is not None else {}
    dense = {unit.unit_id: unit for unit in api.density(store).units}
    rows = []
    for line in order.units:
        own, slope, stems = account[line.unit_id], lie.get(line.unit_id), dense.get(line.unit_id)
        rows.append(
            [
                line.unit_id,
                line.order if line.tier != "none" else None,
                line.name,
                line.cover,
                own.acres,
                own.treated_acres,
                own.remaining_acres,
                None if slope is None else whole(slope.slope_mean_pct),
                None if slope is None else slope.facing,
                None if slope is None else whole(slope.sun_facing_pct),
                None if stems is None else whole(stems.stems_per_acre),
                "; ".join(line.reasons),
            ]
        )
    return page(
        asked,
        "units.html.j2",
        error=error,
        units=units,
        table=table("Every unit, in the order of work", _HEADS, rows),
        order=order,
        **_forms(asked),
    )


_HEADS: Final = (
    "unit", "order", "name", "cover", "acres", "treated", "remain", "slope %", "faces", "sun-facing %", "stems an acre",
    "why there",
)  # fmt: skip


def _forms(asked: Asked) -> dict[str, Any]:
    """Return what the room's forms ask with."""
    from habmap.vocabulary import COVERS

    draft = asked.desk.drafts.find(asked, asked.text("draft"))
    return {
        "draft": draft,
        "drawn": draft is not None and bool(draft.said.get("ground")),
        "ids": [(unit.unit_id, unit.unit_id) for unit in asked.store.units()],
        "covers": [(cover, cover) for cover in COVERS],
        "changes": _CHANGES,
    }


def outline(asked: Asked) -> Response:
    """Take an outline that was drawn on the map into the room's forms."""
    draft = asked.desk.drafts.keep(asked)
    return asked.goto("units", draft=draft.key)


def add(asked: Asked) -> Response:
    """Add a unit by its outline: drawn, from a file, or walked."""
    try:
        words = _added(asked)
    except HabmapError as error:
        return show(asked, error=error)
    return asked.goto("units", done=words)


def _added(asked: Asked) -> str:
    unit_id, cover = asked.text("unit_id"), asked.text("cover")
    if not unit_id:
        raise UsageError("the unit has no short name yet", where="short name", mend="give it one, such as C7")
    if asked.paths("track"):
        from habmap.jobs.trace import trace

        walked = trace(
            asked.store,
            asked.paths("track"),
            now=asked.now,
            unit_id=unit_id,
            cover=cover,
            name=asked.text("name") or None,
            trim=asked.has("trim"),
        )
        sd = "" if walked.acres_sd is None else f" ± {walked.acres_sd:,.2f}"
        return "; ".join([f"unit {unit_id}, {walked.acres:,.2f}{sd} acres", *walked.notes])
    from habmap.jobs.load.layers import load_units

    path = _outline_file(asked, properties={"unit_id": unit_id, "name": asked.text("name") or unit_id, "cover": cover})
    result = load_units(asked.store, path=path, valid_from=asked.today, now=asked.now, trim=asked.has("trim"))
    return "; ".join([f"unit {unit_id}, {result.acres or 0:,.2f} acres", *result.warnings])


def _outline_file(asked: Asked, *, properties: dict[str, str] | None = None) -> Path:
    """Return the one outline that a form gives as a file; with properties, as a layer of one row.

    Raises
    ------
    UsageError
        None is given.
    """
    draft = asked.desk.drafts.find(asked, asked.text("draft"))
    text = "" if draft is None else (draft.said.get("ground") or ("",))[-1]
    paths = asked.paths("file")
    if not text and not paths:
        raise UsageError(
            "there is no outline yet", where="the outline", mend="draw it on the map, or choose a file or a walk"
        )
    if paths and properties is None:
        return paths[0]
    if paths:
        from shapely.geometry import mapping

        from habmap.place.layers import read_ground

        geometry: Any = mapping(read_ground(paths[0]))
    else:
        try:
            geometry = json.loads(text)["features"][0]["geometry"]
        except (ValueError, KeyError, IndexError, TypeError) as error:
            raise UsageError("the drawn outline cannot be read", where="the outline", mend="draw it again") from error
    feature = {"type": "Feature", "properties": properties or {}, "geometry": geometry}
    path: Path = asked.desk.new_folder() / "outline.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": [feature]}), encoding="utf-8")
    return path


def look(asked: Asked) -> Response:
    """Show what a change of units would do; nothing is written."""
    asked, draft = asked.desk.drafts.looked_at(_with_outline(asked))
    try:
        edit = _changed(asked, is_preview=True)
    except HabmapError as error:
        return show(asked, error=error)
    return page(asked, "units_look.html.j2", edit=edit, draft=draft, before_after=_table(edit), words=_CHANGES)


def _with_outline(asked: Asked) -> Asked:
    """Return what is asked with the outline of the draft that it was begun from."""
    draft = asked.desk.drafts.find(asked, asked.text("draft"))
    if draft is None or not draft.said.get("ground"):
        return asked
    return replace(asked, said={**asked.said, "ground": draft.said["ground"]})


def change(asked: Asked) -> Response:
    """Write the change that was looked at."""
    asked = asked.desk.drafts.taken_up(asked)
    try:
        edit = _changed(asked, is_preview=False)
    except HabmapError as error:
        return show(asked, error=error)
    return asked.goto("units", done=f"{', '.join(unit.unit_id for unit in edit.after) or 'the unit'}: {edit.change}")


def _changed(asked: Asked, *, is_preview: bool) -> UnitEdit:
    from habmap.jobs import unit

    store, which = asked.store, asked.text("unit")
    again: dict[str, Any] = {"now": asked.now, "is_preview": is_preview}
    dated = {**again, "valid_from": asked.day("from", "from which day") or asked.today}
    ways: dict[str, Callable[[], UnitEdit]] = {
        "split": lambda: unit.split(store, which, by=_outline_file(asked), into=_names(asked.text("into")), **dated),
        "redraw": lambda: unit.redraw(store, which, path=_outline_file(asked), trim=asked.has("trim"), **dated),
        "merge": lambda: unit.merge(
            store, asked.texts("units"), into=asked.text("into"), cover=asked.text("cover") or None, **dated
        ),
        "retire": lambda: unit.retire(store, which, **dated),
        "undo": lambda: unit.undo(store, which, **again),
    }
    way = ways.get(asked.text("change"))
    if way is None:
        raise UsageError(
            "what is to be changed?",
            where="the change",
            allowed=", ".join(_CHANGES.values()),
            mend="choose one of these",
        )
    return way()


def _names(text: str) -> tuple[str, ...]:
    return tuple(part.strip() for part in text.split(",") if part.strip())


def _table(edit: UnitEdit) -> Any:
    rows = [
        [side, unit.unit_id, unit.acres, unit.treated_acres, unit.remaining_acres, unit.keep_acres]
        for side, units in (("before", edit.before), ("after", edit.after))
        for unit in units
    ]
    return table("Before and after", ("when", "unit", "acres", "treated", "remain", "left on purpose"), rows)


ROOM: Final = Room(
    name="units",
    title="Units",
    show=show,
    acts={"outline": outline, "add": add, "look": look, "change": change},
)
