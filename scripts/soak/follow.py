"""Inputs that follow which lines they reach, on the parsers that touch no file: libFuzzer by way of atheris.

Each parser runs in a process of its own, its modules loaded under watch: ``python -m soak.follow NAME SECONDS SEED RUNS``.
"""

from __future__ import annotations

import re
import subprocess
import sys
import tempfile
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

_DONE = re.compile(r"Done (\d+) runs in (\d+) second")


def _text(name: str, module: str) -> Callable[[], Callable[[str], object]]:
    def found() -> Any:
        import importlib

        return getattr(importlib.import_module(module), name)

    return found


def _there_and_back() -> Callable[[str], object]:
    from habmap.place.formulas import inert, restored

    def law(text: str) -> None:
        if restored(inert(text)) != text:
            raise AssertionError(f"{text!r} comes back as {restored(inert(text))!r}")

    return law


def _stored_shape() -> Callable[[bytes], object]:
    from habmap.place.wkb import bounds_of, from_blob

    def law(blob: bytes) -> None:
        bounds_of(blob)
        from_blob(blob, where="row")

    return law


def _settings() -> Callable[[str], object]:
    from habmap.place.settings_reading import settings_of

    return lambda text: settings_of(text, Path("habmap.toml"))


def _event_days() -> Callable[[str], object]:
    from habmap.place.days import event_days

    return lambda text: event_days(text, timezone="America/Chicago")


#: What makes each parser, and whether it takes text.
PARSERS: dict[str, tuple[Callable[[], Callable[[Any], object]], bool]] = {
    "event days": (_event_days, True),
    "days": (_text("days_meant", "habmap.place.days"), True),
    "moments": (_text("moments_meant", "habmap.place.days"), True),
    "bearing": (_text("bearing_of", "habmap.records.written"), True),
    "sprouts": (_text("sprouts_of", "habmap.records.written"), True),
    "notice": (_text("notice_of", "habmap.records.written"), True),
    "moment": (_text("as_moment", "habmap.records.written"), True),
    "file name": (_text("safe_name", "habmap.desk.asked"), True),
    "cell of a table": (_there_and_back, True),
    "stored shape": (_stored_shape, False),
    "settings": (_settings, True),
}


def follow(*, seed: int, seconds: float, most: int) -> tuple[int, list[str]]:
    """Try each parser for its part of the time; return how many inputs there were, and what was found."""
    try:
        import atheris
    except ImportError:
        return 0, ["atheris is not installed here: inputs that follow coverage were not tried"]
    del atheris
    total, faults = 0, []
    each_s = max(1, round(seconds / len(PARSERS)))
    for name in PARSERS:
        command = [sys.executable, "-m", "soak.follow", name, str(each_s), str(seed), str(most)]
        done = subprocess.run(command, capture_output=True, text=True, errors="replace", check=False)
        said = _DONE.findall(done.stderr)
        total += int(said[-1][0]) if said else 0
        if done.returncode != 0 or not said:
            faults.append(f"parser {name}: {done.stderr[-1500:]}")
    return total, faults


def _run(name: str, seconds: str, seed: str, most: str) -> None:
    import atheris

    with atheris.instrument_imports(include=["habmap"]):
        make, is_text = PARSERS[name]
        parser = make()
    from habmap.errors import HabmapError

    def one(data: bytes) -> None:
        given = data.decode("utf-8", "replace") if is_text else data
        with suppress(HabmapError, ValueError):  # what a reader takes for a refusal
            parser(given)

    runs = f"-runs={most}"
    with tempfile.TemporaryDirectory() as kept:
        atheris.Setup(
            [
                sys.argv[0],
                f"-max_total_time={seconds}",
                runs,
                f"-seed={seed}",
                "-timeout=10",
                "-rss_limit_mb=3000",
                f"-artifact_prefix={kept}/",
            ],
            one,
        )
        atheris.Fuzz()


if __name__ == "__main__":
    _run(*sys.argv[1:])
