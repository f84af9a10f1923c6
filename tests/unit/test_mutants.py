"""The tool that tries wrong rules: does it find one that only a command shows, and only where it is looked at?"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

#: A wrong rule in the account, another in the plan of a week, and a test that has the command tell the account.
ASKED = """
from dataclasses import replace
from mutants import Trial, chosen_mutants, verdicts

test = ("tests/cli/test_account_cli.py::test_the_account_in_words",)
wrong = [one for one in chosen_mutants([f"habmap/jobs/{room}.py" for room in ("acres", "week")], 999, 0)
         if one.before.startswith(("return acre_account", "return WeekResult"))]
# Several at a time: none empties the folders of another.
trials = [Trial(replace(one), test, True, 5.0) for one in wrong for _ in range(3)]
for line in sorted(f"{one.path} {said} {by in test}" for one, said, by in verdicts(trials, 3)):
    print(line)
"""


def test_what_only_a_command_shows_is_found(repository: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-c", ASKED], cwd=repository, env={**os.environ, "PYTHONPATH": "scripts"},
        capture_output=True, encoding="utf-8", check=False,
    )  # fmt: skip
    assert done.stdout.splitlines() == [
        *["habmap/jobs/acres.py found True"] * 3, *["habmap/jobs/week.py survived False"] * 3
    ], done.stderr  # fmt: skip
