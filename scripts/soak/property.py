"""A small invented property with a row of everything, and a valid file for every reader: what the attacks start from."""

from __future__ import annotations

import io
import json
import os
import random
import zipfile
from collections.abc import Callable, Mapping
from itertools import pairwise
from pathlib import Path
from tempfile import TemporaryDirectory

#: Middle of the property (WGS 84 lon, lat [°]) and breadth of one of its units [°].
LON, LAT, STEP = -98.0, 38.0, 0.001
#: Names of its units, from west to east.
UNITS = ("A", "B", "C")
SETTINGS = """
[[closed]]
work = "cut"
from = "04-15"
to = "07-15"
reason = "nesting birds"

[[hold]]
unit = "B"
reason = "spray drift"
from = 2026-01-01
to = 2026-03-01

[[contract]]
program = "Grass"
item = "G-1"
practice_code = "314"
units = ["A", "B"]
planned_acres = 4
not_before = 2025-01-01
due = 2027-12-31
rate = 150

[codes]
cut = "314"

[burn_plan.grass]
author = "A. Boss"
date = 2026-01-01
temp_f = [35, 80]
rh_pct = [25, 60]
wind_mph = [4, 15]
"""

Run = Callable[..., int]


def square(column: float, row: float = 0.0, size: float = 1.0) -> list[list[list[float]]]:
    """Return the rings of a square; a unit is one of size 1 in row 0."""
    west, south, side = LON + column * STEP, LAT + row * STEP, size * STEP
    return [[[west, south], [west + side, south], [west + side, south + side], [west, south + side], [west, south]]]


def geojson(*shapes: tuple[str, object, Mapping[str, object]]) -> bytes:
    """Return a layer of (geometry type, coordinates, properties)."""
    features = [
        {"type": "Feature", "properties": fields, "geometry": {"type": kind, "coordinates": coordinates}}
        for kind, coordinates, fields in shapes
    ]
    return json.dumps({"type": "FeatureCollection", "features": features}).encode()


def _units(names: str, first: int) -> bytes:
    return geojson(
        *(
            ("Polygon", square(first + at), {"unit_id": name, "name": f"Stand {name}", "cover": "cedar", "notes": "n"})
            for at, name in enumerate(names)
        )
    )


FEATURES = geojson(
    ("LineString", [[LON, LAT - STEP / 4], [LON + 3 * STEP, LAT - STEP / 4]], {"kind": "road", "name": "lane"}),
    ("Point", [LON + 1.5 * STEP, LAT + STEP / 2], {"kind": "nest", "name": "hawk", "sensitive": True}),
    ("Polygon", square(2.2, 1.2, 0.1), {"kind": "house", "name": "the house"}),
)
ENTRIES = b"""entry_id,date,practice,unit_id,whole,patch_wkt,killed_pct,person_hours,cost,who,note
e1,2025-11-02,cut,A,yes,,95,12,300,Ann,loppers
e2,2026-02-10,burn,A,yes,,60,9,,Bo,
e3,2026-03-01,cut,,,"POLYGON ((-97.999 38.0, -97.9985 38.0, -97.9985 38.0005, -97.999 38.0005, -97.999 38.0))",80,3,,,half
e4,2026-03-02,checkup,A,yes,,,,,,
"""
MORE_ENTRIES = ENTRIES.replace(b"e1,", b"f1,").replace(b"e2,", b"f2,").replace(b"e3,", b"f3,").replace(b"e4,", b"f4,")
PLOTS = b"""plot_id,unit_id,lon,lat,method,plot_acres,radius_ft,stems,d1,d2,d3,d4,distance_unit,crown_ft,height_ft,date
p1,A,-97.9995,38.0005,fixed,0.05,,20,,,,,,6,12,2025-01-02
p2,A,-97.9996,38.0006,fixed,,26.3,31,,,,,,7,11,2025-01-02
p3,B,-97.9985,38.0005,quarter,,,,10,12,9,,ft,,,2025-01-02
p4,B,-97.9986,38.0004,quarter,,,,4,2.5,,7,m,,,2025-01-03
"""
FORECAST = b"""time,temp_f,rh_pct,wind_mph,gust_mph,wind_from_deg,rain_in,wind_height
2026-03-06T09:00,52,58,7,10,190,0,20ft
2026-03-06T10:00,55,52,8,12,195,0,20ft
2026-03-06T11:00,58,45,9,14,200,0.01,20ft
"""
COVER = b"""reading_id,unit_id,lon,lat,date,frame,species,group,cover_class,native,canopy_pct
r1,A,-97.9995,38.0005,2025-09-17,1,Schizachyrium scoparium,,3,yes,20
r1,A,-97.9994,38.0004,2025-09-17,2,,,,,35
"""
SIGHTINGS = b"""occurrenceID,eventDate,scientificName,vernacularName,individualCount,decimalLatitude,decimalLongitude,recordedBy
o1,2025-09-14,Cardinalis cardinalis,northern cardinal,2,38.0004,-97.9996,Ann
o2,2025-09-15/16,Meleagris gallopavo,wild turkey,6,38.0005,-97.9986,Bo
"""
PHOTO_TABLE = b"file,lon,lat,taken_at,private\none.jpg,-97.9995,38.0005,2025-09-14,no\n"


