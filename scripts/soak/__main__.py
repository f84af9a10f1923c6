"""`dev.py soak [--minutes N] [--seed S] [--kind K …]`: the program under fire, one summary line a kind."""

from __future__ import annotations

import argparse
import json
import shutil
import sys
import time
from collections.abc import Callable
from pathlib import Path

from soak import law
from soak.law import Fault, scratch
from soak.property import build
from soak.shrink import smallest
from soak.workers import Tally, alone, attack

FUZZ = ("reader", "option", "settings", "stored", "form")


def main(words: list[str]) -> int:
    parser = argparse.ArgumentParser(prog="dev.py soak", description=__doc__)
    parser.add_argument("--minutes", type=float, default=10.0, help="how long each kind goes on at most")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--kind", action="append", choices=["fuzz", *FUZZ], help="repeat; all by default")
    parser.add_argument("--most", type=int, default=10**9, help="inputs of a kind at most")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--go-on", action="store_true", help="gather every fault instead of ending at the first")
    parser.add_argument("--keep", type=Path, default=Path(".soak"), help="folder for what is found")
    asked = parser.parse_args(words)
    law.warm_up()
    template = scratch() / "place"
    try:
        build(template, lambda line: law.run_words(line).code)
        found = 0
        for kind in asked.kind or ["fuzz"]:
            found += _fuzz(kind, template, asked)
    finally:
        shutil.rmtree(template.parent, ignore_errors=True)
    return 1 if found else 0


def _fuzz(kind: str, template: Path, asked: argparse.Namespace) -> int:
    from soak.fuzz import maker

    make = maker("all" if kind == "fuzz" else kind, asked.seed, template)
    began = time.monotonic()
    tally = attack(
        make, template, most=asked.most, seconds=asked.minutes * 60, workers=asked.workers, is_stopping=not asked.go_on
    )
    took_s = time.monotonic() - began
    kinds = ", ".join(f"{count:,} {name}" for name, count in sorted(tally.kinds.items()))
    codes = ", ".join(f"{count:,} ended {code}" for code, count in sorted(tally.codes.items()))
    print(
        f"{kind}: {tally.inputs:,} inputs in {took_s:.0f} s ({tally.inputs / took_s * 3600:,.0f} an hour; {kinds}; {codes}; "
        f"slowest {tally.slowest_s:.1f} s of work), {len(tally.faults)} faults, seed {asked.seed}",
        flush=True,
    )
    for name, (number, fault) in tally.faults.items():
        _tell(kind, name, number, fault, make, template, asked)
    return len(tally.faults)


def _tell(
    kind: str,
    name: str,
    number: int,
    fault: Fault,
    make: Callable[[int], law.Case],
    template: Path,
    asked: argparse.Namespace,
) -> None:
    """Print a fault and its smallest input, and keep that."""
    case = make(number)
    if not asked.go_on:
        case = smallest(case, lambda one: (alone(one, template)[1] or Fault("", "")).law == name)
    folder = asked.keep / f"{kind}-{asked.seed}-{number}"
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    for file, content in {**case.files, **{f"place/{one}": data or b"" for one, data in case.place.items()}}.items():
        (folder / file).parent.mkdir(parents=True, exist_ok=True)
        (folder / file).write_bytes(content)
    form = None if case.form is None else [case.form[0], case.form[1], [one[:2] for one in case.form[2]]]
    told = {"law": fault.law, "words": case.words, "form": form, "said": fault.words}
    (folder / "fault.json").write_text(json.dumps(told, indent=1), encoding="utf-8")
    print(f"  {name}\n    input {number}: {list(case.words) or form}  (kept in {folder})", flush=True)


__all__ = ["Tally", "main"]

if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
