"""What turns and steers the power: [controller], [inverter.critical], [inverter.heavy]."""

from __future__ import annotations

from pydantic import Field

from solarcalc.sitefile.base import Name, Record


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
