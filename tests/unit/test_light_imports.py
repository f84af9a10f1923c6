"""What a job has no need of, it does not load: a list of modules, which cannot flicker as a stopwatch does."""

from __future__ import annotations

import subprocess
import sys

import pytest

HEAVY = ("geopandas", "matplotlib", "pandas", "pyogrio", "requests", "scipy")


def _printed(script: str) -> str:
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    return done.stdout.strip()


@pytest.mark.parametrize("module", ["jobs.burnsheet", "show.burn.sections", "show.page.render", "jobs.schedule"])
def test_what_is_not_needed_is_not_loaded(module: str) -> None:
    loaded = f"import sys, habmap.{module}; print(*[name for name in {HEAVY!r} if name in sys.modules])"
    assert _printed(loaded) == ""


def test_what_folium_does_without_is_there_at_its_first_use() -> None:
    script = (
        "import habmap.show.page.render, folium.features, folium.utilities, pandas, requests.sessions\n"
        "print(folium.utilities.pd.DataFrame is pandas.DataFrame, folium.features.requests.get is requests.get)\n"
        "print(folium.utilities.if_pandas_df_convert_to_numpy(pandas.DataFrame({'a': [7]})).tolist())"
    )
    assert _printed(script).split("\n") == ["True True", "[[7]]"]