def gpx(*, column: float = 0.0, moment: str = "2026-03-05T14") -> bytes:
    """Return a walk round most of a unit with a fix each second."""
    ring = square(column, 0.1, 0.7)[0]
    fixes = []
    for start, end in pairwise(ring):
        for step in range(20):
            at = [start[axis] + (end[axis] - start[axis]) * step / 20 for axis in (0, 1)]
            second = len(fixes) * 3
            fixes.append(
                f'<trkpt lat="{at[1]:.7f}" lon="{at[0]:.7f}"><ele>400</ele>'
                f"<time>{moment}:{second // 60:02d}:{second % 60:02d}Z</time></trkpt>"
            )
    head = '<?xml version="1.0" encoding="UTF-8"?><gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1">'
    return f"{head}<trk><name>edge</name><trkseg>{''.join(fixes)}</trkseg></trk></gpx>".encode()


def kml(name: str = "K", column: float = 4.0) -> bytes:
    """Return a KML layer of one unit."""
    ring = " ".join(f"{x},{y},0" for x, y in square(column)[0])
    return (
        '<?xml version="1.0" encoding="UTF-8"?><kml xmlns="http://www.opengis.net/kml/2.2"><Document><Folder>'
        f"<name>units</name><Placemark><name>{name}</name><ExtendedData><SchemaData>"
        f'<SimpleData name="unit_id">{name}</SimpleData><SimpleData name="cover">cedar</SimpleData>'
        f"</SchemaData></ExtendedData><Polygon><outerBoundaryIs><LinearRing><coordinates>{ring}</coordinates>"
        "</LinearRing></outerBoundaryIs></Polygon></Placemark></Folder></Document></kml>"
    ).encode()


def raster(height: Callable[[int, int], float], *, count: int = 40) -> bytes:
    """Return heights on cells of a tenth of a unit, half a unit of margin round the property, as a GeoTIFF."""
    import numpy as np
    import rasterio
    from affine import Affine

    cells = np.array([[height(row, column) for column in range(count)] for row in range(20)], dtype="float32")
    size = STEP / 10
    with rasterio.MemoryFile() as memory:
        with memory.open(
            driver="GTiff", height=20, width=count, count=1, dtype="float32", crs="EPSG:4326", nodata=-9999,
            transform=Affine(size, 0, LON - STEP / 2, 0, -size, LAT + 1.5 * STEP),
        ) as target:  # fmt: skip
            target.write(cells, 1)
            target.units = ("metre",)  # codespell:ignore metre
        return bytes(memory.read())


def picture(shade: int = 120) -> bytes:
    """Return a small JPEG with a camera's tags."""
    from PIL import Image

    image = Image.new("RGB", (64, 48), (shade, 140, 90))
    tags = Image.Exif()
    tags[0x010F] = "Maker"
    tags.get_ifd(0x8769)[0x9003] = "2025:09:14 10:11:12"
    position = tags.get_ifd(0x8825)
    position.update({1: "N", 2: (38.0, 0.0, 1.8), 3: "W", 4: (97.0, 59.0, 58.2)})
    target = io.BytesIO()
    image.save(target, "JPEG", exif=tags)
    return target.getvalue()


