"""Invented readings of plant cover and sightings: names of real plants and animals, numbers made by chance."""

from __future__ import annotations

from shapely import Point

from sample_property.chance import Chance
from sample_property.frame import lonlat
from sample_property.outlines import Property
from sample_property.plots import _spot

COVER_COLUMNS = (
    "reading_id", "unit_id", "lon", "lat", "date", "frame", "species", "group", "cover_class", "native", "canopy_pct",
)  # fmt: skip
SIGHTING_COLUMNS = (
    "occurrenceID", "eventDate", "scientificName", "vernacularName", "individualCount", "occurrenceStatus",
    "establishmentMeans", "decimalLatitude", "decimalLongitude", "coordinateUncertaintyInMeters", "recordedBy",
    "occurrenceRemarks",
)  # fmt: skip

LITTLE, BIG, INDIAN = "Schizachyrium scoparium", "Andropogon gerardii", "Sorghastrum nutans"
GRAMA, ROSETTE, ASTER = "Bouteloua curtipendula", "Dichanthelium oligosanthes", "Symphyotrichum ericoides"
RAGWEED, CLOVER, SUMAC = "Ambrosia psilostachya", "Dalea purpurea", "Rhus glabra"
DOGWOOD, MILKWEED, BROME = "Cornus drummondii", "Asclepias viridis", "Bromus japonicus"
SERICEA, CEDAR = "Lespedeza cuneata", "Juniperus virginiana"
_NOT_NATIVE = frozenset({BROME, SERICEA})
_UNKNOWN = frozenset({"Panicum sp."})

#: Round of reading: unit, day, frames, share of frames under crowns and their mean crown cover, and the plants: name,
#: share of frames with it, mean class where it is.
_ROUNDS = (
    ("24-C1", "C1", "2024-09-17", 12, (0.95, 84), ((LITTLE, 0.3, 1.4), (ROSETTE, 0.4, 1.2), (SUMAC, 0.15, 1.6))),
    (
        "24-C2", "C2", "2024-09-18", 12, (0.8, 70),
        ((LITTLE, 0.5, 1.7), (GRAMA, 0.2, 1.3), (ROSETTE, 0.3, 1.2), (BROME, 0.3, 1.3), (ASTER, 0.1, 1.1)),
    ),
    ("24-C3", "C3", "2024-09-18", 8, (0.75, 68), ((LITTLE, 0.5, 1.6), (BIG, 0.2, 1.5), (BROME, 0.4, 1.4))),
    (
        "24-C8", "C8", "2024-09-19", 10, (0.4, 45),
        ((LITTLE, 0.8, 2.3), (BIG, 0.5, 1.9), (GRAMA, 0.3, 1.4), (RAGWEED, 0.4, 1.3), (BROME, 0.5, 1.6)),
    ),
    (
        "26-C1", "C1", "2026-06-27", 12, (0.4, 76),
        (
            (LITTLE, 0.75, 2.0), (BIG, 0.35, 1.7), (ROSETTE, 0.6, 1.5), (RAGWEED, 0.5, 1.7), (SUMAC, 0.4, 1.9),
            (DOGWOOD, 0.2, 1.4), (BROME, 0.3, 1.3), (CEDAR, 0.3, 1.0), ("Panicum sp.", 0.2, 1.2),
        ),
    ),
    (
        "26-C2", "C2", "2026-06-28", 10, (0.15, 30),
        (
            (LITTLE, 0.9, 2.8), (BIG, 0.6, 2.2), (INDIAN, 0.5, 1.9), (GRAMA, 0.5, 1.6), (ASTER, 0.5, 1.3),
            (RAGWEED, 0.4, 1.4), (CLOVER, 0.3, 1.2), (MILKWEED, 0.2, 1.1), (BROME, 0.4, 1.4), (SERICEA, 0.2, 1.5),
        ),
    ),
    (
        "26-C8", "C8", "2026-06-28", 10, (0.0, 0),
        (
            (LITTLE, 0.9, 2.6), (BIG, 0.7, 2.3), (INDIAN, 0.3, 1.6), (GRAMA, 0.4, 1.5), (RAGWEED, 0.4, 1.3),
            (BROME, 0.3, 1.3), (CLOVER, 0.2, 1.1), (CEDAR, 0.4, 1.1),
        ),
    ),
)  # fmt: skip

