"""Dust on the modules through the year: what settles, what takes it off, what it costs in light.

Dust adds up by a rate a dry day or by the particulates of the air; the strip is the dirt above
the lower frame of a near-flat module.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache

import numpy as np
import pandas as pd
import pvlib

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.keys import Same
from solarcalc.basis.sourced import Sourced, constant
from solarcalc.circuit.module import Cells, Orientation
from solarcalc.circuit.strings import Strung, along_row
from solarcalc.circuit.table import power_kept_frac
from solarcalc.sitefile.losses import Soiling

G_OF_UG = 1e-6
_CLEANS = 1.0


def clean_hours(
    rain_mm: pd.Series, *, threshold_mm: float, grace_hours: int = 1, rain_hours: int = 24,
    cleanings: Sequence[pd.Timestamp] = (),
) -> pd.Series:  # fmt: skip
    """Hours in which the modules are clean: after enough rain, and when they are washed.

    The same rule as in the library's dry-day model, so that both models are cleaned alike.

    Parameters
    ----------
    rain_mm : Series, shape (n,)
        By hour [mm], on an index without a zone.
    threshold_mm : float
        Rain above which the modules are clean [mm].
    grace_hours : int
        Hours after such a rain in which nothing settles, its own counted in; at least 1.
    rain_hours : int
        Hours over which the rain is added up.
    cleanings : sequence of Timestamp
        Hours of washing; dust settles again at once.
    """
    fell = rain_mm.rolling(pd.Timedelta(hours=rain_hours), closed="right").sum()
    enough = (fell > threshold_mm).astype(float)
    clean: pd.Series = enough.rolling(pd.Timedelta(hours=grace_hours), closed="right").sum() > 0.0
    clean.loc[list(cleanings)] = True
    return clean


def loss_of_particulates(
    clean: pd.Series, *, pm2_5_ug_m3: np.ndarray | float, pm10_ug_m3: np.ndarray | float,
    tilt_deg: float,
) -> pd.Series:  # fmt: skip
    """Share of the light lost to dust from the air, [0 to 1].

    Parameters
    ----------
    clean : Series of bool, shape (n,)
        From `clean_hours`; the first hour's dust is that of one hour.
    pm2_5_ug_m3, pm10_ug_m3 : float or array (n,)
        Particulates finer than 2.5 and 10 um in the air [ug/m3]; the latter hold the former.
    tilt_deg : float
        Of the modules [deg].

    Notes
    -----
    Coello and Boyle 2019: loss = 0.3437 erf(0.17 w^0.8473), w [g/m2] the mass that settled at
    0.0009 m/s (finer than 2.5 um) and 0.004 m/s (the rest), times the cosine of the tilt. So
    never more than 0.34; held up by measurement to about 10 g/m2.
    """
    ratio: pd.Series = pvlib.soiling.hsu(
        clean * _CLEANS,  # as a rain that is at the threshold in those hours and in no others
        cleaning_threshold=_CLEANS,
        surface_tilt=tilt_deg,
        pm2_5=G_OF_UG * pm2_5_ug_m3,
        pm10=G_OF_UG * pm10_ug_m3,
        rain_accum_period=pd.Timedelta(hours=1),
    )
    return 1.0 - ratio


DUST_MODEL = constant("soiling.dust_model")
PARTICULATE_MODEL = constant("soiling.particulate_model")
TILT_DEG = (0.0, 15.0, 30.0, 45.0, 60.0)
TILT_LOSS_PERCENT = (64.0, 48.0, 38.0, 30.0, 17.0)
SHORTEST_GRACE_DAYS = 1.0 / 24.0
"""One hourly step: what pvlib's model needs for a grace of none."""
RATE_TILT_DEG = constant("soiling.rate_tilt_deg")


def dust_model(plan: Soiling) -> Sourced:
    """The dust model of a plan, with its source."""
    return MODELS[plan.model][0]


def dust_by_tilt(tilt_deg: float) -> float:
    """Dust that settles at a tilt [deg], as a multiple of that at the rate's own tilt.

    Straight lines between the published tilts; held at the last one above 60 deg. It is the
    first model of what makes near-flat modules dirtier; the dirt band above the lower
    frame is `solarcalc.soiling`.
    """
    at_tilt, at_rate = np.interp([tilt_deg, float(RATE_TILT_DEG)], TILT_DEG, TILT_LOSS_PERCENT)
    return float(at_tilt / at_rate)


