"""The layer of roads, houses, creeks and other things on the map, and which of those that are there a row speaks of."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any, Final

from habmap.errors import HabmapError, InputError, printable
from habmap.place.contents import Contents
from habmap.place.load.engine import Brought, read_layer_rows
from habmap.place.load.spec import Loading, ReadRow, TableSpec, columns_of
from habmap.place.load.table import layer_table
from habmap.progress import Progress
from habmap.records import Difference, Feature, differences, is_same
from habmap.vocabulary import PRIVATE_FEATURE_KINDS


def _rest(row: ReadRow, _loading: Loading) -> Mapping[str, Any]:
    return {
        "name": row["name"] or "",
        # nests, graves and cultural sites are kept private whatever the file says
        "sensitive": bool(row["sensitive"]) or row["kind"] in PRIVATE_FEATURE_KINDS,
    }


FEATURES: Final = TableSpec(
    kind="features",
    noun="feature",
    record=Feature,
    columns=columns_of(Feature, kind={"is_required": True}),
    rest=_rest,
)


def bring_features(
    store: Contents,
    *,
    path: Path,
    now: datetime,
    layer: str | None = None,
    columns: Mapping[str, str] | None = None,
    repair: bool = False,
    overwrite: bool = False,
    progress: Progress | None = None,
) -> Brought[Feature]:
    """Read a layer of features and tell what is new in it; nothing is written.

    Parameters
    ----------
    overwrite
        Let rows correct the features that they name: by ``feature_id``; else of the same kind with the same shape (its
        name or its privacy was wrong), or of the same kind and name (its shape was wrong), where that is one alone.

    Raises
    ------
    InputErrors
        Every fault of the file, with its row; without ``overwrite`` each row that says something else of a feature that
        is there.
    InputError
        The file as a whole is unfit.
    """
    read = layer_table(path, layer=layer, want="any", repair=repair, grid=store.grid)
    table, told = read_layer_rows(store, FEATURES, read, now=now, columns=columns, progress=progress)
    faults, notes = table.faults, table.notes
    rows = [(one.where, one.record) for one in told]
    faults += _same_id_twice(rows, read.where)
    left = list(store.features())
    rest: list[tuple[str, Feature]] = []
    for where, feature in rows:
        same = next((one for one in left if not _told_apart(feature, one, with_extra=overwrite)), None)
        if same is None:
            rest.append((where, feature))
        else:
            left.remove(same)
    loaded: list[Feature] = []
    for where, feature in rest:
        known, clash = _spoken_of(feature, left, [one for _where, one in rest])
        if known is None and clash is None:
            loaded.append(feature)
        elif overwrite and known is not None:
            left.remove(known)
            loaded.append(replace(feature, supersedes=(known.uuid,)))
        elif overwrite or (known is not None and not _is_by_name(feature, known)):
            faults.append(_fault(feature, known, clash, where))
        else:
            loaded.append(feature)
            notes.append(
                f"{where}: there is another {feature.kind} called {printable(feature.name)} already; "
                "if this is the same one, load it with --overwrite"
            )
    table.refuse_faults()
    return Brought(
        fresh=tuple(loaded),
        corrected=sum(1 for feature in loaded if feature.supersedes),
        already=len(rows) - len(rest),
        notes=tuple(notes),
        repaired=read.repaired,
        kept_columns=table.left,
    )


def _same_id_twice(rows: Sequence[tuple[str, Feature]], where: str) -> list[HabmapError]:
    counts = Counter(feature.feature_id for _where, feature in rows if feature.feature_id is not None)
    return [
        InputError(
            "the same feature_id stands on several rows",
            where=where,
            value=printable(label),
            allowed="each feature_id once",
            mend="rename them, or join their shapes into one feature",
        )
        for label, count in counts.items()
        if count > 1
    ]


def _told_apart(feature: Feature, known: Feature, *, with_extra: bool) -> tuple[Difference, ...]:
    """Return what a row says otherwise than a feature; a blank feature_id says nothing."""
    besides = {"uuid", "is_void", "why"}
    besides |= ({"feature_id"} if feature.feature_id is None else set()) | (set() if with_extra else {"extra"})
    return differences(feature, known, besides=besides)


def _is_by_name(feature: Feature, known: Feature) -> bool:
    """Tell whether only the name ties a row to a feature: two roads may well be called alike."""
    by_id = feature.feature_id is not None and feature.feature_id == known.feature_id
    return not by_id and not is_same(feature.geometry, known.geometry)


def _spoken_of(feature: Feature, left: Sequence[Feature], news: Sequence[Feature]) -> tuple[Feature | None, str | None]:
    """Return the feature there that a row speaks of, or why that cannot be told."""
    if feature.feature_id is not None:
        labeled = [one for one in left if one.feature_id == feature.feature_id]
        if labeled:
            return labeled[0], None
    of_kind = [one for one in left if one.kind == feature.kind]
    alike = [one for one in of_kind if feature.feature_id is None or one.feature_id is None]
    shaped = [one for one in alike if is_same(feature.geometry, one.geometry)]
    if len(shaped) == 1:
        return shaped[0], None
    named = [one for one in alike if feature.name and one.name == feature.name]
    rivals = [one for one in news if (one.kind, one.name) == (feature.kind, feature.name)]
    if not named:
        return None, None
    if len(named) == 1 and len(rivals) == 1:
        return named[0], None
    return None, f"{len(named)} there and {len(rivals)} in the file"


def _fault(feature: Feature, known: Feature | None, clash: str | None, where: str) -> InputError:
    called = printable(f"{feature.kind} {feature.name}".strip())
    if known is None:
        return InputError(
            "which feature this row corrects cannot be told",
            where=where,
            value=f"{called}: {clash}",
            allowed="one of a kind and name, or a feature_id",
            mend="give each its own feature_id, or withdraw the wrong ones with `feature void`",
        )
    told_apart = _told_apart(feature, known, with_extra=False)
    return InputError(
        "this feature is there already, with other content",
        where=where,
        value=f"{called}: {'; '.join(one.words for one in told_apart)}",
        allowed="a feature that is not there yet",
        mend="let it correct the one that is there with --overwrite; the old row stays on record",
    )
