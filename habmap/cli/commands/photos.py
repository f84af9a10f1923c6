"""``habmap photos``: the photo points, and the pairs of before and after."""

from __future__ import annotations

import typer

from habmap.cli.context import JsonOption, OnOption, Session
from habmap.cli.output import print_table, say, told_as_json, warn
from habmap.measures import so_many


def command(context: typer.Context, on: OnOption = None, as_json: JsonOption = False) -> None:
    """List the photo points and their pairs of before and after."""
    from habmap.jobs.photos import photos
    from habmap.show.handheld import direction_words
    from habmap.vocabulary import PRACTICE_WORDS

    session: Session = context.obj
    result = photos(session.store(), on=on)
    for point in result.points:
        for photo in point.photos:
            if not photo.picture_there:
                warn(f"the picture of {photo.file_name} is missing; load the photo again with `habmap load photos`")
    if told_as_json("photos", result, as_json=as_json):
        return
    if not result.points:
        say("No photos are loaded yet: `habmap load photos DIR`.")
        return
    pairs = "none of them have" if result.pairs == 0 else so_many(result.pairs, "of them has", "of them have")
    points = so_many(len(result.points), "photo point")
    say(f"{points} from {so_many(result.photos, 'photo')}; {pairs} a before and an after.")
    say(
        f"Photos belong together within {result.same_spot_m:.0f} m and {result.same_direction_deg:.0f}° of the "
        "first of a point."
    )
    print_table(
        ("point", "unit", "looks", "before", "after", "photos", "work in between", "public"),
        [
            (
                point.number,
                point.unit_id,
                direction_words(point.direction_deg, point.direction_ref) or None,
                point.before.isoformat(),
                None if point.after is None else point.after.isoformat(),
                len(point.photos),
                ", ".join(f"{PRACTICE_WORDS[work.practice]} {work.date}" for work in point.work_between) or None,
                point.for_public,
            )
            for point in result.points
        ],
    )
    if not all(point.for_public for point in result.points):
        say("")
        say(
            "Points without a yes under public are marked private, or stand near or look at a nest, grave or other "
            "sensitive feature; a map for the public leaves them out."
        )