def rain_for_cleaning_mm(hours: pd.DataFrame, plan: Soiling) -> pd.Series:
    """Hourly rain [mm]: the weather's own, or one cleaning rain every so many days.

    Where the weather has no rain the site file says which months are dry and how many days
    pass between cleaning rains in the others.
    """
    if "precipitation" in hours:
        return hours["precipitation"]
    index = pd.DatetimeIndex(hours.index)
    day = np.arange(len(index)) // 24
    first_hour = np.arange(len(index)) % 24 == 0
    wet = ~index.month.isin(plan.dry_months)
    rains = wet & first_hour & (day % plan.days_between_rains == 0)
    return pd.Series(np.where(rains, plan.cleaning_rain_mm + 1.0, 0.0), index=index)


def rate_per_dry_day_frac(hours: pd.DataFrame, plan: Soiling) -> np.ndarray:
    """Loss a dry day at the rate's own tilt, by hour, shape (n,), [0 to 1]: that of its season."""
    in_season = pd.DatetimeIndex(hours.index).month.isin(plan.dust_season_months)
    result: np.ndarray = np.where(
        in_season, plan.dust_season_loss_per_dry_day_frac, plan.loss_per_dry_day_frac
    )
    return result


@dataclass(frozen=True, kw_only=True, eq=False)
class TwoYears:
    """Two like years of rain by hour [mm], on an index without a zone, and the days of washing.

    The second is the one that is told: 1 January starts with the dust of 31 December and with
    the damp ground of its rain.
    """

    rain_mm: pd.Series
    cleanings: list[pd.Timestamp]


def two_years(hours: pd.DataFrame, plan: Soiling) -> TwoYears:
    """Two like years of a site's rain and washing.

    `hours`: one row an hour; the series of the result have 17520.
    """
    index = pd.DatetimeIndex(hours.index).tz_localize(None)  # what pvlib's models can read
    days = pd.DatetimeIndex([_midnight(day, index) for day in plan.cleaning_dates])
    cleanings = list(index[index.get_indexer(days, method="nearest")])
    year = pd.Timedelta(days=len(index) / 24.0)
    rain = np.tile(rain_for_cleaning_mm(hours, plan).to_numpy(float), 2)
    return TwoYears(
        rain_mm=pd.Series(rain, index=index.append(index + year)),
        cleanings=[*cleanings, *(cleaning + year for cleaning in cleanings)],
    )


def soiling_loss_frac(hours: pd.DataFrame, plan: Soiling, *, tilt_deg: float) -> pd.Series:
    """Share of the light lost to dust, by hour, [0 to 1].

    Parameters
    ----------
    hours : DataFrame, shape (8760,)
        Weather; its ``precipitation`` [mm] is used where present.
    plan : Soiling
    tilt_deg : float
        Of the modules [deg].

    Returns
    -------
    Series, shape (8760,)
        The second of two like years, so that 1 January starts with the dust of 31 December
        and with the damp ground of its rain. Where nothing cleans all year the dust still
        grows and the second year is what is told.

    Notes
    -----
    By dry days: the rate of the hour's season adds up, as Kimber et al. 2006 with a rate that
    changes with the month. By particulates: the loss of Coello and Boyle 2019 at the tilt the
    rate is stated for, times `dust_by_tilt`, since their own change with tilt is the cosine
    alone: 6 % from flat to 20 deg, where plates and modules left outside differ by half or more.
    """
    loss = np.minimum(_at_rate_tilt(Same(hours), plan) * dust_by_tilt(tilt_deg), plan.max_loss_frac)
    return pd.Series(loss, index=hours.index, name="soiling_loss_frac")


@lru_cache(maxsize=16)
def _at_rate_tilt(hours: Same, plan: Soiling) -> np.ndarray:
    """The loss at the rate's own tilt, however high it grows.

    Kept: at other tilts there is as much more or less in each hour.
    """
    _, loss_by_hour = MODELS[plan.model]
    loss = loss_by_hour(hours.table, plan, two_years(hours.table, plan))
    return loss[len(hours.table) :]


