"""What a job has no need of, it does not load: a list of modules, which cannot flicker as a stopwatch does."""

from __future__ import annotations

import subprocess
import sys

import pytest

HEAVY = ("geopandas", "matplotlib", "pandas", "pyogrio", "reportlab", "requests", "scipy")


def _printed(script: str) -> str:
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    return done.stdout.strip()


@pytest.mark.parametrize("module", ["jobs.burnsheet", "show.burn.sections", "show.page.render", "jobs.schedule"])
def test_what_is_not_needed_is_not_loaded(module: str) -> None:
    loaded = f"import sys, habmap.{module}; print(*[name for name in {HEAVY!r} if name in sys.modules])"
    assert _printed(loaded) == ""


def test_drawing_a_page_loads_no_data_frames() -> None:
    script = (
        "import sys; from habmap.show.page.leaflet import folium\n"
        "folium.Map(location=(1.0, 2.0)).get_root().render()\n"
        "print('pandas' in sys.modules, 'requests' in sys.modules)\n"
        "import pandas, requests.sessions, folium.features; print(folium.features.requests.get is requests.get)"
    )
    assert _printed(script).split("\n") == ["False False", "True"]
