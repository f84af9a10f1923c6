"""Hostile values, and changes of valid files: of bytes, words, cells, trees, archives and tables."""

from __future__ import annotations

import csv
import io
import json
import re
import sqlite3
import zipfile
from collections.abc import Sequence
from contextlib import closing, suppress
from pathlib import Path
from random import Random
from typing import Any

NUMBERS = (
    "0", "-0", "-1", "1e-320", "1e308", "-1e308", "1e999", "nan", "NaN", "inf", "-inf", "9" * 40, "9" * 400, "0x10", "1_000",
    "1,5", "١٢", "２０", "180", "-180.0000001", "90.1", "2147483648", "-9223372036854775809", "1e", "--1", "0.1.2", " 5 ", "5%",
)  # fmt: skip
WORDS = (
    "", " ", "\t", "x", "A", "Z" * 300, "é\u0301", "\u202e" + "abc", "=1+1", "@x", "-", "--", "../../x", "/dev/null", "\u00ad",
    "a;b", "a\nb", '"', "'", "<b>", "{{7*7}}", "%s%n", "None", "null", "true", "{}", "[]", "\U0001f332", "\ud800", "\x1b[31m",
    "a" * 5000, "0x", "NUL", "cut", "cedar", "ß", "İ", "A,B", "\u2028", "\ufeff", "C:\\x", "http://127.0.0.1:1/x",
)  # fmt: skip
DAYS = (
    "2026-03-01", "2026-02-30", "0000-00-00", "0001-01-01", "9999-12-31", "10000-01-01", "2026-13-01", "2026-1-1", "03/01/2026",
    "today", "yesterday", "2026-03-01T10:00:00Z", "20260301", "２０２６-０３-０１", "2026-W10-1", "-2026-01-01", "2026-03", "٢٠٢٦-٠٣-٠١",
)  # fmt: skip
SHAPES = (
    "POLYGON EMPTY", "POINT (1 2)", "POLYGON ((0 0, 1 1, 1 0, 0 1, 0 0))", "POLYGON ((0 0, 0 0, 0 0, 0 0))", "POLYGON ((nan 0, 1 1, 1 0, nan 0))",
    "GEOMETRYCOLLECTION (POINT (0 0))", "POLYGON Z ((0 0 1, 1 0 1, 1 1 1, 0 0 1))", "CURVEPOLYGON (CIRCULARSTRING (0 0, 1 1, 2 0, 1 -1, 0 0))",
    "POLYGON ((179 0, -179 0, -179 1, 179 1, 179 0))", "POLYGON ((-98 38, -97.999 38, -97.999 38.001, -98 38))", "POLYGON((" + "0 0," * 500 + "0 0))",
    "POLYGON ((1e308 0, 1 1e308, 1 0, 1e308 0))", "TRIANGLE ((0 0, 0 1, 1 0, 0 0))",
)  # fmt: skip
_INTERESTING = (
    b"\x00",
    b"\xff",
    b"\x7f",
    b"\x80",
    b"\xff\xff\xff\xff",
    b"\x00\x00\x00\x80",
    b"\xff\xff\xff\x7f",
    b"\r\n",
    b"\xef\xbb\xbf",
)
_NUMBER = re.compile(r"-?\d+(?:\.\d+)?")
_TOKEN = re.compile(r'"[^"\n]*"|[\w.+-]+')


def hostile(chance: Random) -> str:
    """Return any hostile value."""
    return chance.choice(chance.choice((NUMBERS, WORDS, DAYS, SHAPES)))


def changed(name: str, content: bytes, chance: Random) -> bytes:
    """Return a file changed in a way that suits its kind, or in its bytes."""
    suffix = Path(name).suffix.lower()
    way = {
        ".geojson": _json, ".json": _json, ".csv": _cells, ".zip": _archive, ".xlsx": _archive, ".ods": _archive,
        ".gpkg": _tables, ".toml": _settings,
    }.get(suffix, _text if suffix in (".gpx", ".kml") else _bytes)  # fmt: skip
    if chance.random() < 0.25:
        way = _bytes
    for _ in range(chance.choice((1, 1, 1, 2, 3, 6))):
        try:
            content = way(content, chance)
        except (ValueError, IndexError, RecursionError, csv.Error):  # what was changed before is no such file any more
            content = _bytes(content, chance)
    return content