def _by_dry_days(hours: pd.DataFrame, plan: Soiling, years: TwoYears) -> np.ndarray:
    """The library spreads the rate over the hours, so it may be one for each hour."""
    loss: pd.Series = pvlib.soiling.kimber(
        years.rain_mm,
        cleaning_threshold=plan.cleaning_rain_mm,
        soiling_loss_rate=np.tile(rate_per_dry_day_frac(hours, plan), 2),
        grace_period=plan.grace_days or SHORTEST_GRACE_DAYS,
        max_soiling=np.inf,
        manual_wash_dates=years.cleanings or None,
    )
    return loss.to_numpy()


def _by_particulates(hours: pd.DataFrame, plan: Soiling, years: TwoYears) -> np.ndarray:
    clean = clean_hours(
        years.rain_mm,
        threshold_mm=plan.cleaning_rain_mm,
        grace_hours=24 * plan.grace_days or 1,
        cleanings=years.cleanings,
    )
    month = pd.DatetimeIndex(hours.index).month.to_numpy() - 1
    fine, coarse = (
        np.tile(np.resize(figures, 12)[month], 2) for figures in (plan.pm2_5_ug_m3, plan.pm10_ug_m3)
    )
    loss = loss_of_particulates(
        clean, pm2_5_ug_m3=fine, pm10_ug_m3=coarse, tilt_deg=float(RATE_TILT_DEG)
    )
    return loss.to_numpy()


ByHour = Callable[[pd.DataFrame, Soiling, TwoYears], np.ndarray]
MODELS: Mapping[str, tuple[Sourced, ByHour]] = {
    "dry-days": (DUST_MODEL, _by_dry_days),
    "particulates": (PARTICULATE_MODEL, _by_particulates),
}
"""Each model of [soiling] with its source, and the loss over two like years at the tilt of its
rate."""


