"""Repeat photos of three spots: drawings, plainly drawn, with the position, direction and time that a camera writes."""

from __future__ import annotations

import io
import math
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw
from shapely import Point

from sample_property.chance import Chance
from sample_property.frame import lonlat

WIDTH, HEIGHT = 640, 480
#: Drawn twice as large and shrunk, so that lines are smooth.
_FINE = 2
INK = "#2b2a26"
_CENTRAL_WINTER, _CENTRAL_SUMMER = timezone(timedelta(hours=-6)), timezone(timedelta(hours=-5))


@dataclass(frozen=True)
class Shot:
    """One photo: where it stands [m], where it looks [°], when (local), what it shows, and how the camera told it."""

    place: str
    taken: datetime
    spot: tuple[float, float]
    direction_deg: float
    scene: str
    has_satellite_time: bool = True

    @property
    def name(self) -> str:
        """Name of its file."""
        return f"{self.place}_{self.taken.date().isoformat()}.jpg"


def _winter(*when: int) -> datetime:
    return datetime(*when, tzinfo=_CENTRAL_WINTER)  # type: ignore[arg-type, misc]


def _summer(*when: int) -> datetime:
    return datetime(*when, tzinfo=_CENTRAL_SUMMER)  # type: ignore[arg-type, misc]


#: Each spot is found again within a few meters and degrees, as people do.
SHOTS = (
    Shot("south_bluff", _winter(2025, 1, 11, 9, 40), (424, 592), 316.0, "thick"),
    Shot("south_bluff", _winter(2025, 2, 15, 16, 5), (426, 589), 309.5, "slash"),
    Shot("south_bluff", _summer(2026, 7, 25, 10, 15), (422, 591), 313.0, "grass"),
    Shot("middle_bluff", _summer(2024, 10, 12, 8, 55), (848, 540), 2.0, "thick", has_satellite_time=False),
    Shot("middle_bluff", _summer(2026, 7, 25, 11, 20), (850, 543), 356.0, "mown"),
    Shot("corner_cedars", _winter(2025, 2, 8, 15, 30), (915, 1050), 24.0, "thin", has_satellite_time=False),
    Shot("corner_cedars", _summer(2026, 5, 16, 9, 5), (918, 1048), 17.0, "burned"),
)


