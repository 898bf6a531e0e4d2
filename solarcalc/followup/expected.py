"""What a clean, whole array gives in the light and heat of the record, through the harvest's model.

The light of the file is taken to be that on the plane of the array.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from solarcalc.basis.sourced import constant
from solarcalc.design import Design
from solarcalc.energy.diode import diode_curve
from solarcalc.energy.light import RowLight, cell_temperature_c
from solarcalc.energy.year import dc_power
from solarcalc.followup.clock import mid_step
from solarcalc.stages.array import balance_of
from solarcalc.stages.snow import snow_loss_of

Floats = NDArray[np.float64]

WIND_M_PER_S = constant("followup.wind_m_per_s")
PARTS_OF_YEAR = 36
"""About ten days each: the shade of a box on the roof moves faster than months do."""
CELL_ABOVE_BACK_K = constant("followup.cell_above_back_k")


@dataclass(frozen=True, kw_only=True, eq=False)
class DesignShare:
    """What the design leaves of the light on the plane, by part of the year and hour, without dust.

    Parameters
    ----------
    light : array (36, 24)
        Horizon, boxes, sky hidden by rows and glass, [0 to 1].
    power : array (36, 24)
        Share of the power that part shade of row on row leaves the strings, [0 to 1].
    air_c : array (36, 24)
        Air of the typical year [degC].
    snow : array (12,)
        Share of the power that the snow of a month leaves, [0 to 1].
    """

    light: Floats = field(repr=False)
    power: Floats = field(repr=False)
    air_c: Floats = field(repr=False)
    snow: Floats = field(repr=False)


def design_share(design: Design) -> DesignShare:
    """Shares of the design from its typical year, weighted by energy; dust is left out."""
    rows = design.light
    total = sum((row.share * row.light["total"] for row in rows), _none(design))
    clean = sum((row.share * _without_dust(row) for row in rows), _none(design))
    kept = sum((row.share * row.clean_frac * row.light["open"] for row in rows), _none(design))
    whole = sum((row.share * row.light["open"] for row in rows), _none(design))
    air_c = design.weather.hours["temp_air"]
    return DesignShare(
        light=_by_hour(clean, total), power=_by_hour(kept, whole),
        air_c=_by_hour(air_c, air_c * 0.0 + 1.0),
        snow=1.0 - np.array(snow_loss_of(design, design.array.rows)),
    )  # fmt: skip


def _none(design: Design) -> pd.Series:
    return pd.Series(0.0, index=design.weather.hours.index)


def _without_dust(row: RowLight) -> pd.Series:
    """Light on the cells that the row in front leaves open, as clean glass passes it."""
    dusted = row.light["after_dust"]
    clean: pd.Series = row.light["after_glass"] / dusted.where(dusted > 0.0, np.inf)
    return row.light["open"] * clean


def _by_hour(top: pd.Series, under: pd.Series) -> Floats:
    index = pd.DatetimeIndex(top.index)
    part = np.asarray((index.day_of_year - 1) * PARTS_OF_YEAR // 366)
    keys = [part, np.asarray(index.hour)]
    sums = top.groupby(keys).sum(), under.groupby(keys).sum()
    full = pd.MultiIndex.from_product([range(PARTS_OF_YEAR), range(24)])
    ratio = (sums[0] / sums[1].where(sums[1] > 0.0)).reindex(full).unstack()
    filled = ratio.ffill(axis=1).bfill(axis=1).fillna(1.0)
    return filled.to_numpy(float)


def _looked_up(table: Floats, index: pd.DatetimeIndex) -> Floats:
    """Value at the middle of each interval, straight between hours and parts of a year."""
    middle = mid_step(index)
    hour = np.asarray(middle.hour + middle.minute / 60.0, dtype=float) - 0.5
    low = np.floor(hour).astype(int)
    part = hour - low
    along = np.asarray((middle.day_of_year - 0.5) * PARTS_OF_YEAR / 366.0 - 0.5, dtype=float)
    early = np.floor(along).astype(int)
    later = along - early

    def of(number: NDArray[np.intp]) -> Floats:
        row = number % PARTS_OF_YEAR
        return np.asarray(table[row, low % 24] * (1.0 - part) + table[row, (low + 1) % 24] * part)

    return np.asarray(of(early) * (1.0 - later) + of(early + 1) * later)


def expected_power_w(
    design: Design, table: pd.DataFrame, share: DesignShare | None = None
) -> pd.Series:
    """Expected power of the site's array in the measured light [W], clean and whole.

    Parameters
    ----------
    design : Design
    table : DataFrame, shape (n,)
        ``irradiance_w_m2`` on the array's plane [W/m2]; ``module_temp_c`` or ``air_temp_c``
        [degC] where the file has them, else the typical year's air.
    share : DesignShare, optional

    Notes
    -----
    Light times the design's share, the module's diode model, part shade and the snow of the month
    (of a usual year: single days of snow are not followed), then ageing, mismatch, cables and
    tracking window as in the harvest. Cell = back + 3 K G / 1000 (King et al. 2004).
    """
    share = share or design_share(design)
    index, site = pd.DatetimeIndex(table.index), design.site
    light = table["irradiance_w_m2"] * _looked_up(share.light, index)
    cell_c = cell_of(design, table, share)
    known = light.notna() & cell_c.notna()
    curve = diode_curve(site.module, light.where(known, 0.0), cell_c.where(known, 25.0))
    left = _looked_up(share.power, index) * share.snow[mid_step(index).month.to_numpy() - 1]
    array = pd.DataFrame(
        {"p_w": curve["p_w"] * left, "v_v": curve["v_v"],
         "light_w_m2": light.where(known, 0.0), "lit_cell_c": cell_c.where(known, 25.0)},
        index=index,
    )
    power: pd.Series = dc_power(array, site.module, balance_of(design))["tracked"]
    return power.where(known)


def cell_of(design: Design, table: pd.DataFrame, share: DesignShare) -> pd.Series:
    """Cell temperature [degC]: measured where the file has it, else modelled from the air.

    One value for each interval of the logger.
    """
    light = table["irradiance_w_m2"]
    modelled = modelled_cell_c(design, table, share)
    if "module_temp_c" not in table:
        return modelled
    measured = table["module_temp_c"] + float(CELL_ABOVE_BACK_K) * light / 1000.0
    return measured.where(measured.notna(), modelled)


def modelled_cell_c(design: Design, table: pd.DataFrame, share: DesignShare) -> pd.Series:
    """Cell temperature by the design's mounting in the measured light [degC].

    One value for each interval of the logger.
    """
    index, array = pd.DatetimeIndex(table.index), design.site.array
    typical = pd.Series(_looked_up(share.air_c, index), index=index)
    air = table["air_temp_c"].where(table["air_temp_c"].notna(), typical) \
        if "air_temp_c" in table else typical  # fmt: skip
    hours = pd.DataFrame({"temp_air": air, "wind_speed": float(WIND_M_PER_S)}, index=index)
    return cell_temperature_c(
        table["irradiance_w_m2"], hours, mounting=array.mounting, gap_under_m=array.gap_under_m
    )


def typical_months(power_w: pd.Series, design_dc_w: pd.Series) -> pd.DataFrame:
    """Measured energy of months against those of the design's typical year.

    A month counts with 25 days of values; energy is scaled to the whole month. The ninth tenth
    of the days compares clear days, which differ less from year to year than means do.

    Parameters
    ----------
    power_w : Series, shape (n,)
        Measured array power [W], regular.
    design_dc_w : Series, shape (8760,)
        Of the design [W].

    Returns
    -------
    DataFrame, one row a month
        ``measured_kwh``, ``design_kwh``, ``ratio``, ``clear_ratio``.
    """
    step_h = (power_w.index[1] - power_w.index[0]).total_seconds() / 3600.0
    day = pd.DatetimeIndex(power_w.index).normalize()
    per_day = power_w.groupby(day)
    known = per_day.count() >= 0.9 * round(24.0 / step_h)
    daily = (per_day.mean() * 24.0 / 1000.0)[known]
    design = design_dc_w.groupby(pd.DatetimeIndex(design_dc_w.index).normalize()).sum() / 1000.0
    month = pd.DatetimeIndex(design.index).month
    rows = {}
    stamps = pd.DatetimeIndex(daily.index)
    for (year, number), days in daily.groupby([stamps.year, stamps.month]):
        if len(days) >= 25:
            typical = design[month == number]
            measured = float(days.mean()) * len(typical)
            rows[f"{year}-{number:02d}"] = (
                measured, float(typical.sum()), measured / float(typical.sum()),
                float(days.quantile(0.9) / typical.quantile(0.9)),
            )  # fmt: skip
    names = ["measured_kwh", "design_kwh", "ratio", "clear_ratio"]
    return pd.DataFrame.from_dict(rows, orient="index", columns=names)
