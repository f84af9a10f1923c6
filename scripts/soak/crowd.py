"""Many writers and readers at once on one property, a command beside the desk: nothing acknowledged is lost."""

from __future__ import annotations

import json
import os
import re
import shutil
import time
from collections import Counter
from dataclasses import dataclass, field, replace
from pathlib import Path

from soak.law import run_words, scratch
from soak.property import chance
from soak.workers import as_if_alone
from soak.writes import Write, broken, laid_out, state_of

_QUESTIONS = ("acres", "week", "history", "due", "check")


@dataclass(slots=True)
class Crowd:
    """What was counted: answers by who gave them, lines that were told to be written."""

    answers: Counter[str] = field(default_factory=Counter)
    told: int = 0
    faults: list[str] = field(default_factory=list)


def crowd(template: Path, *, seed: int, rounds: int, seconds: float) -> Crowd:
    """Let four writers, two readers and a desk at one property, each doing a few things, round after round."""
    found, folder, until = Crowd(), scratch("habmap-crowd-"), time.monotonic() + seconds
    try:
        for number in range(rounds):
            if time.monotonic() > until or found.faults:
                break
            place, work = laid_out(template, folder / "disk", Write("crowd"))
            before = state_of(place, work, Write("crowd"))
            heard = [_begun(place, who, f"{seed}/{number}") for who in ("writer",) * 4 + ("reader",) * 2 + ("desk",)]
            written = 0
            for process, hear in heard:
                with os.fdopen(hear, encoding="utf-8") as stream:
                    for line in stream:
                        who, code, said = json.loads(line)
                        found.answers[f"{who} {code}"] += 1
                        is_done = code == (303 if who == "desk" else 0)
                        written += is_done and who != "reader"
                        is_busy = "another program" in said
                        if not is_done and not is_busy:
                            found.faults.append(
                                f"a {who} in round {number} (seed {seed}) was told {code}: {said[:600]}"
                            )
                os.waitpid(process, 0)
            found.told += written
            after = replace(before, rows=before.rows + written)
            wrong = broken(place, work, Write("crowd"), before=before, after=after, is_told=True)
            if wrong:
                found.faults.append(f"after round {number} (seed {seed}): {wrong}")
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    return found


def _begun(place: Path, who: str, luck: str) -> tuple[int, int]:
    hear, tell = os.pipe()
    process = os.fork()
    if process == 0:
        try:
            os.close(hear)
            as_if_alone(place.parent)
            _act(place, who, luck, tell)
        finally:
            os._exit(0)
    os.close(tell)
    return process, hear


def _act(place: Path, who: str, luck: str, tell: int) -> None:
    source = chance(os.getpid(), luck, 0)
    desk = None
    if who == "desk":
        from soak.desk_forms import TestDesk

        desk = TestDesk(place)
    for _ in range(3):
        day, unit = f"2026-04-{source.randrange(1, 29):02d}", source.choice("AC")
        if desk is not None:
            fields = [("practice", "other"), ("date", day), ("unit", unit), ("whole", "yes")]
            draft = re.search(r'name="draft" value="([^"]+)"', desk.send("/KEY/log/preview", fields, []).out)
            answer = desk.send("/KEY/log/save", [("draft", draft[1] if draft else "")], [])
        elif who == "writer":
            answer = run_words(["--place", str(place), "log", "other", "--date", day, "--unit", unit, "--whole"])
        else:
            answer = run_words(["--place", str(place), source.choice(_QUESTIONS)])
        os.write(tell, (json.dumps([who, answer.code, (answer.err or answer.out)[-600:]]) + "\n").encode())
