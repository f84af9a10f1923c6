"""What two people, or one on two machines, wrote apart of one thing: one of it counts, and somebody should look."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from typing import Final, cast

from habmap.records import (
    KEPT,
    Boundary,
    CanopySource,
    DrawnBlock,
    ElevationSource,
    Forecast,
    Photo,
    Plot,
    Row,
    differences,
    key_of,
)
from habmap.work.checks.looked_at import Found, LookedAt
from habmap.work.plots import NOT_MEASURED, plots_told
from habmap.work.succession import counting, newest_photos, standing

#: What a thing is called, and how it is written again where that is not plain from the table's name.
_KINDS: Final[dict[type, tuple[str, str]]] = {
    Boundary: ("the boundary", "load the right one with `habmap load boundary`"),
    ElevationSource: ("the elevation raster", "point at the right one with `habmap load dem`"),
    CanopySource: ("the raster of canopy heights", "point at the right one with `habmap load canopy`"),
    DrawnBlock: ("the block {name}", "save the right one with `habmap load block --overwrite`"),
    Photo: ("the photo {file_name}", "load it again with what is right in photos.csv and --overwrite"),
}


def told_apart(place: LookedAt) -> Iterator[Found]:
    """Yield things that copies of the place told apart, each with another content."""
    told: defaultdict[tuple[object, ...], list[Row]] = defaultdict(list)
    for row in place.held.rows():
        per = KEPT[type(row)].one_per
        if per is not None and not isinstance(row, Forecast):  # forecasts beside each other are no quarrel
            told[(type(row), *(getattr(row, name) for name in per))].append(row)
    for rows in told.values():
        stands = standing(rows)  # type: ignore[type-var]
        last = stands[-1] if not isinstance(stands[-1], Photo) else newest_photos(cast("list[Photo]", rows))[0]
        others = [row for row in stands if differences(row, last, besides=("uuid", "supersedes"))]
        if others:
            table = KEPT[type(last)].table
            what, mend = _KINDS.get(type(last), (f"a row of {table}", "write it again as it is right"))
            name = what.format_map({key: getattr(last, key, "") for key in ("name", "file_name")})
            ids = ", ".join(sorted(map(key_of, others)))
            yield Found(
                f"{table}, row {key_of(last)}",
                f"{name} was written apart in two copies, not alike: this row counts, not {ids}",
                f"{mend}: what is written in sight of both counts",
            )


def plots(place: LookedAt) -> Iterator[Found]:
    """Yield plots that were corrected or withdrawn apart, in different ways."""
    for plot_id, rows in plots_told(place.held.all_of(Plot)).items():
        rivals = standing(rows)
        last = rivals[-1]
        told = [found.words for one in rivals[:-1] for found in differences(one, last, besides=NOT_MEASURED)]
        if len({row.is_void for row in rivals}) > 1:
            told.append("one withdraws it, another does not")
        if told:
            counts = "it stays withdrawn" if counting(rows) is None else f"that of {last.recorded_at:%Y-%m-%d} counts"
            yield Found(
                f"plot {plot_id}",
                f"two copies told it apart ({'; '.join(told)}); {counts}",
                "load the right row with `habmap load plots FILE --overwrite`, or withdraw it with "
                f"`habmap plot void {plot_id} --why T`",
            )
