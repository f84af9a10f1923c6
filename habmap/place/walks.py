"""GPS walks as files have them: GPX 1.0 and 1.1, KML lines and tracks, GeoJSON lines. Everything is checked here."""

from __future__ import annotations

import codecs
import json
import math
import re
from collections.abc import Iterable, Iterator, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final, NoReturn
from xml.etree import ElementTree
from xml.parsers import expat

import numpy as np

from habmap.errors import HabmapError, InputError, InputErrors, printable
from habmap.land.tracks import Segment
from habmap.place.userfiles import check_readable

#: Faults listed one by one before the rest is only counted.
MOST_FAULTS: Final = 20
BIGGEST_FILE_BYTES: Final = 200_000_000

RawFix = tuple[object, object, datetime | None]


def read_walks(paths: Sequence[Path]) -> tuple[Segment, ...]:
    """Read the segments of one or more walk files, all of them or none.

    Parameters
    ----------
    paths
        GPX, KML or GeoJSON files; the kind is told from the content, not from the name.

    Returns
    -------
    tuple of Segment
        In the order of the files, WGS 84; times in seconds since 1970 UTC (a time without a zone is UTC, as GPX says).

    Raises
    ------
    InputError
        A file cannot be read, is cut short, is of another kind, holds a DOCTYPE, or holds coordinates out of range;
        every fault of a file is listed. A GPX time that is none leaves its fix without a time.
    """
    segments: list[Segment] = []
    for path in paths:
        segments += read_walk(path)
    return tuple(segments)


def read_walk(path: Path) -> list[Segment]:
    """Read the segments of one walk file (see `read_walks`)."""
    data = _bytes_of(path)
    start = data.lstrip(codecs.BOM_UTF8 + b" \t\r\n")[:1]
    if not start:
        raise InputError("the file is empty", where=str(path), mend="export the track again")
    if start in (b"{", b"["):
        named = list(_geojson_lines(data, path))
    else:
        root = _checked_root(data, path)
        if root == "gpx":
            named = list(_gpx_segments(data, path))
        elif root == "kml":
            named = list(_kml_lines(data, path))
        else:
            _refuse("this is not a GPX, KML or GeoJSON file", path, value=f"its first element is <{root}>")
    named = [(where, fixes) for where, fixes in named if fixes]
    if not named:
        raise InputError(
            "there is no track in this file",
            where=str(path),
            allowed="tracks or routes (GPX), lines or gx:Track (KML), LineString (GeoJSON)",
            mend="export the track itself; waypoints and outlines are no walk (outlines: `habmap load units`)",
        )
    return _segments(named, path)


def _bytes_of(path: Path) -> bytes:
    check_readable(path)
    unread = InputError(
        "the file cannot be read", where=str(path), mend="see that it is there and that you may read it"
    )
    with unread.instead_of(OSError):
        if path.stat().st_size > BIGGEST_FILE_BYTES:
            _refuse("the file is too big for a walk", path, value=f"{path.stat().st_size} bytes")
        return path.read_bytes()


def _refuse(what: str, path: Path, *, value: object = None) -> NoReturn:
    raise InputError(
        what, where=str(path), value=value, allowed="a whole GPX, KML or GeoJSON file", mend="export the track again"
    )


def _checked_root(data: bytes, path: Path) -> str:
    """Read the file once without building anything: refuse a DOCTYPE at its first character and a file cut short."""
    root: list[str] = []
    parser = expat.ParserCreate()

    def doctype(*_args: object) -> None:
        raise InputError(
            "the file holds a DOCTYPE, which can make a reader open other files or fill the memory",
            where=str(path),
            allowed="plain GPX or KML",
            mend="export the track again, or delete the DOCTYPE",
        )

    def started(name: str, _attributes: object) -> None:
        if not root:
            root.append(name.rpartition(":")[2].lower())

    parser.StartDoctypeDeclHandler = doctype
    parser.StartElementHandler = started
    try:
        parser.Parse(data, True)
    except (expat.ExpatError, ValueError, LookupError) as error:
        if isinstance(error, InputError):
            raise
        _refuse("the file is not whole XML: it is cut short or damaged", path, value=error)
    return root[0]


