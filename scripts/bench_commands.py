"""Processor time of every command on the sample property, as a ratio to ``python3 -c "import geopandas"``.

Each command runs in a process of its own, as a person runs it, on a fresh copy of the property; user and system time of
that process are added, and the least of a few runs counts. The yardstick is measured between them, in the same run and
on the same machine. habmap is compiled first, as pip leaves it.

    .venv/bin/python scripts/bench_commands.py [RUNS [COMMAND ...]]

COMMAND is a first word, or two of them with ``load`` and ``export``: ``week``, ``export-packet``.
"""

from __future__ import annotations

import compileall
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Final

import habmap
from habmap.place.new_folder import sample_layers_folder

#: What each command may take [s], on a machine on which the yardstick takes half a second (chosen).
LIMIT_S: Final = 1.0
DRAWING_S: Final = 2.0
YARDSTICK_S: Final = 0.5
YARDSTICK: Final = ("-c", "import geopandas")
#: Commands that draw what is printed or shown, and may take longer.
DRAWING: Final = ("map", "sheet", "handout")
WEATHER: Final = "--time 2026-11-03T13:00 --temp-f 60 --rh-pct 45 --wind-mph 8 --wind-from 340"
LINE: Final = "log cut --unit C1 --whole --date 2026-11-20"
#: Commands as a person types them on the sample; those that write anew what is there take --overwrite. `demo` is all of
#: them together, `desk` and `shortcut` wait for a person.
COMMANDS: Final = (
    "week", "due", "acres", "terrain", "density", "rank", "bite --acres 1", "effort",
    "schedule --hours-per-week 20 --from 2026-12-01 --to 2027-03-01", "response", "photos", "history", "check",
    f"burnsheet C1 {WEATHER}", f"burnsheet C1 {WEATHER} --sheet {{out}}.pdf",
    f"{LINE} --preview", LINE, "correct 30 --why bench --killed-pct 90", "void 30 --why bench",
    "export practices -o {out}.csv", "export ledger -o {out}.csv", "export units -o {out}.geojson",
    "export gpx -o {out}.gpx", "export revisits -o {out}.gpx", "export packet --item 1 -o {out}.pdf",
    "export log-sheet -o {out}.pdf",
    *(f"load {table} {{layers}}/{table}.csv" for table in ("entries", "forecast", "plots", "sightings", "cover")),
    *(f"load {layer} {{layers}}/{layer}.geojson" for layer in ("units", "features")),
    "load boundary {layers}/boundary.gpkg", "load dem {layers}/elevation.tif --overwrite",
    "load photos {layers}/photos",
    "trace {layers}/walks/south_bluff_edge.gpx", "unite {other}", "feature list", "start {out} --name Bench", "manual",
    "map", "sheet", "handout",
)  # fmt: skip
#: The sample has no contract; this one is for the packet.
CONTRACT: Final = """
[[contract]]
program = "Prairie Fund"
item = "1"
practice_code = "314"
planned_acres = 40.0
"""


def main() -> None:
    """Print the table."""
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 3
    asked = [name.replace("-", " ", 1) + " " for name in sys.argv[2:]]
    chosen = [one for one in COMMANDS if not asked or f"{one} ".startswith(tuple(asked))]
    compileall.compile_dir(Path(habmap.__file__).parent, quiet=1)
    yardstick = [sys.executable, *YARDSTICK]
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder) / "sample"
        subprocess.run(_command("demo", place), check=True, capture_output=True)
        with (place / "habmap.toml").open("a", encoding="utf-8") as settings:
            settings.write(CONTRACT)
        print(f"{'command':<62} {'CPU s':>6} {'ratio':>6}")
        for command in chosen:
            times, beside = [], []
            for number in range(runs):
                copy = Path(shutil.copytree(place, Path(folder) / f"copy{number}"))
                words = command.format(out=copy / "written", layers=sample_layers_folder(), other=place)
                if words.split()[0] in ("correct", "void"):  # the line that they take back
                    log = _command("--place", copy, *LINE.split())
                    subprocess.run(log, check=True, capture_output=True)
                times.append(_cpu_s(_command("--place", copy, *words.split())))
                beside.append(_cpu_s(yardstick))
                shutil.rmtree(copy)
            ratio = min(times) / min(beside)
            over = ratio > (DRAWING_S if command in DRAWING or "--sheet" in command else LIMIT_S) / YARDSTICK_S
            print(f"{command[:62]:<62} {min(times):6.2f} {ratio:6.2f}{'  over' if over else ''}", flush=True)
        print(f"over: more than {LIMIT_S:g} s ({DRAWING_S:g} s to draw) where the yardstick takes {YARDSTICK_S:g} s")


def _command(*words: object) -> list[str]:
    run = "from habmap.cli.main import run; run()"
    return [sys.executable, "-c", run, *map(str, words)]


def _cpu_s(command: list[str]) -> float:
    """Run a command and return the processor time of its process, user and system together [s]."""
    with subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE) as process:
        assert process.stderr is not None
        words = process.stderr.read()
        _, status, used = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode not in (0, 1):  # 1: `check` found faults
        sys.exit(f"{' '.join(command[2:])} ended with {process.returncode}: {words.decode()}")
    return used.ru_utime + used.ru_stime


if __name__ == "__main__":
    main()
