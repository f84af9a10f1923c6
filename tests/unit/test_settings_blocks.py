"""Holds, closed days, contract lines and burn plans put into habmap.toml by a form: all other lines stay."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any, get_args, get_origin

import pytest
from pydantic import BaseModel

from habmap.errors import InputError, InputErrors, UsageError
from habmap.jobs.settings_edit import change_settings, drop_block, put_block, see_settings
from habmap.place.settings import Section, Settings
from habmap.place.settings_blocks import block_of, blocks, entries_of, with_block, without_block
from habmap.place.template import settings_text

FRESH = settings_text("Lark Hill")
HOLD = {"unit": "C2", "reason": "nesting", "from": "2026-04-15", "to": "2026-07-15"}
OWN = '''\
# mine
[place]
name = "Lark Hill" # the hill

[[hold]]
unit = "C1"        # the wet draw
reason = """wet
[[hold]]
all spring"""
# a note of mine below it

# [[hold]] is for ground at rest
[effort]
rates.cut = 8.0    # my guess
# a last word
'''


def lines_gone(before: str, after: str) -> list[str]:
    """Return the lines of a text that another has no more, in their order; those it has must stand in it in order."""
    rest = iter(after.splitlines())
    return [
        line for line in before.splitlines() if not any(line == one for one in iter(lambda: next(rest, None), None))
    ]


def fill(name: str, *said: dict[str, str], text: str = FRESH) -> str:
    for one in said:
        text = with_block(text, block_of(name), None, one)
    return text


def test_every_list_and_table_of_names_of_the_settings_is_a_kind_of_block() -> None:
    def named(section: type[BaseModel], prefix: str) -> set[str]:
        found: set[str] = set()
        for name, field in section.model_fields.items():
            hint, path = field.annotation, f"{prefix}{field.alias or name}"
            parts = get_args(hint)
            has_sections = any(isinstance(one, type) and issubclass(one, Section) for one in parts)
            if get_origin(hint) is dict or (get_origin(hint) is tuple and has_sections):
                found.add(path)
            elif isinstance(hint, type) and issubclass(hint, BaseModel):
                found |= named(hint, f"{path}.")
        return found

    plans = {f"burn_plan.{kind}" for kind in ("grass", "down_cedar", "piles")}
    own = {"stages.unit"} | {f"{plan}.unit" for plan in plans}  # what one unit has otherwise: in the file alone
    assert {one.name for one in blocks()} == (named(Settings, "") - own) | plans


@pytest.mark.parametrize(
    ("name", "said", "wanted"),
    [
        ("hold", HOLD, {"hold": [{"unit": "C2", "reason": "nesting", "from": "2026-04-15", "to": "2026-07-15"}]}),
        (
            "closed",
            {"work": "burn", "reason": "birds", "units": "G1, G2", "from": "04-15", "to": "07-31"},
            {"closed": [{"work": "burn", "reason": "birds", "units": ["G1", "G2"], "from": "04-15", "to": "07-31"}]},
        ),
        (
            "contract",
            {"program": "EQIP", "item": "1", "practice_code": "314", "planned_acres": "12", "due": "2027-09-30"},
            {"contract": [{"program": "EQIP", "item": "1", "practice_code": "314", "planned_acres": 12,
                           "due": "2027-09-30"}]},
        ),
        (
            "burn_plan.grass",
            {"author": "A. Boss", "date": "2026-01-31", "rh_pct": "40 to 70", "wind_from_deg": "315, 45"},
            {"burn_plan": {"grass": {"author": "A. Boss", "date": "2026-01-31", "rh_pct": [40, 70],
                                     "wind_from_deg": [315, 45]}}},
        ),
        ("codes", {"practice": "cut", "code": "314"}, {"codes": {"cut": "314"}}),
        ("effort.rates", {"practice": "cut", "hours": "7.5"}, {"effort": {"rates": {"cut": 7.5}}}),
        (
            "burn.blocks",
            {"name": "east side", "parts": "C1, C2:down"},
            {"burn": {"blocks": {"east side": ["C1", "C2:down"]}}},
        ),
        (
            "burn.walked",
            {"break": "Ridge strip", "date": "2026-03-20", "by": "the boss"},
            {"burn": {"walked": [{"break": "Ridge strip", "date": "2026-03-20", "by": "the boss"}]}},
        ),
    ],
)  # fmt: skip
def test_a_block_is_added_changed_and_taken_out_and_no_other_line_is_touched(
    name: str, said: dict[str, str], wanted: dict[str, Any]
) -> None:
    block = block_of(name)
    text = fill(name, said)
    assert lines_gone(FRESH, text) == []
    before, after = tomllib.loads(FRESH), tomllib.loads(text)
    for key in wanted:
        told = {**before.get(key, {}), **wanted[key]} if isinstance(wanted[key], dict) else wanted[key]
        assert str_days(after[key]) == told
    assert {key for key in after if after[key] != before.get(key)} == set(wanted)
    (seen,) = entries_of(text, block)
    # what it says goes into a form and comes out the same
    assert with_block(text, block, 0, seen) == text
    gone = without_block(text, block, 0)
    assert entries_of(gone, block) == ()
    assert lines_gone(FRESH, gone) == []
    assert Settings.model_validate(tomllib.loads(gone)) == Settings.model_validate(before)


def str_days(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: str_days(one) for key, one in value.items()}
    if isinstance(value, list):
        return [str_days(one) for one in value]
    return value.isoformat() if hasattr(value, "isoformat") else value


def test_a_block_stands_below_the_files_own_example_of_it() -> None:
    text = fill("hold", HOLD, {**HOLD, "unit": "C3"})
    assert (
        text.index("# [[hold]]") < text.index('\nunit = "C2"') < text.index('\nunit = "C3"') < text.index("# [codes]")
    )


def test_in_a_file_of_ones_own_comments_order_and_long_texts_stay() -> None:
    hold = block_of("hold")
    text = with_block(OWN, hold, None, HOLD)
    assert lines_gone(OWN, text) == []
    assert [one["unit"] for one in entries_of(text, hold)] == ["C1", "C2"]
    # the first one changed: its comment stays, a key that is left out goes
    changed = with_block(text, hold, 0, {"unit": "C9", "reason": "dry"})
    assert 'unit = "C9"        # the wet draw\n' in changed
    assert tomllib.loads(changed)["hold"][0] == {"unit": "C9", "reason": "dry"}
    gone = without_block(changed, hold, 0)
    assert [one["unit"] for one in entries_of(gone, hold)] == ["C2"]
    assert "# a note of mine below it" in gone and "# a last word" in gone
    # rates written with a dot stay so
    rates = block_of("effort.rates")
    more = with_block(gone, rates, None, {"practice": "burn", "hours": "2"})
    assert "rates.cut = 8.0    # my guess\nrates.burn = 2\n# a last word" in more
    assert tomllib.loads(with_block(more, rates, 0, {"practice": "cut", "hours": "9"}))["effort"]["rates"] == {
        "cut": 9, "burn": 2,
    }  # fmt: skip
    renamed = with_block(more, rates, 0, {"practice": "mulch", "hours": "9"})
    assert tomllib.loads(renamed)["effort"]["rates"] == {"burn": 2, "mulch": 9}


def test_what_lines_cannot_be_put_into_is_refused_and_the_file_stays(tmp_path: Path) -> None:
    path = tmp_path / "habmap.toml"
    inline = '[place]\nname = "x"\n'
    path.write_text(f'hold = [{{unit = "C1", reason = "wet"}}]\n{inline}', encoding="utf-8")
    seen = see_settings(tmp_path)
    with pytest.raises(InputError, match="the form cannot change"):
        put_block(tmp_path, "hold", 0, HOLD, seen=seen.digest)
    with pytest.raises(InputError, match="the form cannot change"):
        drop_block(tmp_path, "hold", 0, seen=seen.digest)
    assert see_settings(tmp_path) == seen


@pytest.mark.parametrize(
    ("name", "said", "words"),
    [
        ("hold", {"unit": "C1"}, "something is missing"),
        ("hold", {**HOLD, "to": "soon"}, "this is not a day"),
        ("hold", {**HOLD, "to": "2026-01-01"}, "the hold ends before it begins"),
        ("closed", {"work": "burn", "from": "04-15", "to": "2026-07-31"}, "both"),
        ("closed", {"work": "burn", "from": "02-30", "to": "03-01"}, "no month has that day"),
        ("contract", {"program": "E", "item": "1", "practice_code": "314", "rate": "much"}, "this is not a number"),
        ("burn_plan.grass", {"rh_pct": "40"}, "two numbers are wanted"),
        ("burn_plan.grass", {"rh_pct": "70 to 40"}, "lies above"),
        ("codes", {"practice": "sing", "code": "1"}, "unknown practice"),
    ],
)
def test_what_cannot_be_is_told_and_nothing_is_written(
    name: str, said: dict[str, str], words: str, tmp_path: Path
) -> None:
    (tmp_path / "habmap.toml").write_text(FRESH, encoding="utf-8")
    seen = see_settings(tmp_path)
    with pytest.raises((UsageError, InputError, InputErrors)) as caught:
        put_block(tmp_path, name, None, said, seen=seen.digest)
    assert words in str(caught.value)
    assert see_settings(tmp_path) == seen


def test_somebody_elses_change_is_never_written_over(tmp_path: Path) -> None:
    path = tmp_path / "habmap.toml"
    path.write_text(FRESH, encoding="utf-8")
    seen = see_settings(tmp_path)
    path.write_text(FRESH + "# by hand\n", encoding="utf-8")
    with pytest.raises(InputError, match="were changed by another page"):
        put_block(tmp_path, "hold", None, HOLD, seen=seen.digest)
    assert path.read_text(encoding="utf-8") == FRESH + "# by hand\n"


def test_every_plain_key_is_there_to_be_said_even_where_the_file_does_not(tmp_path: Path) -> None:
    path = tmp_path / "habmap.toml"
    path.write_text(FRESH, encoding="utf-8")
    seen = see_settings(tmp_path)
    by_name = {one.name: one for one in seen.settings}
    # the one key that `start` writes as an example alone
    assert [name for name, one in by_name.items() if not one.written] == ["effort.hours_per_week"]
    assert "person-hours in a working week" in by_name["effort.hours_per_week"].comment
    assert change_settings(tmp_path, {"effort.hours_per_week": "12"}, seen=seen.digest) == ("effort.hours_per_week",)
    text = path.read_text(encoding="utf-8")
    assert lines_gone(FRESH, text) == []
    assert tomllib.loads(text)["effort"]["hours_per_week"] == 12
    bare = '[place]\nname = "x"\n'
    path.write_text(bare, encoding="utf-8")
    seen = see_settings(tmp_path)
    names = {"terrain.flat_below_pct", "rank.weights.gentle", "burn.notify", "paperwork.program_year_starts"}
    assert names <= {one.name for one in seen.settings if not one.written and one.comment}
    change_settings(tmp_path, {"rank.weights.gentle": "9", "gps.sigma_m": "4"}, seen=seen.digest)
    assert tomllib.loads(path.read_text(encoding="utf-8")) == {
        "place": {"name": "x"}, "rank": {"weights": {"gentle": 9}}, "gps": {"sigma_m": 4},
    }  # fmt: skip
    with pytest.raises(InputError):
        change_settings(tmp_path, {"gps.correlation_s": "much"}, seen=see_settings(tmp_path).digest)
