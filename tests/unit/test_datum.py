"""Which datum changes are taken, and which are refused with the reason."""

from __future__ import annotations

from types import SimpleNamespace

import pytest
from pyproj import CRS

from habmap.errors import InputError
from habmap.land import datum
from habmap.land.datum import _region, horizontal_crs, transformer_to_wgs84

#: Systems whose change to WGS 84 PROJ's own database declares good to 5 m or better.
TAKEN = ("EPSG:4326", "EPSG:32614", "EPSG:3857", "EPSG:4269", "EPSG:26914", "EPSG:2268", "EPSG:6318", "EPSG:2193")


@pytest.mark.parametrize("code", TAKEN)
def test_good_datums_are_taken(code):
    transformer = transformer_to_wgs84(CRS.from_user_input(code))
    assert 0 <= transformer.accuracy <= 5


@pytest.mark.parametrize(
    ("system", "bounds", "found"),
    [
        ("EPSG:4267", (-97.0, 35.0, -96.0, 36.0), "NAD27"),
        ("EPSG:26714", None, "NAD27 / UTM zone 14N"),
        ("+proj=utm +zone=14 +ellps=GRS80 +units=m", None, "accuracy unknown"),
    ],
)
def test_poor_or_unknown_accuracy_is_refused_with_the_reason(system, bounds, found):
    with pytest.raises(InputError) as caught:
        transformer_to_wgs84(CRS.from_user_input(system), bounds=bounds, where="old.shp")
    assert caught.value.where == "old.shp"
    assert found in str(caught.value.value)
    assert "5 m" in str(caught.value.allowed)


def test_height_part_is_left_out():
    assert horizontal_crs(CRS.from_user_input("EPSG:26914+5703")) == CRS.from_epsg(26914)
    assert len(horizontal_crs(CRS.from_epsg(4979)).axis_info) == 2


def test_longitude_comes_first():
    lon, lat = transformer_to_wgs84(CRS.from_epsg(4326)).transform(-98.0, 38.0)
    assert (lon, lat) == (-98.0, 38.0)


def test_the_region_of_a_layer_is_told_in_degrees_whatever_it_is_drawn_in():
    # UTM 14 north: 500,000 m is 99° west, and 4,206,000 m north of the equator 38.0° (Snyder 1987, by hand to 0.01°)
    region = _region(CRS.from_epsg(32614), (500_000, 4_206_000, 587_800, 4_317_000))
    found = (region.west_lon_degree, region.south_lat_degree, region.east_lon_degree, region.north_lat_degree)
    assert found == pytest.approx((-99.0, 38.0, -98.0, 39.0), abs=0.02)
    # some rasters count longitude from 0 to 360
    turned = _region(CRS.from_epsg(4326), (262.0, 38.0, 263.0, 39.0))
    assert (turned.west_lon_degree, turned.east_lon_degree) == pytest.approx((-98.0, -97.0))
    assert _region(CRS.from_epsg(4326), (-98.0, 38.0, -97.0, 91.0)) is None
    assert _region(CRS.from_epsg(4326), None) is None


@pytest.mark.parametrize(
    ("accuracies", "said"),
    [([0.0], None), ([0.5], None), ([5.0], None), ([5.0, 99.0], None), ([5.02], "5.02 m"), ([7.0, 1.0], "7 m"),
     ([-1.0], "unknown"), ([], "unknown")],
)  # fmt: skip
def test_the_best_change_at_hand_declares_five_meters_or_better(accuracies, said, monkeypatch):
    changes = [SimpleNamespace(accuracy=one) for one in accuracies]
    monkeypatch.setattr(datum, "TransformerGroup", lambda *_args, **_more: SimpleNamespace(transformers=changes))
    if said is None:
        assert transformer_to_wgs84(CRS.from_epsg(4269)) is changes[0]
    else:
        with pytest.raises(InputError) as caught:
            transformer_to_wgs84(CRS.from_epsg(4269))
        assert caught.value.value == f"NAD83, accuracy {said}" and caught.value.where == "the layer"


def test_the_poles_are_the_ends_of_a_region():
    assert _region(CRS.from_epsg(4326), (-98.0, -90.0, -97.0, 90.0)) is not None
    assert _region(CRS.from_epsg(4326), (-98.0, -89.5, -97.0, 89.5)) is not None
    assert _region(CRS.from_epsg(4326), (-98.0, -90.5, -97.0, 90.0)) is None
    assert _region(CRS.from_epsg(4326), (-98.0, -90.0, -97.0, 90.5)) is None
    for side in range(4):
        bounds = [-98.0, 38.0, -97.0, 40.0]
        bounds[side] = float("inf")
        assert _region(CRS.from_epsg(4326), tuple(bounds)) is None
