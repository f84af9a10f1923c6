"""The page for every reader: axe-core in many states, keys alone, words for the drawing, large letters, three papers.

axe-core comes from its npm package and lies in ``axe/`` (version and hash beside it); it finds what a rule can find.
What it leaves open (words over a drawing, focus, reading order) is tried here by hand.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from grounds import HOSTILE, HOSTILE_NAMES, NOW, drawn, squares
from playwright.sync_api import Browser, Page

from habmap.jobs.map import draw_map
from habmap.place.store import GeoPackageStore

pytestmark = pytest.mark.browser

AXE = Path(__file__).parent / "axe"
#: Rules that are off, each with its reason.
OFF = {
    # The drawing itself takes the focus: arrow keys move it, as its name says. No widget role of WAI-ARIA 1.2 is a map;
    # role `group` with that name says more to a reader than a role that promises other keys. (An experimental rule.)
    "focus-order-semantics",
}
#: Everything that can be opened is opened, whatever parts the page has by now.
OPEN_ALL = """() => {
  document.querySelectorAll("details").forEach((one) => { one.open = true; });
  document.querySelectorAll("button[aria-expanded=false]:not(tr.unit button)").forEach((one) => one.click());
  const row = document.querySelector("tr.unit button");
  if (row) row.click();
}"""
Reader = Callable[..., Page]


@pytest.fixture(scope="module")
def pages(sample_place: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The pages that readers meet: the owner's, the public's, one of hostile names, one of nothing."""
    out = tmp_path_factory.mktemp("access")
    public = out / "public.html"
    draw_map(GeoPackageStore.open(sample_place), target=public, now=NOW, audience="public")
    return {
        "owner": sample_place / "out" / "map.html",
        "public": public,
        "hostile": drawn(squares(out / "hostile", HOSTILE_NAMES, place=HOSTILE, worked=1), out / "hostile.html"),
        "empty": drawn(squares(out / "empty", ()), out / "empty.html"),
    }


@pytest.fixture
def reader(browser: Browser) -> Iterator[Reader]:
    """Open a page as one kind of reader does. The policy is set aside only so that axe-core itself may run."""
    contexts = []

    def opened(path: Path, *, width_px: int = 1400, height_px: int = 900, letters_px: int = 16, **wishes: Any) -> Page:
        context = browser.new_context(
            viewport={"width": width_px, "height": height_px}, offline=True, bypass_csp=True, **wishes
        )
        contexts.append(context)
        page = context.new_page()
        if letters_px != 16:  # the reader's own setting of the browser, not a zoom of the page
            sizes = {"standard": letters_px, "fixed": letters_px}
            context.new_cdp_session(page).send("Page.setFontSizes", {"fontSizes": sizes})
        page.goto(path.as_uri())
        if "drawPlace" in path.read_text(encoding="utf-8"):
            page.wait_for_selector("body[data-drawn=yes]")
        return page

    yield opened
    for context in contexts:
        context.close()


def faults(page: Page) -> list[str]:
    """Run every rule that axe-core has, level AAA, best practice and experiments too, and return what fails."""
    if not page.evaluate("'axe' in window"):
        page.evaluate((AXE / "axe.min.js").read_text(encoding="utf-8"))
    found = page.evaluate(
        """(off) => axe.run(document, { resultTypes: ["violations"], rules: Object.fromEntries(
             axe.getRules().map(({ ruleId }) => [ruleId, { enabled: !off.includes(ruleId) }])) })""",
        sorted(OFF),
    )
    assert len(found["passes"]) > 15, "axe-core looked at nothing"
    return [
        f"{fault['id']}: {node['target']} {node['html'][:120]}"
        for fault in found["violations"]
        for node in fault["nodes"]
    ]


def test_axe_core_is_the_file_that_its_readme_names() -> None:
    digest = hashlib.sha256((AXE / "axe.min.js").read_bytes()).hexdigest()
    assert digest in (AXE / "README.md").read_text(encoding="utf-8")
    assert "Mozilla Public License" in (AXE / "LICENSE").read_text(encoding="utf-8")


def open_a_unit(page: Page) -> None:
    """Pick the first unit on the map by key."""
    page.locator("path.unit").first.focus()
    page.keyboard.press("Enter")
    page.wait_for_selector("tr.unit.chosen, #panel:not([hidden])", state="attached")