def _text(data: bytes, path: Path) -> str:
    declared = re.match(rb"""\s*<\?xml[^>]*encoding\s*=\s*["']([A-Za-z0-9._-]+)["']""", data)
    encoding = declared.group(1).decode("ascii") if declared else "utf-8"
    if data.startswith(codecs.BOM_UTF8):
        encoding = "utf-8-sig"
    elif data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        encoding = "utf-16"
    try:
        return data.decode(encoding)
    except (UnicodeDecodeError, LookupError) as error:
        _refuse("the file's letters cannot be read", path, value=error)


def _gpx_segments(data: bytes, path: Path) -> Iterator[tuple[str, list[RawFix]]]:
    import gpxpy.gpx

    try:
        gpx = gpxpy.parse(_text(data, path))
    except (gpxpy.gpx.GPXException, ValueError, TypeError, OverflowError) as error:
        _refuse("the file is not valid GPX", path, value=error)
    tracks: list[tuple[str, list[Any]]] = []
    for t, track in enumerate(gpx.tracks, 1):
        name = f" ({printable(track.name, longest=40)})" if track.name else ""
        tracks += [(f"track {t}{name}, segment {s}", segment.points) for s, segment in enumerate(track.segments, 1)]
    # A route is only read where there is no track: handhelds write a route beside the track it was made from.
    if not any(points for _where, points in tracks):
        tracks = [(f"route {r}", list(route.points)) for r, route in enumerate(gpx.routes, 1)]
    for where, points in tracks:
        yield where, [(point.longitude, point.latitude, point.time) for point in points]


def _kml_lines(data: bytes, path: Path) -> Iterator[tuple[str, list[RawFix]]]:
    count = 0
    faults: list[HabmapError] = []
    try:
        tree = ElementTree.fromstring(data)
    except (ElementTree.ParseError, ValueError, LookupError) as error:
        _refuse("the file is not valid KML", path, value=error)
    for element in tree.iter():
        tag = str(element.tag).rpartition("}")[2]
        if tag not in ("LineString", "Track"):
            continue
        count += 1
        where = f"line {count}" if tag == "LineString" else f"track {count}"
        children = [(str(child.tag).rpartition("}")[2], (child.text or "").strip()) for child in element]
        if tag == "LineString":
            words = next((text for name, text in children if name == "coordinates"), "").split()
            yield where, [(*_pair(word.split(",")), None) for word in words]
            continue
        whens = [text for name, text in children if name == "when"]
        coords = [text.split() for name, text in children if name == "coord"]
        if len(whens) != len(coords):
            faults.append(
                InputError(
                    "a track has not as many times as places",
                    where=f"{path}, {where}",
                    value=f"{len(whens)} times, {len(coords)} places",
                    mend="export the walk anew, with or without times",
                )
            )
            continue
        times = [_time(when, f"{path}, {where}, fix {i}", faults) for i, when in enumerate(whens, 1)]
        # A track may hold an empty place where the receiver had none.
        yield where, [(*_pair(coord), time) for coord, time in zip(coords, times, strict=True) if coord]
    if faults:
        raise _gathered(faults, path)


def _geojson_lines(data: bytes, path: Path) -> Iterator[tuple[str, list[RawFix]]]:
    def no_constant(name: str) -> NoReturn:
        raise ValueError(f"{name} is no number")

    try:
        document = json.loads(data.decode("utf-8-sig"), parse_constant=no_constant)
    except (ValueError, RecursionError) as error:
        _refuse("the file is not whole GeoJSON: it is cut short or damaged", path, value=error)
    crs = document.get("crs") if isinstance(document, dict) else None
    if crs and not re.search(r"CRS84|4326", json.dumps(crs)):
        _refuse("the file's coordinates are not WGS 84 longitude and latitude", path, value=json.dumps(crs))
    faults: list[HabmapError] = []
    count = 0
    for geometry, properties in _geometries(document, {}):
        kind, coordinates = geometry.get("type"), geometry.get("coordinates")
        if kind not in ("LineString", "MultiLineString") or not isinstance(coordinates, list):
            continue
        lines = [coordinates] if kind == "LineString" else coordinates
        stamps = _stamps(properties)
        if kind == "LineString" and stamps is not None:
            stamps = [stamps]
        for i, line in enumerate(lines):
            count += 1
            where = f"line {count}"
            if not isinstance(line, list):
                faults.append(
                    InputError(
                        "a line has no list of places",
                        where=f"{path}, {where}",
                        value=line,
                        mend="export the walk anew",
                    )
                )
                continue
            times: list[datetime | None] = [None] * len(line)
            if stamps is not None:
                own = stamps[i] if i < len(stamps) and isinstance(stamps[i], list) else []
                if len(own) != len(line):
                    words = f"{len(own)} times, {len(line)} places"
                    faults.append(
                        InputError(
                            "a line has not as many times as places",
                            where=f"{path}, {where}",
                            value=words,
                            mend="export the walk anew, with or without times",
                        )
                    )
                    continue
                times = [_time(stamp, f"{path}, {where}, fix {k}", faults) for k, stamp in enumerate(own, 1)]
            yield (
                where,
                [
                    (*_pair(place if isinstance(place, list) else []), time)
                    for place, time in zip(line, times, strict=True)
                ],
            )
    if faults:
        raise _gathered(faults, path)


