"""In what two copies' ``habmap.toml`` differ, key by key."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from habmap.place.settings import Settings
from habmap.records import differing

#: What tells one table of a list of tables from another: a contract item, a hold, closed days.
_NAMES: Final = ("program", "item", "unit", "work", "name", "break", "reason")


@dataclass(frozen=True, slots=True)
class SettingDifference:
    """One key, as ``habmap.toml`` has it, and its value in each copy; ``None`` = not there."""

    key: str
    here: object
    there: object


def setting_differences(here: Settings, there: Settings) -> tuple[SettingDifference, ...]:
    """Return the keys that two copies set otherwise, defaults filled in, in the order of the file.

    A table of a list (a contract item, a hold) goes by what names it; one that a copy lacks is one difference.
    """
    one, other = (copy.model_dump(mode="json", by_alias=True, warnings=False) for copy in (here, there))
    return tuple(_differences("", one, other))


def _differences(key: str, here: object, there: object) -> list[SettingDifference]:
    if isinstance(here, list) and isinstance(there, list) and _are_tables([*here, *there]):
        here, there = _by_name(here), _by_name(there)
        names = {name: f"{key}[{name}]" for name in (*here, *there)}
    elif isinstance(here, Mapping) and isinstance(there, Mapping):
        names = {name: f"{key}.{name}".removeprefix(".") for name in (*here, *there)}
    else:
        return [SettingDifference(key, here, there)]
    return [found for name, one, other in differing(here, there) for found in _differences(names[name], one, other)]


def _are_tables(values: list[Any]) -> bool:
    return bool(values) and all(isinstance(value, Mapping) for value in values)


def _by_name(tables: list[Any]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for table in tables:
        name = " ".join(str(table[key]) for key in _NAMES if table.get(key))
        alike = sum(known == name or known.startswith(f"{name} #") for known in found)
        found[f"{name} #{alike + 1}" if alike else name] = table
    return found
