"""The next bite as a page shows it: none where it would tell of what is left on purpose."""

from __future__ import annotations

from datetime import date

from habmap.errors import InputError
from habmap.jobs.bite import bite
from habmap.jobs.ground import ground
from habmap.jobs.ports import Store
from habmap.jobs.public import public_view
from habmap.vocabulary import Audience
from habmap.work.bite import USUAL_BITE_ACRES, BiteResult
from habmap.work.handheld import telling_units


def next_bite(store: Store, *, on: date | None = None, today: date, audience: Audience) -> BiteResult | None:
    """Return the bite that a page shows, ``USUAL_BITE_ACRES`` large; ``None`` where there is none.

    For the public from what it may know alone, and none in a unit in which it would lie on ground left on purpose.
    """
    seen = public_view(store) if audience == "public" else store
    try:
        found = bite(seen, acres=USUAL_BITE_ACRES, on=on, today=today)
    except InputError:
        return None  # nothing remains, or nothing that may be cut
    if found.unit_id in telling_units(ground(seen, on=on), owners=ground(store, on=on)):
        return None
    return found
