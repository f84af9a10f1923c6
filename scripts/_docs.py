"""Write what README.md shows of the command itself: its reference, and a picture of the sample property's map.

``python3 scripts/dev.py docs`` calls this inside .venv; ``--check`` changes nothing and fails when either is stale.
The picture is judged by the figures that the page shows, recorded beside it, and never by its pixels: another
browser draws the same map a little differently.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
from functools import lru_cache
from pathlib import Path
from typing import Any

TOP = Path(__file__).resolve().parent.parent
README = TOP / "README.md"
#: A folder with a dot: the wheel and the sample layers stay small.
PICTURE = TOP / ".pictures" / "map.jpg"
PICTURE_FIGURES = PICTURE.with_suffix(".json")
BEGIN = "<!-- command reference: written by `scripts/dev.py docs`, do not edit by hand -->"
END = "<!-- end of the command reference -->"
HELP_COLUMNS = 100
WINDOW = (1280, 860)
#: The page draws itself; this much of the browser's own time is enough on a slow machine.
DRAWING_MS = 8000


def main(words: list[str]) -> int:
    """Write the reference and the picture, or check them; return the exit code."""
    if words not in ([], ["--check"]):
        print("docs takes nothing, or --check", file=sys.stderr)
        return 2
    text = README.read_text(encoding="utf-8")
    fresh = with_reference(text)
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder) / "sample"
        habmap("demo", str(place))
        figures = picture_figures(place)
        if words:
            stale = []
            if text != fresh:
                stale.append("README.md: the command reference")
            if recorded_figures() != figures:
                stale.append(f"{PICTURE.relative_to(TOP)}: the figures that the map shows")
            for name in stale:
                print(f"stale: {name}; run `python3 scripts/dev.py docs`", file=sys.stderr)
            return 1 if stale else 0
        README.write_text(fresh, encoding="utf-8")
        take_picture(place)
        PICTURE_FIGURES.write_text(json.dumps(figures, indent=1) + "\n", encoding="utf-8")
    print(f"wrote {README.name} and {PICTURE.relative_to(TOP)}")
    return 0


# --- command reference --------------------------------------------------------------------------------------


def with_reference(text: str) -> str:
    """Return README's text with a fresh command reference between its marks."""
    if text.count(BEGIN) != 1 or text.count(END) != 1:
        raise SystemExit(f"README.md must hold each of these marks once:\n{BEGIN}\n{END}")
    before, rest = text.split(BEGIN)
    _, after = rest.split(END)
    return f"{before}{BEGIN}\n\n{reference()}\n{END}{after}"


def reference() -> str:
    """Return the help of the command and of every command under it, as Markdown."""
    blocks = [f"```text\n$ habmap --help\n{help_of()}```\n"]
    for name in commands_in(help_of()):
        text = help_of(name)
        body = f"```text\n$ habmap {name} --help\n{text}```\n"
        for inner in commands_in(text):
            body += f"\n```text\n$ habmap {name} {inner} --help\n{help_of(name, inner)}```\n"
        blocks.append(f"<details><summary><code>habmap {name}</code></summary>\n\n{body}\n</details>\n")
    return "\n".join(blocks)


def commands_in(text: str) -> list[str]:
    """Return the commands that a help text lists."""
    _, _, listed = text.partition("\nCommands:\n")
    return re.findall(r"^  ([a-z][a-z-]*)", listed, flags=re.MULTILINE)


@lru_cache
def help_of(*words: str) -> str:
    """Return the help text that a person sees, at a fixed width."""
    lines = habmap(*words, "--help").splitlines()
    return "\n".join(line.rstrip() for line in lines).strip() + "\n"


def habmap(*words: str) -> str:
    """Run the installed command and return its stdout."""
    done = subprocess.run(
        [str(Path(sys.executable).with_name("habmap")), *words],
        env={**os.environ, "COLUMNS": str(HELP_COLUMNS), "NO_COLOR": "1", "PYTHONUTF8": "1"},
        stdout=subprocess.PIPE,
        encoding="utf-8",
        check=True,
    )
    return done.stdout


# --- the picture of the map ---------------------------------------------------------------------------------


def picture_figures(place: Path) -> dict[str, Any]:
    """Return the figures that the sample property's map shows, to the last digit it prints, and their digest."""
    account = json.loads(habmap("--place", str(place), "acres", "--json"))
    order = json.loads(habmap("--place", str(place), "rank", "--json"))
    shown = {
        "on": account["on"],
        "treated_acres": round(account["totals"]["treated_acres"], 1),
        "remaining_acres": round(account["totals"]["remaining_acres"], 1),
        "stages": {
            unit["unit_id"]: {stage: round(acres, 1) for stage, acres in unit["stage_acres"].items()}
            for unit in account["units"]
        },
        "tiers": {unit["unit_id"]: unit["tier"] for unit in order["units"]},
    }
    digest = hashlib.sha256(json.dumps(shown, sort_keys=True).encode()).hexdigest()
    return {key: shown[key] for key in ("on", "treated_acres", "remaining_acres")} | {"digest": digest}


def recorded_figures() -> dict[str, Any] | None:
    """Return the figures that the stored picture shows; ``None`` when picture or record is missing."""
    if not (PICTURE.exists() and PICTURE_FIGURES.exists()):
        return None
    figures: dict[str, Any] = json.loads(PICTURE_FIGURES.read_text(encoding="utf-8"))
    return figures


def take_picture(place: Path) -> None:
    """Open the place's map in a headless browser with no network and store what it shows."""
    from PIL import Image

    browser = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if browser is None:
        raise SystemExit("the picture needs chromium (Debian: apt-get install chromium)")
    page = place / "out" / "map.html"
    habmap("--place", str(place), "map", "-o", str(page), "--overwrite")
    raw = place / "picture.png"
    subprocess.run(
        [
            browser,
            "--headless=new",
            "--no-sandbox",  # the page is our own and the browser may run as root
            "--disable-gpu",
            "--hide-scrollbars",
            "--host-resolver-rules=MAP * ~NOTFOUND",
            f"--user-data-dir={place / 'browser'}",
            f"--window-size={WINDOW[0]},{WINDOW[1]}",
            f"--virtual-time-budget={DRAWING_MS}",
            f"--screenshot={raw}",
            page.resolve().as_uri(),
        ],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        timeout=180,
        check=True,
    )
    PICTURE.parent.mkdir(exist_ok=True)
    with Image.open(raw) as image:
        image.convert("RGB").save(PICTURE, quality=85, optimize=True)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
