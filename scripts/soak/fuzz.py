"""Inputs of every kind: options from the parser's own list, files, settings, the stored file, forms from the pages."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from enum import EnumMeta
from functools import cache
from pathlib import Path
from random import Random
from typing import Any

from soak.law import Case
from soak.mutate import DAYS, NUMBERS, SHAPES, WORDS, changed, hostile
from soak.property import UNITS, chance, valid_files, whole_settings

#: Never called here: they serve, make whole samples, or wait for a cluster.
_LEFT_OUT = frozenset({"desk", "demo", "shortcut"})
_LEFT_OUT_OPTIONS = frozenset({"--scheduler", "--help"})
#: What a valid value looks like, by a part of the option's name.
_VALID: Mapping[str, Sequence[str]] = {
    "date": ("2026-03-01", "2026-04-02", "today"), "on": ("2026-03-01", "2026-08-01"), "from": ("2026-01-01", "08:00"),
    "to": ("2026-12-31", "23:00"), "unit": UNITS, "units": UNITS, "ids": UNITS, "why": ("a slip",), "line": ("1", "2", "3"),
    "entry": ("1", "2", "3", "4"), "time": ("2026-03-06T10:00",), "workers": ("1",), "for": ("owner", "public"),
    "practice": ("cut", "burn", "pile", "checkup", "keep", "hand", "other"), "block": ("west",), "item": ("G-1",),
    "feature": ("hawk", "lane"), "plot": ("p1", "p3"), "told": ("Bo;2026-03-01 10:00;phone",), "sprouts": ("elm=3",),
    "notify": ("Bo",), "timezone": ("America/Chicago",), "name": ("west", "north"), "map": ("unit_id=name", "date=day"),
}  # fmt: skip
#: What is asked of a property whose file or settings were changed.
_QUESTIONS: Sequence[Sequence[str]] = (
    ("check",), ("acres",), ("week",), ("history",), ("due",), ("rank",), ("terrain",), ("density",), ("effort",), ("response",),
    ("schedule", "--hours-per-week", "20"), ("bite", "--acres", "1"), ("photos",), ("map", "--overwrite"), ("sheet", "--overwrite"),
    ("handout", "--overwrite"), ("map", "--for", "public", "-o", "m.html"), ("export", "ledger", "-o", "l.csv"),
    ("export", "units", "-o", "u.gpkg"), ("export", "practices", "-o", "p.csv"), ("export", "gpx", "-o", "g.gpx"),
    ("export", "packet", "--item", "G-1", "-o", "p.pdf"), ("burnsheet", "A", "--time", "2026-03-06T10:00", "--temp-f", "50", "--rh-pct", "40",
     "--wind-mph", "8", "--wind-from", "190"), ("log", "cut", "--date", "2026-03-08", "--unit", "B", "--whole"), ("void", "1", "--why", "x"),
    ("correct", "3", "--why", "x", "--killed-pct", "50"), ("unit", "retire", "B"), ("load", "plots", "p.csv"), ("unite", "other"),
)  # fmt: skip
#: Asked seldom: pages and papers take long, and tell no more of a damaged file.
_SELDOM = frozenset({"map", "sheet", "handout", "export"})
_SELDOM_ALONE = _SELDOM | {"bite", "burnsheet"}


@cache
def commands() -> tuple[tuple[tuple[str, ...], Any], ...]:
    """Return every command with its parser, as the program itself has them: (words, command)."""
    import typer.main

    from habmap.cli import commands as all_commands
    from habmap.cli import main

    found: list[tuple[tuple[str, ...], Any]] = []

    def walk(words: tuple[str, ...], command: Any) -> None:
        if words and words[0] in _LEFT_OUT:
            return
        inner = getattr(command, "commands", None)
        if inner:
            for name, one in inner.items():
                walk((*words, name), one)
        else:
            found.append((words, command))

    walk((), typer.main.get_command(main._app(all_commands.modules())))
    return tuple(found)


@cache
def _files() -> dict[str, dict[str, bytes]]:
    return valid_files()


@cache
def _files_by_suffix() -> dict[str, bytes]:
    return {name: content for files in _files().values() for name, content in files.items() if "/" not in name}


def _value(parameter: Any, chance: Random) -> str:
    """Return a value for a parameter: more often one that is right than one that is not."""
    kind, name = parameter.bare_type(), (parameter.name or "").lower()
    if chance.random() < 0.35:
        return hostile(chance)
    if isinstance(kind, EnumMeta):
        return str(chance.choice(list(kind)).value)  # type: ignore[attr-defined]
    names = name.split("_")
    for part, values in _VALID.items():
        if part in names:
            return chance.choice(values)
    if kind in (int, float):
        return chance.choice(("0", "1", "2.5", "40", "100", "1000", *NUMBERS))
    if kind is Path or "file" in names:
        return chance.choice(
            (*_files_by_suffix(), "new.pdf", "out/new.csv", "x.gpkg", ".", "/", "", "place/place.gpkg")
        )
    return chance.choice((*UNITS, "1", "2", "cut", *WORDS, *DAYS, *SHAPES))


def option_case(seed: int, number: int) -> Case:
    """Return a command line from the parser's own list of options."""
    luck = chance(seed, "option", number)
    words, command = luck.choice(commands())
    if words[0] in _SELDOM_ALONE and luck.random() < 0.7:
        words, command = luck.choice(commands())
    line = list(words)
    for parameter in command.params:
        is_argument = parameter.param_type_name == "argument"
        if not is_argument and luck.random() > (0.75 if parameter.required else 0.15):
            continue
        if is_argument and luck.random() < 0.05:
            continue
        times = luck.choice((1, 1, 2)) if parameter.multiple or parameter.nargs == -1 else 1
        for _ in range(times):
            if is_argument:
                line.append(_value(parameter, luck))
                continue
            option = luck.choice([*parameter.opts, *parameter.secondary_opts])
            if option in _LEFT_OUT_OPTIONS:
                break
            line += [option] if parameter.is_flag else [option, _value(parameter, luck)]
    if luck.random() < 0.05:
        line.insert(luck.randrange(len(line) + 1), hostile(luck))
    if "region" in words:
        line += ["--workers", "1"]
    used = {name: content for name, content in _files_by_suffix().items() if name in line}
    return Case(f"option/{' '.join(words)}", tuple(_sayable(word) for word in line), used)


