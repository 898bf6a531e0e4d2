"""The battery bank: [battery]."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from solarcalc.sitefile.base import Fraction, Name, Record


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
