"""What a packet asks and what a practice report leaves out, each rule at its limit, on grounds made up by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime
from types import SimpleNamespace
from typing import Any

import pytest
from fakes import GRID, entry, unit
from shapely import box

from habmap.errors import InputError
from habmap.measures import M2_PER_ACRE
from habmap.records import Entry
from habmap.work.bite import size_words
from habmap.work.closures import Closure
from habmap.work.ground import cut_ground
from habmap.work.order_of_work import first_due, owners_remarks, pressing_words
from habmap.work.packet import ItemPacket, Question, item_packet, log_lines, questions
from habmap.work.paperwork import _Claims, _total, acres_words, killing_practices
from habmap.work.paperwork_records import APART, Item, Range, chosen_item, money, program_year, without_names
from habmap.work.practice_report import _beside, _hairs, _worked_ground, practice_report
from habmap.work.stages import GroundState
from habmap.work.union import rival_units

NOW = datetime(2026, 1, 1, 12, tzinfo=UTC)
UNIT = unit("A", box(0, 0, 100, 100))
ITEM = Item(program="P", item="1", practice_code="314", units=("A",), not_before=date(2025, 2, 1), due=date(2025, 3, 1))


def piece(size_m2: float, *lines: Entry, stage: str = "opened", **state: Any) -> Any:
    looked: dict[str, Any] = {"first_treated": date(2025, 2, 1), "last_look": date(2025, 2, 1)}
    return SimpleNamespace(
        unit_id="A", stage=stage, area_m2=size_m2, acres=size_m2 / M2_PER_ACRE, geometry=box(0, 0, size_m2, 1),
        entry_ids=tuple(one.entry_id for one in lines), state=GroundState(stage=stage, **(looked | state)),  # type: ignore[arg-type]
    )  # fmt: skip


def state_of(entries: list[Entry], *pieces: Any, units: Any = (UNIT,), overlays: Any = ()) -> Any:
    patches = {one.entry_id: GRID.to_grid(one.patch) for one in entries if one.patch is not None}
    return SimpleNamespace(entries=tuple(entries), pieces=pieces, patches=patches, units=units, overlays=overlays)


def item_of(columns: dict[int, str], *, item: Item = ITEM, lines: Any = (), **apart_acres: float) -> Any:
    total = SimpleNamespace(apart_acres=dict.fromkeys(APART, 0.0) | apart_acres)
    return SimpleNamespace(item=item, total=total, lines=lines, columns=columns)


def asked_of(entries: list[Entry], *pieces: Any, practices: Any = ("cut",), **more: Any) -> dict[str, Question]:
    """Questions by kind where each piece is applied, unless other columns are named."""
    columns = more.pop("columns", dict.fromkeys(range(len(pieces)), "applied"))
    own = SimpleNamespace(unit_id="A", entry_ids=tuple(one.entry_id for one in entries))
    ground = item_of(columns, item=more.pop("item", ITEM), lines=(own,), **more.pop("apart", {}))
    state = state_of(entries, *pieces, units=more.pop("units", (UNIT,)))
    numbers = {one.entry_id: n for n, one in enumerate(entries, start=1)}
    log = log_lines(ground, state, practices=practices, lines=more.pop("told", ()), numbers=numbers)
    found = questions(
        ground, state, log, coded={"cut", "burn"}, pair_views=more.pop("views", [box(-1, -1, 1e6, 2)]),
        versions=more.pop("versions", ()), day_of=lambda row: row.recorded_at.date(),
    )  # fmt: skip
    assert not more
    return {one.kind: one for one in found}


def cut(day: str = "2025-02-01", x_m: float = 50, **fields: Any) -> Entry:
    return entry("cut", day, box(0, 0, x_m, 100), killed_pct=95.0, recorded_at=datetime(2025, 2, 3, tzinfo=UTC),
                 **fields)  # fmt: skip


def test_lines_of_an_item_stand_in_the_packet_with_their_ground_and_days() -> None:
    days = ("2025-01-31", "2025-02-01", "2025-03-01", "2025-03-02")
    lines = [cut(day) for day in days]
    burn, look, keep, bare, other = (
        entry("burn", "2025-02-09", box(0, 0, 10, 10)), entry("checkup", "2025-02-09", box(0, 0, 10, 10)),
        entry("keep", "2025-02-09", box(0, 0, 10, 10)), entry("cut", "2025-02-09"), cut("2025-02-10"),
    )  # fmt: skip
    state = state_of(
        [*lines, burn, look, keep, bare, other],
        piece(M2_PER_ACRE, *lines[:2], burn, look, keep, bare), piece(2 * M2_PER_ACRE, *lines[1:3]), piece(9, other),
    )  # fmt: skip
    amend, void = replace(lines[1], entry_id="a", action="amend"), replace(lines[1], entry_id="v", action="void")
    told: Any = [SimpleNamespace(root=lines[1], basis=(lines[1], amend, void))]
    own: Any = SimpleNamespace(entry_ids=(lines[3].entry_id,))
    numbers = {one.entry_id: n for n, one in enumerate(state.entries, start=11)}
    found = log_lines(
        item_of({0: "applied", 1: "late"}, lines=(own,)), state, practices={"cut"}, lines=told, numbers=numbers
    )
    assert [one.number for one in found] == [11, 12, 13, 14, 15]  # the last line lies on ground of no column
    assert [one.is_inside for one in found] == [False, True, True, False, True]
    assert [one.is_own for one in found] == [True] * 4 + [False]
    assert [one.here_acres for one in found] == pytest.approx([1, 3, 2, 0, 1])
    assert [one.acres for one in found] == pytest.approx([5000 / M2_PER_ACRE] * 4 + [100 / M2_PER_ACRE], rel=1e-6)
    assert [one.corrections for one in found] == [(), (amend,), (), (), ()]


def test_what_is_asked_of_how_lines_were_told() -> None:
    walked = [cut(acres_sd=0.3), cut(acres_sd=0.4)]
    drawn, whole = cut(), cut(x_m=100)
    acre = M2_PER_ACRE
    asked = asked_of(
        [*walked, drawn, whole],
        piece(acre, *walked), piece(2 * acre, drawn, walked[0]), piece(4 * acre, whole, drawn), piece(8 * acre),
    )  # fmt: skip
    assert (asked["walked"].acres, asked["walked"].lines) == (pytest.approx(0.5), (1, 2))  # √(0.09 + 0.16)
    assert (asked["drawn"].acres, asked["drawn"].lines) == (pytest.approx(6), (3,))
    assert (asked["whole"].acres, asked["whole"].lines) == (pytest.approx(4), (4,))
    assert set(asked) == {"walked", "drawn", "whole"}
    assert asked_of([cut(acres_sd=0.0)], piece(acre))["walked"].acres == 0.0
    # a line whose practice the item does not pay for is asked nothing
    assert set(asked_of([cut(reported_acres=9.0)], piece(acre), practices=("girdle",))) == set()
    # February 3 is 30 days after January 4, and 31 after January 3
    assert "told_late" not in asked_of([cut("2025-01-04")], piece(1))
    assert asked_of([cut("2025-01-03"), cut()], piece(1))["told_late"].lines == (1,)
    unsaid = [replace(cut(), killed_pct=None), replace(cut(), practice="burn", killed_pct=None), cut()]
    assert asked_of(unsaid, piece(1), practices=("cut", "burn"))["assumed"].lines == (1,)
    amended = cut()
    rows = [
        replace(amended, entry_id=f"x{n}", action="amend", recorded_at=datetime(2025, 3, 9 - n, tzinfo=UTC))
        for n in (1, 2, 2)
    ]
    told: Any = [SimpleNamespace(root=amended, basis=(amended, *rows))]
    corrected = asked_of([cut(), amended], piece(1), told=told)["corrected"]
    assert (corrected.lines, corrected.about) == ((2,), ("2025-03-07", "2025-03-08"))


def test_what_is_asked_of_days_units_and_codes() -> None:
    early, late = cut("2025-03-02"), cut("2025-01-31")
    asked = asked_of([early, cut(), late], piece(1), apart={"too_early": 0.25, "late": 0.5, "on_hold": 4.0})
    outside = asked["early_or_late"]
    assert (outside.acres, outside.lines) == (0.75, (1, 3)) and outside.about == ("2025-01-31", "2025-03-02")
    assert "early_or_late" not in asked_of([cut()], piece(1), apart={"too_early": 1.0})
    assert "no_first_day" not in asked and "claimed" not in asked
    assert "no_first_day" in asked_of([cut()], piece(1), item=replace(ITEM, not_before=None))
    assert asked_of([cut()], piece(1), apart={"elsewhere": 0.001})["claimed"].acres == 0.001
    own = cut()
    others = [entry(one, "2025-02-02", box(0, 0, 9, 9)) for one in ("mow", "graze", "checkup", "keep", "burn")]
    assert asked_of([own, *others], piece(1, own, *others))["no_code"].about == ("graze", "mow")
    assert "no_code" not in asked_of([own, *others], piece(1, own))
    gone = asked_of([own], piece(1), item=replace(ITEM, units=("Z", "A", "Y")))
    assert gone["unit_gone"].about == ("Z", "Y")

    def version(unit_id: str, day: str | None, *replaces: str) -> Any:
        on = None if day is None else date.fromisoformat(day)
        return replace(UNIT, unit_id=unit_id, valid_from=on, replaces=replaces)

    versions = [
        version("A", "2025-04-01", "u"), version("A", "2025-02-02", "u"), version("A", "2025-02-01", "u"),
        version("A", "2025-05-01"), version("B", "2025-04-01", "u"), version("A", None, "u"),
    ]  # fmt: skip
    # the first work was on February 1
    redrawn = asked_of([cut("2025-02-09"), cut()], piece(1), versions=versions)["redrawn"]
    assert redrawn.about == ("A on 2025-02-02", "A on 2025-04-01")
    assert "redrawn" not in asked_of([], piece(1), versions=versions)


@pytest.mark.parametrize(
    ("kind", "state"),
    [
        ("no_checkup", {"last_look": None}), ("coming_back", {"stage": "coming_back"}),
        ("slash", {"piled_frac": 1e-3}), ("slash", {"lying_frac": 1e-3}),
        ("no_pair", {}),
    ],
)  # fmt: skip
def test_ground_is_asked_about_from_a_twentieth_of_an_acre(kind: str, state: dict[str, Any]) -> None:
    views = [] if kind == "no_pair" else [box(-1, -1, 1e6, 2)]
    just, under, exact = (piece(0.05 * M2_PER_ACRE * share, **state) for share in (1.0001, 0.9999, 1.0))
    found = asked_of([], just, views=views)
    assert set(found) == {kind} and found[kind].acres == pytest.approx(0.050005)
    assert asked_of([], exact, views=views)[kind].acres == 0.05
    assert asked_of([], under, views=views) == {}
    # ground in another column is not of what counts
    assert asked_of([], just, views=views, columns={0: "late"}) == {}


def test_standing_dead_trees_are_measured_over_all_columns() -> None:
    pieces = [piece(M2_PER_ACRE, snag_frac=0.001), piece(2 * M2_PER_ACRE), piece(4 * M2_PER_ACRE, snag_frac=1.0)]
    packet = ItemPacket(
        place="", currency="", from_date=ITEM.not_before or date.min, to_date=date.max, kills=True, log=(),
        ground=item_of({0: "applied", 1: "applied", 2: "late"}), state=state_of([], *pieces), questions=(),
    )  # fmt: skip
    assert packet.snag_acres == pytest.approx(5)
    assert [column for column, _ in packet.pieces()] == ["applied", "applied", "late"]


def test_a_line_that_lies_on_a_unit_by_a_hair_is_no_work_there() -> None:
    hair, tiny, half = cut(), cut(), cut()

    def ground(unit_id: str, size_m2: float, *lines: Entry) -> Any:
        one = piece(size_m2, *lines)
        one.unit_id = unit_id
        return one

    pieces = [
        ground("A", 5000, hair), ground("B", 0.99, hair),  # less than a square meter of it lies in B
        ground("C", 0.5, hair, half), ground("C", 0.5, hair, half),  # two halves are one whole
        ground("D", 0.9, tiny),  # a line that is a hair everywhere stays
        ground("E", 0.09, tiny),
        ground("F", 0.01, tiny),  # now they are 1.00 m² in all
        ground("G", 3.0),
    ]  # fmt: skip
    assert _hairs(state_of([], *pieces)) == [False, True, False, False, True, True, True, False]
    assert _hairs(state_of([], *pieces[:6])) == [False, True, False, False, False, False]


def test_what_no_item_names_and_what_no_item_can_count() -> None:
    other, rest = replace(ITEM, practice_code="338"), ("A", "B", "C")
    assert _beside([other], "314", rest) == Item(program="", item="", practice_code="314", units=())
    assert _beside([ITEM], "314", rest) == Item(program="", item="", practice_code="314", units=("B", "C"))
    assert _beside([ITEM, replace(ITEM, units=())], "314", rest) is None
    assert _beside([replace(ITEM, units=("A", "C")), replace(ITEM, units=("B",))], "314", rest) is None

    codes = {"cut": "314", "graze": "314", "burn": "338", "pile_burn": "338"}
    graze, burn, mow, haul = (entry(one, "2025-02-01") for one in ("graze", "burn", "mow", "haul"))
    felled = cut()

    def overlay(size_acres: float, units: tuple[str, ...], *lines: Entry) -> Any:
        ids = tuple(one.entry_id for one in lines)
        return SimpleNamespace(area_m2=size_acres * M2_PER_ACRE, unit_ids=units, entry_ids=ids)

    overlays = [
        overlay(1, ("A", "B"), felled, graze), overlay(2, ("A",), burn), overlay(4, ("B",), felled, burn),
        overlay(8, ("A",), mow), overlay(16, ("A",)), overlay(0.0501, (), felled), overlay(0.0499, (), burn),
    ]  # fmt: skip
    state = state_of([], overlays=overlays)
    size_acres, remarks = _worked_ground(state, [felled, graze, burn, mow, haul], codes, ["314", "338"])
    assert size_acres == pytest.approx(1 + 4 + 2 + 4)
    assert remarks == [
        "work of the kind hauled away, mowed has no practice code and is not in this report",
        "0.1 acres of 314 lie outside every unit as now drawn and are not in this report",
        "ground grazed under 314 is not counted: that code counts ground brought to its target by killing cedars",
    ]
    assert _worked_ground(state, [felled, burn], codes, ["338"])[1] == []
    exact = state_of([], overlays=[overlay(0.05, (), felled)])
    assert _worked_ground(exact, [felled], codes, ["314"]) == (
        0.0, ["0.1 acres of 314 lie outside every unit as now drawn and are not in this report"],
    )  # fmt: skip


def test_rival_versions_are_paired_by_when_and_by_name() -> None:
    def version(name: str, hour: int, label: str, *replaces: str) -> Any:
        at = datetime(2026, 1, 1, hour, tzinfo=UTC)
        return replace(UNIT, uuid=name, unit_id=label, replaces=replaces, recorded_at=at)

    first, second, third = version("z", 1, "A"), version("b", 2, "A"), version("a", 2, "A")
    assert rival_units([second, third, first]) == ((first, third), (first, second), (third, second))
    after = version("n", 3, "A", "z", "b")
    assert rival_units([first, second, third, after]) == ((third, after),)
    # parts of one split share their moment; drawn apart they are rivals, and with one label always
    part, other_part, apart = version("p", 4, "P", "old"), version("q", 4, "Q", "old"), version("r", 5, "R", "old")
    assert rival_units([part, other_part]) == ()
    assert rival_units([apart, other_part, part]) == ((part, apart), (other_part, apart))
    assert rival_units([part, replace(other_part, unit_id="P")]) != ()
    assert rival_units([part, version("s", 5, "S", "older")]) == () and rival_units([]) == ()


def test_from_half_a_hundredth_of_an_acre_on_a_rest_is_told_in_acres() -> None:
    one: Any = SimpleNamespace(area_m2=M2_PER_ACRE, is_whole=True, scraps_m2=0.0)
    told = {left: size_words(one, asked_acres=1.0, left_acres=left, left_pieces=2) for left in (0.004999, 0.005)}
    assert told[0.004999].endswith("; under 0.01 acre remains in the unit after it, in 2 pieces")
    assert told[0.005].endswith("; 0.01 acres remain in the unit after it, in 2 pieces")


def test_a_copy_for_the_public_is_not_asked_how_lines_were_told() -> None:
    line = cut("2025-01-03", acres_sd=0.3)
    ground = item_of({0: "applied"}, item=replace(ITEM, not_before=None))
    result = SimpleNamespace(place="Here", currency="USD", from_date=date(2025, 1, 1), to_date=date(2025, 9, 1))
    report: Any = SimpleNamespace(ground=[None, ground], result=result, state=state_of([line], piece(1e4, line)))
    report.state.grid = GRID
    codes = {"cut": "314", "burn": "338"}
    for is_owner, kinds in (
        (True, {"walked", "told_late", "no_first_day", "no_pair"}),
        (False, {"no_first_day", "no_pair"}),
    ):
        packet, seen = item_packet(
            report, 1, coded=codes, lines=(), numbers={line.entry_id: 7}, versions=(), points=(),
            day_of=lambda row: row.recorded_at.date(), is_owner=is_owner,
        )  # fmt: skip
        assert {one.kind for one in packet.questions} == kinds and seen == ()
        assert (packet.place, packet.currency, packet.kills, len(packet.log)) == ("Here", "USD", True, 1)
        assert (packet.from_date, packet.to_date) == (result.from_date, result.to_date)


def test_what_presses_a_unit_and_what_is_said_with_it() -> None:
    def due(item: str, state: str, to: str | None, units: str | None, acres: float | None = None) -> Any:
        return SimpleNamespace(
            name=item, state=state, to_date=None if to is None else date.fromisoformat(to), unit_id=units, acres=acres
        )

    first, later, every = (
        due("1", "due", "2026-02-01", "A;B", 1.25),
        due("2", "overdue", "2026-03-01", "B;C"),
        due("3", "due", None, None),
    )
    items = [every, later, first, due("4", "open", "2026-01-01", "A"), due("5", "done", "2026-01-01", "C")]
    assert {unit_id: one.name for unit_id, one in first_due(items, ["A", "B", "C", "D"]).items()} == {
        "A": "1", "B": "1", "C": "2", "D": "3",
    }  # fmt: skip
    assert pressing_words(first) == "contract 1: due soon, by 2026-02-01, 1.2 acres to do"
    assert pressing_words(later) == "contract 2: overdue since 2026-03-01"
    day = date(2025, 1, 31)
    closures: Any = SimpleNamespace(coming=lambda on, name: [SimpleNamespace(first=date(2025, 5, 1), reason="nest")])
    shut = Closure(work="cut", reason="owl", last=None)
    waits = replace(shut, work="contract")
    contracts = [ITEM, replace(ITEM, units=("B",)), replace(ITEM, units=(), item="2", due=None)]

    def remarks(closure: Closure | None, on: date) -> tuple[str, ...]:
        return owners_remarks("A", closure, closures=closures, contracts=contracts, on=on)

    told = remarks(shut, day)
    assert told[0] == "closed to cutting: owl" and told[1].endswith(" 2025-05-01: nest")
    assert told[2:] == (
        "contract P 1: not before 2025-02-01", "contract P 1: due 2025-03-01", "contract P 2: not before 2025-02-01",
    )  # fmt: skip
    assert remarks(None, day) == remarks(waits, day) == told[1:]
    assert remarks(None, date(2025, 2, 1)) == (told[1], "contract P 1: due 2025-03-01")


def test_only_work_of_the_report_s_days_is_in_it_and_unnamed_work_only_where_there_is_some() -> None:
    limits: Any = SimpleNamespace(target_pct=90.0, leave_stems_per_acre=20.0)
    before, inside = date(2025, 1, 31), date(2025, 2, 1)
    lines = [
        entry("mow", before, box(0, 0, 100, 100)), entry("cut", inside, box(0, 0, 50, 100), killed_pct=95.0),
        entry("burn", inside, box(200, 0, 300, 100)),
    ]  # fmt: skip
    state = cut_ground((UNIT,), tuple(lines), grid=GRID, limits=limits)
    found = practice_report(
        state, contract=[], codes={"cut": "314", "burn": "338"}, span=Range(first=inside, last=date(2025, 3, 1)),
        holds=(), place="Here", currency="USD",
    ).result  # fmt: skip
    # the mowing was before these days; the burn lies in no unit, so no item stands for it
    assert found.remarks == ("2.5 acres of 338 lie outside every unit as now drawn and are not in this report",)
    assert [(one.practice_code, one.program) for one in found.items] == [("314", "")]
    assert found.items[0].applied_acres == pytest.approx(5000 / M2_PER_ACRE, rel=1e-6) == found.practice_acres
    assert (found.place, found.currency, found.from_date, found.to_date) == ("Here", "USD", inside, date(2025, 3, 1))


def test_items_are_named_by_item_or_by_program_and_item_and_hold_both_ends_of_their_days() -> None:
    items = [
        ITEM,
        replace(ITEM, program="Q"),
        replace(ITEM, item="B2", not_before=None, due=None),
        replace(ITEM, program="", item="x"),
    ]
    for name, place in (("p 1", 0), ("Q 1", 1), ("b2", 2), ("P B2", 2), ("X", 3)):
        assert chosen_item(name, items) == place
    for name, words in (("1", "several contract items"), ("P", "no such"), ("2", "no such")):
        with pytest.raises(InputError, match=words) as error:
            chosen_item(name, items)
        assert error.value.allowed == "P 1, Q 1, P B2, x"
    with pytest.raises(InputError, match="no such") as error:
        chosen_item("1", [])
    assert error.value.allowed is None
    days = [date(2025, 1, 31), date(2025, 2, 1), date(2025, 3, 1), date(2025, 3, 2)]
    assert [ITEM.is_early(day) for day in days] == [True, False, False, False]
    assert [ITEM.is_late(day) for day in days] == [False, False, False, True]
    assert not any(items[2].is_early(day) or items[2].is_late(day) for day in days)
    span = Range(first=days[1], last=days[2])
    assert [span.has(day) for day in days] == [False, True, True, False]
    bare = without_names([replace(ITEM, rate=9.0), replace(ITEM, program="Q", item="7")])
    assert [(one.name, one.rate, one.units, one.due) for one in bare] == [
        ("contract item 1", None, ("A",), ITEM.due), ("contract item 2", None, ("A",), ITEM.due),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("year", "starts", "first", "last"),
    [
        # 29 February is March 1 in a common year, and the year before ends a day earlier
        (2024, "02-29", "2023-03-01", "2024-02-28"), (2025, "02-29", "2024-02-29", "2025-02-28"),
        (2026, "02-29", "2025-03-01", "2026-02-28"), (2024, "02-28", "2023-02-28", "2024-02-27"),
        (2024, "01-01", "2024-01-01", "2024-12-31"), (2024, "01-02", "2023-01-02", "2024-01-01"),
        (2024, "02-01", "2023-02-01", "2024-01-31"), (2024, "03-29", "2023-03-29", "2024-03-28"),
    ],
)  # fmt: skip
def test_a_program_year_is_named_after_the_year_in_which_it_ends(year: int, starts: str, first: str, last: str) -> None:
    span = program_year(year, starts=starts)
    assert (span.first.isoformat(), span.last.isoformat()) == (first, last)


def test_money_is_to_the_cent_and_half_a_cent_goes_up() -> None:
    assert [money(rate, size) for rate, size in ((0.1, 0.05), (0.1, 0.04), (0.99, 0.5), (1.0, 0.015), (3.0, 0.0))] == [
        0.01, 0.0, 0.5, 0.02, 0.0,
    ]  # fmt: skip
    assert (acres_words(0.05), acres_words(0.0499)) == ("0.1 acres", "under 0.05 acre")
    span = Range(first=date(2025, 1, 1), last=date(2025, 12, 31))

    def remarks(planned: float, applied: float, rate: float | None = 9.0) -> tuple[str, ...]:
        apart = {f"{column}_acres": 0.0 for column in APART}
        line: Any = SimpleNamespace(applied_acres=applied, payment=None, paper_acres=0.0, **apart)
        return _total(replace(ITEM, planned_acres=planned, rate=rate), [line], ["first"], span).remarks

    short = "0.1 acres short of the plan within 2025-01-01 to 2025-12-31"
    assert remarks(0.05, 0.0) == ("first", short) and remarks(0.0499, 0.0) == remarks(0.0, 0.0499) == ("first",)
    assert remarks(0.0, 0.05) == ("first", "0.1 acres beyond the planned ones are not paid")
    assert remarks(0.0, 0.05, None) == ("first",)


def test_one_line_on_one_piece_pays_once_under_one_code() -> None:
    claims = _Claims()
    assert claims.claim("314", 7, ["a", "b"], name="first") is None
    assert claims.claim("314", 7, ["b"], name="second") == "first" == claims.claim("314", 7, ["b", "a"], name="first")
    assert claims.claim("314", 7, ["b", "c"], name="second") is None  # c was free
    assert claims.claim("314", 7, ["c", "a"], name="third") == "second"
    assert claims.claim("314", 8, ["a"], name="second") is None and claims.claim("338", 7, ["a"], name="second") is None
    assert claims.claim("314", 7, ["a"], name="third") == "first"
    # a code of fire alone need not bring ground to its target, and one of fire and saws counts both
    codes = {"cut": "314", "burn": "314", "pile": "314", "pile_burn": "338", "mow": "338", "girdle": "666"}
    assert killing_practices("314", codes) == {"cut", "burn"} and killing_practices("666", codes) == {"girdle"}
    assert killing_practices("338", codes) == killing_practices("338", {"burn": "338"}) == frozenset()


def test_of_a_code_that_kills_nothing_all_its_practices_are_the_item_s_own() -> None:
    lines = [cut(), *(entry(name, "2025-02-02", box(0, 0, 50, 100)) for name in ("burn", "pile", "mow"))]
    ground = item_of({0: "applied"}, item=replace(ITEM, practice_code="338"))
    result = SimpleNamespace(place="", currency="", from_date=date(2025, 1, 1), to_date=date(2025, 9, 1))
    report: Any = SimpleNamespace(ground=[ground], result=result, state=state_of(lines, piece(1e4, *lines)))
    report.state.grid = GRID
    packet, _ = item_packet(
        report, 0, coded={"cut": "314", "burn": "338", "mow": "338", "pile": "666"}, lines=(),
        numbers={one.entry_id: n for n, one in enumerate(lines)}, versions=(), points=(),
        day_of=lambda row: row.recorded_at.date(), is_owner=True,
    )  # fmt: skip
    assert [(line.entry.practice, line.is_own) for line in packet.log] == [
        ("cut", False), ("burn", True), ("pile", False), ("mow", True),
    ]  # fmt: skip
    assert not packet.kills
