"""The records a site file becomes: one frozen record a table, units last in every name."""

from __future__ import annotations

import re
from typing import Literal

from pydantic import Field, ValidationInfo, field_validator

from solarcalc.basis.sourced import FROM_MEMORY, NO_SOURCE
from solarcalc.sitefile.base import FileName, Fraction, Line, Name, Note, Record

_CLOCK = re.compile(r"^([01]\d|2[0-3]|24):([0-5]\d)$")
_DAY = re.compile(r"^(0[1-9]|1[0-2])-(0[1-9]|[12]\d|3[01])$")

CSV_ONLY = (
    "hour_label",
    "utc_offset_h",
    "columns",
    "station_latitude_deg",
    "station_longitude_deg",
    "station_elevation_m",
)
"""Keys of [weather] that only a plain CSV file needs: the others carry these facts themselves."""

WEATHER_COLUMNS = ("time", "ghi", "dni", "dhi", "temp_air", "wind_speed", "precipitation")
"""Our names of the columns of a plain CSV weather year."""

class Place(Record):
    """[site]: who and where."""

    name: Name
    customer: Line = ""
    note: Note = ""
    latitude_deg: float = Field(ge=-90.0, le=90.0, description="north positive")
    longitude_deg: float = Field(ge=-180.0, le=180.0, description="east positive")
    elevation_m: float = Field(ge=-430.0, le=6000.0)
    time_zone: str = Field(description="IANA name such as Africa/Lusaka, or UTC+05:45")


MONTHLY = "monthly"
"""Weather source that makes the year from [weather.monthly]."""

DOWNLOAD = "download"
"""Weather source that fetches one year of an open hourly dataset and keeps it."""

NO_FILE = (MONTHLY, DOWNLOAD)
"""Weather sources that name no file."""

_MONTHLY_LIMITS = {
    "ghi_kwh_m2_day": (0.0, 15.0),
    "temp_air_c": (-70.0, 50.0),
    "temp_range_k": (0.0, 40.0),
    "wind_speed_m_s": (0.0, 30.0),
    "rain_mm": (0.0, 3000.0),
}
"""What a monthly mean may be; common practice, no source."""


class MonthlyMeans(Record):
    """[weather.monthly]: twelve figures a line, January first."""

    ghi_kwh_m2_day: list[float] = Field(
        min_length=12, max_length=12, description="global radiation on the flat, mean of one day"
    )
    temp_air_c: list[float] = Field(min_length=12, max_length=12)
    temp_range_k: list[float] | None = Field(
        default=None, min_length=12, max_length=12, description="night's lowest to day's highest"
    )
    wind_speed_m_s: list[float] | None = Field(default=None, min_length=12, max_length=12)
    rain_mm: list[float] | None = Field(
        default=None, min_length=12, max_length=12, description="of the whole month"
    )
    seed: int = Field(default=1, ge=0, le=999999, description="another seed, other days")

    @field_validator(*_MONTHLY_LIMITS)
    @classmethod
    def _possible(cls, value: list[float] | None, info: ValidationInfo) -> list[float] | None:
        low, high = _MONTHLY_LIMITS[str(info.field_name)]
        if value is not None and any(not low <= figure <= high for figure in value):
            raise ValueError(f"a list of 12 numbers, each from {low:g} to {high:g}")
        return value


class WeatherChoice(Record):
    """[weather]: the typical year and how far it may be trusted."""

    source: FileName = Field(
        description='a file, library:FILE of pvlib\'s own data, "monthly" or "download"'
    )
    format: Literal["auto", "tmy2", "tmy3", "epw", "csv"] = "auto"
    hour_label: Literal["start", "middle", "end"] = Field(
        default="start", description="csv only: which moment of the hour its stamp names"
    )
    utc_offset_h: float | None = Field(
        default=None,
        ge=-12.0,
        le=14.0,
        multiple_of=0.25,
        description="csv only; the site's own when left out",
    )
    station_latitude_deg: float | None = Field(default=None, ge=-90.0, le=90.0)
    station_longitude_deg: float | None = Field(default=None, ge=-180.0, le=180.0)
    station_elevation_m: float | None = Field(default=None, ge=-430.0, le=6000.0)
    columns: dict[str, str] = Field(
        default_factory=dict, description="csv only: our column name = the file's column name"
    )
    max_distance_km: float = Field(default=100.0, gt=0.0, le=20100.0)
    rebuild_beam: bool = Field(
        default=False, description="keep global, rebuild beam and diffuse by decomposition"
    )
    year: int | None = Field(
        default=None, ge=2001, le=2100, description="of the download, from 2001 on"
    )
    monthly: MonthlyMeans | None = None


