"""The battery bank: [battery]."""

from __future__ import annotations

from itertools import pairwise

from pydantic import Field, ValidationInfo, field_validator

from solarcalc.sitefile.base import Fraction, Name, Record, rising
from solarcalc.sitefile.chemistry import Chemistry, ChemistryKey, chemistries

FEWEST_RATES = 3
"""Capacities a table needs: two wells and the pace between them are three unknowns."""


class Battery(Record):
    """[battery]: one bank that serves both boards."""

    label: Name
    chemistry: ChemistryKey
    unit_voltage_v: float = Field(gt=0.0, le=1000.0)
    unit_capacity_ah: float = Field(gt=0.0, le=10000.0)
    rated_hours: float | None = Field(
        default=None, gt=0.0, le=240.0,
        description="h, discharge time of unit_capacity_ah; left out: as usual for the kind",
    )
    discharge_hours: list[float] = Field(
        default_factory=list,
        description="h, times of the sheet's table of capacities, rising; lead-acid",
    )
    discharge_capacity_ah: list[float] = Field(
        default_factory=list, validate_default=True, description="Ah of one unit in those times"
    )
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
    life_depth_frac: list[float] = Field(
        default_factory=list,
        description="depths of the sheet's table of cycles, rising, above 0 to 1",
    )
    life_cycles: list[float] = Field(
        default_factory=list, validate_default=True, description="cycles to the end at those depths"
    )
    life_years: float | None = Field(
        default=None, gt=0.0, le=50.0, description="years at rest at 20 degC, lithium at 25"
    )
    room_c: float | None = Field(
        default=None, ge=-40.0, le=60.0,
        description="degC, of a room kept so; left out: the room follows the air outdoors",
    )
    room_swing_frac: Fraction = Field(
        default=0.3, description="share of the air's swing around its mean of 24 h that comes in"
    )
    room_above_k: float = Field(
        default=2.0, ge=-20.0, le=40.0, description="K above that mean"
    )

    @property
    def traits(self) -> Chemistry:
        """What its kind is."""
        return chemistries()[self.chemistry]

    @property
    def rated_time_h(self) -> float:
        """Discharge time of the rated capacity [h]: the site file's, or as usual for the kind."""
        return self.rated_hours or self.traits.rate.rated_hours

    @property
    def unit_cells(self) -> int:
        """Cells one after another inside one unit."""
        return self.traits.cells(self.unit_voltage_v)

    @property
    def cells_in_series(self) -> int:
        """Cells one after another from the bank's plus to its minus."""
        return self.unit_cells * self.units_in_series

    @property
    def unit_wh(self) -> float:
        """Rated energy of one unit [Wh]."""
        return self.unit_voltage_v * self.unit_capacity_ah

    @property
    def unit_count(self) -> int:
        """Units of all strings."""
        return self.units_in_series * self.units_in_parallel

    @property
    def nominal_voltage_v(self) -> float:
        """Nominal voltage of the bank [V]."""
        return self.unit_voltage_v * self.units_in_series

    @property
    def rated_ah(self) -> float:
        """Rated capacity of the bank [Ah]."""
        return self.unit_capacity_ah * self.units_in_parallel

    @property
    def rated_wh(self) -> float:
        """Rated energy of the bank [Wh]."""
        return self.rated_ah * self.nominal_voltage_v

    @field_validator("discharge_hours")
    @classmethod
    def _rising(cls, value: list[float]) -> list[float]:
        sound = rising(value) and all(hours > 0.0 for hours in value)
        if not sound or 0 < len(value) < FEWEST_RATES:
            raise ValueError(
                f"a list of at least {FEWEST_RATES} numbers above 0, each above the one before it"
            )
        return value

    @field_validator("life_depth_frac")
    @classmethod
    def _deeper(cls, value: list[float]) -> list[float]:
        if not rising(value) or any(not 0.0 < depth <= 1.0 for depth in value) or len(value) == 1:
            raise ValueError(
                "a list of two or more numbers, rising, above 0 to 1; or left out"
            )
        return value

    @field_validator("life_cycles")
    @classmethod
    def _fewer(cls, value: list[float], info: ValidationInfo) -> list[float]:
        depths = info.data.get("life_depth_frac")
        if depths is not None and len(depths) != len(value):
            raise ValueError(
                f"as many numbers as there are in battery.life_depth_frac, which has {len(depths)}"
            )
        if any(low <= high for low, high in pairwise(value)) or any(n <= 0.0 for n in value):
            raise ValueError("a list of numbers above 0, each below the one before it")
        return value

    @field_validator("discharge_capacity_ah")
    @classmethod
    def _one_a_time(cls, value: list[float], info: ValidationInfo) -> list[float]:
        hours = info.data.get("discharge_hours")
        if hours is not None and len(hours) != len(value):
            raise ValueError(
                f"as many numbers as there are in battery.discharge_hours, which has {len(hours)}"
            )
        if any(capacity <= 0.0 for capacity in value):
            raise ValueError("a list of numbers above 0")
        return value
