"""Layers and rasters that name addresses or other files: refused in words, and nobody is asked for anything (E5)."""

from __future__ import annotations

import json
import os
import shutil
import threading
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import ClassVar

import numpy as np
import pyogrio
import pytest
import rasterio
from affine import Affine

from habmap.errors import InputError
from habmap.place.drivers import VECTOR_DRIVERS, only_vector_drivers, open_raster
from habmap.place.elevation import open_elevation
from habmap.place.layers import read_layer


class Listener(BaseHTTPRequestHandler):
    """Answers nothing and writes down who asked."""

    asked: ClassVar[list[str]] = []

    def do_GET(self) -> None:
        self.asked.append(self.path)
        self.send_error(404)

    do_HEAD = do_POST = do_GET  # noqa: N815 (the names that the library calls)

    def log_message(self, *_: object) -> None:
        pass


@pytest.fixture
def server() -> Iterator[str]:
    Listener.asked.clear()
    listening = ThreadingHTTPServer(("127.0.0.1", 0), Listener)
    thread = threading.Thread(target=listening.serve_forever, daemon=True)
    thread.start()
    yield f"http://127.0.0.1:{listening.server_port}"
    listening.shutdown()
    listening.server_close()
    thread.join()


RING = [[-97.0, 36.0], [-96.99, 36.0], [-96.99, 36.01], [-97.0, 36.0]]
FEATURE = {"type": "Feature", "properties": {}, "geometry": {"type": "Polygon", "coordinates": [RING]}}
COLLECTION = {"type": "FeatureCollection", "features": [FEATURE]}
KML = '<kml xmlns="http://www.opengis.net/kml/2.2"><Document>{}</Document></kml>'
PLACEMARK = (
    "<Placemark><name>A</name><Polygon><outerBoundaryIs><LinearRing><coordinates>-97,36 -96.99,36 -96.99,36.01 -97,36"
    "</coordinates></LinearRing></outerBoundaryIs></Polygon></Placemark>"
)


def virtual_layer(source: str) -> str:
    return (
        f'<OGRVRTDataSource><OGRVRTLayer name="A"><SrcDataSource>{source}</SrcDataSource><SrcLayer>A</SrcLayer>'
        "</OGRVRTLayer></OGRVRTDataSource>"
    )


VECTORS = {
    "crs link": ("a.geojson", lambda url: json.dumps(
        COLLECTION | {"crs": {"type": "link", "properties": {"href": f"{url}/crs.wkt", "type": "ogcwkt"}}})),
    "crs link twice": ("a.geojson", lambda url: (
        '{"type": "FeatureCollection", "crs": ' + json.dumps({"type": "link", "properties": {"href": f"{url}/x"}})
        + ', "crs": {"type": "name", "properties": {"name": "EPSG:4326"}}, "features": []}')),
    "crs link in a feature": ("a.geojson", lambda url: json.dumps(COLLECTION | {"features": [
        FEATURE | {"crs": {"type": "link", "properties": {"href": f"{url}/x", "type": "ogcwkt"}}}]})),
    "virtual kml": ("a.kml", lambda url: virtual_layer(f"/vsicurl/{url}/a.kml")),
    "virtual gpx": ("a.gpx", lambda url: virtual_layer(f"/vsicurl/{url}/a.gpx")),
    "virtual kml under a kml's comment": ("a.kml", lambda url: (
        f"<!-- {virtual_layer('/vsicurl/' + url + '/a.kml')} -->" + KML.format(""))),
    "pipeline": ("a.gdalg.json", lambda url: json.dumps(
        {"type": "gdal_streamed_alg", "command_line": f"gdal vector pipeline ! read /vsicurl/{url}/a.fgb"})),
    "pipeline named geojson": ("a.geojson", lambda url: json.dumps(
        {"type": "gdal_streamed_alg", "command_line": f"gdal vector pipeline ! read /vsicurl/{url}/a.fgb"})),
    "feature service": ("a.json", lambda url: json.dumps(
        {"conformsTo": [], "links": [{"rel": "data", "type": "application/json", "href": f"{url}/collections"}]})),
    "web feature service": ("a.kml", lambda url: (
        f"<OGRWFSDataSource><URL>{url}/wfs</URL></OGRWFSDataSource>")),
    "network link": ("a.kml", lambda url: KML.format(
        f"<NetworkLink><Link><href>{url}/a.kml</href></Link></NetworkLink>" + PLACEMARK)),
}  # fmt: skip


