"""What flows through the system in each hour, and how warm it is where the cables lie."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.sourced import constant
from solarcalc.basis.worded import worded

Floats = npt.NDArray[np.float64]

_BALANCE_W = float(constant("wiring.balance_w"))


@dataclass(frozen=True, kw_only=True, eq=False)
class PlaneFlows:
    """Of a year what flows through the strings and controllers of one roof plane, by hour.

    Parameters
    ----------
    array_w, bus_w : array (n,)
        What its modules really give, and its controllers at the battery's bar [W].
    array_v : array (n,) or float
        Working voltage of a string [V].
    hottest_cell_c : float
        Hottest hour of its cells [degC].
    """

    array_w: Floats
    array_v: Floats | float
    bus_w: Floats
    hottest_cell_c: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Flows:
    """A year of the system as its cables see it: means over each hour.

    Parameters
    ----------
    array_w : array (n,)
        Direct-current power the whole array really gives, after the controllers have turned
        away what nobody takes [W].
    array_v : array (n,) or float
        Working voltage of a string; above 0 wherever there is power [V].
    bus_w : array (n,)
        What the controllers give at the battery's bar [W]: `solar_used_w` of a supply run.
    essential_drawn_w, nonessential_drawn_w : array (n,)
        What each inverter draws from the battery's bar, its own loss counted in [W].
    essential_supplied_w, nonessential_supplied_w : array (n,)
        What each board takes, alternating current, from whatever source [W].
    charge_w, discharge_w : array (n,)
        At the battery's terminals [W].
    grid_w, generator_w : array (n,)
        What comes in from the grid and from the generator [W].
    hottest_cell_c : float
        Hottest hour of the cells in the year [degC].
    coldest_c, hottest_air_c : float
        Coldest and hottest hour of the air in the year [degC]; 5 K are taken off the first.
    soil_c : float
        Mean of the air in the year's warmest month [degC].
    room_c : float
        Hottest hour of the battery room in the year [degC].
    planes : tuple of PlaneFlows
        Plane by plane where the site has several; empty where it has one.

    Raises
    ------
    InputError
        When series differ in length, hold a value that is missing, endless or below 0, or do not
        add up at the battery's bar; it names field and hour.
    """

    array_w: Floats
    array_v: Floats | float
    bus_w: Floats
    essential_drawn_w: Floats
    nonessential_drawn_w: Floats
    essential_supplied_w: Floats
    nonessential_supplied_w: Floats
    charge_w: Floats
    discharge_w: Floats
    grid_w: Floats
    generator_w: Floats
    hottest_cell_c: float
    coldest_c: float
    hottest_air_c: float
    soil_c: float
    room_c: float
    planes: tuple[PlaneFlows, ...] = ()

    def of_plane(self, number: int) -> Flows:
        """The year with the array of one roof plane in place of all, counted from 1."""
        return replace(self, **vars(self.planes[number - 1]), planes=()) if self.planes else self

    def __post_init__(self) -> None:
        faults = [fault for name in _SERIES for fault in _series_faults(self, name)]
        faults += [
            Fault(where=f"flows.{field.name}", given=str(getattr(self, field.name)),
                  allowed="a temperature, degC")
            for field in fields(self)
            if field.name.endswith("_c") and not np.isfinite(getattr(self, field.name))
        ]  # fmt: skip
        if faults:
            raise InputError(faults)
        if faults := [*_voltage_faults(self), *_balance_faults(self)]:
            raise InputError(faults)

    @property
    def charger_w(self) -> Floats:
        """What grid and generator give to the battery's bar, by hour [W].

        Notes
        -----
        What goes out of the bar less what comes in: drawn + charge - discharge - bus.
        """
        return np.clip(_missing_w(self), 0.0, None)


_SERIES = (
    "array_w", "array_v", "bus_w", "essential_drawn_w", "nonessential_drawn_w",
    "essential_supplied_w",
    "nonessential_supplied_w", "charge_w", "discharge_w", "grid_w", "generator_w",
)  # fmt: skip


def _missing_w(flows: Flows) -> Floats:
    out = flows.essential_drawn_w + flows.nonessential_drawn_w + flows.charge_w
    return np.asarray(out - flows.discharge_w - flows.bus_w, dtype=float)


def _series_faults(flows: Flows, name: str) -> list[Fault]:
    values, hours = np.asarray(getattr(flows, name), dtype=float), len(flows.array_w)
    if not hours:
        return [Fault(where=f"flows.{name}", given="no hour", allowed="one hour or more")]
    if values.shape != (hours,) and not (name == "array_v" and values.ndim == 0):
        return [Fault(where=f"flows.{name}", given=f"shape {values.shape}",
                      allowed=f"shape ({hours},), as array_w")]  # fmt: skip
    bad = np.atleast_1d(~(np.isfinite(values) & (values >= -_BALANCE_W * 1e-6)))
    if not bad.any():
        return []
    hour = int(np.argmax(bad))
    given = f"{np.atleast_1d(values)[hour]:g} in hour {hour}"
    return [Fault(where=f"flows.{name}", given=given, allowed="a number from 0 in each hour")]


def _voltage_faults(flows: Flows) -> list[Fault]:
    dark = (np.broadcast_to(flows.array_v, flows.array_w.shape) <= 0.0) & (flows.array_w > 0.0)
    if not dark.any():
        return []
    hour = int(np.argmax(dark))
    return [Fault(where="flows.array_v", given=f"0 V with {flows.array_w[hour]:g} W, hour {hour}",
                  allowed="above 0 V wherever there is power")]  # fmt: skip


def _balance_faults(flows: Flows) -> list[Fault]:
    missing = _missing_w(flows)
    if missing.min() >= -_BALANCE_W:
        return []
    hour = int(np.argmin(missing))
    return [
        Fault(**worded("wiring", "flows-bus-w", missing=-missing[hour], hour=hour))
    ]


Hours = Mapping[str, Any] | pd.DataFrame
"""Columns of arrays (n,)."""


def flows_from(
    harvests: Sequence[Hours],
    supply_hours: Hours,
    *,
    controller_efficiency_frac: Sequence[float],
    air_c: npt.ArrayLike,
    room_c: npt.ArrayLike,
    month: npt.ArrayLike,
) -> Flows:
    """Flows of a year from its harvest and its supply.

    Parameters
    ----------
    harvests : sequence of DataFrame or mapping of arrays (n,)
        `harvest.Harvest.hours` of each roof plane: ``string_v``, ``cell_c`` and, of several planes,
        ``bus_w``.
    supply_hours : DataFrame or mapping of arrays (n,)
        `supply.SupplyRun.hours`, of the same hours.
    controller_efficiency_frac : sequence of float
        Of the controllers of each plane, above 0 to 1.
    air_c, room_c : array (n,)
        Air outdoors and battery room by hour [degC].
    month : array (n,)
        Month of each hour, 1 to 12.

    Raises
    ------
    InputError
        As `Flows`.

    Notes
    -----
    The array gives what is used at the bar over the controllers' efficiency, not what it could:
    a full battery, or the controllers' own limit, lets its current fall. What the planes give of
    it is in proportion to what each could.
    """
    supply = {name: np.asarray(supply_hours[name], dtype=float) for name in _TAKEN}
    used = supply["solar_used_w"]
    planes = _planes(harvests, used, controller_efficiency_frac)
    array_w = sum((one.array_w for one in planes), np.zeros_like(used))
    air, months = np.asarray(air_c, dtype=float), np.asarray(month)
    return Flows(
        array_w=array_w,
        array_v=_together_v(planes, array_w),
        bus_w=used,
        **{name: supply[name] for name in _SAME},
        grid_w=sum((supply[f"grid_to_{to}_w"] for to in _TO), np.zeros_like(used)),
        generator_w=sum((supply[f"generator_to_{to}_w"] for to in _TO), np.zeros_like(used)),
        hottest_cell_c=max(one.hottest_cell_c for one in planes),
        coldest_c=float(air.min()),
        hottest_air_c=float(air.max()),
        soil_c=max(float(air[months == one].mean()) for one in np.unique(months)),
        room_c=float(np.max(room_c)),
        planes=planes if len(planes) > 1 else (),
    )


def _planes(
    harvests: Sequence[Hours], used_w: Floats, efficiency_frac: Sequence[float]
) -> tuple[PlaneFlows, ...]:
    """What each plane gives of what is used at the battery's bar."""
    could = [np.asarray(one["bus_w"], dtype=float) for one in harvests] if len(harvests) > 1 else []
    whole = sum(could, np.zeros_like(used_w))
    found = []
    for number, (one, frac) in enumerate(zip(harvests, efficiency_frac, strict=True)):
        share = np.divide(could[number], whole, out=np.zeros_like(whole), where=whole > 0.0) if (
            could) else 1.0
        found.append(PlaneFlows(
            array_w=share * used_w / frac, array_v=np.asarray(one["string_v"], dtype=float),
            bus_w=share * used_w, hottest_cell_c=float(np.max(one["cell_c"])),
        ))  # fmt: skip
    return tuple(found)


