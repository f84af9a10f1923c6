"""``habmap feature``: features listed and withdrawn."""

from __future__ import annotations

from typing import Annotated

import typer

from habmap.cli.commands.correct import WhyOption
from habmap.cli.commands.unit import PreviewOption
from habmap.cli.context import JsonOption, Session
from habmap.cli.output import print_table, say, told_as_json


def register(app: typer.Typer) -> None:
    """Hang the commands on the app."""
    feature = typer.Typer(help="List features on the map, or withdraw one.", no_args_is_help=True)
    feature.command("list")(list_command)
    feature.command("void")(void_command)
    app.add_typer(feature, name="feature")


def list_command(context: typer.Context, as_json: JsonOption = False) -> None:
    """List the features that count, with the ids that they are named by."""
    from habmap.jobs.feature import list_features

    session: Session = context.obj
    result = list_features(session.store())
    if told_as_json("feature-list", result, as_json=as_json):
        return
    say(f"{len(result.features)} features are on the map.")
    print_table(
        ["kind", "name", "feature_id", "row", "private", "corrected"],
        [
            [one.kind, one.name, one.feature_id or "", one.uuid[:8], one.sensitive, one.is_corrected]
            for one in result.features
        ],
    )


def void_command(
    context: typer.Context,
    feature: Annotated[
        str, typer.Argument(metavar="ID", help="Its feature_id, its name, or its row's id (4 characters or more).")
    ],
    why: WhyOption,
    preview: PreviewOption = False,
    as_json: JsonOption = False,
) -> None:
    """Withdraw a feature. It is on no map any more; it and the reason stay on record."""
    from habmap.jobs.feature import void_feature

    session: Session = context.obj
    result = void_feature(session.store(), feature, why=why, now=session.now(), is_preview=preview)
    if told_as_json("feature-void", result, as_json=as_json):
        return
    done = "Withdrawn" if result.is_written else "Nothing is written yet. Would be withdrawn"
    say(f"{done}: {result.kind} {result.name} ({result.uuid[:8]}). Reason: {result.why}")