def _geometries(node: object, properties: dict[str, Any]) -> Iterator[tuple[dict[str, Any], dict[str, Any]]]:
    if not isinstance(node, dict):
        return
    kind = node.get("type")
    if kind == "FeatureCollection":
        for feature in _list(node.get("features")):
            yield from _geometries(feature, {})
    elif kind == "Feature":
        own = node.get("properties")
        yield from _geometries(node.get("geometry"), own if isinstance(own, dict) else {})
    elif kind == "GeometryCollection":
        for geometry in _list(node.get("geometries")):
            yield from _geometries(geometry, properties)
    else:
        yield node, properties


def _list(value: object) -> list[Any]:
    return value if isinstance(value, list) else []


def _stamps(properties: dict[str, Any]) -> list[Any] | None:
    """Return the times of a line's places, under the names that converters of GPX write them."""
    inner = properties.get("coordinateProperties")
    for holder in (properties, inner if isinstance(inner, dict) else {}):
        for key in ("coordTimes", "times"):
            if isinstance(holder.get(key), list):
                return list(holder[key])
    return None


def _pair(words: Sequence[object]) -> tuple[object, object]:
    return (words[0], words[1]) if len(words) >= 2 else (None, None)


def _time(stamp: object, where: str, faults: list[HabmapError]) -> datetime | None:
    if stamp in (None, ""):
        return None
    try:
        if isinstance(stamp, int | float) and not isinstance(stamp, bool):
            return datetime.fromtimestamp(stamp / 1000 if abs(stamp) > 1e11 else stamp, UTC)
        return datetime.fromisoformat(str(stamp).strip())
    except (ValueError, OverflowError, OSError):
        faults.append(
            InputError(
                "this is not a time",
                where=where,
                value=stamp,
                allowed="2026-03-14T15:09:26Z",
                mend="write moments with their zone",
            )
        )
        return None


def _segments(named: Iterable[tuple[str, list[RawFix]]], path: Path) -> list[Segment]:
    segments: list[Segment] = []
    faults: list[HabmapError] = []
    for where, fixes in named:
        places, times = [], []
        for i, (lon, lat, time) in enumerate(fixes, 1):
            here = f"{path}, {where}, fix {i}"
            places.append((_degrees(lon, 180, "longitude", here, faults), _degrees(lat, 90, "latitude", here, faults)))
            times.append(math.nan if time is None else _seconds(time))
        segments.append(
            Segment(f"{path.name}, {where}", np.array(places, dtype=np.float64), np.array(times, dtype=np.float64))
        )
    if faults:
        raise _gathered(faults, path)
    return segments


def _degrees(value: object, limit: int, name: str, where: str, faults: list[HabmapError]) -> float:
    try:
        number = math.nan if isinstance(value, bool) else float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError):
        number = math.nan
    if not abs(number) <= limit:
        faults.append(
            InputError(
                f"a fix has no {name} on the earth",
                where=where,
                value="nothing" if value is None else value,
                allowed=f"−{limit} to {limit} degrees",
                mend="export the track again as WGS 84 degrees, or take this fix out",
            )
        )
    return number


def _seconds(time: datetime) -> float:
    return (time if time.tzinfo else time.replace(tzinfo=UTC)).timestamp()


def _gathered(faults: list[HabmapError], path: Path) -> InputErrors:
    shown = faults[:MOST_FAULTS]
    if len(faults) > MOST_FAULTS:
        shown.append(
            InputError(
                f"and {len(faults) - MOST_FAULTS} more like these",
                where=str(path),
                mend="mend the ones listed and load it again",
            )
        )
    return InputErrors(shown, where=str(path), mend=faults[0].mend or "export the track again")
