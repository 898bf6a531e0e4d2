"""Tests at the end of the work and the logger's file a year later: [commissioning], [logger]."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from solarcalc.sitefile.base import Line, Record


class Commissioning(Record):
    """[commissioning]: the filled-in test sheet and how near is near enough."""

    results: Line = Field(default="", description="the sheet filled in, a CSV file; left out: none")
    current_test: Literal["short-circuit", "working"] = Field(
        default="short-circuit", description="short-circuit needs a switch made for it"
    )
    voltage_tolerance_frac: float = Field(default=0.05, gt=0.0, le=0.5)
    current_tolerance_frac: float = Field(default=0.05, gt=0.0, le=0.5)
    least_irradiance_w_m2: float = Field(
        default=400.0, ge=0.0, le=1000.0, description="W/m2; below it a current says little"
    )


class Logger(Record):
    """[logger]: what the logger wrote, and what its columns are called."""

    file: Line = Field(default="", description="a CSV file, from this file's folder; or none")
    columns: dict[str, str] = Field(
        default_factory=dict, description="our names: time, array_power, load_power, "
        "battery_power, battery_voltage, state_of_charge, irradiance, module_temp, air_temp"
    )
    power_unit: Literal["W", "kW", "Wh", "kWh", "kWh-total"] = Field(
        default="W", description="energy is that of the interval, or a running total"
    )
    utc_offset_h: float | None = Field(
        default=None, ge=-12.0, le=14.0, multiple_of=0.25, description="left out: the site's own"
    )
    time_label: Literal["start", "middle", "end"] = Field(default="start")
    weather: Literal["measured", "typical"] = Field(
        default="typical", description="measured: the irradiance in the file"
    )
