"""scripts/constraints.txt pins every library that an installation would bring, by name and version alone."""

from __future__ import annotations

import re
from importlib.metadata import PackageNotFoundError, distribution
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from packaging.version import Version

CONSTRAINTS = Path(__file__).resolve().parents[2] / "scripts" / "constraints.txt"


def pins() -> dict[str, str]:
    lines = CONSTRAINTS.read_text(encoding="utf-8").splitlines()
    return {
        str(canonicalize_name(name)): version
        for name, version in (line.split("==") for line in lines if not line.startswith("#"))
    }


def brought_by(name: str, extras: frozenset[str], seen: set[tuple[str, frozenset[str]]]) -> None:
    """Gather what installing a library with these extras brings on this machine."""
    key = (str(canonicalize_name(name)), extras)
    if key in seen:
        return
    try:
        requires = distribution(name).requires or []
    except PackageNotFoundError:  # an extra that this environment was not asked for
        return
    seen.add(key)
    for requirement in map(Requirement, requires):
        if any(requirement.marker is None or requirement.marker.evaluate({"extra": extra}) for extra in ("", *extras)):
            brought_by(requirement.name, frozenset(requirement.extras), seen)


def test_names_and_versions_only() -> None:
    for line in CONSTRAINTS.read_text(encoding="utf-8").splitlines():
        assert line.startswith("#") or re.fullmatch(r"[A-Za-z0-9._-]+==[0-9][A-Za-z0-9.]*", line), line


@pytest.mark.pinned
def test_every_library_that_comes_along_is_pinned() -> None:
    seen: set[tuple[str, frozenset[str]]] = set()
    brought_by("habmap", frozenset({"test", "check"}), seen)
    names = {name for name, _ in seen} - {"habmap"}
    assert len(names) > 30
    assert names - set(pins()) == set()


def test_every_pin_is_allowed_by_pyproject() -> None:
    pinned = pins()
    for requirement in map(Requirement, distribution("habmap").requires or []):
        assert Version(pinned[str(canonicalize_name(requirement.name))]) in requirement.specifier, requirement
