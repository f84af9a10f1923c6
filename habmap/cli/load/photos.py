"""``habmap load photos``: a folder of photos, each with its place, direction and day."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from habmap.cli.context import JsonOption, OverwriteOption, Session
from habmap.cli.output import print_table, progress_bar, say, told_as_json
from habmap.errors import UsageError
from habmap.measures import so_many

if TYPE_CHECKING:
    from habmap.place.load.photos import LoadPhotosResult

#: No place outside the polar ice has more [°].
MOST_DECLINATION_DEG = 60.0
HEADINGS = {
    "no position": "No position",
    "no date": "No date",
    "damaged": "Damaged",
    "not read": "Not read",
    "elsewhere": "Taken elsewhere",
    "other content": "Here already, told differently",
}


def named_folder(text: str) -> Path:
    """Read the folder's name; an empty one would mean wherever the command is run."""
    if not text.strip():
        raise UsageError(
            "no folder is named", where="DIR", value="an empty text", mend="name the folder that the photos lie in"
        )
    return Path(text)


def photos_command(
    context: typer.Context,
    folder: Annotated[
        Path, typer.Argument(parser=named_folder, metavar="DIR", help="The folder of photos.", show_default=False)
    ],
    declination: Annotated[
        float | None,
        typer.Option(
            "--declination", metavar="DEG", help="Magnetic declination, east positive; turns compass directions."
        ),
    ] = None,
    overwrite: OverwriteOption = False,
    as_json: JsonOption = False,
) -> None:
    """Load JPEG photos with their place, direction and day.

    A table photos.csv (or .xlsx, .ods) in the folder places those whose camera did not. Sub-folders are read too. Your
    own files stay as they are; a smaller copy without anything that the camera wrote is kept under photos/. Columns of
    the table: file, lon, lat, direction_deg (true), taken_at, unit_id, private.
    """
    if declination is not None and not -MOST_DECLINATION_DEG <= declination <= MOST_DECLINATION_DEG:
        raise UsageError(
            "this is no magnetic declination",
            where="--declination",
            value=declination,
            allowed=f"-{MOST_DECLINATION_DEG:g} to {MOST_DECLINATION_DEG:g} degrees, east positive",
            mend="look it up for the property's place and year",
        )
    from habmap.jobs.load.layers import load_photos

    session: Session = context.obj
    with progress_bar() as progress:
        result = load_photos(
            session.store(),
            folder=folder,
            now=session.now(),
            declination_deg=declination,
            overwrite=overwrite,
            progress=progress,
        )
    if told_as_json("load", result, as_json=as_json):
        return
    _show(result)


def _show(result: LoadPhotosResult) -> None:
    from habmap.show.handheld import direction_words

    words = f"{so_many(result.loaded, 'photo')} loaded."
    if result.already_there:
        words += f" {so_many(result.already_there, 'was', 'were')} there already."
    if result.left_out:
        words += f" {so_many(len(result.left_out), 'photo')} left out, listed below."
    if result.other_files:
        words += f" {so_many(result.other_files, 'other file was', 'other files were')} passed over."
    say(words)
    if result.photos:
        print_table(
            ("photo", "taken", "unit", "looks"),
            [
                (
                    photo.file,
                    photo.taken_on.isoformat(),
                    photo.unit_id,
                    direction_words(photo.direction_deg, photo.direction_ref) or None,
                )
                for photo in result.photos
            ],
        )
        say("")
        say(
            "Maps for the public show them too. Where one shows people, or what is not for all eyes, mark it private "
            "in photos.csv and load the folder again with --overwrite."
        )
    for kind, heading in HEADINGS.items():
        files = [one for one in result.left_out if one.kind == kind]
        if not files:
            continue
        say("")
        say(f"{heading}:")
        for one in files:
            say(f"  {one.file}: {one.why}.")
        for mend in dict.fromkeys(one.mend for one in files):
            say(f"  To mend it: {mend}.")