def test_axe_core_finds_nothing_on_the_owners_page_in_any_state(reader: Reader, pages: dict[str, Path]) -> None:
    page = reader(pages["owner"])
    assert faults(page) == []
    open_a_unit(page)
    assert faults(page) == []
    page.keyboard.press("Escape")
    assert page.locator("tr.unit.chosen").count() == 0
    page.locator(".picture").first.click()  # a pair of photos, large
    page.wait_for_selector("#look[open]")
    assert faults(page) == []
    page.keyboard.press("Escape")
    page.wait_for_selector("#look:not([open])", state="attached")
    page.locator("#earlier").click()
    page.evaluate(OPEN_ALL)
    for paper in ("light", "bright sun", "dark"):
        page.get_by_role("button", name=paper, exact=True).click()
        assert faults(page) == [], paper


@pytest.mark.parametrize(("which", "width_px"), [("owner", 390), ("public", 1400), ("hostile", 390), ("empty", 1400)])
def test_axe_core_finds_nothing_on_other_pages(
    reader: Reader, pages: dict[str, Path], which: str, width_px: int
) -> None:
    page = reader(pages[which], width_px=width_px, height_px=844)
    page.evaluate(OPEN_ALL)
    if which != "empty":
        open_a_unit(page)
    assert faults(page) == []


def test_axe_core_finds_nothing_on_the_burn_sheet(
    reader: Reader, run_habmap: Callable[..., Any], sample_place: Path, tmp_path: Path
) -> None:
    target = tmp_path / "burn.html"
    made = run_habmap(
        "burnsheet", "C1", "--time", "2026-03-05T13:30", "--temp-f", 61, "--rh-pct", 38, "--wind-mph", 7,
        "--wind-from", "NNW", "--plan-kind", "down_cedar", "--sheet", target, place=sample_place,
    )  # fmt: skip
    assert made.code == 0, made.err
    page = reader(target)
    assert faults(page) == []
    page.set_viewport_size({"width": 390, "height": 844})
    assert faults(page) == []


# --- keys alone -------------------------------------------------------------------------------------------------------

#: Every control that can be seen now and is not switched off, by a mark that the test itself sets on it.
MARK_CONTROLS = """() => {
  const kinds = "a[href], button, input, select, textarea, summary, [tabindex='0'], [role=slider]";
  const all = [...document.querySelectorAll(kinds)]
    .filter((one) => one.getClientRects().length && !one.disabled && !one.closest("[hidden]") && one.tabIndex >= 0);
  all.forEach((one, i) => { one.dataset.reach = i; });
  return all.length;
}"""
HERE = """() => {
  const here = document.activeElement, style = getComputedStyle(here), box = here.getBoundingClientRect();
  const ring = style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2;
  const stroke = here.tagName === "path" && style.strokeOpacity === "1" && parseFloat(style.strokeWidth) >= 3;
  return { reach: here.dataset.reach, tag: here.tagName, seen: ring || stroke,
           name: here.getAttribute("aria-label") || here.textContent.trim().slice(0, 40) };
}"""


def test_keys_alone_reach_every_control_in_the_order_of_the_page_and_show_where_one_is(
    reader: Reader, pages: dict[str, Path]
) -> None:
    page = reader(pages["owner"])
    page.evaluate(
        """() => { document.querySelectorAll("details").forEach((one) => { one.open = true; });
             document.querySelectorAll("button[aria-expanded=false]:not(tr.unit button)").forEach((one) => one.click());
             document.activeElement.blur(); }"""
    )
    wanted = page.evaluate(MARK_CONTROLS)
    order: list[str] = []
    page.evaluate("scrollTo(0, 0)")
    for _ in range(wanted + 5):
        page.keyboard.press("Tab")
        here = page.evaluate(HERE)
        if here["tag"] == "BODY" or (order and here["reach"] == order[0]):
            break
        assert here["seen"], f"no visible focus on {here}"
        assert here["name"] or here["tag"] in ("INPUT", "SELECT", "TEXTAREA"), f"a control without a name: {here}"
        order.append(here["reach"])
    missed = page.evaluate(
        "(got) => [...document.querySelectorAll('[data-reach]')].filter((e) => !got.includes(e.dataset.reach))"
        ".filter((e) => e.type !== 'radio').map((e) => e.outerHTML.slice(0, 100))",
        order,
    )
    assert missed == []
    assert order == sorted(order, key=int), "the focus does not go in the order of the page"
    assert wanted > 40


