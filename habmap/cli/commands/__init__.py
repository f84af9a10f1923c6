"""One module per command, each with ``register(app)``; heavy libraries are imported inside the command itself."""

from habmap.cli.commands import (
    acres,
    bite,
    burnsheet,
    check,
    correct,
    demo,
    density,
    desk,
    due,
    effort,
    export,
    feature,
    handout,
    history,
    load,
    log,
    manual,
    map,
    photos,
    plot,
    rank,
    region,
    response,
    schedule,
    sheet,
    shortcut,
    start,
    terrain,
    trace,
    unit,
    unite,
    week,
)

#: In the order in which help lists them: set up, keep the log, ask, show, share, look over.
IN_ORDER = (
    start, load, trace, unit, feature, log, correct, plot, history, acres, terrain, density, rank, bite, week, due,
    effort, schedule, burnsheet, photos, response, map, sheet, handout, export, unite, check, region, desk, shortcut,
    demo, manual,
)  # fmt: skip
