"""The records a site file becomes: one frozen record a table, units last in every name.

The tables of place, roof and dust stand in files of their own and are had from here as well.
"""

from __future__ import annotations

import re
from typing import Literal

from pydantic import Field, field_validator

from solarcalc.basis.sourced import FROM_MEMORY, NO_SOURCE
from solarcalc.sitefile.array_records import (
    Array,
    Module,
    Obstacle,
    Rails,
    Roof,
    Walkway,
)
from solarcalc.sitefile.base import Fraction, Line, Name, Record
from solarcalc.sitefile.dust_records import Soiling
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
    "Horizon",
    "Inverter",
    "Inverters",
    "Loads",
    "Losses",
    "Module",
    "MonthlyMeans",
    "Obstacle",
    "Place",
    "Rails",
    "Roof",
    "Site",
    "Soiling",
    "Walkway",
    "WeatherChoice",
]

_CLOCK = re.compile(r"^([01]\d|2[0-3]|24):([0-5]\d)$")


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
    lifetime_years: float = Field(default=20.0, ge=1.0, le=50.0)
    interest_frac: float = Field(default=0.08, ge=0.0, le=1.0, description="a year")


class Controller(Record):
    """[controller]: charge controller with maximum-power tracking."""

    label: Name
    max_pv_voltage_v: float = Field(gt=0.0, le=1500.0)
    min_tracking_voltage_v: float = Field(gt=0.0, le=1500.0)
    max_tracking_voltage_v: float = Field(gt=0.0, le=1500.0)
    max_charge_current_a: float = Field(gt=0.0, le=1000.0)
    efficiency_frac: float = Field(gt=0.5, le=1.0)
    count: int = Field(default=1, ge=1, le=50)


class Inverter(Record):
    """[inverter.critical] and [inverter.heavy]."""

    label: Name
    continuous_power_w: float = Field(gt=0.0, le=200000.0)
    surge_power_va: float = Field(gt=0.0, le=600000.0)
    efficiency_frac: float = Field(gt=0.5, le=1.0)
    idle_power_w: float = Field(ge=0.0, le=1000.0)


class Inverters(Record):
    """[inverter]: one for each board."""

    critical: Inverter
    heavy: Inverter


class Battery(Record):
    """[battery]: one bank that serves both boards."""

    label: Name
    chemistry: Literal["flooded", "agm", "gel", "lifepo4"]
    unit_voltage_v: float = Field(gt=0.0, le=1000.0)
    unit_capacity_ah: float = Field(gt=0.0, le=10000.0)
    units_in_series: int = Field(ge=1, le=400)
    units_in_parallel: int = Field(ge=1, le=50)
    charge_efficiency_frac: float = Field(gt=0.3, le=1.0)
    discharge_efficiency_frac: float = Field(gt=0.3, le=1.0)
    max_charge_c_rate: float = Field(gt=0.0, le=5.0, description="1/h, of the rated capacity")
    max_discharge_c_rate: float = Field(gt=0.0, le=10.0, description="1/h, of the rated capacity")
    self_discharge_frac_per_month: float = Field(ge=0.0, le=0.3)
    reserve_frac: Fraction = Field(description="state of charge below which nothing is drawn")
    heavy_shed_frac: Fraction = Field(description="state of charge at which the heavy board waits")
    heavy_return_frac: Fraction = Field(description="state of charge at which it comes back")


class Appliance(Record):
    """[[loads.critical]] or [[loads.heavy]]: one line of the appliance list."""

    name: Name
    power_w: float = Field(ge=0.0, le=200000.0)
    count: int = Field(default=1, ge=1, le=10000)
    use: list[str] = Field(min_length=1, description='clock spans, ["18:00-23:00"]')
    duty_frac: float = Field(default=1.0, gt=0.0, le=1.0, description="share of the time it runs")

    @field_validator("use")
    @classmethod
    def _spans(cls, value: list[str]) -> list[str]:
        for span in value:
            ends = span.split("-")
            if len(ends) != 2 or not all(_CLOCK.match(end.strip()) for end in ends):
                raise ValueError('each is "HH:MM-HH:MM", such as "18:00-23:00" or "22:00-06:00"')
            if ends[0].strip() == ends[1].strip():
                raise ValueError('a span must have a length; the whole day is "00:00-24:00"')
            if any(end.strip().startswith("24") and end.strip() != "24:00" for end in ends):
                raise ValueError("24:00 is the last moment of the day")
            if ends[0].strip() == "24:00":
                raise ValueError("a span that begins at midnight begins at 00:00")
        return value


class Loads(Record):
    """[loads]: the appliances of each board."""

    critical: list[Appliance] = Field(default_factory=list)
    heavy: list[Appliance] = Field(default_factory=list)


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
    loads: Loads


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
    "costs.lifetime_years": NO_SOURCE,
    "costs.interest_frac": NO_SOURCE,
    "losses.yearly_ageing_frac": "Jordan and Kurtz 2013: median 0.5 % a year",
}
"""Where each numeric default of the site file comes from; printed under Assumptions."""
