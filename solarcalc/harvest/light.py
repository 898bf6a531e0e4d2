"""The light that reaches the cells: after shade, hidden sky, glass and dust; and their heat."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import pandas as pd
import pvlib

from solarcalc import shading
from solarcalc.basis.sourced import Sourced
from solarcalc.roof import Rows
from solarcalc.sitefile.records import Array, Module

GLASS_MODEL = Sourced(
    label="Incidence-angle loss",
    value="physical glass model on beam and circumsolar, its integral on sky and ground",
    unit="",
    source="De Soto et al. 2006 and Marion 2017, through pvlib.iam",
)
HEAT_MODEL = Sourced(
    label="Cell temperature",
    value="King et al., coefficients by mounting",
    unit="",
    source="King et al. 2004, SAND2004-3535, through pvlib.temperature",
)
_HEAT_CASE = {
    "open-frame": "open_rack_glass_polymer",
    "small-gap": "close_mount_glass_glass",
    "flush": "insulated_back_glass_polymer",
}
"""Published mounting whose coefficients stand for ours."""

LIGHT_STEPS = ("total", "after_shade", "after_mask", "after_glass", "after_dust")


@dataclass(frozen=True, kw_only=True)
class Setup:
    """An array as it stands: the module, its rows, their pitch and how many there are."""

    module: Module
    array: Array
    rows: Rows
    pitch_m: float
    row_count: int


@dataclass(frozen=True, kw_only=True)
class RowLight:
    """Light on one class of rows.

    ``share`` of the modules [0 to 1]; ``light`` with the columns `LIGHT_STEPS` [W/m2];
    ``cell_c`` the cell temperature [degC]; all by hour.
    """

    share: float
    light: pd.DataFrame
    cell_c: pd.Series


def light_on_rows(
    light: pd.DataFrame,
    sun: pd.DataFrame,
    hours: pd.DataFrame,
    setup: Setup,
    *,
    dust_frac: pd.Series,
) -> tuple[RowLight, ...]:
    """Light on the front row, and on the rows behind it where there are any.

    Parameters
    ----------
    light : DataFrame, shape (n,)
        From `solarcalc.sky.plane_light`.
    sun, hours : DataFrame, shape (n,)
        Sun angles and weather of the same hours.
    setup : Setup
    dust_frac : Series, shape (n,)
        Share of light lost to dust, [0 to 1].

    Returns
    -------
    tuple of RowLight
        Shares add up to 1. The front row has no row before it; the others share one shade.
    """
    rows = setup.rows
    seen = (~shading.roof_hides_sun(rows, sun)).astype(float)
    front = _row_light(light, hours, setup, kept=seen, sky=1.0, dust=dust_frac)
    if setup.row_count == 1:
        return (_with_share(front, 1.0),)
    fraction = shading.shaded_fraction(rows, sun, pitch_m=setup.pitch_m)
    kept = seen * shading.beam_kept_frac(
        fraction,
        shading.blocks_of(setup.module, rows.orientation),
        modules_up=rows.modules_up,
        modules_in_series=setup.array.modules_in_series,
    )
    sky = shading.sky_seen_frac(rows, pitch_m=setup.pitch_m)
    behind = _row_light(light, hours, setup, kept=kept, sky=sky, dust=dust_frac)
    in_front = 1.0 / setup.row_count
    return _with_share(front, in_front), _with_share(behind, 1.0 - in_front)


def glass_factors(aoi_deg: pd.Series, tilt_deg: float) -> tuple[pd.Series, float, float]:
    """Share of beam (by hour), of sky and of ground light that passes the glass, [0 to 1]."""
    return pvlib.iam.physical(aoi_deg), *_diffuse_glass(tilt_deg)


@lru_cache(maxsize=256)
def _diffuse_glass(tilt_deg: float) -> tuple[float, float]:
    passed = pvlib.iam.marion_diffuse("physical", tilt_deg)
    return float(passed["sky"]), float(passed["ground"]) if tilt_deg > 0.0 else 0.0


def cell_temperature_c(
    light_w_m2: pd.Series, hours: pd.DataFrame, *, mounting: str
) -> pd.Series:
    """Cell temperature [degC] by mounting.

    Notes
    -----
    T = T_air + G exp(a + b wind) + dT G / 1000, King et al. 2004, with the published a, b, dT
    of an open rack, a close roof mount and an insulated back.
    """
    figures = pvlib.temperature.TEMPERATURE_MODEL_PARAMETERS["sapm"][_HEAT_CASE[mounting]]
    cell: pd.Series = pvlib.temperature.sapm_cell(
        light_w_m2, hours["temp_air"], hours["wind_speed"], **figures
    )
    return cell


def _row_light(
    light: pd.DataFrame,
    hours: pd.DataFrame,
    setup: Setup,
    *,
    kept: pd.Series,
    sky: float,
    dust: pd.Series,
) -> RowLight:
    direct = light["beam"] + light["circumsolar"]
    beam_glass, sky_glass, ground_glass = glass_factors(light["aoi_deg"], setup.rows.tilt_deg)
    steps = pd.DataFrame(index=light.index)
    steps["total"] = light["total"]
    steps["after_shade"] = direct * kept + light["sky"] + light["ground"]
    steps["after_mask"] = direct * kept + light["sky"] * sky + light["ground"]
    steps["after_glass"] = (
        direct * kept * beam_glass
        + light["sky"] * (sky * sky_glass)
        + light["ground"] * ground_glass
    )
    steps["after_dust"] = steps["after_glass"] * (1.0 - dust.to_numpy())
    cell_c = cell_temperature_c(steps["after_mask"], hours, mounting=setup.array.mounting)
    return RowLight(share=1.0, light=steps, cell_c=cell_c)


def _with_share(row: RowLight, share: float) -> RowLight:
    return RowLight(share=share, light=row.light, cell_c=row.cell_c)
