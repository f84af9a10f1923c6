"""What loading a layer or a table brought."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from operator import attrgetter
from typing import Any, TypeVar

from habmap.jobs.ports import Store
from habmap.place.load.engine import Brought
from habmap.progress import Progress, Steps
from habmap.records import Row
from habmap.work.log_history import UnitChange

Read = TypeVar("Read")


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadResult:
    """What one file brought.

    Attributes
    ----------
    kind
        What was loaded.
    loaded, versions, already_there
        Rows written; how many of them are new versions of units; rows left out because they say nothing new.
    acres
        Ground of the rows written, in the property's grid [acre]; ``None`` where the rows are no ground.
    acres_by_cover
        The same by the units' cover [acre]; empty for other kinds.
    kept_columns
        Columns that habmap does not use and keeps as they are.
    warnings, repaired
        What to look at, and which outlines were mended and how, in words.
    changes
        Units redrawn, split or merged by this file: the account on the old outlines and on the new.
    """

    kind: str
    loaded: int
    versions: int = 0
    already_there: int = 0
    acres: float | None = None
    acres_by_cover: dict[str, float] = field(default_factory=dict)
    kept_columns: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    repaired: tuple[str, ...] = ()
    changes: tuple[UnitChange, ...] = ()


def result_of(kind: str, brought: Brought[Any], **more: Any) -> LoadResult:
    """Return what a file brought as it is told."""
    return LoadResult(
        kind=kind,
        loaded=len(brought.fresh),
        versions=brought.corrected,
        already_there=brought.already,
        kept_columns=brought.kept_columns,
        warnings=brought.notes,
        repaired=brought.repaired,
        **more,
    )


def read_and_written(
    store: Store,
    read: Callable[[Progress], Read],
    *,
    progress: Progress | None,
    rows_of: Callable[[Read], Sequence[Row]] = attrgetter("fresh"),
) -> Read:
    """Read a file, rows counted, then write what is new in it; return what it brought."""
    steps = Steps(progress, "reading", "writing")
    steps.begin("reading")
    brought = read(steps.within)
    steps.begin("writing")
    store.append(rows_of(brought))
    steps.end()
    return brought