def _midnight(day: str, index: pd.DatetimeIndex) -> datetime:
    return datetime(index[len(index) // 2].year, int(day[:2]), int(day[3:]))


DIRT_BAND_REACH_M = constant("soiling.dirt_band_reach_m")
WET_DAY_MM = constant("soiling.wet_day_mm")


def dirt_band_over_cells_m(plan: Soiling, *, tilt_deg: float) -> float:
    """Width of cells that the strip covers [m], 0 where the water stops below the first cell.

    Parameters
    ----------
    plan : Soiling
        Its ``dirt_band_lip_m`` and ``dirt_band_margin_m``.
    tilt_deg : float
        Of the modules [deg], 0 to 90.

    Notes
    -----
    Plain geometry: water behind a lip stands lip / tan(tilt) up the glass. The pull of the
    water's skin, splashes and the rounded ends of the strip are left out.

    Examples
    --------
    A lip of 2 mm at 5 deg: 2 mm / 0.0875 = 22.9 mm of water, less 12 mm without cells.

    >>> round(1000.0 * dirt_band_over_cells_m(Soiling(), tilt_deg=5.0), 1)
    10.9
    """
    slope = math.tan(math.radians(tilt_deg))
    reach = float(DIRT_BAND_REACH_M)
    water = min(plan.dirt_band_lip_m / slope, reach) if slope > 0.0 else reach
    return max(0.0, water - plan.dirt_band_margin_m) if plan.dirt_band_lip_m > 0.0 else 0.0


def dirt_band_of_year(
    hours: pd.DataFrame, plan: Soiling, *, tilt_deg: float, module_up_m: float
) -> pd.DataFrame:
    """How far the strip covers the cells of one module and how much light passes it, by hour.

    Parameters
    ----------
    hours : DataFrame, shape (8760,)
        Weather; its ``precipitation`` [mm] is used where present. Without it the cleaning rains
        of the site file count as light ones, unless they pass ``dirt_band_clearing_rain_mm``.
    plan : Soiling
    tilt_deg : float
        Of the modules [deg], 0 to 90.
    module_up_m : float
        Length one module takes up its slope [m]; each module has a frame of its own.

    Returns
    -------
    DataFrame, shape (8760,)
        ``dirt_band_frac``, share of the module's cells up the slope that the strip covers, the same
        all year; ``dirt_band_light_frac``, light that passes the strip as a share of that on the
        dusty rest of the module; both [0 to 1].

    Raises
    ------
    InputError
        When the margins at both ends leave no cells.
    """
    cells_m = module_up_m - 2.0 * plan.dirt_band_margin_m
    if not cells_m > 0.0:
        raise InputError(
            Fault(where="module_up_m",
                  given=f"{module_up_m:g} m with a dirt_band_margin_m of "
                        f"{plan.dirt_band_margin_m:g} m",
                  allowed="more than twice dirt_band_margin_m",
                  why="between the margins of the two frames lie the cells")
        )
    covered = min(dirt_band_over_cells_m(plan, tilt_deg=tilt_deg) / cells_m, 1.0)
    loss = _dirt_band_loss_frac(hours, plan) if covered > 0.0 else np.zeros(len(hours))
    return pd.DataFrame({"dirt_band_frac": covered, "dirt_band_light_frac": 1.0 - loss},
                        index=hours.index)


def dirt_band_strung(cells: Cells, orientation: Orientation) -> Strung:
    """What to look the strip up with: one module, since every module of a string has it.

    However many modules stand one above another, each has its own frame and so its own strip.
    """
    return Strung(cells=cells, wiring=along_row(1), orientation=orientation, edge="lower")


def dirt_band_kept_frac(
    dirt_band: pd.DataFrame, light_w_m2: pd.Series, cell_c: pd.Series, *, strung: Strung
) -> pd.Series:
    """Share of the power that modules with the strip still give, by hour, [0 to 1].

    Parameters
    ----------
    dirt_band : DataFrame, shape (n,)
        From `dirt_band_of_year`.
    light_w_m2 : Series, shape (n,)
        Light on the cells of the rest of the module, after dust [W/m2].
    cell_c : Series, shape (n,)
        Cell temperature [degC].
    strung : Strung
        From `dirt_band_strung`.

    Notes
    -----
    To be multiplied with the power without the strip. Together with a shadow over the same
    cells it takes too much: whichever of the two is darker rules there.
    """
    if (dirt_band["dirt_band_frac"] * (1.0 - dirt_band["dirt_band_light_frac"]) == 0.0).all():
        return pd.Series(1.0, index=dirt_band.index, name="dirt_band_kept_frac")
    kept = power_kept_frac(dirt_band["dirt_band_frac"].to_numpy(),
                           dirt_band["dirt_band_light_frac"].to_numpy(),
                           light_w_m2.to_numpy(), cell_c.to_numpy(), strung=strung)
    return pd.Series(kept, index=dirt_band.index, name="dirt_band_kept_frac")


def _dirt_band_loss_frac(hours: pd.DataFrame, plan: Soiling) -> np.ndarray:
    """Light lost on the strip, beyond the dust of the rest of the module, (n,), [0 to 1].

    The second of two like years, as for dust. Hours with less than a wet day's rain behind them
    add their share of a dry day; a wet day that does not clear adds one light rain, in its last
    hour; the sum since the last clearing is held at the most.
    """
    years = two_years(hours, plan)
    rain = years.rain_mm
    fell = rain.rolling(pd.Timedelta(hours=24), closed="right").sum()
    dry = (fell < float(WET_DAY_MM)).to_numpy()
    added = np.where(dry, plan.dirt_band_loss_per_dry_day_frac / 24.0, 0.0)
    day_mm = rain.to_numpy().reshape(-1, 24).sum(axis=1)
    light_rain = (day_mm >= float(WET_DAY_MM)) & (day_mm <= plan.dirt_band_clearing_rain_mm)
    added[23::24] += plan.dirt_band_loss_per_light_rain_frac * light_rain
    total = np.cumsum(added)
    clear = clean_hours(rain, threshold_mm=plan.dirt_band_clearing_rain_mm,
                        cleanings=years.cleanings)
    last = np.maximum.accumulate(np.where(clear.to_numpy(), total, 0.0))
    loss: np.ndarray = np.minimum(total - last, plan.dirt_band_max_loss_frac)
    return loss[len(hours) :]