def _sayable(word: str) -> str:
    """Return a word as the system can hand it on: no zero byte; what is no UTF-8 as Python takes it in."""
    return word.replace("\x00", "").encode("utf-8", "surrogatepass").decode("utf-8", "surrogateescape")


def reader_case(seed: int, number: int) -> Case:
    """Return a valid file, changed, for its reader."""
    luck = chance(seed, "reader", number)
    command = luck.choice(list(_files()))
    files = _files()[command]
    if len({name.rpartition("/")[0] for name in files} - {""}) == 1 or ("d.tif" in files and "u.geojson" in files):
        hit = luck.choice(list(files))
        brought = {name: changed(name, content, luck) if name == hit else content for name, content in files.items()}
        named = ["photos"] if "photos/one.jpg" in files else list(files)
    else:
        hit = luck.choice(list(files))
        brought, named = {hit: changed(hit, files[hit], luck)}, [hit]
        if luck.random() < 0.05:  # right content under a wrong ending
            other = luck.choice(list(_files_by_suffix()))
            brought, named = {other: brought[hit]}, [other]
    words = command.split()
    at = next((place for place, word in enumerate(words) if word == "-o"), len(words))
    line = [*words[:at], *named, *words[at:]]
    if words[0] == "region":
        line = ["region", "terrain", *named, "-o", "out.csv", "--workers", "1"]
    if words[0] == "load" and luck.random() < 0.15:
        line.append(luck.choice(("--overwrite", "--repair", "--trim")))
    if words[0] != "region" and luck.random() < 0.4:
        line.append("--json")
    return Case(f"reader/{command}", tuple(line), brought)


def settings_case(seed: int, number: int) -> Case:
    """Return a changed ``habmap.toml`` and a question to the property."""
    luck = chance(seed, "settings", number)
    text = changed("habmap.toml", whole_settings(), luck)
    return _asked("settings", luck, {"habmap.toml": text})


def stored_case(seed: int, number: int, template: Path) -> Case:
    """Return a damaged ``place.gpkg`` and a question to the property."""
    luck = chance(seed, "stored", number)
    stored = changed("place.gpkg", (template / "place.gpkg").read_bytes(), luck)
    return _asked("stored", luck, {"place.gpkg": stored})


def _asked(kind: str, luck: Random, place: Mapping[str, bytes | None]) -> Case:
    words = list(luck.choice(_QUESTIONS))
    if words[0] in _SELDOM and luck.random() < 0.8:
        words = list(luck.choice(_QUESTIONS[:12]))
    if words[0] not in ("manual",) and luck.random() < 0.4:
        words.append("--json")
    files = {"p.csv": _files()["load plots"]["p.csv"]} if "p.csv" in words else {}
    return Case(f"{kind}/{words[0]}", tuple(words), files, place)


def form_case(seed: int, number: int, forms: Sequence[Any]) -> Case:
    """Return a form of the desk filled in, right or wrong; ``forms`` as `soak.desk_forms.forms_of` found them."""
    luck = chance(seed, "form", number)
    form = luck.choice(list(forms))
    fields, files = [], []
    for one in form.fields:
        if luck.random() < 0.15:
            continue
        if one.kind == "file":
            if luck.random() < 0.7:
                name = luck.choice(list(_files_by_suffix()))
                content = _files_by_suffix()[name]
                files.append((one.name, name, changed(name, content, luck) if luck.random() < 0.7 else content))
            continue
        if one.kind == "checkbox" and luck.random() < 0.6:
            continue
        right = one.choices or ((one.value,) if one.value else ())
        if not right:
            parts = one.name.split("_")
            right = next((values for part, values in _VALID.items() if part in parts), ("1", "40", "x"))
        fields.append((one.name, hostile(luck) if luck.random() < 0.2 else luck.choice(list(right))))
    return Case(f"form/{form.action}", form=(form.action, tuple(fields), tuple(files)))


def maker(kind: str, seed: int, template: Path) -> Callable[[int], Case]:
    """Return what makes input 0, 1, 2 … of a kind; of all kinds in turn for ``all``.

    Of twenty inputs 10 are files, 4 command lines, 3 settings, 2 forms and 1 a stored file: a file tells most for its time.
    """
    if kind in ("form", "all"):
        from soak.desk_forms import forms_of

        forms = forms_of(template)
    makers: dict[str, Callable[[int], Case]] = {
        "reader": lambda number: reader_case(seed, number),
        "option": lambda number: option_case(seed, number),
        "settings": lambda number: settings_case(seed, number),
        "stored": lambda number: stored_case(seed, number, template),
        "form": lambda number: form_case(seed, number, forms),
    }
    if kind != "all":
        return makers[kind]
    order = ("reader", "option", "reader", "settings", "reader") * 3 + ("reader", "form", "option", "stored", "form")
    return lambda number: makers[order[number % len(order)]](number)
