"""A table that nobody wrote code for: a record, a spec, and the engine does the rest."""

from __future__ import annotations

from dataclasses import MISSING, dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest
from fakes import GRID, FakeStore, ground_lonlat
from shapely import Point, box

from habmap.errors import InputError, InputErrors, UsageError
from habmap.place.load.engine import Brought, bring
from habmap.place.load.spec import PLACED, Column, Label, TableSpec
from habmap.records import Unit, facts
from habmap.records.facts import fact

NOW = datetime(2026, 8, 1, tzinfo=UTC)
UNIT = Unit(
    uuid="u", unit_id="C1", name="C1", cover="cedar", geometry=ground_lonlat(box(0, 0, 100, 100)), recorded_at=NOW
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """The depth of water in a well."""

    uuid: str
    reading_id: str
    unit_id: str
    read_on: date
    depth_ft: float = fact("depth of water", default=MISSING, unit="ft", low=0, high=500)
    pumps: int | None = fact("pumps", low=0)
    kind: str | None = fact("kind of water", choices=("well", "pond"))
    geometry: Point | None = None
    recorded_at: datetime


def _feet(depth_m: float) -> float:
    # 0.3048 m to the international foot (NIST SP 811, appendix B)
    return depth_m / 0.3048


WATER = TableSpec(
    kind="water",
    noun="level",
    record=Level,
    columns=(
        Column("reading_id", is_required=True),
        *PLACED,
        Column("date", "day", is_required=True, fills="read_on"),
        # range, kind of number and choices are those of the fields' facts
        Column.of(facts(Level)["depth_ft"], is_required=True, units={"depth_ft": float, "depth_m": _feet}),
        Column.of(facts(Level)["kind"]),
        Column.of(facts(Level)["pumps"], only=("kind", "well")),
    ),
    is_placed=True,
    identity=Label("water", ("reading_id",)),
    can_overwrite=True,
)


class Wells(FakeStore):
    """A property with levels of water, the newest last."""

    there: tuple[Level, ...] = ()

    def all_of(self, record: type[Any]) -> tuple[Any, ...]:
        return self.there if record is Level else super().all_of(record)


HEADER = "reading_id,unit_id,lon,lat,date,depth_m,kind,pumps,color\n"


def loaded(folder: Path, *rows: str, header: str = HEADER, **said: Any) -> Brought[Level]:
    path = folder / "water.csv"
    path.write_text(header + "\n".join(rows) + "\n", encoding="utf-8")
    store = Wells([UNIT], grid=GRID)
    store.there = said.pop("there", ())
    return bring(store, WATER, path=path, now=NOW, today=NOW.date(), **said)


def test_cells_become_a_record_in_the_unit_of_its_field(tmp_path: Path) -> None:
    at = ground_lonlat(box(40, 40, 60, 60)).centroid
    brought = loaded(tmp_path, f"w1,,{at.x},{at.y},8/31/2026,3.048,Well,2,red", "w2,C1,,,2026-09-01,0,pond,many,")
    one, other = brought.fresh
    assert (one.unit_id, one.read_on, one.kind, one.pumps) == ("C1", date(2026, 8, 31), "well", 2)
    assert one.depth_ft == pytest.approx(10)
    assert one.geometry is not None and (one.geometry.x, one.geometry.y) == (at.x, at.y)
    # a pond has no pumps: what stands there is not read
    assert (other.pumps, other.geometry, other.recorded_at) == (None, None, NOW)
    assert brought.notes == ("columns not read: color",)


def test_every_fault_of_every_row_is_told_at_once(tmp_path: Path) -> None:
    with pytest.raises(InputErrors) as caught:
        loaded(tmp_path, ",C9,,,2026-02-30,200,lake,,", "w2,,9,9,03/04/2026,-1,well,1.5,", "w3,C1,,,2026-09-01,x,,,")
    told = [str(fault).replace("\n", " ") for fault in caught.value.faults]
    for row, words in (
        (2, "reading_id is blank"), (2, "unknown unit"), (2, "date is not a date"), (2, "depth_ft of 0 to 500"),
        (2, "allowed: well, pond"), (3, "outside every unit"), (3, "either 2026-03-04 or 2026-04-03"),
        (3, "depth_m is out of range"), (3, "no whole number"), (4, "depth_m is not a number"),
    ):  # fmt: skip
        assert any(f"row {row}," in fault and words in fault for fault in told), (row, words)
    assert len(told) == 10


def test_same_is_told_from_different(tmp_path: Path) -> None:
    first = loaded(tmp_path, "w1,C1,,,2026-09-01,3,,,").fresh
    again = loaded(tmp_path, "w1,C1,,,2026/9/1,3.0,,,", "w1,C1,,,2026-09-01,3,,,", there=first)
    assert (again.fresh, again.already) == ((), 2)
    with pytest.raises(InputErrors, match=r"w1: depth_ft 6\.56.*before 9\.84"):
        loaded(tmp_path, "w1,C1,,,2026-09-01,2,,,", there=first)
    with pytest.raises(InputErrors, match="in two rows"):
        loaded(tmp_path, "w1,C1,,,2026-09-01,3,,,", "w1,C1,,,2026-09-01,2,,,")
    mended = loaded(tmp_path, "w1,C1,,,2026-09-01,2,,,", there=first, overwrite=True)
    assert mended.corrected == len(mended.fresh) == 1 and mended.fresh[0].uuid != first[0].uuid
    both = (*first, *mended.fresh)
    kept = loaded(tmp_path, "w1,C1,,,2026-09-01,3,,,", there=both)
    assert kept.fresh == () and "level w1 was corrected since" in kept.notes[0]


def test_columns_by_other_names_missing_and_in_two_units(tmp_path: Path) -> None:
    row, header = "w1,C1,2026-09-01,3", "reading_id,unit_id,date,Tiefe\n"
    assert loaded(tmp_path, row, header=header, columns={"depth_m": "Tiefe"}).fresh[0].depth_ft == pytest.approx(
        9.8425, abs=1e-4
    )
    with pytest.raises(InputError, match="no column depth_ft or depth_m"):
        loaded(tmp_path, row, header=header)
    with pytest.raises(UsageError):
        loaded(tmp_path, row, header=header, columns={"depth": "Tiefe"})
    with pytest.raises(InputErrors, match="two columns"):
        loaded(tmp_path, row + ",4", header="reading_id,unit_id,date,depth_m,depth_ft\n")