def _bytes(content: bytes, chance: Random) -> bytes:
    data = bytearray(content)
    at = chance.randrange(len(data) + 1) if chance.random() < 0.6 else chance.randrange(min(len(data), 200) + 1)
    way = chance.randrange(7)
    if way == 0 and at < len(data):
        data[at] ^= 1 << chance.randrange(8)
    elif way == 1:
        piece = chance.choice(_INTERESTING)
        data[at : at + len(piece)] = piece
    elif way == 2:
        data[at:at] = chance.choice((*_INTERESTING, chance.randbytes(8)))
    elif way == 3:
        del data[at : at + chance.choice((1, 2, 4, 16, 200))]
    elif way == 4:
        del data[at:]
    elif way == 5:
        data[at:at] = data[max(0, at - chance.choice((4, 40, 400))) : at]
    else:
        other = chance.randrange(len(data) + 1)
        length = chance.choice((4, 16, 64))
        data[at : at + length] = data[other : other + length]
    return bytes(data)


def _text(content: bytes, chance: Random) -> bytes:
    text = content.decode("utf-8", "replace")
    way = chance.randrange(6)
    if way <= 2:
        found = list((_NUMBER if way == 0 else _TOKEN).finditer(text))
        if not found:
            return _bytes(content, chance)
        hit = chance.choice(found)
        put = chance.choice(NUMBERS) if way == 0 else hostile(chance) if way == 1 else chance.choice(found)[0]
        text = text[: hit.start()] + put + text[hit.end() :]
    elif way == 3:
        lines = text.splitlines(keepends=True) or [""]
        at = chance.randrange(len(lines))
        lines[at:at] = [chance.choice(lines)] if chance.random() < 0.5 else []
        del lines[chance.randrange(len(lines))]
        text = "".join(lines)
    elif way == 4:
        return text.encode(chance.choice(("utf-16", "utf-8-sig", "cp1252", "utf-32")), "replace")
    else:
        return _bytes(content, chance)
    return text.encode("utf-8", "surrogatepass")


def _cells(content: bytes, chance: Random) -> bytes:
    rows = list(csv.reader(io.StringIO(content.decode("utf-8", "replace"))))
    if not rows or chance.random() < 0.2:
        return _text(content, chance)
    row = chance.choice(rows)
    way = chance.randrange(6)
    if way <= 2 and row:
        row[chance.randrange(len(row))] = hostile(chance)
    elif way == 3:
        rows.append(list(chance.choice(rows)))
    elif way == 4 and row:
        at = chance.randrange(len(row))
        for each in rows:
            del each[at : at + 1]
    else:
        row.append(hostile(chance))
    target = io.StringIO()
    csv.writer(target).writerows(rows)
    return target.getvalue().encode("utf-8", "surrogatepass")


def _json(content: bytes, chance: Random) -> bytes:
    try:
        document = json.loads(content)
    except (ValueError, RecursionError):
        return _bytes(content, chance)
    if chance.random() < 0.03:
        return b"[" * 100_000
    _change_node(document, chance)
    with suppress(ValueError, RecursionError):
        return json.dumps(document).encode()
    return content


def _nodes(node: Any, found: list[tuple[Any, Any]]) -> list[tuple[Any, Any]]:
    for key, value in node.items() if isinstance(node, dict) else enumerate(node):
        found.append((node, key))
        if isinstance(value, dict | list):
            _nodes(value, found)
    return found


def _change_node(document: Any, chance: Random) -> None:
    nodes = _nodes(document, []) if isinstance(document, dict | list) else []
    if not nodes:
        return
    holder, key = chance.choice(nodes)
    other, other_key = chance.choice(nodes)
    way = chance.randrange(6)
    if way <= 2:
        holder[key] = chance.choice(
            (None, True, [], {}, [[]], 0, -1, 1e308, float("nan"), float("inf"), 10**30, "x", "FeatureCollection", [1], [0, 0], hostile(chance))
        )  # fmt: skip
    elif way == 3:
        del holder[key]
    elif way == 4:
        holder[key] = json.loads(json.dumps(other[other_key]))
    elif isinstance(holder, list):
        holder.append(json.loads(json.dumps(holder[key])))
    else:
        holder[chance.choice(("crs", "type", "id", "bbox", "geometry", "coordinates", "properties", "x"))] = hostile(
            chance
        )