def test_the_skip_links_pass_over_the_map(reader: Reader, pages: dict[str, Path]) -> None:
    page = reader(pages["owner"])
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "Skip the map, go to the map in words"
    assert page.locator(".skip").first.bounding_box()["width"] > 100  # type: ignore[index]
    page.keyboard.press("Enter")
    assert page.locator("#words li").first.is_visible()
    page.keyboard.press("Tab")
    assert page.evaluate("!document.activeElement.closest('.frame')")
    page.reload()
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    assert page.evaluate("!!document.activeElement.closest('#account')")


def test_on_a_phone_the_panel_takes_the_focus_and_gives_it_back(reader: Reader, pages: dict[str, Path]) -> None:
    page = reader(pages["owner"], width_px=390, height_px=844)
    ground = page.locator("path.unit").nth(3)
    name = ground.get_attribute("aria-label")
    assert name
    panel = page.locator("#panel")
    for close in ("Escape", "Enter"):
        ground.focus()
        page.keyboard.press("Enter")
        assert panel.evaluate("(e) => e === document.activeElement")
        assert name.split(":")[0] in panel.locator("h2").inner_text()
        if close == "Enter":
            page.locator("#panel-close").focus()
        page.keyboard.press(close)
        assert not panel.is_visible()
        assert page.evaluate("document.activeElement.getAttribute('aria-label')") == name


@pytest.mark.parametrize("width_px", [1400, 1024, 390])
def test_no_text_beside_the_drawing_is_smaller_than_16_px(
    reader: Reader, pages: dict[str, Path], width_px: int
) -> None:
    page = reader(pages["owner"], width_px=width_px, height_px=900)
    page.evaluate(OPEN_ALL)
    small = page.evaluate(
        """() => { const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT), found = [];
             for (let node = walk.nextNode(); node; node = walk.nextNode()) {
               const e = node.parentElement;
               // Names on the drawing are the drawing's own, and what no eye sees has no size.
               if (!node.data.trim() || e.closest(".mark, .unseen, .skip, script, style, noscript") ||
                   !e.getClientRects().length) continue;
               const svg = e.ownerSVGElement;
               const size = parseFloat(getComputedStyle(e).fontSize) * (svg && svg.viewBox.baseVal.width
                 ? svg.getBoundingClientRect().width / svg.viewBox.baseVal.width : 1);
               if (size < 15.9) found.push([node.data.trim().slice(0, 30), size]);
             }
             return found; }"""
    )
    assert small == []


def test_on_a_wide_screen_a_picked_unit_is_told_to_the_ear(reader: Reader, pages: dict[str, Path]) -> None:
    page = reader(pages["owner"])
    open_a_unit(page)
    assert page.get_by_role("status").filter(has_text="acres treated").count() == 1
    assert page.evaluate("document.activeElement.matches('path.unit')")
    page.keyboard.press("Escape")
    assert page.locator("#picked").inner_text() == ""


# --- words for the drawing --------------------------------------------------------------------------------------------


def test_the_map_in_words_says_what_lies_where_and_what_comes_next(
    reader: Reader, pages: dict[str, Path], sample_place: Path
) -> None:
    from habmap.jobs.acres import acres

    page = reader(pages["owner"])
    page.locator("#words-open").click()
    told = page.locator("#words").inner_text()
    account = acres(GeoPackageStore.open(sample_place))
    first = page.locator("tr.unit").first
    unit = next(one for one in account.units if one.unit_id == first.get_attribute("data-unit"))
    assert f"First in the order of work: {unit.name}, in the " in told
    assert f"{unit.remaining_acres:,.1f} of its {unit.acres:,.1f} acres remain" in told
    standing = account.totals.stage_acres.standing
    assert f"Cedars standing, {standing:,.1f} acres: " in told
    most = max(account.units, key=lambda one: one.stage_acres.standing)
    assert re.search(rf"Cedars standing,[^.]+\.\d acres: {re.escape(most.name)} in the ", told)


