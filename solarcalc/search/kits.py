"""Equipment that a search puts together: controller, battery, generator; its system and price."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.worded import worded
from solarcalc.design import Changes, Design
from solarcalc.energy.year import Balance
from solarcalc.quote.costs import controller_cost
from solarcalc.quote.economics import Money
from solarcalc.search.axes import Axes, LeftOut, owns_generator
from solarcalc.search.beside import with_planes
from solarcalc.search.price import beyond
from solarcalc.sitefile.battery import VOLTAGE_CLASS_FRAC
from solarcalc.sitefile.equipment import known_equipment
from solarcalc.sitefile.loads import BOARDS, Board
from solarcalc.sitefile.search import INVERTERS, OWN_KIND, several_of
from solarcalc.stages.array import balance_of
from solarcalc.stages.boards import inverter_checks, supply_system
from solarcalc.supply.engine import SERVICES_PER_YEAR
from solarcalc.supply.kernels import Island
from solarcalc.supply.run import check_series, islands_of

_SHEET_LISTS = ("discharge_hours", "discharge_capacity_ah", "life_depth_frac", "life_cycles")
"""Tables of one battery's sheet, which another kind may not have."""


class Kinds(NamedTuple):
    """Kinds of equipment, as `Axes` names them; the generator by its plate [W], 0 for none."""

    controller: str
    battery: str
    generator_w: float
    inverter: str = OWN_KIND
    inverter_nonessential: str = OWN_KIND