def write_photos(folder: Path, *, seed: int) -> None:
    """Write the photos into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    for shot in SHOTS:
        target = io.BytesIO()
        _drawn(shot.scene, shot.place, seed).save(target, "JPEG", quality=42, optimize=True, exif=_tags(shot))
        (folder / shot.name).write_bytes(target.getvalue())


def _tags(shot: Shot) -> Image.Exif:
    point = lonlat(Point(shot.spot))
    exif = Image.Exif()
    own: dict[int, object] = {0x9003: shot.taken.strftime("%Y:%m:%d %H:%M:%S")}
    gps: dict[int, object] = {}
    gps[1], gps[2] = "N" if point.y >= 0 else "S", _sexagesimal(abs(point.y))
    gps[3], gps[4] = "E" if point.x >= 0 else "W", _sexagesimal(abs(point.x))
    gps[16], gps[17] = "T", shot.direction_deg
    if shot.has_satellite_time:
        utc = shot.taken.astimezone(UTC)
        gps[7], gps[29] = (float(utc.hour), float(utc.minute), float(utc.second)), utc.strftime("%Y:%m:%d")
        own[0x9011] = shot.taken.strftime("%z")[:3] + ":" + shot.taken.strftime("%z")[3:]
    exif[0x8769], exif[0x8825] = own, gps
    return exif


def _sexagesimal(degrees: float) -> tuple[float, float, float]:
    minutes = (degrees - math.floor(degrees)) * 60
    return (float(math.floor(degrees)), float(math.floor(minutes)), round((minutes - math.floor(minutes)) * 60, 3))


# --- the drawings -------------------------------------------------------------------------------------------


def _drawn(scene: str, place: str, seed: int) -> Image.Image:
    """Return a drawing; the hills and the lone tree of a place are the same in all of its scenes."""
    image = Image.new("RGB", (WIDTH * _FINE, HEIGHT * _FINE), "#dfe6e4")
    pen = ImageDraw.Draw(image)
    land = Chance(seed, f"photo land {place}")
    horizon = _hills(pen, land)
    ground = {"thick": "#b7a77f", "thin": "#c4b184", "slash": "#b29c72", "grass": "#c9c07a", "mown": "#d3c98a",
              "burned": "#6d6a55"}[scene]  # fmt: skip
    _ridge(pen, horizon, ground)
    _lone_oak(pen, land, horizon)
    chance = Chance(seed, f"photo {place} {scene}")
    _grass(pen, chance, scene, horizon)
    trees = [(land.uniform(0.02, 0.98), land.uniform(0.0, 1.0), land.uniform(0.8, 1.25)) for _ in range(44)]
    trees.sort(key=lambda tree: tree[1])
    standing = {"thick": 44, "thin": 19, "slash": 5, "grass": 2, "mown": 2, "burned": 3}[scene]
    kept = set(range(standing)) if scene in {"thick"} else {(number * 7) % 44 for number in range(standing)}
    if scene not in {"thick", "thin"}:
        kept = {number for number in kept if trees[number][1] < 0.35}
    for number, (across, depth, size) in enumerate(trees):
        x, y, tall = _placed(across, depth, size, horizon)
        if number in kept:
            _cedar(pen, x, y, tall)
        elif scene == "slash":
            _slash(pen, chance, x, y, tall)
        elif scene in {"grass", "mown", "burned"} and depth > 0.4:
            _stump(pen, x, y, tall, black=scene == "burned")
    edge = 5 * _FINE
    pen.rectangle((0, 0, image.width - 1, image.height - 1), outline="#f7f2e6", width=edge)
    pen.rectangle((edge, edge, image.width - 1 - edge, image.height - 1 - edge), outline=INK, width=2 * _FINE)
    return image.resize((WIDTH, HEIGHT), Image.Resampling.LANCZOS)


def _hills(pen: ImageDraw.ImageDraw, land: Chance) -> list[float]:
    """Draw far hills; return the height of the near ridge at every eighth of the width."""
    for shade, base in (("#b9c4bd", 0.36), ("#9fb0a2", 0.42)):
        bends = [base + land.uniform(-0.03, 0.03) for _ in range(9)]
        _ridge(pen, bends, shade)
    return [0.47 + land.uniform(-0.025, 0.025) for _ in range(9)]


def _ridge(pen: ImageDraw.ImageDraw, bends: list[float], fill: str) -> None:
    wide, tall = WIDTH * _FINE, HEIGHT * _FINE
    across = np.linspace(0, wide, 81)
    line = np.interp(across, np.linspace(0, wide, len(bends)), bends)
    smooth = np.convolve(np.pad(line, 6, mode="edge"), np.ones(13) / 13, mode="valid") * tall
    rim = [(float(x), float(round(y))) for x, y in zip(across, smooth, strict=True)]
    pen.polygon([*rim, (wide, tall), (0, tall)], fill=fill)
    pen.line(rim, fill=INK, width=2 * _FINE)


def _placed(across: float, depth: float, size: float, horizon: list[float]) -> tuple[float, float, float]:
    """Return foot and height of a thing: the nearer, the lower and larger."""
    ridge = float(np.interp(across, np.linspace(0, 1, len(horizon)), horizon))
    y = (ridge + 0.02 + (0.93 - ridge) * depth**1.3) * HEIGHT * _FINE
    return across * WIDTH * _FINE, y, (52 + 150 * depth) * size * _FINE


def _cedar(pen: ImageDraw.ImageDraw, x: float, y: float, tall: float) -> None:
    wide = tall * 0.3
    crown = [
        (x + wide * across, y - tall * up)
        for across, up in (
            (0, 1), (0.45, 0.66), (0.8, 0.34), (1, 0.1), (0, 0.03), (-1, 0.1), (-0.8, 0.34), (-0.45, 0.66),
        )
    ]  # fmt: skip
    pen.line(((x, y), (x, y - tall * 0.1)), fill=INK, width=3 * _FINE)
    pen.polygon(crown, fill="#46583f")
    pen.line([*crown, crown[0]], fill=INK, width=2 * _FINE, joint="curve")
    for step in (0.3, 0.5, 0.7):
        pen.line(((x - wide * 0.4 * step, y - tall * (0.9 - step)), (x + wide * 0.5 * step, y - tall * (0.86 - step))),
                 fill=INK, width=_FINE)  # fmt: skip


def _slash(pen: ImageDraw.ImageDraw, chance: Chance, x: float, y: float, tall: float) -> None:
    long = tall * 0.5
    for _ in range(4):
        angle = chance.uniform(-0.5, 0.5)
        dx, dy = math.cos(angle) * long * 0.5, math.sin(angle) * long * 0.3
        pen.line(((x - dx, y - dy), (x + dx, y + dy)), fill="#9a6138", width=3 * _FINE)
        pen.line(((x - dx, y - dy), (x + dx, y + dy)), fill=INK, width=_FINE)


def _stump(pen: ImageDraw.ImageDraw, x: float, y: float, tall: float, *, black: bool) -> None:
    wide, high = tall * 0.022, tall * 0.045
    fill = "#2f2c27" if black else "#a98b63"
    pen.polygon(((x - wide, y), (x + wide, y), (x + wide, y - high), (x - wide, y - high)), fill=fill, outline=INK)


def _grass(pen: ImageDraw.ImageDraw, chance: Chance, scene: str, horizon: list[float]) -> None:
    tufts, high, inks = {
        "thick": (60, 6, ("#7d7350",)),
        "thin": (150, 8, ("#7d7350", "#8a8458")),
        "slash": (90, 6, ("#7d7350",)),
        "grass": (250, 27, ("#6f7a35", "#8d8a3e", "#a58a3a")),
        "mown": (420, 8, ("#76803c", "#93913f")),
        "burned": (330, 9, ("#4f7a35", "#65893c")),
    }[scene]
    for number in range(tufts):
        across, depth = chance.uniform(), (number + 1) / tufts
        x, y, _tall = _placed(across, depth, 1.0, horizon)
        y += 0.06 * HEIGHT * _FINE * depth
        blade = high * (0.4 + depth) * _FINE
        for lean in (-0.4, 0.05, 0.45):
            pen.line(((x, y), (x + lean * blade, y - blade)), fill=inks[number % len(inks)], width=_FINE + 1)
        if scene == "grass" and number % 23 == 0:
            dot = (1.5 + 2.5 * depth) * _FINE
            pen.ellipse((x - dot, y - blade - dot, x + dot, y - blade + dot), fill="#d9a520", outline=INK)


def _lone_oak(pen: ImageDraw.ImageDraw, land: Chance, horizon: list[float]) -> None:
    """Draw one tree on the ridge by which the spot is found again."""
    across = land.uniform(0.62, 0.86)
    x, y, _tall = _placed(across, 0.0, 1.0, horizon)
    size = 26 * _FINE
    pen.line(((x, y), (x, y - size)), fill=INK, width=4 * _FINE)
    for dx, dy in ((-0.5, 1.15), (0.5, 1.1), (0.0, 1.5)):
        cx, cy = x + dx * size, y - dy * size
        around = (cx - size * 0.55, cy - size * 0.45, cx + size * 0.55, cy + size * 0.45)
        pen.ellipse(around, fill="#7f8f5a", outline=INK, width=2 * _FINE)