def test_each_unit_on_the_map_is_announced_as_a_button_with_its_acres(reader: Reader, pages: dict[str, Path]) -> None:
    page = reader(pages["owner"])
    names = [
        path.get_attribute("aria-label") for path in page.get_by_role("button").and_(page.locator("path.unit")).all()
    ]
    assert len(names) == page.locator("tr.unit").count()
    assert all(re.fullmatch(r".+: [\d,.]+ acres.*", name or "") for name in names)
    # Marks repeat what the buttons say, so they are not read out twice.
    assert page.locator(".leaflet-marks-pane").get_attribute("aria-hidden") == "true"


# --- large letters, narrow screens, still pictures --------------------------------------------------------------------


@pytest.mark.parametrize(
    ("width_px", "letters_px", "scale"),
    [(640, 16, 2), (320, 16, 1), (1280, 32, 1), (390, 32, 1)],
    ids=["zoom 200%", "reflow at 320 px (WCAG 1.4.10)", "letters 200%", "letters 200% on a phone"],
)
def test_large_letters_and_narrow_screens_lose_nothing(
    reader: Reader, pages: dict[str, Path], width_px: int, letters_px: int, scale: int
) -> None:
    page = reader(pages["owner"], width_px=width_px, letters_px=letters_px, device_scale_factor=scale)
    page.evaluate(OPEN_ALL)
    assert page.evaluate("document.documentElement.scrollWidth") <= width_px
    if letters_px == 32:
        for what in ("h1", "td.fig", ".method", ".legend span", ".moves button", ".reading summary"):
            now = page.locator(what).first.evaluate("(e) => parseFloat(getComputedStyle(e).fontSize)")
            assert now >= 31, f"{what} does not grow with the reader's letters"
        ruler = page.locator("#ruler text").evaluate_all(
            "all => all.map(e => parseFloat(getComputedStyle(e).fontSize))"
        )
        assert ruler and min(ruler) >= 25, "the ruler's letters do not grow with the reader's"
    cut = page.evaluate(
        """() => [...document.querySelectorAll("h1, h2, p, li, td, th, button, summary, label, figcaption")]
             .filter((e) => e.getClientRects().length && !e.closest(".unseen, .frame, .skip"))
             .filter((e) => e.scrollWidth > e.clientWidth + 1 && getComputedStyle(e).overflowX !== "visible"
                         || e.getBoundingClientRect().right > innerWidth + 1)
             .map((e) => e.outerHTML.slice(0, 100))"""
    )
    assert cut == []


def test_nothing_moves_by_itself_where_motion_is_unwanted(reader: Reader, pages: dict[str, Path]) -> None:
    page = reader(pages["owner"], reduced_motion="reduce")
    page.locator("path.unit").first.focus()
    page.keyboard.press("Enter")
    page.locator("#later, #earlier").first.click()
    moving = page.evaluate("document.getAnimations().filter((one) => one.playState === 'running').length")
    assert moving == 0
    page.get_by_role("button", name="zoom in").click()
    assert page.evaluate("document.getAnimations().filter((one) => one.playState === 'running').length") == 0


# --- contrast on each paper -------------------------------------------------------------------------------------------

#: Every piece of text that is seen, its ink and the ground under it: of the nearest box that has one, or of its own
#: halo (text-shadow) where it stands on the drawing. On dark paper a veil dims the drawing,
#: ink and halo alike.
INKS = """() => {
  const parse = (text) => { const m = text.match(/[\\d.]+/g).map(Number); return m.length > 3 ? m : [...m, 1]; };
  const found = new Map(), walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const text = walker.currentNode.textContent.trim(), e = walker.currentNode.parentElement;
    if (!text || !e.getClientRects().length || e.closest("script, style, .unseen, .hushed, .skip")) continue;
    const style = getComputedStyle(e), inDrawing = !!e.closest(".leaflet-marks-pane");
    const ink = e instanceof SVGElement ? style.fill : style.color;
    if (e instanceof SVGElement && !ink.startsWith("rgb")) continue;
    let ground = null;
    if (inDrawing) ground = parse(style.textShadow.match(/rgba?\\([^)]*\\)/)[0]);
    for (let up = e; !ground && up; up = up.parentElement) {
      const under = parse(getComputedStyle(up).backgroundColor);
      if (under[3] === 1) ground = under;
    }
    // Letters of paper in a chart stand on the fill of standing cedars.
    if (e instanceof SVGElement && ink === "rgb(247, 242, 230)") ground = [60, 74, 63, 1];
    const over = getComputedStyle(document.querySelector(".leaflet-map-pane"), "::after");
    const veil = inDrawing && over.content !== "none";
    const dim = (c) => veil ? c.slice(0, 3).map((v, i) => v * .72 + [18, 16, 12][i] * .28) : c.slice(0, 3);
    const key = JSON.stringify([dim(parse(ink)), dim(ground)]);
    if (!found.has(key)) found.set(key, text.slice(0, 40));
  }
  return [...found].map(([key, text]) => [...JSON.parse(key), text]);
}"""


