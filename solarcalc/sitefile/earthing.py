"""What protects people and equipment: [protection], [soil], [earthing]."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

from pydantic import Field, ValidationInfo, field_validator

from solarcalc.basis.errors import Fault
from solarcalc.basis.worded import worded
from solarcalc.sitefile.base import Record, Sound, check_one_each, rising


class Protection(Record):
    """[protection]: devices and how the neutral is tied to earth."""

    system: Literal["TT", "TN-S", "IT"] = Field(
        default="TT", description="of the boards, as IEC 60364-1 names them"
    )
    neutral_earth_bond: Literal["at-inverter", "at-changeover", "at-grid", "nowhere"] = Field(
        default="at-inverter", description="the single neutral-earth bond"
    )
    changeover: Literal["none", "manual", "automatic", "built-in"] = Field(
        default="built-in",
        description="between grid, inverter and generator; must not connect two sources together"
    )
    breaker_curve: Literal["B", "C", "D"] = Field(default="C", description="IEC 60898-1")
    residual_ma: float = Field(
        default=30.0, ge=10.0, le=1000.0,
        description="one of 10, 30, 100, 300, 500, 1000; trips at it",
    )
    ac_fault_ka: float = Field(
        default=3.0, gt=0.0, le=100.0,
        description="of the grid at the service entrance; ask the grid operator"
    )
    battery_fault_a: float | None = Field(
        default=None, gt=0.0, le=200000.0,
        description="short-circuit current of one battery string, from its data sheet; default:"
        " by its kind",
    )
    string_fuse_max_a: float = Field(
        default=20.0, gt=0.0, le=100.0, description="maximum fuse rating on the module data sheet"
    )
    thunderstorm_days: float = Field(default=40.0, ge=0.0, le=300.0, description="days per year")
    lightning_protection: bool = Field(
        default=False, description="whether the building has a lightning protection system (LPS)"
    )
    surge_lead_m: float = Field(
        default=0.5, gt=0.0, le=10.0,
        description="both leads of a surge protective device together, half of it to the line",
    )
    surge_backup_a: float | None = Field(
        default=None, gt=0.0, le=1000.0,
        description="maximum backup fuse on the rating plate of the boards' surge protective"
        " devices; default: 125",
    )

    @field_validator("residual_ma")
    @classmethod
    def _made(cls, value: float) -> float:
        if value not in RESIDUAL_MA:
            raise ValueError("one of " + ", ".join(f"{each:g}" for each in RESIDUAL_MA) + " mA")
        return value


RESIDUAL_MA = (10.0, 30.0, 100.0, 300.0, 500.0, 1000.0)
"""Rated residual currents that are made [mA] (IEC 61008-1 and 60755, from memory)."""

SoilKind = Literal["marsh", "clay", "clay-with-sand", "sand", "gravel", "rock"]


class Soil(Record):
    """[soil]: what earth electrodes stand in, by a four-pin test or by its kind."""

    kind: SoilKind = Field(default="clay-with-sand", description="used where there is no test")
    spacing_m: list[float] = Field(
        default_factory=list, description="electrode spacing, rising"
    )
    resistance_ohm: list[float] = Field(
        default_factory=list, validate_default=True, description="read at each spacing"
    )
    tested_when: Literal["wet", "mild", "dry"] = Field(
        default="mild", description="season of the test; the worst season is calculated from it"
    )

    @field_validator("spacing_m")
    @classmethod
    def _wider(cls, value: list[float]) -> list[float]:
        if any(not 0.1 <= each <= 100.0 for each in value) or not rising(value):
            raise ValueError("a list of numbers from 0.1 to 100 m, rising; or left out")
        return value

    @field_validator("resistance_ohm")
    @classmethod
    def _one_a_spacing(cls, value: list[float], info: ValidationInfo) -> list[float]:
        check_one_each(value, "soil.spacing_m", info)
        if any(not 0.0 < each <= 100000.0 for each in value):
            raise ValueError("a list of numbers above 0 up to 100000 Ω")
        return value


class Earthing(Record):
    """[earthing]: the electrode, and what is joined to it."""

    electrode: Literal["rods", "strip", "ring"] = Field(default="rods")
    rod_length_m: float = Field(default=2.4, gt=0.3, le=30.0, description="of one rod")
    rod_diameter_mm: float = Field(default=16.0, ge=9.0, le=100.0)
    rod_count: int = Field(default=1, ge=1, le=24, description="in one line")
    rod_spacing_m: float = Field(default=2.4, gt=0.1, le=60.0, description="from rod to rod")
    conductor_m: float = Field(
        default=20.0, gt=0.5, le=1000.0, description="of strip, or around the ring"
    )
    conductor_mm: float = Field(
        default=8.0, ge=4.0, le=60.0, description="diameter; of a flat strip half its width"
    )
    conductor_depth_m: float = Field(default=0.5, gt=0.05, le=5.0, description="below the surface")
    touch_limit_v: float = Field(
        default=50.0, description="50, or 25 where it is wet, for animals or in care"
    )
    target_ohm: float | None = Field(
        default=None, gt=0.0, le=10000.0, description="required; default: by the rules"
    )
    measured_ohm: float | None = Field(
        default=None, gt=0.0, le=100000.0, description="of the earth electrode as built"
    )
    bar_to_modules_m: float = Field(
        default=20.0, gt=0.0, le=2000.0,
        description="protective conductor, along its route; default: no less than runs.dc_main",
    )
    bar_to_electrode_m: float = Field(
        default=5.0, gt=0.0, le=500.0, description="protective conductor, along its route"
    )

    @field_validator("touch_limit_v")
    @classmethod
    def _limit(cls, value: float) -> float:
        if value not in (25.0, 50.0):
            raise ValueError("50 or 25 V")
        return value


DEEPEST_SHARE = 0.25
"""Depth over length up to which the formulas of strip and ring hold; see earthing.formulas."""


def earthing_faults(sound: Sound) -> Iterator[Fault]:
    """A strip or ring deeper than a quarter of its length."""
    kind, length, depth = (
        sound.get("earthing", name) for name in ("electrode", "conductor_m", "conductor_depth_m")
    )
    if None in (kind, length, depth) or kind == "rods" or depth <= DEEPEST_SHARE * length:
        return
    yield sound.fault(("earthing", "conductor_depth_m"), **worded(
        "sitefile", "deep-conductor", depth=depth, length=length,
        most_m=DEEPEST_SHARE * length,
    ))  # fmt: skip
