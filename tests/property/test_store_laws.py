"""Laws of the place's file: writing then reading is identity, and the order of writing does not matter."""

from __future__ import annotations

import tempfile
from datetime import UTC, date, datetime
from pathlib import Path

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from shapely import MultiPolygon, Polygon

from habmap.place.rows import from_values, to_values
from habmap.place.store import GeoPackageStore
from habmap.records import Entry, Look, Unit
from habmap.vocabulary import COVERS, PRACTICES

# Every text that UTF-8 can hold; lone surrogates are refused, see the unit tests.
texts = st.text(st.characters(codec="utf-8"), max_size=40)
maybe_texts = st.none() | texts
numbers = st.none() | st.floats(allow_nan=False, allow_infinity=False)
moments = st.datetimes(datetime(1970, 1, 1), datetime(9998, 1, 1), timezones=st.just(UTC))
days = st.dates(date(1, 1, 1), date(9999, 12, 31))


@st.composite
def grounds(draw: st.DrawFn) -> MultiPolygon:
    """Triangles and quadrangles anywhere, coordinates of full precision; their shape does not matter to the file."""
    lon, lat = st.floats(-180, 180), st.floats(-90, 90)
    ring = st.lists(st.tuples(lon, lat), min_size=3, max_size=6)
    return MultiPolygon([Polygon(draw(ring)) for _ in range(draw(st.integers(1, 3)))])


looks = st.builds(
    Look,
    live_stems_per_acre=numbers,
    tallest_ft=numbers,
    seedlings_per_acre=numbers,
    sprouts=st.lists(st.tuples(texts, st.integers(0, 2**40)), max_size=3).map(tuple),
    needles=st.sampled_from([None, "green", "red", "dropped"]),
    fuel_lb_ac=numbers,
    stump_treated=st.sampled_from([None, True, False]),
)
entries = st.builds(
    Entry,
    entry_id=st.uuids().map(str),
    recorded_at=moments,
    action=st.sampled_from(["log", "void", "amend"]),
    target=maybe_texts,
    why=maybe_texts,
    practice=st.sampled_from(PRACTICES),
    date=days,
    patch=st.none() | grounds(),
    unit_ids=st.lists(texts, max_size=3).map(tuple),
    killed_pct=numbers,
    burned_pct=numbers,
    person_hours=numbers,
    cost=numbers,
    reported_acres=numbers,
    acres_sd=numbers,
    who=maybe_texts,
    note=maybe_texts,
    product=maybe_texts,
    product_rate=maybe_texts,
    look=st.none() | looks,
    source_id=maybe_texts,
)
json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | texts,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(texts, inner, max_size=3),
    max_leaves=5,
)
units = st.builds(
    Unit,
    uuid=st.uuids().map(str),
    unit_id=texts,
    name=texts,
    cover=st.sampled_from(COVERS),
    geometry=grounds(),
    stems_per_acre=numbers,
    canopy_pct=numbers,
    notes=maybe_texts,
    extra=st.dictionaries(texts, json_values, max_size=3),
    valid_from=st.none() | days,
    valid_to=st.none() | days,
    replaces=st.just(()),
    recorded_at=moments,
)


@given(entries)
def test_an_entry_survives_its_row(entry: Entry) -> None:
    assert from_values(Entry, to_values(entry)) == entry


@given(units)
def test_a_unit_survives_its_row(unit: Unit) -> None:
    assert from_values(Unit, to_values(unit)) == unit


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    written=st.lists(entries, max_size=4, unique_by=lambda row: row.entry_id),
    drawn=st.lists(units, max_size=3, unique_by=lambda row: row.uuid),
    data=st.data(),
)
def test_file_holds_the_same_in_any_order(written: list[Entry], drawn: list[Unit], data: st.DataObject) -> None:
    rows = [*written, *drawn]
    with tempfile.TemporaryDirectory() as folder:
        together = GeoPackageStore.create(Path(folder) / "a", "a")
        together.append(rows)
        one_by_one = GeoPackageStore.create(Path(folder) / "b", "b")
        for row in data.draw(st.permutations(rows)):
            one_by_one.append([row])
        for store in (together, one_by_one):
            again = GeoPackageStore.open(store.folder)
            assert again.entries() == tuple(sorted(written, key=lambda row: (row.recorded_at, row.entry_id)))
            assert again.unit_versions() == tuple(sorted(drawn, key=lambda row: (row.recorded_at, row.uuid)))
            assert again.storage_faults() == []


@settings(max_examples=15, deadline=None)
@given(days=st.lists(st.dates(date(2020, 1, 1), date(2030, 1, 1)), min_size=1, max_size=4), data=st.data())
def test_last_day_of_a_version_does_not_depend_on_the_order(days: list[date], data: st.DataObject) -> None:
    """Rival edits of one unit, as two joined copies bring them: the earliest ends it, whichever is written first."""
    ground = MultiPolygon([Polygon([(-97, 36), (-96.9, 36), (-97, 36.1)])])
    now = datetime(2026, 1, 1, tzinfo=UTC)

    def version(uuid: str, **fields: object) -> Unit:
        content = {"unit_id": "A", "name": "", "cover": "cedar", "geometry": ground, "recorded_at": now} | fields
        return Unit(uuid=uuid, **content)  # type: ignore[arg-type]

    rows = [version("first")]
    rows += [version(f"edit {number}", valid_from=day, replaces=("first",)) for number, day in enumerate(days)]
    with tempfile.TemporaryDirectory() as folder:
        store = GeoPackageStore.create(Path(folder) / "a", "a")
        for row in data.draw(st.permutations(rows)):
            store.append([row])
        ends = {unit.uuid: unit.valid_to for unit in store.unit_versions()}
    assert ends["first"] == min(days)
    assert set(ends.values()) == {min(days), None}
