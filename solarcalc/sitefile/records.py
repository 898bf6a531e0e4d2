"""The records a site file becomes: one frozen record a table, units last in every name.

The tables of place, roof, dust, loads, battery and supply stand in files of their own; all are had
from here as well.
"""

from __future__ import annotations

from pydantic import Field

from solarcalc.basis.sourced import FROM_MEMORY, NO_SOURCE
from solarcalc.sitefile.array_records import (
    Array,
    Module,
    Obstacle,
    Rails,
    Roof,
    Walkway,
)
from solarcalc.sitefile.base import Line, Record
from solarcalc.sitefile.battery_records import Battery
from solarcalc.sitefile.dust_records import Soiling
from solarcalc.sitefile.earthing_records import Earthing, Protection, Soil
from solarcalc.sitefile.followup_records import FOLLOWUP_SOURCES, Commissioning, Logger
from solarcalc.sitefile.loads_records import Appliance, Loads
from solarcalc.sitefile.owned_records import Owned
from solarcalc.sitefile.place_records import (
    CSV_ONLY,
    DOWNLOAD,
    MONTHLY,
    NO_FILE,
    WEATHER_COLUMNS,
    Horizon,
    MonthlyMeans,
    Place,
    WeatherChoice,
)
from solarcalc.sitefile.programme_records import PROGRAMME_SOURCES, Programme, Task
from solarcalc.sitefile.quote_records import QUOTE_SOURCES, Alternative, Firm, Quote
from solarcalc.sitefile.room_records import Room
from solarcalc.sitefile.supply_records import (
    Controller,
    Generator,
    Grid,
    GridDays,
    Inverter,
    Inverters,
    Supply,
)
from solarcalc.sitefile.wiring_records import CableRun, Cables, Pipe, PowerPlace, Runs

__all__ = [
    "CSV_ONLY",
    "DOWNLOAD",
    "MONTHLY",
    "NO_FILE",
    "SOURCES_OF_DEFAULTS",
    "WEATHER_COLUMNS",
    "Alternative",
    "Appliance",
    "Array",
    "Battery",
    "CableRun",
    "Cables",
    "Commissioning",
    "Controller",
    "Costs",
    "Earthing",
    "Firm",
    "Generator",
    "Grid",
    "GridDays",
    "Horizon",
    "Inverter",
    "Inverters",
    "Loads",
    "Logger",
    "Losses",
    "Module",
    "MonthlyMeans",
    "Obstacle",
    "Owned",
    "Pipe",
    "Place",
    "PowerPlace",
    "Programme",
    "Protection",
    "Quote",
    "Rails",
    "Roof",
    "Room",
    "Runs",
    "Site",
    "Soil",
    "Soiling",
    "Supply",
    "Task",
    "Walkway",
    "WeatherChoice",
]


class Losses(Record):
    """[losses]: fixed fractions; the others are computed."""

    dc_wiring_frac: float = Field(default=0.015, ge=0.0, le=0.2, description="at full current")
    mismatch_frac: float = Field(default=0.01, ge=0.0, le=0.2)
    light_induced_frac: float = Field(default=0.015, ge=0.0, le=0.1)
    yearly_ageing_frac: float = Field(default=0.005, ge=0.0, le=0.05)
    age_years: float = Field(default=0.0, ge=0.0, le=40.0)


class Costs(Record):
    """[costs]: what an array costs, to weigh one against another; no quotation."""

    currency: Line = Field(default="module prices", description="any word; one for all of these")
    per_module: float = Field(
        default=1.0, ge=0.0, description="with its share of all that is bought by module"
    )
    per_metre_of_row: float = Field(
        default=0.15, ge=0.0, description="rails, feet, work"
    )
    fixed: float = Field(
        default=10.0, ge=0.0, description="whatever does not depend on the array"
    )
    per_wash: float = Field(default=0.1, ge=0.0, description="of the whole array")
    per_battery_unit: float = Field(default=3.0, ge=0.0, description="one unit, put in place")
    per_fuel_l: float = Field(default=0.012, ge=0.0, description="a litre for the generator")
    per_m_mm2_of_copper: float = Field(
        default=0.0011, ge=0.0, description="a metre of single core, for each mm2 of it"
    )
    per_m_mm2_of_aluminium: float = Field(
        default=0.0004, ge=0.0, description="a metre of single core, for each mm2 of it"
    )
    per_metre_of_core: float = Field(
        default=0.003, ge=0.0, description="a metre of single core laid, whatever its size"
    )
    per_metre_of_trench: float = Field(default=0.06, ge=0.0, description="dug and filled again")
    per_kwh_lost: float = Field(
        default=0.002, ge=0.0, description="worth of a kWh that warms a cable instead"
    )
    lifetime_years: float = Field(default=20.0, ge=1.0, le=50.0)
    interest_frac: float = Field(default=0.08, ge=0.0, le=1.0, description="a year")