@pytest.mark.parametrize("disguise", VECTORS)
def test_no_layer_reaches_the_network(disguise: str, server: str, tmp_path: Path) -> None:
    name, text = VECTORS[disguise]
    path = tmp_path / name
    path.write_text(text(server))  # type: ignore[no-untyped-call]
    try:
        rows = read_layer(path, want="any").rows
    except InputError as error:
        assert error.mend
    else:
        assert disguise == "virtual kml under a kml's comment" and not rows
    assert Listener.asked == []


def test_a_style_far_away_is_not_fetched(server: str, tmp_path: Path) -> None:
    path = tmp_path / "a.kml"
    styled = PLACEMARK.replace("<Polygon>", f"<styleUrl>{server}/styles.kml#red</styleUrl><Polygon>")
    path.write_text(KML.format(styled))
    assert len(read_layer(path).rows) == 1
    assert Listener.asked == []


def test_no_layer_shows_another_local_file(tmp_path: Path) -> None:
    secret = tmp_path / "secret.geojson"
    secret.write_text(json.dumps(COLLECTION))
    path = tmp_path / "a.gpx"
    path.write_text(virtual_layer(str(secret)).replace('"A"', '"secret"').replace(">A<", ">secret<"))
    assert len(pyogrio.raw.read(path)[2]) == 1  # the library by itself follows it
    with pytest.raises(InputError, match="not a GPX"):
        read_layer(path)


def test_the_library_has_its_formats_back_afterwards(tmp_path: Path) -> None:
    before = pyogrio.list_drivers()
    path = tmp_path / "a.geojson"
    path.write_text(json.dumps(COLLECTION))
    read_layer(path)
    assert pyogrio.list_drivers() == before and "OGR_VRT" in before
    with only_vector_drivers():
        assert set(pyogrio.list_drivers()) == VECTOR_DRIVERS & set(before)


# --- rasters ------------------------------------------------------------------------------------------------

PROFILE = {"driver": "GTiff", "width": 600, "height": 600, "count": 1, "dtype": "float32", "crs": "EPSG:32614"}


def heights(path: Path, **tags: str) -> Path:
    with rasterio.open(path, "w", **PROFILE, transform=Affine(10, 0, 500000, 0, -10, 4000000)) as raster:
        raster.write(np.full((1, 600, 600), 300, dtype="float32"))
        raster.update_tags(1, note="heights")
        if tags:
            raster.update_tags(ns="OVERVIEWS", **tags)
        raster.units = ("metre",)
    return path


def mosaic(source: str, *, relative: int = 0, more: str = "") -> str:
    return (
        '<VRTDataset rasterXSize="600" rasterYSize="600"><SRS>EPSG:32614</SRS>'
        "<GeoTransform>500000, 10, 0, 4000000, 0, -10</GeoTransform>"
        f'{more}<VRTRasterBand dataType="Float32" band="1"><UnitType>metre</UnitType><SimpleSource>'
        f'<SourceFilename relativeToVRT="{relative}">{source}</SourceFilename><SourceBand>1</SourceBand></SimpleSource>'
        "</VRTRasterBand></VRTDataset>"
    )


def tiles(url: str) -> str:
    return (
        f'<GDAL_WMS><Service name="TMS"><ServerUrl>{url}/${{z}}/${{x}}/${{y}}.png</ServerUrl></Service><DataWindow>'
        "<UpperLeftX>-20037508</UpperLeftX><UpperLeftY>20037508</UpperLeftY><LowerRightX>20037508</LowerRightX>"
        "<LowerRightY>-20037508</LowerRightY><TileLevel>18</TileLevel></DataWindow><Projection>EPSG:3857</Projection>"
        "<BandsCount>1</BandsCount></GDAL_WMS>"
    )


