"""The licenses of all that ships with habmap, as one file in the package: ``dev.py docs`` writes it, a test holds it.

What is in the package itself stands in `VENDORED` with its version, its origin and the hash of each file; the libraries
that an installation brings follow from pyproject.toml and tell their license themselves.
"""

from __future__ import annotations

from dataclasses import dataclass
from importlib.metadata import Distribution, PackageNotFoundError, distribution
from pathlib import Path
from typing import Final

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

TOP: Final = Path(__file__).resolve().parent.parent
LICENSES: Final = TOP / "habmap" / "LICENSES.md"
#: Folders of the package that hold what others made.
HELD: Final = ("habmap/show/assets", "habmap/show/fonts")
#: Extras that a person may install; the others are for contributors.
FOR_PEOPLE: Final = frozenset({"region"})


@dataclass(frozen=True)
class Vendored:
    """Something that others made and the package holds: its folder, and its files there, each with its SHA-256."""

    name: str
    version: str
    license: str
    origin: str
    folder: str
    files: dict[str, str]


VENDORED: Final = (
    Vendored(
        "Leaflet", "1.9.3", "BSD-2-Clause", "npm: leaflet, dist/", "habmap/show/assets/leaflet",
        {
            "LICENSE": "97c194191510b19c72d25094922821a888d5d9bafb909ea7a38c9bf5b6c40a08",
            "leaflet.css": "90b693d86392a4779c861b28cf307e7e59c3fb35328c4d8b95f58f814d38c722",
            "leaflet.js": "5819285cec137b229c94e1ee5ad73e8b6b84345a4367d60f75fe477fe0fb7b03",
        },
    ),
    Vendored(
        "DejaVu fonts", "2.35", "Bitstream Vera license, changes in the public domain",
        "PyPI: matplotlib 3.10, mpl-data/fonts/ttf/", "habmap/show/fonts",
        {
            "DejaVuSans-Bold.ttf": "b184b89e3c1075f22f6b71575b6fc20d4972b3cfd3b23322ca6fd596dcaef167",
            "DejaVuSans.ttf": "3fdf69cabf06049ea70a00b5919340e2ce1e6d02b0cc3c4b44fb6801bd1e0d22",
            "DejaVuSerif-Bold.ttf": "c3753f2ed6bc673f15846dc45addbeb3b9c872f32fb18fd53a21f1bef1ed7676",
            "DejaVuSerif.ttf": "107244956e9962b9e96faccdc551825e0ae0898ae13737133e1b921a2fd35ffa",
            "LICENSE_DEJAVU": "d75938dec098f06f0ac3c00853065d94f020be1c3c62ef1dc2975ba15b4d9b0e",
        },
    ),
    Vendored(
        "STIX fonts", "1.0.0", "STIX Font License of 24 May 2010",
        "PyPI: matplotlib 3.10, mpl-data/fonts/ttf/", "habmap/show/fonts",
        {
            "LICENSE_STIX": "bab3d31dfef07f483624f2f65f2711e76065b8e7273278b1c071ede1041c9959",
            "STIXGeneral.ttf": "167378031e2dddc6216d67819c9260e9a06ffc4c478e4e23cb98a6fd44b183c2",
            "STIXGeneralBol.ttf": "e8533dc7083fa346bda1933d60ea4a83b67d0945bceaf1b3541f82b4a0e2c6a0",
        },
    ),
)  # fmt: skip


def libraries() -> dict[str, Distribution]:
    """Return every library that an installation of habmap brings, its extras for people too, by name."""
    found: dict[str, Distribution] = {}
    wanted = [("habmap", FOR_PEOPLE)]
    seen: set[tuple[str, frozenset[str]]] = set()
    while wanted:
        name, extras = wanted.pop()
        key = (str(canonicalize_name(name)), extras)
        if key in seen:
            continue
        seen.add(key)
        try:
            found[key[0]] = distribution(name)
        except PackageNotFoundError:  # on other systems only
            continue
        for requirement in map(Requirement, found[key[0]].requires or []):
            marker = requirement.marker
            if marker is None or any(marker.evaluate({"extra": extra}) for extra in ("", *extras)):
                wanted.append((requirement.name, frozenset(requirement.extras)))
    del found["habmap"]
    return dict(sorted(found.items()))


def license_of(library: Distribution) -> str:
    """Return the license as the library itself tells it, in a few words."""
    told = library.metadata
    classified = [one.rpartition(" :: ")[2] for one in told.get_all("Classifier") or [] if one.startswith("License ::")]
    named = told.get("License-Expression") or ", ".join(one for one in classified if one != "OSI Approved")
    if not named:
        named = next((line.strip() for line in (told.get("License") or "").splitlines() if line.strip()), "")
    return named or "see its own files"


def licenses_text() -> str:
    """Return the file as it should stand."""
    held = [
        f"| {one.name} {one.version} | {one.license} | {one.origin} | {file} | {digest} |"
        for one in VENDORED
        for file, digest in one.files.items()
    ]
    brought = [f"| {name} | {license_of(library)} |" for name, library in libraries().items()]
    return "\n".join(
        [
            "# Licenses of what ships with habmap", "",
            "habmap itself is under the MIT license (LICENSE). `dev.py docs` writes this file.", "",
            "## In the package", "",
            "| what | license | from | file | SHA-256 |", "|---|---|---|---|---|", *held, "",
            "## Installed with it", "",
            "As each library tells its own license.", "", "| library | license |", "|---|---|", *brought, "",
        ]
    )  # fmt: skip
