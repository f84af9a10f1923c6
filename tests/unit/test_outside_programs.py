"""Every outside program that a test starts stands in the one list that installs it, and its test carries the mark."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import pytest
from outside import OUTSIDE

TESTS = Path(__file__).resolve().parent.parent


def test_a_program_without_its_mark_is_refused() -> None:
    with pytest.raises(AssertionError, match="the mark `poppler`"):
        subprocess.run(["pdftotext", "-v"], check=False)
    with pytest.raises(AssertionError, match=r"a row in scripts/outside\.py"):
        subprocess.run(["uname"], check=False)


@pytest.mark.poppler
def test_with_its_mark_it_runs() -> None:
    assert subprocess.run(["pdftotext", "-v"], capture_output=True, check=False).returncode in (0, 99)


@pytest.mark.parametrize("mark", OUTSIDE)
def test_each_row_is_used_and_can_be_installed(mark: str) -> None:
    outside = OUTSIDE[mark]
    assert outside.programs and outside.packages and outside.what
    sources = [path.read_text(encoding="utf-8") for path in TESTS.rglob("test_*.py") if path != Path(__file__)]
    assert any(re.search(rf"pytest\.mark\.{mark}\b", text) for text in sources)