#: Sightings: id, when, species, plain name, how many, unit, uncertainty [m], by whom, remark.
_SEEN: tuple[tuple[str, str, str, str, str, str, str, str, str], ...] = (
    ("o-01", "2024-09-14", "Poecile carolinensis", "Carolina chickadee", "4", "C1", "20", "Wrenna", ""),
    ("o-02", "2024-09-14", "Cardinalis cardinalis", "northern cardinal", "2", "C1", "20", "Wrenna", "in the thicket"),
    ("o-03", "2024-09-15", "Meleagris gallopavo", "wild turkey", "6", "C2", "15", "Delphy", ""),
    ("o-04", "2024-09-15", "Schizachyrium scoparium", "little bluestem", "", "C2", "5", "Delphy", "a thin clump"),
    ("o-05", "2024-09-21/2024-09-22", "Thryomanes bewickii", "Bewick's wren", "1", "C8", "30", "Jorrin", "two days"),
    ("o-06", "2024-09-22", "Spizella pusilla", "field sparrow", "3", "C8", "20", "Jorrin", ""),
    ("o-07", "2024-09-22", "Colinus virginianus", "northern bobwhite", "0", "C8", "100", "Jorrin", "called for, none"),
    ("o-08", "2024-10", "Sturnella magna", "eastern meadowlark", "2", "G1", "50", "Wrenna", "some day in October"),
    ("o-09", "2025-05-17T07:20-05:00", "Spiza americana", "dickcissel", "5", "C2", "25", "Delphy", ""),
    ("o-10", "2025-05-17", "Asclepias viridis", "green antelopehorn", "12", "C2", "5", "Delphy", "on the ash spots"),
    ("o-11", "2025-06-01", "Terrapene ornata", "ornate box turtle", "1", "C8", "5", "Jorrin", ""),
    ("o-12", "2025-06-07", "Danaus plexippus", "monarch", "3", "C8", "15", "Jorrin", ""),
    ("o-13", "2025-06-14", "Passerina cyanea", "indigo bunting", "2", "C1", "20", "Wrenna", ""),
    ("o-14", "2025-07-05", "Echinacea pallida", "pale purple coneflower", "7", "C1", "5", "Wrenna", ""),
    ("o-15", "2026-05-09", "Spiza americana", "dickcissel", "8", "C8", "25", "Delphy", ""),
    ("o-16", "2026-05-09", "Colinus virginianus", "northern bobwhite", "1", "C8", "60", "Delphy", "one whistling"),
    ("o-17", "2026-05-16", "Spizella pusilla", "field sparrow", "4", "C1", "20", "Wrenna", ""),
    ("o-18", "2026-05-16", "Sturnella magna", "eastern meadowlark", "1", "C2", "40", "Wrenna", ""),
    ("o-19", "2026-05-30", "Liatris punctata", "dotted blazing star", "9", "C2", "5", "Delphy", ""),
    ("o-20", "2026-06-06", "Rhus glabra", "smooth sumac", "", "C1", "10", "Delphy", "thick on the burn"),
    ("o-21", "2026-06-06", "Danaus plexippus", "monarch", "2", "C1", "15", "Delphy", ""),
    ("o-22", "2026-06-13", "Dalea purpurea", "purple prairie clover", "15", "C8", "5", "Jorrin", ""),
    ("o-23", "2026-06-20", "Lespedeza cuneata", "sericea lespedeza", "30", "C2", "5", "Jorrin", "pull these"),
    ("o-24", "2026-06-27", "Sturnella magna", "eastern meadowlark", "3", "G1", "50", "Wrenna", ""),
)


def cover_rows(place: Property, *, seed: int) -> list[dict[str, object]]:
    """Return frames as rows of ``COVER_COLUMNS``: a row for each plant in each frame, one for a frame with nothing."""
    rows: list[dict[str, object]] = []
    for reading_id, unit_id, day, frames, (under_share, crowns_pct), plants in _ROUNDS:
        chance = Chance(seed, f"cover {reading_id}")
        for frame in range(1, frames + 1):
            x, y = _spot(place, unit_id, chance)
            spot = lonlat(Point(x, y), digits=7)
            is_under = chance.uniform() < under_share
            crowns = round(min(100.0, max(0.0, crowns_pct + chance.normal(12)))) if is_under else 0
            head: dict[str, object] = dict.fromkeys(COVER_COLUMNS, "")
            head |= {"reading_id": reading_id, "unit_id": unit_id, "lon": f"{spot.x:.7f}", "lat": f"{spot.y:.7f}"}
            head |= {"date": day, "frame": frame, "canopy_pct": crowns}
            found = [
                head | {"species": name, "cover_class": _class(mean, chance), "native": _native(name)}
                for name, share, mean in plants
                if chance.uniform() < share
            ]
            if found and is_under:
                found.append(head | {"group": "cedar litter", "cover_class": _class(3.2, chance)})
            rows += found or [head]
    return rows


def sighting_rows(place: Property, *, seed: int) -> list[dict[str, object]]:
    """Return sightings as rows of ``SIGHTING_COLUMNS``, each at a spot inside its unit."""
    chance = Chance(seed, "sightings")
    rows = []
    for name, when, species, plain, count, unit_id, unsure_m, who, remark in _SEEN:
        x, y = _spot(place, unit_id, chance)
        spot = lonlat(Point(x, y), digits=6)
        rows.append(
            dict[str, object](
                zip(
                    SIGHTING_COLUMNS,
                    (
                        name, when, species, plain, count, "absent" if count == "0" else "present",
                        "introduced" if species in _NOT_NATIVE else "native",
                        f"{spot.y:.6f}", f"{spot.x:.6f}", unsure_m, who, remark,
                    ),
                    strict=True,
                )
            )
        )  # fmt: skip
    return rows


def _class(mean: float, chance: Chance) -> int:
    return min(6, max(1, round(mean + chance.normal(0.7))))


def _native(name: str) -> str:
    return "unknown" if name in _UNKNOWN else "no" if name in _NOT_NATIVE else "yes"
