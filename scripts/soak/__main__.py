"""The program under fire, one summary line a kind; ends with 1 at the first fault, its smallest reproduction printed."""

from __future__ import annotations

import argparse
import json
import re
import shutil
import sys
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from soak import law
from soak.disk import is_watched, watch
from soak.law import Case, Fault, scratch
from soak.property import build
from soak.shrink import smallest
from soak.workers import alone, attack

#: Kinds of inputs that may be tried alone, and all of them together.
_INPUTS = ("reader", "option", "settings", "stored", "form")
#: What the test run does of each kind: a few seconds.
_SHARE: Mapping[str, int] = {"fuzz": 40, "copies": 40, "kills": 6, "crowd": 1}


@dataclass(frozen=True, slots=True)
class Asked:
    """What is wanted of a run."""

    seconds: float
    seed: int
    most: int
    workers: int
    goes_on: bool
    keep: Path
    template: Path
    only: str


def main(words: list[str]) -> int:
    """Run the kinds that are asked for, all of them by default, and return the exit code."""
    parser = argparse.ArgumentParser(prog="dev.py soak", description=__doc__)
    parser.add_argument("--minutes", type=float, default=10.0, help="how long each kind goes on at most")
    parser.add_argument("--seed", type=int, default=1, help="another one, other inputs; the same, the same")
    parser.add_argument("--kind", action="append", choices=[*_KINDS, *_INPUTS], help="repeat; all by default")
    parser.add_argument("--most", type=int, default=10**9, help="inputs, kills or steps of a kind at most")
    parser.add_argument("--workers", type=int, default=2, help="processes of the fuzz")
    parser.add_argument(
        "--go-on", action="store_true", help="gather a fault of each law or command instead of ending at the first"
    )
    parser.add_argument("--share", action="store_true", help="the few seconds of each kind that the tests take")
    parser.add_argument("--keep", type=Path, default=Path(".soak"), help="folder for what is found")
    parser.add_argument("--only", default="", help="of power and disk: the commands whose names match this pattern")
    said = parser.parse_args(words)
    if {"power", "disk"} & set(said.kind or _KINDS) and not is_watched() and not said.share:
        return watch(words)
    law.warm_up()
    template = scratch() / "place"
    found = 0
    try:
        build(template, lambda line: law.run_words(line).code)
        for kind in said.kind or (_SHARE if said.share else _KINDS):
            most = min(said.most, _SHARE.get(kind, said.most)) if said.share else said.most
            asked = Asked(60 * said.minutes, said.seed, most, said.workers, said.go_on, said.keep, template, said.only)
            began = time.monotonic()
            line, faults = _KINDS[kind](asked) if kind in _KINDS else _fuzz(asked, kind)
            print(
                f"{kind}: {line}; {time.monotonic() - began:.0f} s, seed {said.seed}; {len(faults)} faults", flush=True
            )
            for fault in faults:
                print(f"  {fault}", flush=True)
            found += len(faults)
            if found and not said.go_on:
                break
    finally:
        shutil.rmtree(template.parent, ignore_errors=True)
    return 1 if found else 0


def _fuzz(asked: Asked, kind: str = "all") -> tuple[str, list[str]]:
    from soak.fuzz import maker

    make = maker(kind, asked.seed, asked.template)
    tally = attack(
        make,
        asked.template,
        most=asked.most,
        seconds=asked.seconds,
        workers=asked.workers,
        is_stopping=not asked.goes_on,
    )
    kinds = ", ".join(f"{count:,} {name}" for name, count in sorted(tally.kinds.items()))
    codes = ", ".join(f"{count:,} ended {code}" for code, count in sorted(tally.codes.items()))
    an_hour = 2 * 3600 * tally.inputs / max(tally.worked_s, 0.001)
    line = (
        f"{tally.inputs:,} inputs ({kinds}; {codes}; slowest {tally.slowest_s:.1f} s of work; "
        f"{an_hour:,.0f} in an hour of two processors)"
    )
    told = [_told(name, number, fault, make, asked) for name, (number, fault) in tally.faults.items()]
    return line, told