class Site(Record):
    """The whole site file."""

    site: Place
    weather: WeatherChoice
    horizon: Horizon = Field(default_factory=Horizon)
    roof: Roof
    module: Module
    array: Array
    rails: Rails = Field(default_factory=Rails)
    soiling: Soiling = Field(default_factory=Soiling)
    losses: Losses = Field(default_factory=Losses)
    costs: Costs = Field(default_factory=Costs)
    controller: Controller
    inverter: Inverters
    battery: Battery
    supply: Supply = Field(default_factory=Supply)
    grid: Grid = Field(default_factory=Grid)
    generator: Generator = Field(default_factory=Generator)
    loads: Loads
    owned: list[Owned] = Field(default_factory=list)
    cables: Cables = Field(default_factory=Cables)
    runs: Runs = Field(default_factory=Runs)
    pipe: Pipe = Field(default_factory=Pipe)
    places: list[PowerPlace] = Field(default_factory=list)
    protection: Protection = Field(default_factory=Protection)
    soil: Soil = Field(default_factory=Soil)
    earthing: Earthing = Field(default_factory=Earthing)
    room: Room = Field(default_factory=Room)
    firm: Firm = Field(default_factory=Firm)
    quote: Quote = Field(default_factory=Quote)
    programme: Programme = Field(default_factory=Programme)
    commissioning: Commissioning = Field(default_factory=Commissioning)
    logger: Logger = Field(default_factory=Logger)

    @property
    def array_w(self) -> float:
        """Rated power of the array [W]."""
        return self.array.module_count * self.module.pmax_w

    @property
    def inverters(self) -> dict[str, Inverter]:
        """The inverters that are built, by board; one that serves both is the critical board's."""
        both = {"critical": self.inverter.critical, "heavy": self.inverter.heavy}
        return {"critical": both["critical"]} if self.supply.one_inverter else both

    def inverter_of(self, board: str) -> Inverter:
        """The inverter that serves a board."""
        return self.inverters.get(board, self.inverter.critical)

    @property
    def banks(self) -> dict[str, Battery]:
        """The bank of both boards (``"shared"``), or that of each board."""
        if not self.supply.separate_banks:
            return {"shared": self.battery}
        critical = round(self.battery.units_in_parallel * self.supply.critical_bank_frac)
        heavy = self.battery.units_in_parallel - critical
        return {
            board: self.battery.model_copy(update={"units_in_parallel": units})
            for board, units in (("critical", critical), ("heavy", heavy))
        }


