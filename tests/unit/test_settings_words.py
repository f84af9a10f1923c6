"""What a person is told of a slip in habmap.toml."""

from __future__ import annotations

from pathlib import Path

import pytest

from habmap.errors import InputErrors
from habmap.place.settings_reading import read_settings


@pytest.mark.parametrize(
    ("lines", "words", "mend"),
    [
        ("[terain]\nx = 1\n", "there is no such setting", "spelling"),
        ('[terrain]\nflat_below_pct = "steep"\n', "the value should be a", "allowed value"),
        ("[[hold]]\nreason = 'nests'\n", "this setting is missing", "allowed value"),
    ],
)
def test_a_slip_is_told_in_the_writers_words(tmp_path: Path, lines: str, words: str, mend: str) -> None:
    (tmp_path / "habmap.toml").write_text(f'[place]\nname = "Lark Hill"\n{lines}', encoding="utf-8")
    with pytest.raises(InputErrors) as caught:
        read_settings(tmp_path)
    told = [fault for fault in caught.value.faults if words in fault.what]
    assert told and all("Input" not in fault.what and mend in (fault.mend or "") for fault in told)
