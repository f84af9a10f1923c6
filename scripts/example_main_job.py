"""The main job from Python: a property from layers, its account, the order of work, and a map for the neighbors.

    python3 scripts/example_main_job.py sample_layers my-place

Run by `tests/unit/test_public_door.py` on the sample property's layers.
"""

import sys
from pathlib import Path

import habmap


def main(layers: Path, folder: Path) -> None:
    """Make a property of these layers in a new folder, and print what they come to."""
    place = habmap.start(folder, name="Example place", timezone="America/Chicago")
    for what, name in (
        ("boundary", "boundary.gpkg"),
        ("units", "units.geojson"),
        ("features", "features.geojson"),
        ("dem", "elevation.tif"),
        ("entries", "entries.csv"),
        ("plots", "plots.csv"),
    ):
        habmap.load(place, what, layers / name)

    total = habmap.acres(place).totals
    print(
        f"{total.treated_acres:.1f} of {total.cedar_acres:.1f} cedar acres treated; {total.remaining_acres:.1f} remain"
    )

    for unit in habmap.rank(place).units:
        if unit.closure is None and unit.remaining_acres:
            print(f"{unit.order}. {unit.name}: {'; '.join(unit.reasons)}")

    hours = habmap.effort(place)
    print(f"{hours.person_hours:,.0f} person-hours so far; {hours.rests_on}")

    page = habmap.write_map(place, folder / "out" / "map.html", audience="public")
    print(f"the map is {page.path}")


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]))
