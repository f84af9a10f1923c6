"""What must be so of photos: each has its picture."""

from __future__ import annotations

from collections.abc import Iterator

from habmap.jobs.checks.facts import Facts, Fault


def photos(facts: Facts) -> Iterator[Fault]:
    """Yield photos whose picture is gone or spoiled."""
    for photo in facts.store.photos():
        if facts.store.picture(photo.picture) is None:
            yield Fault(
                rule="photos",
                where=f"photo {photo.file_name}",
                what=f"its picture is gone from photos/, or spoiled: {photo.picture}",
                mend="load the photo again with `habmap load photos DIR`, or join a copy that has it",
            )