@dataclass(frozen=True, kw_only=True, eq=False)
class Kit:
    """One kind of controller, of battery, a generator or none, and inverters.

    Parameters
    ----------
    kinds : Kinds
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

    kinds: Kinds
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
    def battery(self) -> str:
        """Its kind."""
        return self.kinds.battery

    @property
    def generator_w(self) -> float:
        """Power of the generator on its plate [W]; 0: none."""
        return self.kinds.generator_w

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
    left: dict[tuple[str, ...], LeftOut] = {}
    own_w = design.site.generator.power_w
    inverters = _bearing(design, axes, left)
    known: dict[str, Money] = {}
    for kinds in itertools.starmap(Kinds, itertools.product(
        axes.controller, axes.battery, axes.generator_w, *inverters)):  # fmt: skip
        control, battery, power_w, *other = kinds
        if power_w != own_w and owns_generator(design.site):
            left["generator", f"{power_w:g}"] = LeftOut(
                axis="generator", value=f"{power_w:g} W",
                **worded("search", "own-generator", own_w=own_w))  # fmt: skip
            continue
        try:
            kit = kit_of(design, kinds, _changes(design, kinds))
            more = _beyond_costs(design, kit.changes, known)
            found.append(replace(kit, fixed=kit.fixed + more))
        except _NoWholeError as error:
            left["battery", battery] = LeftOut(axis="battery", value=battery, why=str(error))
        except InputError as error:
            words = ", ".join([control, battery, f"{power_w:g} W", *filter(_other, other)])
            left["kit", words] = LeftOut(axis="equipment", value=words, why=error.sentence)
    return found, list(left.values())


def _other(kind: str) -> bool:
    return kind != OWN_KIND


def _bearing(
    design: Design, axes: Axes, left: dict[tuple[str, ...], LeftOut]
) -> list[list[str]]:
    """Inverters of each board that can be tried; those that cannot go to `left` with why."""
    own = Kinds(OWN_KIND, OWN_KIND, design.site.generator.power_w)
    found = []
    for axis, board in zip(INVERTERS, BOARDS, strict=True):
        found.append([OWN_KIND] if OWN_KIND in getattr(axes, axis) else [])
        for kind in filter(_other, getattr(axes, axis)):
            try:
                if design.site.reuses("inverter"):
                    raise InputError(Fault(where=f"inverter.{board}", given=kind,
                                           **worded("search", "own-inverter")))  # fmt: skip
                changes = _changes(design, own._replace(**{axis: kind}))
                _refuse_weak(design.changed(changes), board)
                found[-1].append(kind)
            except InputError as error:
                left[axis, kind] = LeftOut(axis=axis, value=kind, why=error.sentence)
    return found


_PARTS = (("controller",), ("generator",), ("inverter", "supply"))
"""Tables that make a kit, together or apart, beside its battery."""


def _beyond_costs(design: Design, changes: Changes, known: dict[str, Money]) -> Money:
    """What cables, protection and work of other kinds cost more, each kind with all else as it is.

    Nothing of a kind with which there is no offer. `known` keeps what was found.
    """
    total = 0.0
    for tables in _PARTS:
        part = {name: changes[name] for name in tables if name in changes}
        key = repr(part)
        if part and key not in known:
            known[key] = beyond(design, with_planes(design, part)) or 0.0
        total += known[key] if part else 0.0
    return total


class _NoWholeError(Exception):
    """No whole number of units has the voltage of the bank."""


def _changes(design: Design, kinds: Kinds) -> dict[str, Any]:
    control, battery, power_w = kinds[:3]
    written = design.sitefile.written
    lists = known_equipment(written, design.sitefile.path)
    found: dict[str, Any] = {}
    if control != OWN_KIND:
        found["controller"] = dict(_of_list(written.get("controller", {}), control,
                                            lists["controllers"][control].values))
    if battery != OWN_KIND:
        entry = lists["batteries"][battery].values
        table = dict(_of_list(written.get("battery", {}), battery, entry))
        table["units_in_series"] = _in_series(design, float(entry["unit_voltage_v"]))
        found["battery"] = table
    if power_w != design.site.generator.power_w:
        found["generator"] = {"power_w": power_w}
    for board, kind in zip(BOARDS, kinds[3:], strict=True):
        if kind != OWN_KIND:
            count, key = several_of(kind)
            table = _inverter(design, board, key, lists["inverters"][key].values)
            found.setdefault("inverter", {})[board] = {**table, "count": count}
            if board == BOARDS[0] and design.site.supply.charger_power_w is not None:
                own = design.site.inverter.essential.count
                found["supply"] = {
                    "charger_power_w": design.site.supply.charger_power_w * own / count}
    return found


_SHEET_KEYS = ("charge_current_a", "residual_type")
"""Of the data sheet of an inverter, which another kind has or has not."""


def _inverter(design: Design, board: Board, key: str, entry: Mapping[str, Any]) -> dict[str, Any]:
    """The table of a board's inverter of another kind.

    Raises
    ------
    InputError
        Where a figure of the own sheet would be told of the other kind, or a charger that the own
        sheet limits would have no limit.
    """
    written = design.sitefile.written.get("inverter", {}).get(board, {})
    own = getattr(design.site.inverter, board)
    stays = [name for name in _SHEET_KEYS if name not in entry and (
        name in written or (name == "charge_current_a" and own.charge_current_a is not None))]
    if stays:
        raise InputError(Fault(where=f"inverter.{board}", given=key, **worded(
            "search", "other-sheet", keys=" and ".join(stays))))  # fmt: skip
    return dict(_of_list(written, key, entry))


def _of_list(
    written: Mapping[str, Any], key: str, entry: Mapping[str, Any]
) -> Iterator[tuple[str, Any]]:
    """Keys that make a table of the site file that of an entry: what is written goes before it."""
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


def kit_of(design: Design, kinds: Kinds, changes: Changes) -> Kit:
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
        kinds=kinds, changes=changes, island=island, series=series,
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


def _refuse_weak(base: Design, board: Board) -> None:
    """InputError for inverters that do not bear their board, or both, in power or in a start."""
    for one in inverter_checks(base, [board]):
        if one.outcome == "failed":
            raise InputError(Fault(where=one.item, given=one.found_words, allowed=one.limit_words))


def _of_one(balance: Balance, controllers: int) -> Balance:
    return replace(balance, controller_limit_w=balance.controller_limit_w / controllers)
