"""The map in words: where things lie, what comes next, and nothing that the page does not show."""

from __future__ import annotations

from datetime import date
from typing import Any

from page_makers import page_totals, page_unit, page_work
from shapely import MultiPolygon, Point, box

from habmap.show.page.reading import map_in_words, where
from habmap.show.records import Page, PageFeature, PageUnit


def unit(unit_id: str, x: float, y: float, standing: float, *, order: int | None = None, down: float = 0.0) -> PageUnit:
    return page_unit(
        unit_id,
        name=f"Stand {unit_id}",
        geometry=MultiPolygon([box(x, y, x + 0.001, y + 0.001)]),
        label_lonlat=(x + 0.0005, y + 0.0005),
        acres=standing + down,
        stage_acres={"standing": standing, "down": down},
        treated_acres=down,
        remaining_acres=standing,
        order=order,
    )


def page(*units: PageUnit, **given: Any) -> Page:
    fields: dict[str, Any] = {
        "place": "Turnip Hollow", "audience": "owner", "on": date(2026, 4, 2), "drawn_on": date(2026, 5, 1),
        "currency": "USD", "totals": page_totals(), "units": units, "pieces": (), "work": (), "features": (),
        "boundary": None, "relief": None, "missing": (), "method": (), "cautions": (),
    }  # fmt: skip
    return Page(**fields | given)


CORNERS = (
    unit("A", -98.000, 38.000, 4.0, order=2),  # southwest
    unit("B", -97.998, 38.002, 6.5, order=1, down=1.5),  # northeast
    unit("C", -97.999, 38.001, 0.0, down=2.0),  # the middle
)


def test_where_a_unit_lies_by_thirds_of_the_ground() -> None:
    shown = page(*CORNERS)
    assert [where(shown, one) for one in CORNERS] == ["in the southwest", "in the northeast", "in the middle"]


def test_it_tells_the_order_of_work_then_each_stage_and_who_holds_most_of_it() -> None:
    told = map_in_words(page(*CORNERS))
    assert told[:2] == (
        "First in the order of work: Stand B, in the northeast, 6.5 of its 8.0 acres remain.",
        "After it, with acres that remain: Stand A in the southwest (4.0).",
    )
    assert "Cedars standing, 10.5 acres: Stand B in the northeast (6.5) and Stand A in the southwest (4.0)." in told
    assert "Cut, slash on ground, 3.5 acres: Stand C in the middle (2.0) and Stand B in the northeast (1.5)." in told
    assert not any("piled" in line.lower() for line in told)


def test_of_many_units_it_names_the_first_and_counts_the_rest() -> None:
    many = tuple(unit(f"{i:02d}", -98 + i * 0.001, 38, 1.0 + i, order=i + 1) for i in range(9))
    told = " ".join(map_in_words(page(*many)))
    assert "and 4 more." in told  # of the eight that come after the first, four are named
    assert "and 5 more." in told
    few = tuple(unit(f"{i:02d}", -98 + i * 0.001, 38, 1.0 + i, order=i + 1) for i in range(5))
    assert "more." not in " ".join(map_in_words(page(*few)))


def test_it_tells_the_latest_work_without_who_did_it_and_what_else_is_drawn() -> None:
    work = page_work(
        day=date(2026, 3, 14), practice="burn", acres=3.0, unit_acres={"B": 3.0, "gone": 1.0},
        geometry=CORNERS[1].geometry, who="Wrenna", note="a nest", person_hours=4.0, cost=100.0,
    )  # fmt: skip
    creek = PageFeature(kind="creek", name="Secret Creek", geometry=Point(-98, 38))
    told = " ".join(map_in_words(page(*CORNERS, work=(work,), features=(creek,))))
    assert "The latest work: burned on March 14, 2026 in Stand B, 3.0 acres." in told
    assert "Also drawn: creek." in told
    assert "Wrenna" not in told
    assert "nest" not in told


def test_no_units_no_words() -> None:
    assert map_in_words(page()) == ()