def _told(law_broken: str, number: int, fault: Fault, make: Callable[[int], Case], asked: Asked) -> str:
    """Make an input smaller as long as it breaks the same law, keep it in a folder, and return what is said of it."""
    case = make(number)
    if not asked.goes_on:
        case = smallest(case, lambda one: (alone(one, asked.template)[1] or Fault("", "")).law == law_broken)
    folder = asked.keep / f"{case.kind.split('/')[0]}-{asked.seed}-{number}"
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    brought = {**case.files, **{f"place/{name}": content or b"" for name, content in case.place.items()}}
    for name, content in brought.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(content)
    form = None if case.form is None else [case.form[0], case.form[1], [one[:2] for one in case.form[2]]]
    record = {"law": fault.law, "words": case.words, "form": form, "said": fault.words}
    (folder / "fault.json").write_text(json.dumps(record, indent=1), encoding="utf-8")
    words = " ".join(repr(word) if len(word) < 100 else f"{word[:60]!r}…" for word in case.words) or str(form)[:300]
    return f"{law_broken}: {words} (input {number}, kept in {folder})"


def _follow(asked: Asked) -> tuple[str, list[str]]:
    from soak.follow import PARSERS, follow

    inputs, faults = follow(seed=asked.seed, seconds=asked.seconds, most=asked.most)
    return f"{inputs:,} inputs that follow coverage, on {len(PARSERS)} parsers", faults


def _copies(asked: Asked) -> tuple[str, list[str]]:
    from soak.copies import model

    steps, fault = model(seed=asked.seed, seconds=asked.seconds, most_steps=asked.most)
    return f"{steps:,} steps on one, two and three copies, each held against the model", [fault] if fault else []


def _kills(asked: Asked) -> tuple[str, list[str]]:
    from soak.kills import kill_desks, kill_workers, kill_writes, summary

    most = asked.most
    kinds = {"writes": kill_writes(asked.template, seed=asked.seed, most=most, seconds=asked.seconds)}
    if most > _SHARE["kills"]:  # a desk's process takes long to start; of region the tests kill workers by themselves
        kinds["desk"] = kill_desks(asked.template, seed=asked.seed, most=max(1, most // 6), seconds=asked.seconds / 4)
        kinds["region"] = kill_workers(seed=asked.seed, most=max(1, most // 50), seconds=asked.seconds / 4)
    return summary(kinds), [fault for found in kinds.values() for fault in found.faults]


def _power(asked: Asked) -> tuple[str, list[str]]:
    from soak.disk import power_cuts

    cuts = power_cuts(asked.template, only=_first(asked), is_stopping=not asked.goes_on)
    return f"{cuts.states:,} states of {cuts.calls:,} prefixes of the calls of {cuts.commands} commands", cuts.faults


def _disk(asked: Asked) -> tuple[str, list[str]]:
    from soak.disk import failing

    fails = failing(asked.template, only=_first(asked), is_stopping=not asked.goes_on)
    return f"{fails.states:,} failures at {fails.calls:,} calls of {fails.commands} commands", fails.faults


def _crowd(asked: Asked) -> tuple[str, list[str]]:
    from soak.crowd import crowd

    met = crowd(asked.template, seed=asked.seed, rounds=min(asked.most, 40), seconds=asked.seconds)
    answers = ", ".join(f"{count:,} {name}" for name, count in sorted(met.answers.items()))
    return f"{met.told:,} lines told to be written by seven at once ({answers})", met.faults


def _first(asked: Asked) -> Callable[[Any], bool]:
    """Return what takes the commands that are asked for, and of these the first where few are."""
    left = iter(range(asked.most))
    return lambda write: re.search(asked.only, write.name) is not None and next(left, None) is not None


_KINDS: Mapping[str, Callable[[Asked], tuple[str, list[str]]]] = {
    "fuzz": _fuzz, "follow": _follow, "copies": _copies, "kills": _kills, "power": _power, "disk": _disk, "crowd": _crowd,
}  # fmt: skip

if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
