"""The written plans in ``habmap.toml``: examples that load, none in force, limits that must be in order."""

from __future__ import annotations

import tomllib

import pytest
from pydantic import ValidationError

from habmap.place.settings import Settings
from habmap.place.template import settings_text


def test_no_published_window_is_in_force_in_a_new_place() -> None:
    text = settings_text("New place")
    assert "burn_plan" not in tomllib.loads(text)
    plan = Settings.model_validate(tomllib.loads(text)).burn_plan
    for kind in (plan.grass, plan.down_cedar, plan.piles):
        assert kind.author is None and kind.date is None and kind.rh_pct is None


def test_the_examples_load_when_their_marks_are_taken_away() -> None:
    text = settings_text("New place")
    chapter = text[text.index("# [burn_plan.grass]") : text.index("[paperwork]")]
    lines = [line.removeprefix("# ") for line in chapter.splitlines() if line.startswith("# ")]
    plan = Settings.model_validate(tomllib.loads("\n".join(lines))).burn_plan
    # Kansas smoke management (read): 40–70%, 5–12 mph, 55–80 °F, 1,800 ft and more, 8–20 mph.
    assert (plan.grass.rh_pct, plan.grass.wind_mph, plan.grass.temp_f) == ((40, 70), (5, 12), (55, 80))
    assert plan.grass.mixing_height_ft is not None and plan.grass.mixing_height_ft[0] == 1800
    assert plan.grass.transport_wind_mph == (8, 20)
    assert plan.grass.unit["C2"].rh_pct == (45, 70)
    # Bryant 1983 (abstract read): above 45%, under 10 km/h (6.2 mph), under 30 °C (86 °F).
    assert (plan.down_cedar.rh_pct, plan.down_cedar.wind_mph) == ((45, 100), (0, 6.2))
    assert plan.down_cedar.temp_f is not None and plan.down_cedar.temp_f[1] == 86


@pytest.mark.parametrize(
    "limits",
    [{"rh_pct": [70, 40]}, {"rh_pct": [40, 140]}, {"wind_mph": [-1, 5]}, {"wind_from_deg": [0, 400]},
     {"rh_pct": [40]}, {"rhpct": [40, 70]}, {"temp_f": [float("nan"), 80]}],
)  # fmt: skip
def test_limits_that_cannot_be_are_refused(limits: dict[str, list[float]]) -> None:
    with pytest.raises(ValidationError):
        Settings.model_validate({"burn_plan": {"grass": limits}})


def test_directions_may_pass_through_north() -> None:
    plan = Settings.model_validate({"burn_plan": {"grass": {"wind_from_deg": [315, 45]}}}).burn_plan
    assert plan.grass.wind_from_deg == (315, 45)
