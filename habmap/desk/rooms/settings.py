"""Settings: every key of the property's file with its comment, or the file itself."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import groupby
from typing import TYPE_CHECKING, Final

from starlette.responses import Response

from habmap.desk.asked import Asked
from habmap.desk.forms import Field, choice_of
from habmap.desk.pages import page
from habmap.desk.room import Room
from habmap.errors import HabmapError, UsageError

if TYPE_CHECKING:
    from habmap.place.settings_blocks import BlockKey

#: Before the names of keys, so that they are no other field's.
_KEY: Final = "key."

#: What blocks are called: several of them, and one more.
_CALLED: Final = {
    "hold": ("Holds", "a hold"),
    "closed": ("Closed days", "closed days"),
    "burn_for": ("Reasons to burn again", "a reason to burn again"),
    "contract": ("Contract lines", "a contract line"),
    "burn_plan.grass": ("The burn plan for grass", "the burn plan for grass"),
    "burn_plan.down_cedar": ("The burn plan for cedar on the ground", "the burn plan for cedar on the ground"),
    "burn_plan.piles": ("The burn plan for piles", "the burn plan for piles"),
    "burn.blocks": ("Units burned as one", "a burn block"),
    "burn.walked": ("Breaks that the burn boss walked", "a break that was walked"),
    "effort.rates": ("Hours an acre, where the log has none", "hours an acre"),
    "codes": ("Practice codes of your agency", "a practice code"),
}


def show(asked: Asked, *, error: HabmapError | None = None) -> Response:
    """Show the settings that are in force, and the file."""
    from habmap.jobs.settings_edit import see_settings

    found = see_settings(asked.at.folder)
    sections = [
        (
            section,
            [
                Field(name=f"{_KEY}{one.name}", label=one.key.replace("_", " "), help=one.comment, value=one.written)
                for one in settings
            ],
        )
        for section, settings in groupby(found.settings, key=lambda one: one.section)
    ]
    return page(
        asked,
        "settings.html.j2",
        error=error,
        sections=sections,
        seen=found.digest,
        text=found.text,
        blocks=[(_CALLED[block.name], block, list(map(_told, entries))) for block, entries in found.blocks],
        done=asked.text("done"),
    )


def _told(entry: Mapping[str, str]) -> str:
    return "; ".join(f"{key.replace('_', ' ')} {value}" for key, value in entry.items() if value)


def ask_block(asked: Asked, *, error: HabmapError | None = None) -> Response:
    """Show one block to be filled in or changed: which kind, and which of it."""
    from habmap.jobs.settings_edit import see_settings
    from habmap.records.said import Said
    from habmap.work.said import cautions_for

    found = see_settings(asked.at.folder)
    name, at = asked.text("block"), _number(asked)
    block, entries = next(((block, entries) for block, entries in found.blocks if block.name == name), (None, ()))
    if block is None or (at is not None and at >= len(entries)):
        raise UsageError(
            "there is no such block in the settings", mend="look at the settings again", where="the settings"
        )
    entry = {} if at is None else entries[at]
    units = tuple((unit.unit_id, unit.unit_id) for unit in asked.store.units())
    return page(
        asked,
        "settings_block.html.j2",
        error=error,
        block=block,
        called=_CALLED[name],
        at=at,
        fields=[_block_field(one, entry.get(one.key, ""), units) for one in block.keys],
        seen=asked.text("seen") or found.digest,
        cautions=cautions_for("burn", Said()) if name.startswith("burn_plan") else (),
    )


def put(asked: Asked) -> Response:
    """Write one block."""
    from habmap.jobs.settings_edit import put_block

    said = {name.removeprefix(_KEY): asked.text(name) for name in asked.said if name.startswith(_KEY)}
    try:
        put_block(asked.at.folder, asked.text("block"), _number(asked), said, seen=asked.text("seen"))
    except HabmapError as error:
        return ask_block(asked, error=error)
    return asked.goto("settings", done=_CALLED[asked.text("block")][1])


def drop(asked: Asked) -> Response:
    """Take one block out."""
    from habmap.jobs.settings_edit import drop_block

    at = _number(asked)
    try:
        if at is None:
            raise UsageError("which one?", where="the block", mend="look at the settings again and choose one")
        drop_block(asked.at.folder, asked.text("block"), at, seen=asked.text("seen"))
    except HabmapError as error:
        return show(asked, error=error)
    return asked.goto("settings", done=f"{_CALLED[asked.text('block')][1]} is taken out")


def _number(asked: Asked) -> int | None:
    text = asked.text("at")
    return int(text) if text.isascii() and text.isdigit() and len(text) < 6 else None


def _block_field(one: BlockKey, value: str, units: tuple[tuple[str, str], ...]) -> Field:
    kinds = {"number": "number", "day": "date", "choice": "choice"}
    is_unit = one.key == "unit" and bool(units)
    how = {
        "range": "Low to high, as in the plan.",
        "texts": "Several with commas between.",
        "day of the year": "Month and day, MM-DD.",
        "day or date": "Month and day for every year, MM-DD; or one date, YYYY-MM-DD.",
    }
    comment = f"{one.comment[:1].upper()}{one.comment[1:].rstrip('.')}." if one.comment else ""
    return Field(
        name=f"{_KEY}{one.key}",
        label=one.key.replace("_", " "),
        kind="choice" if is_unit else kinds.get(one.kind, "text"),
        help=" ".join(part for part in (comment, how.get(one.kind, "")) if part),
        choices=units if is_unit else tuple(map(choice_of, one.choices)),
        value=value,
        is_needed=one.is_needed,
    )


def change(asked: Asked) -> Response:
    """Write single values."""
    from habmap.jobs.settings_edit import change_settings

    values = {name.removeprefix(_KEY): asked.text(name) for name in asked.said if name.startswith(_KEY)}
    try:
        names = change_settings(asked.at.folder, values, seen=asked.text("seen"))
    except HabmapError as error:
        return show(asked, error=error)
    return asked.goto("settings", done=", ".join(names) or "nothing was changed")


def replace(asked: Asked) -> Response:
    """Write the whole file."""
    from habmap.jobs.settings_edit import replace_settings

    try:
        replace_settings(asked.at.folder, (asked.said.get("text") or ("",))[-1], seen=asked.text("seen"))
    except HabmapError as error:
        return show(asked, error=error)
    return asked.goto("settings", done="the file")


ROOM: Final = Room(
    name="settings",
    title="Settings",
    show=show,
    parts={"block": ask_block},
    acts={"change": change, "replace": replace, "block": put, "drop": drop},
)
