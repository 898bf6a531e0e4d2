"""An invented site with a power room of any kind, for the tests of the room."""

from __future__ import annotations

import runpy
from functools import lru_cache
from pathlib import Path
from typing import Any

from hypothesis import strategies as some

from solarcalc.sitefile.site import Site

ROOMS = some.fixed_dictionaries(
    {
        "length_m": some.floats(1.5, 12.0),
        "depth_m": some.floats(1.5, 6.0),
        "height_m": some.floats(2.0, 4.0),
        "unit_length_m": some.floats(0.15, 0.8),
        "unit_depth_m": some.floats(0.15, 0.6),
        "rack_tiers": some.integers(1, 4),
        "door_m": some.floats(0.6, 1.2),
        "inverters_inside": some.booleans(),
        "vent_apart_m": some.floats(0.0, 1.9),
    }
)

PLAIN = runpy.run_path(str(Path(__file__).with_name("plain_site.py")))


@lru_cache(maxsize=1)
def _base() -> Site:
    found: Site = PLAIN["frozen"]("coral-pharmacy")
    return found


def site_with(
    *, room: dict[str, Any] | None = None, battery: dict[str, Any] | None = None, **tables: Any
) -> Site:
    """The frozen pharmacy with other values in [room] and [battery], and other tables whole."""
    base = _base()
    return base.model_copy(
        update={
            "room": base.room.model_copy(update=room or {}),
            "battery": base.battery.model_copy(update=battery or {}),
            **tables,
        }
    )
