"""folium and branca, without the libraries that they load for what no page here has: data frames, and web addresses.

These would take a quarter second of processor time at each drawing. folium gets stand-ins that load them at first use.
"""

from __future__ import annotations

import importlib
import sys
from types import ModuleType
from typing import Any, Final

#: What folium 0.20 loads for tables, and for geometries named by their address.
_UNUSED: Final = ("pandas", "requests")


class _AtFirstUse(ModuleType):
    """A module that is loaded when something of it is asked for."""

    def __getattr__(self, name: str) -> Any:
        if sys.modules.get(self.__name__) is self:
            del sys.modules[self.__name__]
        return getattr(importlib.import_module(self.__name__), name)


_stand_ins = {name: _AtFirstUse(name) for name in _UNUSED if name not in sys.modules}
sys.modules.update(_stand_ins)

import branca.element as branca_element  # noqa: E402
import folium  # noqa: E402
import folium.utilities  # noqa: E402

if "pandas" in _stand_ins:
    # As where no pandas is installed: it asks at each place whether that is a data frame.
    vars(folium.utilities)["pd"] = None
for _name, _one in _stand_ins.items():
    if sys.modules.get(_name) is _one:  # whoever else imports it gets the library itself
        del sys.modules[_name]

__all__ = ["branca_element", "folium"]
