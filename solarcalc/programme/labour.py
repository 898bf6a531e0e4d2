"""What a piece of work takes: people's hours by quantity, drying by the clock, each with a source.

The figures of labour are common practice without a source: a firm writes its own into
``[[programme.tasks]]`` once it has measured them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.sourced import NO_SOURCE, Sourced


@dataclass(frozen=True, kw_only=True)
class Works:
    """Quantities of a job, as far as they decide how long the work takes.

    Parameters
    ----------
    module_count, rows : int
    cable_m : float
        Cable of one core or more, laid [m].
    pipe_m : float
        Pipe with return cables, laid [m].
    battery_units, controller_count, inverter_count, rod_count : int
    room : {"new", "existing"}
    room_floor_m2 : float
        Floor of a new power room [m²].

    Raises
    ------
    InputError
        For a quantity below zero or not finite.
    """

    module_count: int
    rows: int
    cable_m: float
    pipe_m: float
    battery_units: int
    controller_count: int
    inverter_count: int
    rod_count: int
    room: Literal["new", "existing"]
    room_floor_m2: float

    def __post_init__(self) -> None:
        faults = [
            Fault(where=f"works: {name}", given=str(value), allowed="0 to 1 million")
            for name, value in vars(self).items()
            if name != "room" and not 0.0 <= value <= 1e6
        ]
        if self.room not in ("new", "existing"):
            faults.append(
                Fault(where="works: room", given=repr(self.room), allowed="new or existing")
            )
        if faults:
            raise InputError(faults)


USUAL_CREW = Sourced(
    label="People of the crew that the daily figures below are for", value=4.0, unit="people",
    source=NO_SOURCE,
)  # fmt: skip
SMALL_ROOM_M2 = Sourced(
    label="Floor of the small masonry room that takes about a week", value=7.2, unit="m²",
    source=f"3.0 m by 2.4 m inside; {NO_SOURCE}",
)  # fmt: skip
ROOM_DAY_H = Sourced(
    label="Working time of a day in the small room's week: foundation a day, walls a day, roof by"
    " the third, plaster inside and front a day, the back the next",
    value=8.0, unit="h", source=NO_SOURCE,
)  # fmt: skip
DOOR_PERSON_H = Sourced(
    label="Door, vents and their mesh", value=6.0, unit="person-hours", source=NO_SOURCE
)
COAT_PERSON_H = Sourced(
    label="One coat of paint in the small room", value=8.0, unit="person-hours", source=NO_SOURCE
)
MODULES_PER_DAY_SPELL = Sourced(
    label="Modules fixed on a house roof in a spell of about five hours", value=20.0,
    unit="modules", source=NO_SOURCE,
)  # fmt: skip
MODULE_SPELL_H = Sourced(
    label="That spell of a crew, its rails already up", value=5.0, unit="h", source=NO_SOURCE
)
RAILS_PER_MODULE = Sourced(
    label="Feet and rails, a module", value=0.5, unit="person-hours", source=NO_SOURCE
)
RAILS_PER_ROW = Sourced(
    label="Feet and rails set out, a row", value=1.0, unit="person-hours", source=NO_SOURCE
)
PIPE_PER_M = Sourced(
    label="Pipe and return cables laid, a metre", value=0.2, unit="person-hours", source=NO_SOURCE
)
CABLE_PER_M = Sourced(
    label="Cable fixed and joined, a metre", value=0.05, unit="person-hours", source=NO_SOURCE
)
CABLE_FIXED = Sourced(
    label="Cables joined, whatever their length", value=4.0, unit="person-hours", source=NO_SOURCE
)
ROD_EACH = Sourced(
    label="Earth rod driven and joined", value=1.0, unit="person-hours", source=NO_SOURCE
)
EARTH_FIXED = Sourced(
    label="Earth bar and earth cables to it", value=2.0, unit="person-hours", source=NO_SOURCE
)
DEVICE_EACH = Sourced(
    label="Controller or inverter fixed, with its switch", value=2.0, unit="person-hours",
    source=NO_SOURCE,
)  # fmt: skip
BOARDS_FIXED = Sourced(
    label="Boards, fuses and labels", value=6.0, unit="person-hours", source=NO_SOURCE
)
BATTERY_EACH = Sourced(
    label="Battery unit carried in, stood and bolted", value=0.5, unit="person-hours",
    source=NO_SOURCE,
)  # fmt: skip
BATTERY_FIXED = Sourced(
    label="Rack, links and covers of the bank", value=2.0, unit="person-hours", source=NO_SOURCE
)
TESTS_FIXED = Sourced(
    label="Tests of the whole system", value=6.0, unit="person-hours", source=NO_SOURCE
)
TESTS_PER_MODULE = Sourced(
    label="Tests, a module", value=0.05, unit="person-hours", source=NO_SOURCE
)
HANDOVER_PERSON_H = Sourced(
    label="Handover: papers, showing how it is used", value=4.0, unit="person-hours",
    source=NO_SOURCE,
)  # fmt: skip
SLAB_SETS_H = Sourced(
    label="Foundation sets before walls stand on it", value=12.0, unit="h by the clock",
    source=f"over a night; walls a day after the foundation; {NO_SOURCE}",
)  # fmt: skip
WALLS_SET_H = Sourced(
    label="Walls set before the roof loads them", value=12.0, unit="h by the clock",
    source=f"over a night; {NO_SOURCE}",
)  # fmt: skip
PLASTER_DRIES_H = Sourced(
    label="Plaster dries before the first coat", value=48.0, unit="h by the clock",
    source=f"two days in dry air; {NO_SOURCE}",
)  # fmt: skip
COAT_DRIES_H = Sourced(
    label="A coat of paint dries", value=12.0, unit="h by the clock",
    source=f"over a night; {NO_SOURCE}",
)  # fmt: skip

PROGRAMME_ASSUMPTIONS: tuple[Sourced, ...] = tuple(
    value for value in list(globals().values()) if isinstance(value, Sourced)
)
"""Every figure of labour and drying above, in its order, for the report."""


def room_scale(floor_m2: float) -> tuple[float, float]:
    """How a room's slab and roof, and its walls, compare with the small room's.

    Slab and roof go with the floor [m²]; walls, plaster and paint with its outline, so with the
    square root of it for rooms of one shape.

    Examples
    --------
    >>> room_scale(28.8)
    (4.0, 2.0)
    """
    share = floor_m2 / float(SMALL_ROOM_M2)
    return share, share**0.5