SOURCES_OF_DEFAULTS: dict[str, str] = {
    "weather.max_distance_km": NO_SOURCE,
    "roof.edge_setback_m": NO_SOURCE,
    "roof.albedo_frac": "Duffie and Beckman 2013, sec. 2.15: 0.2 for ground without snow",
    "array.clear_from_solar_h": NO_SOURCE,
    "array.clear_to_solar_h": NO_SOURCE,
    "array.module_gap_m": NO_SOURCE,
    "array.string_path": NO_SOURCE,
    "rails.stock_length_m": NO_SOURCE,
    "rails.overhang_m": NO_SOURCE,
    "rails.longest_run_m": f"joints about every 6 to 8 m; {NO_SOURCE}",
    "rails.foot_spacing_m": NO_SOURCE,
    "rails.mass_kg_per_m": f"aluminium rails of about 40 mm; {FROM_MEMORY}",
    "rails.foot_mass_kg": FROM_MEMORY,
    "soiling.loss_per_dry_day_frac": "Kimber et al. 2006, as the default of pvlib.soiling",
    "soiling.dust_season_loss_per_dry_day_frac": "Kimber et al. 2006, the desert row of the table"
    " in pvlib.soiling.kimber",
    "soiling.cleaning_rain_mm": "Kimber et al. 2006, as the default of pvlib.soiling",
    "soiling.grace_days": NO_SOURCE,
    "soiling.max_loss_frac": "Kimber et al. 2006, as the default of pvlib.soiling",
    "soiling.days_between_rains": NO_SOURCE,
    "soiling.strip_lip_m": "middle of 1 to 3 mm, Frontiers in Energy Research 9:665411 (2021)",
    "soiling.strip_margin_m": NO_SOURCE,
    "soiling.strip_loss_per_dry_day_frac": NO_SOURCE,
    "soiling.strip_loss_per_light_rain_frac": NO_SOURCE,
    "soiling.strip_clearing_rain_mm": f"a day of heavy rain, as forecasters count; {FROM_MEMORY}",
    "soiling.strip_max_loss_frac": NO_SOURCE,
    "losses.dc_wiring_frac": NO_SOURCE,
    "losses.mismatch_frac": NO_SOURCE,
    "losses.light_induced_frac": NO_SOURCE,
    "costs.per_module": f"the price of a module as the unit of money; {NO_SOURCE}",
    "costs.per_metre_of_row": NO_SOURCE,
    "costs.fixed": NO_SOURCE,
    "costs.per_wash": NO_SOURCE,
    "costs.per_battery_unit": NO_SOURCE,
    "costs.per_fuel_l": NO_SOURCE,
    "costs.lifetime_years": NO_SOURCE,
    "costs.interest_frac": NO_SOURCE,
    "battery.room_swing_frac": f"walls and a roof hold back most of it; {NO_SOURCE}",
    "battery.room_above_k": f"people, sun and inverters warm the room; {NO_SOURCE}",
    "loads.variation_frac": f"days of a kind are alike; {NO_SOURCE}",
    "supply.critical_sun_frac": NO_SOURCE,
    "supply.charger_efficiency_frac": NO_SOURCE,
    "grid.limit_w": NO_SOURCE,
    "grid.charge_below_frac": NO_SOURCE,
    "grid.outage_h_per_day": NO_SOURCE,
    "grid.mean_outage_h": NO_SOURCE,
    "generator.power_w": NO_SOURCE,
    "generator.start_frac": NO_SOURCE,
    "generator.stop_frac": NO_SOURCE,
    "generator.least_load_frac": f"makers ask for 30 % or more; {FROM_MEMORY}",
    "generator.idle_fuel_l_per_h": f"a set of about 5 kW; {NO_SOURCE}",
    "generator.fuel_l_per_kwh": NO_SOURCE,
    "cables.dc_drop_frac": f"1 to 3 %; {NO_SOURCE}",
    "cables.battery_drop_frac": NO_SOURCE,
    "cables.ac_drop_frac": f"3 %, as IEC 60364-5-52 table G.52.1 has for lighting, {FROM_MEMORY}",
    "cables.soil_k_m_per_w": "IEC 60364-5-52:2009, the reference of its capacity tables",
    "pipe.bends": NO_SOURCE,
    "pipe.depth_m": NO_SOURCE,
    "protection.residual_ma": f"against touch, IEC 60364-4-41 cl. 415.1, {FROM_MEMORY}",
    "protection.ac_fault_ka": f"a weak grid at the end of a line; {NO_SOURCE}",
    "protection.string_fuse_max_a": f"many modules of 10 to 14 A; {NO_SOURCE}",
    "protection.thunder_days": NO_SOURCE,
    "protection.surge_lead_m": "IEC 60364-5-53 cl. 534.4.8: at most 0.5 m",
    "earthing.rod_length_m": NO_SOURCE,
    "earthing.rod_diameter_mm": NO_SOURCE,
    "earthing.rod_spacing_m": f"a rod's length or more; {NO_SOURCE}",
    "earthing.touch_limit_v": "IEC 60364-4-41 cl. 411.5.3",
    "earthing.conductor_m": NO_SOURCE,
    "earthing.conductor_mm": NO_SOURCE,
    "earthing.conductor_depth_m": NO_SOURCE,
    "earthing.bar_to_modules_m": NO_SOURCE,
    "earthing.bar_to_electrode_m": NO_SOURCE,
    "room.length_m": NO_SOURCE,
    "room.depth_m": NO_SOURCE,
    "room.height_m": NO_SOURCE,
    "room.wall_in_sun_frac": NO_SOURCE,
    "room.roof_in_sun_frac": NO_SOURCE,
    "room.vent_low_cm2": NO_SOURCE,
    "room.vent_high_cm2": NO_SOURCE,
    "room.vent_apart_m": f"2 m on one wall, IEC 62485-2 cl. 7.3, {FROM_MEMORY}",
    "room.mesh_free_frac": NO_SOURCE,
    "room.fan_m3_per_h": NO_SOURCE,
    "room.floor_kg_per_m2": f"a slab on the ground; {NO_SOURCE}",
    "room.unit_length_m": NO_SOURCE,
    "room.unit_depth_m": NO_SOURCE,
    "room.unit_height_m": NO_SOURCE,
    "room.door_m": NO_SOURCE,
    "supply.ac_voltage_v": "IEC 60038, 230 V between line and neutral",
    "costs.per_m_mm2_of_copper": NO_SOURCE,
    "costs.per_m_mm2_of_aluminium": NO_SOURCE,
    "costs.per_metre_of_core": NO_SOURCE,
    "costs.per_metre_of_trench": NO_SOURCE,
    "costs.per_kwh_lost": NO_SOURCE,
    "losses.yearly_ageing_frac": "Jordan and Kurtz 2013: median 0.5 % a year",
    **QUOTE_SOURCES,
    **PROGRAMME_SOURCES,
    **FOLLOWUP_SOURCES,
}
"""Where each numeric default of the site file comes from; printed under Assumptions."""