RASTERS = {
    "tile service": ("a.tif", tiles),
    "tile service named xml": ("a.xml", tiles),
    "mosaic named tif": ("a.tif", lambda url: mosaic(f"/vsicurl/{url}/a.tif")),
    "mosaic of an address": ("a.vrt", lambda url: mosaic(f"/vsicurl/{url}/a.tif")),
    "mosaic of an address, relative": ("a.vrt", lambda url: mosaic(f"{url}/a.tif", relative=1)),
    "mosaic that runs code": ("a.vrt", lambda url: mosaic("a.tif", relative=1).replace(
        'band="1"', 'band="1" subClass="VRTDerivedRasterBand"')),
    "mosaic with a mask elsewhere": ("a.vrt", lambda url: mosaic("dem.tif", relative=1, more=(
        f"<MaskBand><VRTRasterBand dataType='Byte'><SimpleSource><SourceFilename>/vsicurl/{url}/m.tif</SourceFilename>"
        "</SimpleSource></VRTRasterBand></MaskBand>"))),
    "mosaic with overviews elsewhere": ("a.vrt", lambda url: mosaic("dem.tif", relative=1, more=(
        f'<Metadata domain="OVERVIEWS"><MDI key="OVERVIEW_FILE">/vsicurl/{url}/o.tif</MDI></Metadata>'))),
    "catalog": ("a.tif", lambda url: json.dumps({"type": "FeatureCollection", "stac_version": "1.0.0", "features": [
        {"type": "Feature", "stac_version": "1.0.0", "assets": {"dem": {"href": f"{url}/dem.tif"}}}]})),
}  # fmt: skip


def used(path: Path) -> None:
    """Do with a raster what `terrain` and `map` do."""
    with open_elevation(path, vertical_unit=None) as dem:
        dem.coarse_heights((-98.9, 36.0, -98.8, 36.1), 400)


@pytest.mark.parametrize("disguise", RASTERS)
def test_no_raster_reaches_the_network(disguise: str, server: str, tmp_path: Path) -> None:
    heights(tmp_path / "dem.tif")
    name, text = RASTERS[disguise]
    path = tmp_path / name
    path.write_text(text(server))  # type: ignore[no-untyped-call]
    with pytest.raises(InputError) as caught:
        used(path)
    assert caught.value.mend and Listener.asked == []


@pytest.mark.parametrize("side", [".ovr", ".msk"])
def test_no_side_file_reaches_the_network(side: str, server: str, tmp_path: Path) -> None:
    path = heights(tmp_path / "dem.tif")
    Path(f"{path}{side}").write_text(mosaic(f"/vsicurl/{server}/o.tif"))
    with pytest.raises(InputError, match="beside this raster"):
        used(path)
    assert Listener.asked == []


def test_overviews_elsewhere_are_refused(server: str, tmp_path: Path) -> None:
    path = heights(tmp_path / "dem.tif", OVERVIEW_FILE=f"/vsicurl/{server}/o.tif")
    with pytest.raises(InputError, match="overviews"):
        used(path)
    assert Listener.asked == []


def test_a_mosaic_of_files_beside_it_is_read_and_others_are_not(tmp_path: Path) -> None:
    folder = tmp_path / "tiles"
    folder.mkdir()
    heights(folder / "dem.tif")
    good = tmp_path / "whole.vrt"
    good.write_text(mosaic("tiles/dem.tif", relative=1))
    with open_elevation(good, vertical_unit=None) as dem:
        assert dem.cell_m == pytest.approx(10, rel=1e-3)
    for source, relative in ((str(folder / "dem.tif"), 0), ("../dem.tif", 1), (str(folder / "dem.tif"), 1)):
        bad = folder / "bad.vrt"
        shutil.copy(folder / "dem.tif", tmp_path / "dem.tif")
        bad.write_text(mosaic(source, relative=relative))
        with pytest.raises(InputError, match="not beside it"), open_elevation(bad, vertical_unit=None):
            pass


def test_a_plain_raster_with_plain_overviews_is_read(tmp_path: Path) -> None:
    path = heights(tmp_path / "dem.tif")
    with rasterio.Env(TIFF_USE_OVR=True), rasterio.open(path, "r+") as raster:
        raster.build_overviews([2])
    assert Path(f"{path}.ovr").exists()
    with open_elevation(path, vertical_unit=None) as dem:
        assert dem.cell_m == pytest.approx(10, rel=1e-3)


def test_a_raster_whose_name_is_not_utf8_is_to_be_renamed(tmp_path: Path) -> None:
    path = tmp_path / os.fsdecode(b"\xff.tif")
    path.write_bytes(b"II*\x00" + bytes(100))
    with pytest.raises(InputError) as caught, open_raster(path, what="an elevation raster"):
        pass
    assert "UTF-8" in caught.value.what and caught.value.mend == "rename it"