def _archive(content: bytes, chance: Random) -> bytes:
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            parts = [(name, packed.read(name)) for name in packed.namelist()]
    except (zipfile.BadZipFile, OSError, ValueError, RuntimeError, NotImplementedError):
        return _bytes(content, chance)
    if not parts:
        return _bytes(content, chance)
    at = chance.randrange(len(parts))
    name, inside = parts[at]
    way = chance.randrange(8)
    if way == 0:
        del parts[at]
    elif way == 1:
        parts.append((chance.choice(("../x.shp", "/x", "a/b.shp", "layer.SHP", "x.csv", name)), inside))
    elif way == 2 and chance.random() < 0.03:  # it takes longer to pack than to refuse
        parts[at] = (name, bytes(20_000_000))
    else:
        parts[at] = (name, (_text if name.endswith(".xml") else _bytes)(inside, chance))
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as packed:
        import warnings

        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            for part, data in parts:
                packed.writestr(part, data)
    return target.getvalue()


def _tables(content: bytes, chance: Random) -> bytes:
    """Change a SQLite file through SQL, in memory: a value, a row, a table, a trigger, a view."""
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as connection:
        try:
            connection.deserialize(content)
            connection.execute("PRAGMA writable_schema = ON")
            for name in ("ST_IsEmpty", "ST_MinX", "ST_MaxX", "ST_MinY", "ST_MaxY"):
                connection.create_function(name, 1, lambda blob: 0)
            connection.execute("BEGIN")
            with suppress(sqlite3.Error, OverflowError, UnicodeError):
                connection.execute(*_statement(connection, chance))
            connection.execute("COMMIT")
            return connection.serialize()
        except (sqlite3.Error, OverflowError, UnicodeError):
            return content


def _statement(connection: sqlite3.Connection, chance: Random) -> tuple[str, Sequence[object]]:
    tables = [name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
    triggers = [name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")]
    table = chance.choice(tables)
    columns = [row[1] for row in connection.execute(f'PRAGMA table_info("{table}")')]
    column = chance.choice(columns)
    value: object = chance.choice(
        (
            None,
            0,
            -1,
            2**62,
            1e308,
            float("inf"),
            b"",
            b"GP\x00\x01",
            chance.randbytes(30),
            hostile(chance),
            hostile(chance),
        )
    )
    way = chance.randrange(10)
    for trigger in triggers:  # guards would keep most changes out; another program has none
        if way < 8:
            connection.execute(f'DROP TRIGGER "{trigger}"')
    guards = [sql for (sql,) in connection.execute("SELECT sql FROM sqlite_master WHERE type = 'trigger'")]
    (rows,) = connection.execute(f'SELECT count(*) FROM "{table}"').fetchone()
    at = chance.randrange(max(1, rows))
    row = f'rowid = (SELECT rowid FROM "{table}" ORDER BY rowid LIMIT 1 OFFSET {at})' if not guards else "1"
    if way <= 4:
        return f'UPDATE "{table}" SET "{column}" = ? WHERE {row}', (value,)
    if way == 5:
        return f'DELETE FROM "{table}" WHERE {row}', ()
    if way == 6:
        return f'ALTER TABLE "{table}" DROP COLUMN "{column}"', ()
    if way == 7:
        return f'DROP TABLE "{table}"', ()
    if way == 8:
        return f'CREATE TRIGGER strange AFTER INSERT ON "{table}" BEGIN DELETE FROM "{table}"; END', ()
    return f'ALTER TABLE "{table}" ADD COLUMN extra', ()


def _settings(content: bytes, chance: Random) -> bytes:
    """Change a settings file line by line: a value, a key, a section."""
    lines = content.decode("utf-8", "replace").splitlines()
    live = [at for at, line in enumerate(lines) if "=" in line]
    at = chance.choice(live or [0])
    key, _, value = lines[at].lstrip("# ").partition("=")
    way = chance.randrange(6)
    if way <= 2:
        number, word = chance.choice(NUMBERS), hostile(chance)
        quoted = json.dumps(word, ensure_ascii=False)
        put = chance.choice(
            (
                number,
                quoted,
                word,
                f"[{number}, {number}]",
                f"[{quoted}]",
                "{}",
                "[]",
                "true",
                "2026-01-01",
                "12:00",
                "[[1]]",
                "1979-05-27T07:32:00Z",
            )
        )
        lines[at] = f"{key}= {put}"
    elif way == 3:
        lines.insert(at, lines[chance.randrange(len(lines))])
    elif way == 4:
        lines[at] = f"{chance.choice(('x', key + 'x', 'units', 'from', ''))}= {value}"
    else:
        return _text(content, chance)
    return "\n".join(lines).encode("utf-8", "surrogatepass")
