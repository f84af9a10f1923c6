"""Write what follows from the code: README.md's pictures of the sample property's pages, the schemas, the licenses.

``python3 scripts/dev.py docs`` calls this inside .venv; ``--check`` changes nothing and fails when any is stale.
The pictures are judged by the figures and the words of the pages, their styles and their scripts, recorded beside them,
and never by their pixels: another browser draws the same page a little differently.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

from licenses import LICENSES, licenses_text
from outside import OUTSIDE, path_of, why_missing

TOP = Path(__file__).resolve().parent.parent
SCHEMAS = TOP / "habmap" / "schema"
#: A folder with a dot: the wheel and the sample layers stay small.
PICTURES = TOP / ".pictures"
RECORD = PICTURES / "pictures.json"
#: Picture → page of the sample property, and the window that it is seen in [px].
SHOWN = {
    "map.jpg": ("map.html", (1280, 860)),
    "phone.jpg": ("map.html", (390, 844)),
    "burn_sheet.jpg": ("burn.html", (900, 1120)),
}
#: Picture → paper of the sample property; its first page is shown, this wide [px].
PRINTED = {"handout.jpg": "handout.pdf", "log_sheet.jpg": "log-sheet.pdf"}
PRINTED_PX = 900
#: The burn day of the picture: an invented one, on the sample's own forecast.
BURN_DAY = ("C1", "--time", "2027-03-06T13:00")


def main(words: list[str]) -> int:
    """Write the pictures and the schemas, or check them; return the exit code."""
    if words not in ([], ["--check"]):
        print("docs takes nothing, or --check", file=sys.stderr)
        return 2
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder) / "sample"
        habmap("demo", str(place))
        figures = picture_figures(place)
        if words:
            stale = []
            if recorded_figures() != figures:
                stale.append(f"{PICTURES.name}: what the pictures show")
            stale += [f"habmap/schema/{name}" for name in stale_schemas()]
            if LICENSES.read_text(encoding="utf-8") != licenses_text():
                stale.append("habmap/LICENSES.md")
            for name in stale:
                print(f"stale: {name}; run `python3 scripts/dev.py docs`", file=sys.stderr)
            return 1 if stale else 0
        write_schemas()
        LICENSES.write_text(licenses_text(), encoding="utf-8")
        take_pictures(place)
        RECORD.write_text(json.dumps(figures, indent=1) + "\n", encoding="utf-8")
    print(f"wrote the schemas and {len(SHOWN) + len(PRINTED)} pictures in {PICTURES.name}")
    return 0


# --- JSON schemas -------------------------------------------------------------------------------------------


def schema_files() -> dict[Path, str]:
    """Return the JSON schema of every answer by its file, as derived from the records."""
    from habmap.api import ANSWERS, json_schema

    return {SCHEMAS / f"{name}.json": json.dumps(json_schema(name), indent=1) + "\n" for name in ANSWERS}


def stale_schemas() -> list[str]:
    """Return the names of schema files that are missing, left over or not as the records are."""
    wanted = schema_files()
    there = {path: path.read_text(encoding="utf-8") for path in SCHEMAS.glob("*.json")}
    return sorted(path.name for path in wanted.keys() | there.keys() if wanted.get(path) != there.get(path))


def write_schemas() -> None:
    """Write the schema files anew."""
    SCHEMAS.mkdir(exist_ok=True)
    for path in SCHEMAS.glob("*.json"):
        path.unlink()
    for path, text in schema_files().items():
        path.write_text(text, encoding="utf-8")


def habmap(*words: str) -> str:
    """Run the installed command and return its stdout."""
    done = subprocess.run(
        [str(Path(sys.executable).with_name("habmap")), *words],
        env={**os.environ, "NO_COLOR": "1", "PYTHONUTF8": "1"},
        stdout=subprocess.PIPE,
        encoding="utf-8",
        check=True,
    )
    return done.stdout


# --- the pictures of the pages ------------------------------------------------------------------------------


def picture_figures(place: Path) -> dict[str, Any]:
    """Return the figures that the sample property's pages show, as printed, and a digest of each page."""
    account = json.loads(habmap("--place", str(place), "acres", "--json"))
    order = json.loads(habmap("--place", str(place), "rank", "--json"))
    stages = {
        unit["unit_id"]: {stage: round(acres, 1) for stage, acres in unit["stage_acres"].items()}
        for unit in account["units"]
    }
    tiers = {unit["unit_id"]: unit["tier"] for unit in order["units"]}
    pages, papers = draw_pages(place), print_papers(place)
    return {
        "on": account["on"],
        "treated_acres": round(account["totals"]["treated_acres"], 1),
        "remaining_acres": round(account["totals"]["remaining_acres"], 1),
        "units": digest(json.dumps([stages, tiers], sort_keys=True)),
        "pages": {name: digest(words_and_look(page.read_text(encoding="utf-8"))) for name, page in pages.items()},
        "papers": {name: digest(words_of(paper)) for name, paper in papers.items()},
    }


