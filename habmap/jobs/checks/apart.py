"""What two people, or one on two machines, wrote apart of one thing: one of it counts, and somebody should look."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from typing import Final, cast

from habmap.jobs.checks.facts import Facts, Fault
from habmap.place.schema import TABLE_OF
from habmap.records import (
    Boundary,
    CanopySource,
    DrawnBlock,
    ElevationSource,
    Forecast,
    Photo,
    Row,
    differences,
    key_of,
)
from habmap.work.succession import newest_photos, standing

#: What a thing is called, and how it is written again where that is not plain from the table's name.
_KINDS: Final[dict[type, tuple[str, str]]] = {
    Boundary: ("the boundary", "load the right one with `habmap load boundary`"),
    ElevationSource: ("the elevation raster", "point at the right one with `habmap load dem`"),
    CanopySource: ("the raster of canopy heights", "point at the right one with `habmap load canopy`"),
    DrawnBlock: ("the block {name}", "save the right one with `habmap load block --overwrite`"),
    Photo: ("the photo {file_name}", "load it again with what is right in photos.csv and --overwrite"),
}


def apart(facts: Facts) -> Iterator[Fault]:
    """Yield things that copies of the place told apart, each with another content."""
    told: defaultdict[tuple[object, ...], list[Row]] = defaultdict(list)
    for row in facts.store.rows():
        per = TABLE_OF[type(row)].one_per
        if per is not None and not isinstance(row, Forecast):  # forecasts beside each other are no quarrel
            told[(type(row), *(getattr(row, name) for name in per))].append(row)
    for rows in told.values():
        stands = standing(rows)  # type: ignore[type-var]
        last = stands[-1] if not isinstance(stands[-1], Photo) else newest_photos(cast("list[Photo]", rows))[0]
        others = [row for row in stands if differences(row, last, besides=("uuid", "supersedes"))]
        if others:
            table = TABLE_OF[type(last)].name
            what, mend = _KINDS.get(type(last), (f"a row of {table}", "write it again as it is right"))
            name = what.format_map({key: getattr(last, key, "") for key in ("name", "file_name")})
            ids = ", ".join(sorted(map(key_of, others)))
            yield Fault(
                rule="apart",
                where=f"{table}, row {key_of(last)}",
                what=f"{name} was written apart in two copies, not alike: this row counts, not {ids}",
                mend=f"{mend}: what is written in sight of both counts",
            )