class Obstacle(Record):
    """[[roof.obstacles]]: a box that stands on the roof plane, seen from above."""

    name: Name
    along_m: float = Field(
        ge=0.0, le=500.0, description="to its left side, from the left end of the eaves"
    )
    up_m: float = Field(ge=0.0, le=500.0, description="to its lower side, from the eaves")
    length_m: float = Field(gt=0.0, le=500.0, description="along the eaves")
    depth_m: float = Field(gt=0.0, le=500.0, description="up the slope, measured on the roof")
    height_m: float = Field(ge=0.0, le=50.0, description="above the roof")
    clearance_m: float = Field(ge=0.0, le=10.0, description="kept free of modules all around it")


class Walkway(Record):
    """[[roof.walkways]]: a strip over the whole roof that is kept free to walk on."""

    name: Name
    runs: Literal["along", "across"] = Field(
        description="along the eaves, or across them up the slope"
    )
    from_m: float = Field(
        ge=0.0, le=500.0, description="to its near side: from the eaves, or from their left end"
    )
    width_m: float = Field(gt=0.0, le=10.0)


class Roof(Record):
    """[roof]: one rectangular plane, seen with its eaves below."""

    length_m: float = Field(gt=0.0, le=500.0, description="along the eaves")
    depth_m: float = Field(gt=0.0, le=500.0, description="up the slope, measured on the roof")
    slope_deg: float = Field(default=0.0, ge=0.0, le=60.0)
    azimuth_deg: float = Field(
        ge=0.0, lt=360.0, description="direction the depth falls towards; 0 north, 90 east"
    )
    edge_setback_m: float = Field(default=0.4, ge=0.0, le=10.0)
    albedo_frac: Fraction = 0.2
    obstacles: list[Obstacle] = Field(default_factory=list)
    walkways: list[Walkway] = Field(default_factory=list)


class Rails(Record):
    """[rails]: what the modules are clamped to."""

    stock_length_m: float = Field(default=4.2, ge=1.0, le=15.0, description="as they are sold")
    overhang_m: float = Field(default=0.05, ge=0.0, le=1.0, description="beyond the last module")
    longest_run_m: float = Field(
        default=7.0, ge=1.0, le=50.0, description="between joints that let a rail grow"
    )
    foot_spacing_m: float = Field(default=1.2, ge=0.2, le=5.0, description="at most")
    mass_kg_per_m: float = Field(default=0.9, ge=0.0, le=20.0)
    foot_mass_kg: float = Field(default=0.5, ge=0.0, le=50.0, description="each")


class Module(Record):
    """[module]: figures of the data sheet at standard test conditions."""

    label: Name
    pmax_w: float = Field(gt=0.0, le=1500.0)
    voc_v: float = Field(gt=0.0, le=400.0)
    isc_a: float = Field(gt=0.0, le=60.0)
    vmp_v: float = Field(gt=0.0, le=400.0)
    imp_a: float = Field(gt=0.0, le=60.0)
    alpha_isc_pct_per_k: float = Field(ge=-0.05, le=0.3)
    beta_voc_pct_per_k: float = Field(ge=-0.6, lt=0.0)
    gamma_pmax_pct_per_k: float = Field(ge=-0.8, lt=0.0)
    cells_in_series: int = Field(ge=1, le=400)
    cell_build: Literal["full", "half-cut"]
    bypass_diodes: int = Field(default=3, ge=1, le=6)
    length_m: float = Field(gt=0.1, le=4.0, description="the long side")
    width_m: float = Field(gt=0.1, le=4.0, description="the short side")
    mass_kg: float = Field(gt=0.0, le=80.0)


