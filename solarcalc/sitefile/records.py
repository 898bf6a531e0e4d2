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
from solarcalc.sitefile.supply_records import (
    Controller,
    Generator,
    Grid,
    GridDays,
    Inverter,
    Inverters,
    Supply,
)

__all__ = [
    "CSV_ONLY",
    "DOWNLOAD",
    "MONTHLY",
    "NO_FILE",
    "SOURCES_OF_DEFAULTS",
    "WEATHER_COLUMNS",
    "Appliance",
    "Array",
    "Battery",
    "Controller",
    "Costs",
    "Generator",
    "Grid",
    "GridDays",
    "Horizon",
    "Inverter",
    "Inverters",
    "Loads",
    "Losses",
    "Module",
    "MonthlyMeans",
    "Obstacle",
    "Owned",
    "Place",
    "Rails",
    "Roof",
    "Site",
    "Soiling",
    "Supply",
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
    "losses.yearly_ageing_frac": "Jordan and Kurtz 2013: median 0.5 % a year",
}
"""Where each numeric default of the site file comes from; printed under Assumptions."""
