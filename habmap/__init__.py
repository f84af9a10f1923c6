"""habmap: which ground is cut, burned, coming back or still to do, in acres a surveyor can trust.

From Python::

    import habmap

    place = habmap.open_place("my-place")
    account = habmap.acres(place)
    print(account.totals.treated_acres, "of", account.totals.acres, "acres treated")

Every name of ``__all__`` is loaded when it is first used, so that ``import habmap`` costs nothing.

The rooms of the house, each importing only from those before it:
``errors measures vocabulary progress memory`` → ``records land`` → ``work`` → ``place show`` → ``jobs`` → ``api`` →
``desk region`` → ``cli``.
"""

from importlib import import_module
from typing import Any

__version__ = "0.1.0"

#: Where each public name stands.
_HOMES = {
    "BurnRequest": "habmap.work.burn.request",
    "HabmapError": "habmap.errors",
    "InputError": "habmap.errors",
    "InputErrors": "habmap.errors",
    "PlaceBusyError": "habmap.errors",
    "PlaceError": "habmap.errors",
    "UsageError": "habmap.errors",
    "acres": "habmap.api",
    "bite": "habmap.api",
    "burnsheet": "habmap.api",
    "check": "habmap.api",
    "density": "habmap.api",
    "due": "habmap.api",
    "effort": "habmap.api",
    "history": "habmap.api",
    "load": "habmap.api",
    "open_place": "habmap.api",
    "photos": "habmap.api",
    "practices": "habmap.api_paper",
    "rank": "habmap.api",
    "region_account": "habmap.api_region",
    "region_terrain": "habmap.api_region",
    "response": "habmap.api",
    "revisits": "habmap.api_paper",
    "schedule": "habmap.api",
    "start": "habmap.api",
    "terrain": "habmap.api",
    "to_json": "habmap.api",
    "week": "habmap.api",
    "write_map": "habmap.api",
    "write_packet": "habmap.api_paper",
}

__all__ = sorted([*_HOMES, "__version__"])


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module 'habmap' has no attribute {name!r}")
    return getattr(import_module(_HOMES[name]), name)


def __dir__() -> list[str]:
    return __all__
