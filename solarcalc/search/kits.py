"""Equipment that a search puts together: controller, battery, generator; its system and price."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.worded import worded
from solarcalc.design import Changes, Design
from solarcalc.energy.year import Balance
from solarcalc.quote.costs import controller_cost
from solarcalc.search.axes import Axes, LeftOut, owns_generator
from solarcalc.search.beside import with_planes
from solarcalc.sitefile.battery import VOLTAGE_CLASS_FRAC
from solarcalc.sitefile.equipment import known_equipment
from solarcalc.sitefile.search import OWN_KIND
from solarcalc.stages.array import balance_of
from solarcalc.stages.boards import supply_system
from solarcalc.supply.engine import SERVICES_PER_YEAR
from solarcalc.supply.kernels import Island
from solarcalc.supply.run import check_series, islands_of

_SHEET_LISTS = ("discharge_hours", "discharge_capacity_ah", "life_depth_frac", "life_cycles")
"""Tables of one battery's sheet, which another kind may not have."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Kit:
    """One kind of controller, of battery, and a generator or none.

    Parameters
    ----------
    controller, battery : str
        Kinds, as `Axes` names them.
    generator_w : float
        0: none.
    changes : mapping
        Tables of the site file that differ for it, without any count.
    island : Island
        The system with one string of batteries.
    series : array (n, 9)
        As `solarcalc.supply.kernels` has it, its sun 1 in every hour.
    balance : Balance
        Of one controller.
    units_in_series : int
    unit_price, controller_price, set_price : float
        Of a battery unit, a controller, the generator.
    fixed, per_module, per_metre : float
        As [costs] has them.
    per_fuel_l, per_service, services_per_h, least_services : float
        Money for a litre and a service over all years, services an hour of running, at least a
        year.
    """

    controller: str
    battery: str
    generator_w: float
    changes: Changes
    island: Island
    series: np.ndarray
    balance: Balance
    units_in_series: int
    unit_price: float
    controller_price: float
    set_price: float
    fixed: float
    per_module: float
    per_metre: float
    per_fuel_l: float
    per_service: float
    services_per_h: float
    least_services: float

    @property
    def kinds(self) -> tuple[str, str, float]:
        """As `Point.kinds`.

        Power of the generator in [W].
        """
        return self.controller, self.battery, self.generator_w

    def running(self, fuel_l: np.ndarray | float, engine_h: np.ndarray | float) -> np.ndarray:
        """What litres and hours of the generator in a year cost over the lifetime.

        In the currency of [costs], shape of its arguments: (n,) or a number.
        """
        services = np.maximum(engine_h * self.services_per_h, self.least_services)
        cost = self.per_fuel_l * fuel_l + (self.per_service * services if self.generator_w else 0.0)
        return np.asarray(cost)

    @property
    def cycle_cost(self) -> float:
        """Fuel of one turn of the generator from start to stop, for one string of batteries.

        In the currency of [costs].
        """
        one = self.island
        if one.generator_w == 0.0:
            return 0.0
        charged_wh = one.capacity_wh * (one.stop_frac - one.start_frac) / one.charge_efficiency
        drawn_wh = charged_wh / one.charger_efficiency
        hours = drawn_wh / min(one.generator_w, one.charger_w) + 1.0
        return self.per_fuel_l * (one.fuel_l_per_wh * drawn_wh + one.idle_fuel_l * hours)


def kits_of(design: Design, axes: Axes) -> tuple[list[Kit], list[LeftOut]]:
    """Every kit of the axes that can be built, and what cannot be."""
    found: list[Kit] = []
    left: dict[tuple[str, str], LeftOut] = {}
    own_w = design.site.generator.power_w
    for control, battery, power_w in itertools.product(
        axes.controller, axes.battery, axes.generator_w
    ):
        if power_w != own_w and owns_generator(design.site):
            left["generator", f"{power_w:g}"] = LeftOut(
                axis="generator", value=f"{power_w:g} W",
                **worded("search", "own-generator", own_w=own_w))  # fmt: skip
            continue
        try:
            changes = _changes(design, control, battery, power_w)
            found.append(kit_of(design, (control, battery, power_w), changes))
        except _NoWholeError as error:
            left["battery", battery] = LeftOut(axis="battery", value=battery, why=str(error))
        except InputError as error:
            words = f"{control}, {battery}, {power_w:g} W"
            left["kit", words] = LeftOut(axis="equipment", value=words, why=error.sentence)
    return found, list(left.values())


