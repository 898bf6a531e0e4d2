"""The records a site file becomes: one frozen record a table, units last in every name.

The tables of place, roof, dust, loads, battery and supply stand in files of their own; all are had
from here as well.
"""

from __future__ import annotations

from pydantic import Field

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
from solarcalc.sitefile.followup_records import Commissioning, Logger
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
from solarcalc.sitefile.programme_records import Programme, Task
from solarcalc.sitefile.quote_records import Alternative, Firm, Quote
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