def _layer(layer: bytes, suffix: str) -> bytes:
    """Return a GeoJSON layer as another format of many map programs."""
    import geopandas

    with TemporaryDirectory() as folder:
        frame = geopandas.read_file(io.BytesIO(layer))
        path = Path(folder, f"layer.{suffix}")
        if suffix != "zip":
            frame.to_file(path, driver="GPKG", layer="layer")
            return path.read_bytes()
        frame.to_file(Path(folder, "layer.shp"))
        with zipfile.ZipFile(path, "w") as packed:
            for part in sorted(Path(folder).glob("layer.*")):
                if part != path:
                    packed.write(part, part.name)
        return path.read_bytes()


def _sheet(table: bytes, suffix: str) -> bytes:
    """Return a CSV table as a workbook."""
    import csv

    rows = list(csv.reader(io.StringIO(table.decode())))
    target = io.BytesIO()
    if suffix == "xlsx":
        import xlsxwriter

        with xlsxwriter.Workbook(target, {"in_memory": True}) as book:
            page = book.add_worksheet("table")
            for at, row in enumerate(rows):
                page.write_row(at, 0, row)
        return target.getvalue()
    from xml.sax.saxutils import escape

    cells = "".join(
        "<table:table-row>"
        + "".join(f'<table:table-cell office:value-type="string"><text:p>{escape(cell)}</text:p></table:table-cell>' for cell in row)
        + "</table:table-row>"
        for row in rows
    )  # fmt: skip
    names = "".join(f' xmlns:{short}="urn:oasis:names:tc:opendocument:xmlns:{short}:1.0"' for short in ("office", "table", "text"))  # fmt: skip
    body = f'<office:body><office:spreadsheet><table:table table:name="t">{cells}</table:table></office:spreadsheet></office:body>'
    with zipfile.ZipFile(target, "w") as packed:
        packed.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        packed.writestr(
            "content.xml", f'<?xml version="1.0"?><office:document-content{names}>{body}</office:document-content>'
        )
        packed.writestr(
            "META-INF/manifest.xml",
            '<?xml version="1.0"?><manifest:manifest xmlns:manifest="urn:oasis:names:tc:opendocument:xmlns:manifest:1.0">'
            '<manifest:file-entry manifest:full-path="content.xml" manifest:media-type="text/xml"/></manifest:manifest>',
        )
    return target.getvalue()


def valid_files() -> dict[str, dict[str, bytes]]:
    """Return for every reader's command, as words, the files that it takes: name → content."""
    units, boundary = _units("EF", 3), geojson(("Polygon", square(-0.2, -0.5, 4.0), {}))
    redrawn, line = geojson(("Polygon", square(0, 0, 0.9), {})), [[LON + STEP / 2, LAT - STEP], [LON + STEP / 2, LAT + 2 * STEP]]  # fmt: skip
    walk = gpx()
    heights = raster(lambda row, column: 400 + column + 0.1 * row * column)
    return {
        "load units": {
            "u.geojson": units, "u.gpkg": _layer(units, "gpkg"), "u.zip": _layer(units, "zip"), "u.kml": kml(),
        },
        "load boundary": {"b.geojson": boundary, "b.gpkg": _layer(boundary, "gpkg"), "b.zip": _layer(boundary, "zip")},
        "load features": {"f.geojson": FEATURES, "f.gpkg": _layer(FEATURES, "gpkg"), "f.kml": kml("road")},
        "load plots": {"p.csv": PLOTS, "p.xlsx": _sheet(PLOTS, "xlsx"), "p.ods": _sheet(PLOTS, "ods")},
        "load entries": {"e.csv": MORE_ENTRIES, "e.xlsx": _sheet(MORE_ENTRIES, "xlsx"), "e.ods": _sheet(MORE_ENTRIES, "ods")},
        "load sightings": {"s.csv": SIGHTINGS, "s.xlsx": _sheet(SIGHTINGS, "xlsx")},
        "load cover": {"c.csv": COVER, "c.ods": _sheet(COVER, "ods")},
        "load forecast": {"w.csv": FORECAST, "w.xlsx": _sheet(FORECAST, "xlsx")},
        "load photos": {"photos/one.jpg": picture(), "photos/photos.csv": PHOTO_TABLE},
        "load dem": {"d.tif": heights},
        "load canopy": {"h.tif": raster(lambda row, column: (row * column) % 9)},
        "load block --name new": {"k.geojson": redrawn, "k.gpx": walk},
        "trace": {"t.gpx": walk, "t.kml": kml(), "t.geojson": geojson(("LineString", square(0.2, 0.2, 0.5)[0], {}))},
        "log cut --track": {"t.gpx": walk},
        "log pile --date 2026-04-01 --patch": {"g.geojson": redrawn, "g.gpkg": _layer(redrawn, "gpkg"), "g.zip": _layer(redrawn, "zip")},
        "unit redraw A": {"r.geojson": redrawn},
        "unit split A --by": {"l.geojson": geojson(("LineString", line, {}))},
        "region terrain -o out.csv": {"u.geojson": _units("XYZ", 0), "d.tif": heights},
    }  # fmt: skip


