"""The whole site file: one frozen record of its tables, and the checks between their keys."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Self

from pydantic import Field

from solarcalc.basis.errors import Fault
from solarcalc.sitefile.array import Array, Module, array_faults
from solarcalc.sitefile.base import Record, Sound
from solarcalc.sitefile.battery import Battery, battery_faults
from solarcalc.sitefile.earthing import Earthing, Protection, Soil, earthing_faults
from solarcalc.sitefile.existing import Existing, existing_faults
from solarcalc.sitefile.generator import Generator, generator_faults
from solarcalc.sitefile.loads import BOARDS, Appliance, Board, Loads, loads_faults
from solarcalc.sitefile.losses import Losses, Soiling
from solarcalc.sitefile.place import Horizon, Place
from solarcalc.sitefile.planes import FIRST, Plane
from solarcalc.sitefile.programme import Commissioning, Logger, Programme, programme_faults
from solarcalc.sitefile.quote import (
    Checked,
    Costs,
    Firm,
    Quote,
    checked_faults,
    instalments_faults,
)
from solarcalc.sitefile.roof import Rails, Roof, roof_faults
from solarcalc.sitefile.room import Room, room_faults
from solarcalc.sitefile.search import Search, search_faults
from solarcalc.sitefile.snow import Snow, snow_faults
from solarcalc.sitefile.status import Handover, Status, status_faults
from solarcalc.sitefile.structure import Structure, structure_faults
from solarcalc.sitefile.supply import (
    Controller,
    Grid,
    Inverter,
    Inverters,
    Supply,
    supply_faults,
)
from solarcalc.sitefile.tariff import tariff_faults
from solarcalc.sitefile.variants import Variant, variant_faults
from solarcalc.sitefile.weather import WeatherChoice, weather_faults
from solarcalc.sitefile.wiring import (
    USUAL_RUNS,
    Cables,
    Duct,
    PowerPlace,
    Runs,
    cable_methods,
    wiring_faults,
)


@dataclass(frozen=True, kw_only=True)
class SiteBoard:
    """A distribution board.

    Parameters
    ----------
    key : str
        As the tables of the site file name it.
    appliances : tuple of Appliance
    phases : int
    inverter : Inverter
        That serves it; one may serve both.
    """

    key: Board
    appliances: tuple[Appliance, ...]
    phases: int
    inverter: Inverter


HALF_FRAC = 0.5
"""Of today's energy, from a generator beside a grid, where nobody says (common practice, no
source)."""
UNDUG_METHOD = "B1"
"""How the main run lies at a place where nothing is dug: in duct on the wall; common practice,
no source."""


class Site(Record):
    """The whole site file."""

    site: Place
    weather: WeatherChoice
    horizon: Horizon = Field(default_factory=Horizon)
    roof: Roof
    module: Module
    array: Array
    rails: Rails = Field(default_factory=Rails)
    structure: Structure = Field(default_factory=Structure)
    soiling: Soiling = Field(default_factory=Soiling)
    snow: Snow = Field(default_factory=Snow)
    losses: Losses = Field(default_factory=Losses)
    costs: Costs = Field(default_factory=Costs)
    controller: Controller
    inverter: Inverters
    battery: Battery
    supply: Supply = Field(default_factory=Supply)
    grid: Grid = Field(default_factory=Grid)
    generator: Generator = Field(default_factory=Generator)
    loads: Loads
    existing: list[Existing] = Field(default_factory=list)
    cables: Cables = Field(default_factory=Cables)
    runs: Runs = Field(default_factory=Runs)
    duct: Duct = Field(default_factory=Duct)
    places: list[PowerPlace] = Field(default_factory=list)
    protection: Protection = Field(default_factory=Protection)
    soil: Soil = Field(default_factory=Soil)
    earthing: Earthing = Field(default_factory=Earthing)
    room: Room = Field(default_factory=Room)
    firm: Firm = Field(default_factory=Firm)
    checked: Checked = Field(default_factory=Checked)
    quote: Quote = Field(default_factory=Quote)
    programme: Programme = Field(default_factory=Programme)
    commissioning: Commissioning = Field(default_factory=Commissioning)
    logger: Logger = Field(default_factory=Logger)
    status: Status = Field(default_factory=Status)
    handover: Handover = Field(default_factory=Handover)
    planes: list[Plane] = Field(default_factory=list)
    variants: list[Variant] = Field(default_factory=list)
    search: Search = Field(default_factory=Search)

    def model_copy(self, *, update: Mapping[str, Any] | None = None, deep: bool = False) -> Self:
        """A copy with other tables, and the roof planes that follow from them."""
        copied = super().model_copy(update=update, deep=deep)
        copied.__dict__.pop("of_planes", None)
        return copied

    @property
    def sites(self) -> tuple[Site, ...]:
        """The site roof plane by roof plane, each as if it had that one alone.

        Itself where it has one. The name of a plane is that of its roof; a site of one has none.
        """
        if not self.planes:
            return (self,)
        _ = self.roof.name  # what reads a site is noted, also where it is at hand
        return self.of_planes

    @cached_property
    def of_planes(self) -> tuple[Site, ...]:
        """`sites` where it has several roof planes, made once."""
        first = self.roof.model_copy(update={"name": self.roof.name or FIRST})
        alone = self.model_copy(update={"planes": [], "variants": [], "roof": first})
        return (alone, *(
            alone.model_copy(update={
                "horizon": one.horizon, "array": one.array, "rails": one.rails,
                "structure": one.structure, "controller": one.controller,
                "roof": one.roof.model_copy(update={"name": one.name}),
                "runs": self.runs.model_copy(update={
                    name: getattr(one.runs, name) for name in type(one.runs).model_fields}),
            })
            for one in self.planes
        ))  # fmt: skip

    def unnamed(self) -> Site:
        """The site without the name of its roof where it has one plane alone: nothing to tell."""
        if self.planes or not self.roof.name:
            return self
        return self.model_copy(update={"roof": self.roof.model_copy(update={"name": ""})})

    @property
    def today_generator_frac(self) -> float:
        """Part of today's energy that comes from a generator, [0 to 1]; the rest from the grid.

        Where nobody says: half of it, and without a grid all of it.
        """
        given = self.quote.replaced_generator_frac
        return given if given is not None else HALF_FRAC if self.grid.there else 1.0

    def reuses(self, kind: str) -> bool:
        """Whether a thing of that kind is the customer's own and used again."""
        return any(one.kind == kind and one.used for one in self.existing)

    @property
    def _each(self) -> tuple[Site | Plane, ...]:
        """The first plane, whose tables are the site's own, and those beside it."""
        return (self, *self.planes)

    @property
    def module_count(self) -> int:
        """Modules on all roof planes."""
        return sum(one.array.module_count for one in self._each)

    @property
    def string_count(self) -> int:
        """Strings on all roof planes."""
        return sum(one.array.string_count for one in self._each)

    @property
    def controller_count(self) -> int:
        """Charge controllers of all roof planes."""
        return sum(one.controller.count for one in self._each)

    @property
    def controllers_a(self) -> float:
        """What all charge controllers give at the most [A]."""
        return sum(one.controller.count * one.controller.max_charge_current_a for one in self._each)

    @property
    def array_w(self) -> float:
        """Rated power of the modules on all roof planes [W]."""
        return self.module_count * self.module.pmax_w

    @property
    def inverters(self) -> dict[str, Inverter]:
        """The inverters that are built, by board; one that serves both is the essential board's."""
        each = self.inverter
        if self.supply.one_inverter:
            return {"essential": each.essential}
        return {"essential": each.essential, "nonessential": each.nonessential}

    @property
    def boards(self) -> tuple[SiteBoard, ...]:
        """The distribution boards in the order they are kept supplied, each with its inverter."""
        return tuple(
            SiteBoard(key=board, appliances=tuple(getattr(self.loads, board)),
                      phases=self.loads.phases_of(board), inverter=self.inverter_of(board))
            for board in BOARDS
        )  # fmt: skip

    @property
    def sources(self) -> dict[str, float]:
        """What can feed the boards beside the inverters, with its power [W]."""
        power_w = {"grid": self.grid.limit_w if self.grid.there else 0.0,
                   "generator": self.generator.power_w}  # fmt: skip
        return {source: watts for source, watts in power_w.items() if watts > 0.0}

    @property
    def grid_charges_below_frac(self) -> float:
        """State of charge below which the grid charges, [0 to 1]; 0 where it never does.

        Left out it is where all of the nonessential board is back: lower, the grid would hold the
        bank where part of that board stays shed as soon as the grid is gone; higher, it would buy
        what the sun may bring. That level lies above the reserve, in a bank of each board too.
        """
        level = self.grid.charge_below_frac
        given = self.battery.nonessential_return_frac if level is None else level
        return given if self.grid.there else 0.0

    @property
    def charger_limits_w(self) -> dict[str, float | None]:
        """Largest power that the chargers of each bank draw, by bank [W]; None: all that is there.

        Of each inverter that charges it: `supply.charger_power_w`, or the charge current of its
        sheet at the nominal voltage of the bank, whichever is less.
        """
        found: dict[str, float | None] = {}
        for bank in self.banks:
            inverter = self.inverter_of("nonessential" if bank == "nonessential" else "essential")
            each = [] if self.supply.charger_power_w is None else [self.supply.charger_power_w]
            if inverter.charge_current_a is not None:
                charged_w = inverter.charge_current_a * self.battery.nominal_voltage_v
                each.append(charged_w / self.supply.charger_efficiency_frac)
            found[bank] = inverter.count * min(each) if each else None
        return found

    @property
    def place(self) -> PowerPlace | None:
        """The place of the power room that is chosen; None where the runs are as given."""
        return next((one for one in self.places if one.name == self.room.place), None)

    def inverter_of(self, board: str) -> Inverter:
        """The inverter that serves a board."""
        return self.inverters.get(board, self.inverter.essential)

    def at(self, name: str) -> Site:
        """The site with its power room at one of its places: cables, trench and heat are its own.

        A room held at a temperature is held so anywhere. The main cable of another plane is as
        much longer or shorter than the first's as the site file has it.

        Parameters
        ----------
        name : str
            Of one of `places`; empty leaves the site as it is.
        """
        place = next((one for one in self.places if one.name == name), None)
        if place is None:
            return self
        method = self.runs.dc_main.method or USUAL_RUNS["dc_main"][1]
        undug = place.trench_m == 0.0 and cable_methods()[method].in_ground
        main = self.runs.dc_main.model_copy(update={
            "length_m": place.dc_main_m, **({"method": UNDUG_METHOD} if undug else {}),
        })  # fmt: skip
        house = self.runs.board_house.model_copy(update={"length_m": place.house_m})
        trench = {"length_m": place.trench_m} if place.trench_m > 0.0 else {}
        heat = {} if self.battery.room_c is not None else {
            "room_swing_frac": place.room_swing_frac, "room_above_k": place.room_above_k,
        }  # fmt: skip
        return self.model_copy(update={
            "planes": [one.with_main(main, self.runs.dc_main) for one in self.planes],
            "runs": self.runs.model_copy(update={"dc_main": main, "board_house": house}),
            "duct": self.duct.model_copy(update=trench),
            "battery": self.battery.model_copy(update=heat),
        })  # fmt: skip

    @property
    def banks(self) -> dict[str, Battery]:
        """The bank of both boards (``"shared"``), or that of each board."""
        if not self.supply.separate_banks:
            return {"shared": self.battery}
        essential = round(self.battery.units_in_parallel * self.supply.essential_bank_frac)
        nonessential = self.battery.units_in_parallel - essential
        return {
            board: self.battery.model_copy(update={"units_in_parallel": units})
            for board, units in (("essential", essential), ("nonessential", nonessential))
        }


def cross_faults(sound: Sound) -> list[Fault]:
    """Every contradiction between sound fields of a site file."""
    return [fault for check in _CHECKS for fault in check(sound)]


_CHECKS: tuple[Callable[[Sound], Iterator[Fault]], ...] = (
    array_faults, battery_faults, weather_faults, loads_faults, roof_faults, room_faults,
    existing_faults, supply_faults, generator_faults, earthing_faults, wiring_faults,
    tariff_faults, instalments_faults, checked_faults, variant_faults, programme_faults,
    status_faults,
    snow_faults, structure_faults, search_faults,
)