class Array(Record):
    """[array]: how the modules lie and how they are wired."""

    module_count: int = Field(ge=1, le=5000)
    modules_in_series: int = Field(ge=1, le=60)
    orientation: Literal["portrait", "landscape"]
    rows: int = Field(ge=1, le=500)
    modules_up: int = Field(default=1, ge=1, le=6, description="modules one above another in a row")
    tilt_deg: float = Field(ge=0.0, le=90.0, description="from the horizontal")
    azimuth_deg: float = Field(ge=0.0, lt=360.0, description="0 north, 90 east, 180 south")
    row_pitch_m: float | None = Field(
        default=None, gt=0.0, le=100.0, description="on the roof; by the shadow rule if left out"
    )
    clear_from_solar_h: float = Field(default=9.0, ge=0.0, lt=12.0)
    clear_to_solar_h: float = Field(default=15.0, gt=12.0, le=24.0)
    module_gap_m: float = Field(default=0.02, ge=0.0, le=0.5)
    mounting: Literal["open-frame", "small-gap", "flush"]


class Soiling(Record):
    """[soiling]: dust between rains and washes."""

    loss_per_dry_day_frac: float = Field(default=0.0015, ge=0.0, le=0.05)
    cleaning_rain_mm: float = Field(default=6.0, ge=0.0, le=100.0, description="in one day")
    grace_days: int = Field(default=0, ge=0, le=60, description="after a rain, still no dust")
    max_loss_frac: float = Field(default=0.3, ge=0.0, le=0.9)
    cleaning_dates: list[str] = Field(default_factory=list, description='month-day, "04-01"')
    dry_months: list[int] = Field(
        default_factory=list, description="1 to 12; used only where the weather has no rain"
    )
    days_between_rains: int = Field(
        default=10, ge=1, le=366, description="outside dry months, where the weather has no rain"
    )

    @field_validator("cleaning_dates")
    @classmethod
    def _dates(cls, value: list[str]) -> list[str]:
        for day in value:
            if not _DAY.match(day) or day in ("02-29", "02-30", "02-31", "04-31", "06-31",
                                              "09-31", "11-31"):
                raise ValueError('each is "MM-DD", such as "04-01", a day every year has')
        return value

    @field_validator("dry_months")
    @classmethod
    def _months(cls, value: list[int]) -> list[int]:
        if any(not 1 <= month <= 12 for month in value) or len(set(value)) != len(value):
            raise ValueError("month numbers from 1 to 12, each once")
        return value


class Losses(Record):
    """[losses]: fixed fractions; the others are computed."""

    dc_wiring_frac: float = Field(default=0.015, ge=0.0, le=0.2, description="at full current")
    mismatch_frac: float = Field(default=0.01, ge=0.0, le=0.2)
    light_induced_frac: float = Field(default=0.015, ge=0.0, le=0.1)
    yearly_ageing_frac: float = Field(default=0.005, ge=0.0, le=0.05)
    age_years: float = Field(default=0.0, ge=0.0, le=40.0)


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
    roof: Roof
    module: Module
    array: Array
    rails: Rails = Field(default_factory=Rails)
    soiling: Soiling = Field(default_factory=Soiling)
    losses: Losses = Field(default_factory=Losses)
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
    "rails.stock_length_m": NO_SOURCE,
    "rails.overhang_m": NO_SOURCE,
    "rails.longest_run_m": f"joints about every 6 to 8 m; {NO_SOURCE}",
    "rails.foot_spacing_m": NO_SOURCE,
    "rails.mass_kg_per_m": f"aluminium rails of about 40 mm; {FROM_MEMORY}",
    "rails.foot_mass_kg": FROM_MEMORY,
    "soiling.loss_per_dry_day_frac": "Kimber et al. 2006, as the default of pvlib.soiling",
    "soiling.cleaning_rain_mm": "Kimber et al. 2006, as the default of pvlib.soiling",
    "soiling.grace_days": NO_SOURCE,
    "soiling.max_loss_frac": "Kimber et al. 2006, as the default of pvlib.soiling",
    "soiling.days_between_rains": NO_SOURCE,
    "losses.dc_wiring_frac": NO_SOURCE,
    "losses.mismatch_frac": NO_SOURCE,
    "losses.light_induced_frac": NO_SOURCE,
    "losses.yearly_ageing_frac": "Jordan and Kurtz 2013: median 0.5 % a year",
}
"""Where each numeric default of the site file comes from; printed under Assumptions."""