def _together_v(planes: Sequence[PlaneFlows], array_w: Floats) -> Floats | float:
    """Voltage of the strings of all planes, each by its power [V]."""
    if len(planes) == 1:
        return planes[0].array_v
    powered = sum((one.array_w * one.array_v for one in planes), np.zeros_like(array_w))
    return np.divide(powered, array_w, out=np.zeros_like(array_w), where=array_w > 0.0)


_TO = ("essential", "nonessential", "charge")
_SAME = (
    "essential_drawn_w", "nonessential_drawn_w", "essential_supplied_w", "nonessential_supplied_w",
    "charge_w",
    "discharge_w",
)  # fmt: skip
_TAKEN = (
    "solar_used_w", *_SAME, *(f"grid_to_{to}_w" for to in _TO),
    *(f"generator_to_{to}_w" for to in _TO),
)  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Squares:
    """Means over the year of the second and fourth power of the hourly current [A2, A4]."""

    second: float
    fourth: float


def squares_of(hourly_a: np.ndarray) -> Squares:
    """Means of second and fourth power of a current [A], (n,) for each hour; 0 without hours."""
    if hourly_a.size == 0:
        return Squares(second=0.0, fourth=0.0)
    squared = np.square(hourly_a, dtype=float)
    return Squares(second=float(squared.mean()), fourth=float(np.square(squared).mean()))