def draw_pages(place: Path) -> dict[str, Path]:
    """Draw the pages that the pictures show; return their files by name."""
    map_page, burn_page = place / "out" / "map.html", place / "out" / "burn.html"
    habmap("--place", str(place), "map", "-o", str(map_page), "--overwrite")
    forecast = TOP / "sample_layers" / "forecast.csv"
    habmap(
        "--place", str(place), "burnsheet", *BURN_DAY, "--forecast", str(forecast), "--sheet", str(burn_page),
        "--overwrite",
    )  # fmt: skip
    return {page.name: page for page in (map_page, burn_page)}


def print_papers(place: Path) -> dict[str, Path]:
    """Print the papers that the pictures show; return their files by name."""
    handout, log_sheet = (place / "out" / name for name in PRINTED.values())
    habmap("--place", str(place), "handout", "-o", str(handout), "--overwrite")
    habmap("--place", str(place), "export", "log-sheet", "-o", str(log_sheet), "--overwrite")
    return {paper.name: paper for paper in (handout, log_sheet)}


def words_of(paper: Path) -> str:
    """Return the words of a PDF's first page, without the day that it was drawn on."""
    done = subprocess.run(
        ["pdftotext", "-l", "1", str(paper), "-"], stdout=subprocess.PIPE, encoding="utf-8", check=True
    )
    return re.sub(r"[A-Z][a-z]+ \d+,\s+\d{4}", "", done.stdout)


def words_and_look(page: str) -> str:
    """Return a page's words, styles and own scripts.

    Its drawings stay out (they follow the figures), and what changes with the day of drawing.
    """
    for pattern in (
        r'<meta http-equiv="Content-Security-Policy"[^>]*>',
        r"data:[a-z/+-]+;base64,[A-Za-z0-9+/=]+",
        r'<script type="application/json".*?</script>',
        r"[Dd]rawn (?:on )?[A-Z][a-z]+ \d+, \d{4}",
        ", so far",  # said of a season that is not over on the day of drawing
    ):
        page = re.sub(pattern, "", page, flags=re.DOTALL)
    return page


def digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def recorded_figures() -> dict[str, Any] | None:
    """Return what the stored pictures show; ``None`` when one of them or the record is missing."""
    if not (RECORD.exists() and all((PICTURES / name).exists() for name in (*SHOWN, *PRINTED))):
        return None
    figures: dict[str, Any] = json.loads(RECORD.read_text(encoding="utf-8"))
    return figures


def take_pictures(place: Path) -> None:
    """Open the pages in a headless browser with no network and store what it shows."""
    from PIL import Image
    from playwright.sync_api import sync_playwright

    browser = path_of(*OUTSIDE["browser"].programs)
    if browser is None:
        raise SystemExit(why_missing("browser", sys.executable))
    pages = draw_pages(place)
    print_papers(place)
    PICTURES.mkdir(exist_ok=True)
    with sync_playwright() as playwright:
        # No sandbox: the pages are our own and the browser may run as root.
        chromium = playwright.chromium.launch(executable_path=browser, args=["--no-sandbox", "--disable-gpu"])
        for picture, (page, (width_px, height_px)) in SHOWN.items():
            context = chromium.new_context(viewport={"width": width_px, "height": height_px}, offline=True)
            window = context.new_page()
            window.goto(pages[page].resolve().as_uri())
            if page == "map.html":
                window.wait_for_selector("body[data-drawn=yes]")
            raw = place / "picture.png"
            window.screenshot(path=raw)
            with Image.open(raw) as image:
                image.convert("RGB").save(PICTURES / picture, quality=85, optimize=True)
            context.close()
        chromium.close()
    for picture, paper in PRINTED.items():
        raw = place / "picture"
        size = ["-scale-to-x", str(PRINTED_PX), "-scale-to-y", "-1"]
        subprocess.run(
            ["pdftoppm", "-png", "-l", "1", "-singlefile", *size, str(place / "out" / paper), str(raw)], check=True
        )
        with Image.open(raw.with_suffix(".png")) as image:
            image.convert("RGB").save(PICTURES / picture, quality=85, optimize=True)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
