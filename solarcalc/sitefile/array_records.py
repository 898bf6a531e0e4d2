"""The roof and what lies on it: [roof], [rails], [module], [array]."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, ValidationInfo, field_validator

from solarcalc.basis.sourced import constant
from solarcalc.sitefile.base import Fraction, Name, Record

COLUMNS_PER_DIODE = int(constant("circuit.columns_per_diode"))
"""Columns of cells behind one bypass diode where the site file gives none: common practice."""


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
    cell_columns: int | None = Field(
        default=None, ge=1, le=24, description="along the long side; two a bypass diode if left out"
    )
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
    string_path: Literal["along-row", "layer-by-layer", "across-rows"] = Field(
        default="along-row", description="which modules share a string"
    )
    mounting: Literal["open-frame", "small-gap", "flush"]
    gap_under_m: float | None = Field(
        default=None, ge=0.0, le=1.0, description="modules to roof; with small-gap only"
    )

    @property
    def string_count(self) -> int:
        """Strings in parallel."""
        return self.module_count // self.modules_in_series

    @field_validator("gap_under_m")
    @classmethod
    def _small_gap_only(cls, value: float | None, info: ValidationInfo) -> float | None:
        if value is not None and info.data.get("mounting", "small-gap") != "small-gap":
            raise ValueError('left out, or used with mounting = "small-gap"')
        return value