def build(folder: Path, run: Run) -> None:
    """Make the property by the commands themselves, in a folder that is not there yet.

    Parameters
    ----------
    run
        Runs a command line and returns its exit code.
    """
    with TemporaryDirectory() as brought:
        os.makedirs(Path(brought, "photos"))  # noqa: PTH103 - one call
        files = {
            "units.geojson": _units("".join(UNITS), 0), "boundary.geojson": geojson(("Polygon", square(-0.2, -0.5, 4.0), {})),
            "features.geojson": FEATURES, "plots.csv": PLOTS, "entries.csv": ENTRIES, "forecast.csv": FORECAST,
            "cover.csv": COVER, "sightings.csv": SIGHTINGS, "photos/one.jpg": picture(), "photos/photos.csv": PHOTO_TABLE,
            "dem.tif": raster(lambda row, column: 400 + column + 0.1 * row * column),
            "canopy.tif": raster(lambda row, column: (row * column) % 9),
            "block.geojson": geojson(("Polygon", square(0, 0, 2.0), {})),
        }  # fmt: skip
        for name, content in files.items():
            Path(brought, name).write_bytes(content)
        place = ["--place", str(folder)]
        lines: list[list[str]] = [["start", str(folder), "--name", "Small", "--timezone", "America/Chicago"]]
        for kind, name, *more in (
            ("boundary", "boundary.geojson"), ("units", "units.geojson", "--from", "2024-01-01"),
            ("features", "features.geojson"), ("dem", "dem.tif", "--copy"), ("canopy", "canopy.tif", "--copy"),
            ("entries", "entries.csv"), ("plots", "plots.csv"), ("cover", "cover.csv"), ("sightings", "sightings.csv"),
            ("forecast", "forecast.csv"), ("block", "block.geojson", "--name", "west"), ("photos", "photos"),
        ):  # fmt: skip
            lines.append([*place, "load", kind, str(Path(brought, name)), *more])
        lines.append([*place, "correct", "3", "--why", "a slip", "--killed-pct", "70"])
        for words in lines:
            code = run(words)
            if code != 0:
                raise RuntimeError(f"the small property could not be made: {' '.join(words)} ended with {code}")
    # without its comments: they are read anew for each input, and are no law of it
    lines = (folder / "habmap.toml").read_text(encoding="utf-8").splitlines()
    said = [line for line in lines if line and not line.startswith("#")]
    (folder / "habmap.toml").write_text("\n".join(said) + SETTINGS, encoding="utf-8")


def whole_settings() -> bytes:
    """Return the property's settings as `habmap start` writes them, with all that is commented, and its own."""
    from habmap.place.template import settings_text

    return (settings_text("Small", timezone="America/Chicago") + SETTINGS).encode()


def chance(seed: int, kind: str, number: int) -> random.Random:
    """Return the source of chance of one input: the same for the same seed, kind and number, whoever runs it."""
    return random.Random(f"{seed}/{kind}/{number}")