def _luminance(rgb: list[float]) -> float:
    """Relative luminance of WCAG 2.2 (definition "relative luminance")."""
    linear = [v / 255 / 12.92 if v / 255 <= 0.04045 else ((v / 255 + 0.055) / 1.055) ** 2.4 for v in rgb]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def _contrast(one: list[float], other: list[float]) -> float:
    """Contrast ratio of WCAG 2.2 (definition "contrast ratio")."""
    light, dark = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_every_ink_stands_out_from_its_ground_on_each_paper(reader: Reader, pages: dict[str, Path]) -> None:
    page = reader(pages["owner"])
    page.evaluate(OPEN_ALL)
    for scheme, wish, least in (
        ("light", "no-preference", 4.5),
        ("dark", "no-preference", 4.5),
        ("light", "more", 7.0),
        ("dark", "more", 4.5),
    ):
        page.emulate_media(color_scheme=scheme, contrast=wish)  # type: ignore[arg-type]
        inks = page.evaluate(INKS)
        assert len(inks) >= 3
        found = [(_contrast(ink, ground), text, ink, ground) for ink, ground, text in inks]
        # Heights of contours on dark ground are the faintest words; they, too, keep 4.5.
        poor = [one for one in found if one[0] < (4.5 if one[1].endswith(" ft") else least)]
        assert poor == [], (scheme, wish)
        print(f"{scheme}, contrast {wish}: least {min(one[0] for one in found):.2f} of {len(found)} pairs")
        paper = page.evaluate("getComputedStyle(document.body).backgroundColor")
        assert (_luminance([float(v) for v in re.findall(r"\d+", paper)]) < 0.1) == (scheme == "dark")


def test_a_word_changes_the_paper_and_printing_is_always_by_day(reader: Reader, pages: dict[str, Path]) -> None:
    page = reader(pages["owner"], color_scheme="dark")
    ground = "getComputedStyle(document.body).backgroundColor"
    assert page.get_by_role("button", name="dark").get_attribute("aria-pressed") == "true"
    page.get_by_role("button", name="bright sun", exact=True).click()
    assert page.evaluate(ground) == "rgb(255, 255, 255)"
    assert page.get_by_role("button", name="dark").get_attribute("aria-pressed") == "false"
    page.get_by_role("button", name="light", exact=True).click()
    assert page.evaluate(ground) == "rgb(247, 242, 230)"
    page.get_by_role("button", name="dark").click()
    page.emulate_media(media="print")
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    assert page.evaluate(ground) == "rgb(255, 255, 255)"
    assert page.evaluate("getComputedStyle(document.body).color") == "rgb(43, 42, 38)"


def test_the_land_keeps_its_colours_where_a_machine_sets_its_own(reader: Reader, pages: dict[str, Path]) -> None:
    page = reader(pages["owner"], forced_colors="active")
    assert (
        page.evaluate("getComputedStyle(document.querySelector('.leaflet-container')).backgroundColor")
        == "rgb(247, 242, 230)"
    )
    assert page.evaluate("getComputedStyle(document.querySelector('.leaflet-container')).forcedColorAdjust") == "none"
    body = page.evaluate("getComputedStyle(document.body).backgroundColor")
    assert body == "rgb(255, 255, 255)"  # Canvas of chromium's forced light colors