class _NoWholeError(Exception):
    """No whole number of units has the voltage of the bank."""


def _changes(design: Design, control: str, battery: str, power_w: float) -> dict[str, Any]:
    lists = known_equipment(design.sitefile.written, design.sitefile.path)
    found: dict[str, Any] = {}
    if control != OWN_KIND:
        found["controller"] = dict(_of_list(design, "controller", control,
                                            lists["controllers"][control].values))
    if battery != OWN_KIND:
        entry = lists["batteries"][battery].values
        table = dict(_of_list(design, "battery", battery, entry))
        table["units_in_series"] = _in_series(design, float(entry["unit_voltage_v"]))
        found["battery"] = table
    if power_w != design.site.generator.power_w:
        found["generator"] = {"power_w": power_w}
    return found


def _of_list(
    design: Design, table: str, key: str, entry: Mapping[str, Any]
) -> Iterator[tuple[str, Any]]:
    """Keys that make a table of the site file that of an entry: what is written goes before it."""
    written = design.sitefile.written.get(table, {})
    yield "use", key
    for name in written:
        if name in entry:
            yield name, entry[name]
        elif name in _SHEET_LISTS:
            yield name, []


def _in_series(design: Design, unit_v: float) -> int:
    """Units of a battery in series that have the voltage of the site's bank."""
    bank_v = design.site.battery.nominal_voltage_v
    count = max(round(bank_v / unit_v), 1)
    if abs(count * unit_v / bank_v - 1.0) > float(VOLTAGE_CLASS_FRAC):
        raise _NoWholeError(
            f"no whole number of units of {unit_v:g} V makes a bank of {bank_v:g} V")
    return count


def kit_of(design: Design, kinds: tuple[str, str, float], changes: Changes) -> Kit:
    """A kit by its kinds and the changes that make it.

    Raises
    ------
    InputError
        For one that cannot be built or has no price.
    """
    one_string = {"battery": {**changes.get("battery", {}), "units_in_parallel": 1}}
    base = design.changed(with_planes(design, {**changes, **one_string}))
    site, costs = base.site, base.site.costs
    _refuse_moved_controllers(design, base)
    ones = pd.Series(1.0, index=design.loads.index)
    system = supply_system(base)
    check_series(ones, design.loads, system)
    ((_, island, series),) = islands_of(ones, design.loads, system)
    each = balance_of(base)
    years = costs.lifetime_years
    return Kit(
        controller=kinds[0], battery=kinds[1], generator_w=kinds[2], changes=changes,
        island=island, series=series,
        balance=_of_one(each, site.controller.count),
        units_in_series=site.battery.units_in_series, unit_price=costs.per_battery_unit,
        controller_price=controller_cost(site, base.prices, design.sitefile.path.name),
        set_price=0.0 if owns_generator(site) else costs.per_generator,
        fixed=costs.fixed, per_module=costs.per_module, per_metre=costs.per_metre_of_row,
        per_fuel_l=costs.per_fuel_l * years, per_service=costs.per_generator_service * years,
        services_per_h=1.0 / site.generator.serviced_each_h,
        least_services=SERVICES_PER_YEAR if site.generator.there else 0.0,
    )  # fmt: skip


def _refuse_moved_controllers(design: Design, base: Design) -> None:
    """InputError where a kind of controller of the first plane changes those of another."""
    for before, after in zip(design.site.planes, base.site.planes, strict=True):
        if before.controller != after.controller:
            raise InputError(Fault(
                where="search.controller", given=base.site.controller.label,
                **worded("search", "other-controllers", plane=before.name)))  # fmt: skip


def _of_one(balance: Balance, controllers: int) -> Balance:
    return replace(balance, controller_limit_w=balance.controller_limit_w / controllers)
