"""Snow on the modules and before them, by month: what it takes of the power, what it throws back.

By totals of a month, as weather services print them; single days of snow are not followed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
import pvlib

from solarcalc.basis.sourced import constant
from solarcalc.sitefile.snow import EVENT_CM, Snow
from solarcalc.sitefile.weather import MONTH_DAYS

MonthFigures = tuple[float, ...]
SNOW_MODEL = constant("snow.model")
COLD_C = float(constant("snow.cold_c"))
DRY_MONTH_MM = float(constant("snow.unknown_rain_mm"))
SNOW_OF_WATER = float(constant("snow.snow_of_water"))
CM_AN_EVENT = float(constant("snow.cm_an_event"))
HUMIDITY_PCT = float(constant("snow.humidity_pct"))
SEVERAL_STRINGS = float(constant("snow.several_strings"))
_LEAST_LIGHT_WH = 1.0


@dataclass(frozen=True, kw_only=True)
class SnowYear:
    """Snow of a place by month, January first.

    Parameters
    ----------
    fall_cm, events, humidity_pct, air_c : tuple of float
        Fresh snow [cm], days with an event, relative humidity [%], air [degC].
    assumed : bool
        Nobody gave the snowfall.
    """

    fall_cm: MonthFigures
    events: MonthFigures
    humidity_pct: MonthFigures
    air_c: MonthFigures
    assumed: bool

    @property
    def falls(self) -> bool:
        """Whether there is any."""
        return any(cm > 0.0 for cm in self.fall_cm)


@dataclass(frozen=True, kw_only=True)
class Table:
    """A row as snow meets it: tilt [deg], width up its slope [m], height of its lower edge [m].

    ``several`` strings lie one above another, so that the upper ones work before the lower.
    """

    tilt_deg: float
    slant_m: float
    lower_edge_m: float
    several: bool


def snow_year_of(
    plan: Snow, hours: pd.DataFrame, humidity_pct: Sequence[float] | None = None
) -> SnowYear:
    """Snow of a place by its site file, and where that says nothing, by its air and rain.

    Parameters
    ----------
    plan : Snow
    hours : DataFrame, shape (8760,)
        Weather; ``temp_air`` [degC], ``precipitation`` [mm] where it has it.
    humidity_pct : sequence of float, optional
        Of the weather file, by month [%].
    """
    air = hours["temp_air"].groupby(pd.DatetimeIndex(hours.index).month).mean()
    fall = assumed_snowfall_cm(hours) if plan.snowfall_cm is None else tuple(plan.snowfall_cm)
    events = plan.events or [cm / CM_AN_EVENT for cm in fall]
    humidity = plan.humidity_pct or humidity_pct or [HUMIDITY_PCT] * 12
    return SnowYear(fall_cm=fall, events=tuple(events), humidity_pct=tuple(humidity),
                    air_c=tuple(air.tolist()), assumed=plan.snowfall_cm is None)


def assumed_snowfall_cm(hours: pd.DataFrame) -> MonthFigures:
    """Snowfall by month where nobody gave it [cm]: the month's water, by its share of cold hours.

    None where it never freezes, nor in months with less than one event. The share of the hours
    is taken, not the rain in them: gauges stand still in frost. Of three places with a published
    snowfall it gives 1.4 and 1.3 times as much, and at Denver, whose gauge has hardly any water
    in winter, a fifteenth.
    """
    month = pd.DatetimeIndex(hours.index).month
    if hours["temp_air"].min() > 0.0:
        return (0.0,) * 12
    cold = (hours["temp_air"] <= COLD_C).groupby(month).mean().to_numpy(float)
    water = np.full(12, DRY_MONTH_MM)
    if "precipitation" in hours:
        water = hours["precipitation"].groupby(month).sum().to_numpy(float)
    fall = cold * water * SNOW_OF_WATER / 10.0
    return tuple(np.where(fall >= EVENT_CM, fall, 0.0).tolist())


def snow_loss_frac(
    year: SnowYear, table: Table, light_kwh_m2: Sequence[float] | np.ndarray
) -> MonthFigures:
    """Share of each month's power that snow on the modules takes, [0 to 1].

    Parameters
    ----------
    year : SnowYear
    table : Table
    light_kwh_m2 : sequence of float
        On the plane of the modules by month [kWh/m2].

    Notes
    -----
    Townsend and Powers 2011 through pvlib: December's snow lies on into January. A month without
    light loses nothing.
    """
    light = 1000.0 * np.asarray(light_kwh_m2, float)
    loss = pvlib.snow.loss_townsend(
        np.array(year.fall_cm), np.array(year.events), table.tilt_deg,
        np.array(year.humidity_pct), np.array(year.air_c), np.maximum(light, _LEAST_LIGHT_WH),
        table.slant_m, table.lower_edge_m, SEVERAL_STRINGS if table.several else 1.0,
    )  # fmt: skip
    return tuple(np.where(light > _LEAST_LIGHT_WH, loss, 0.0).tolist())


def albedo_by_month(
    ground_frac: float, snow_frac: float, ground_days: Sequence[float] | None
) -> MonthFigures:
    """Reflectance before the modules by month, [0 to 1], snow by the days that it lies.

    Examples
    --------
    >>> [round(one, 2) for one in albedo_by_month(0.2, 0.8, [31, 14, *[0] * 10])[:3]]
    [0.8, 0.5, 0.2]
    """
    days = ground_days or [0.0] * 12
    shares = [min(lying / most, 1.0) for lying, most in zip(days, MONTH_DAYS, strict=True)]
    return tuple((1.0 - share) * ground_frac + share * snow_frac if share else ground_frac
                 for share in shares)


def by_hour(figures: Sequence[float], index: pd.DatetimeIndex) -> pd.Series:
    """The figure of its month in each hour, shape (n,)."""
    return pd.Series(np.asarray(figures, float)[index.month.to_numpy() - 1], index=index)
