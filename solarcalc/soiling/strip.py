"""The strip of dirt above the lower frame of a near-flat module, and what it costs in power.

Water stands behind a frame that is a little proud of the glass and leaves its dirt there when
it dries. The strip is narrow, but it lies across cells in series: what it takes is told by the
circuit (`solarcalc.circuit`), not by its area. Wash it off from safe ground or a safe platform,
in the cool of the day and by local rules; a cell in a dark strip can grow hot.
"""

from __future__ import annotations

import math

import numpy as np
import pandas as pd

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.sourced import constant
from solarcalc.circuit import Cells, Orientation, Strung, along_row, power_kept_frac
from solarcalc.sitefile.records import Soiling
from solarcalc.soiling.build_up import two_years
from solarcalc.soiling.particulates import clean_hours

STRIP_MODEL = constant("soiling.strip_model")
STRIP_REACH_M = constant("soiling.strip_reach_m")
WET_DAY_MM = constant("soiling.wet_day_mm")


def strip_over_cells_m(plan: Soiling, *, tilt_deg: float) -> float:
    """Width of cells that the strip covers [m], 0 where the water stops below the first cell.

    Parameters
    ----------
    plan : Soiling
        Its ``strip_lip_m`` and ``strip_margin_m``.
    tilt_deg : float
        Of the modules [deg], 0 to 90.

    Notes
    -----
    Plain geometry: water behind a lip stands lip / tan(tilt) up the glass. The pull of the
    water's skin, splashes and the rounded ends of the strip are left out.

    Examples
    --------
    A lip of 2 mm at 5 deg: 2 mm / 0.0875 = 22.9 mm of water, less 12 mm without cells.

    >>> round(1000.0 * strip_over_cells_m(Soiling(), tilt_deg=5.0), 1)
    10.9
    """
    slope = math.tan(math.radians(tilt_deg))
    reach = float(STRIP_REACH_M)
    water = min(plan.strip_lip_m / slope, reach) if slope > 0.0 else reach
    return max(0.0, water - plan.strip_margin_m) if plan.strip_lip_m > 0.0 else 0.0


def dirt_strip(
    hours: pd.DataFrame, plan: Soiling, *, tilt_deg: float, module_up_m: float
) -> pd.DataFrame:
    """How far the strip covers the cells of one module and how much light passes it, by hour.

    Parameters
    ----------
    hours : DataFrame, shape (8760,)
        Weather; its ``precipitation`` [mm] is used where present. Without it the cleaning rains
        of the site file count as light ones, unless they pass ``strip_clearing_rain_mm``.
    plan : Soiling
    tilt_deg : float
        Of the modules [deg], 0 to 90.
    module_up_m : float
        Length one module takes up its slope [m]; each module has a frame of its own.

    Returns
    -------
    DataFrame, shape (8760,)
        ``strip_frac``, share of the module's cells up the slope that the strip covers, the same
        all year; ``strip_light_frac``, light that passes the strip as a share of that on the
        dusty rest of the module; both [0 to 1].

    Raises
    ------
    InputError
        When the margins at both ends leave no cells.
    """
    cells_m = module_up_m - 2.0 * plan.strip_margin_m
    if not cells_m > 0.0:
        raise InputError(
            Fault(
                where="module_up_m",
                given=f"{module_up_m:g} m with a strip_margin_m of {plan.strip_margin_m:g} m",
                allowed="more than twice strip_margin_m",
                why="between the margins of the two frames lie the cells",
            )
        )
    covered = min(strip_over_cells_m(plan, tilt_deg=tilt_deg) / cells_m, 1.0)
    loss = _strip_loss_frac(hours, plan) if covered > 0.0 else np.zeros(len(hours))
    return pd.DataFrame(
        {"strip_frac": covered, "strip_light_frac": 1.0 - loss}, index=hours.index
    )


def strip_strung(cells: Cells, orientation: Orientation) -> Strung:
    """What to look the strip up with: one module, since every module of a string has it.

    However many modules stand one above another, each has its own frame and so its own strip.
    """
    return Strung(cells=cells, wiring=along_row(1), orientation=orientation, edge="lower")


def strip_kept_frac(
    strip: pd.DataFrame, light_w_m2: pd.Series, cell_c: pd.Series, *, strung: Strung
) -> pd.Series:
    """Share of the power that modules with the strip still give, by hour, [0 to 1].

    Parameters
    ----------
    strip : DataFrame, shape (n,)
        From `dirt_strip`.
    light_w_m2 : Series, shape (n,)
        Light on the cells of the rest of the module, after dust [W/m2].
    cell_c : Series, shape (n,)
        Cell temperature [degC].
    strung : Strung
        From `strip_strung`.

    Notes
    -----
    To be multiplied with the power without the strip. Together with a shadow over the same
    cells it takes too much: whichever of the two is darker rules there.
    """
    if (strip["strip_frac"] * (1.0 - strip["strip_light_frac"]) == 0.0).all():
        return pd.Series(1.0, index=strip.index, name="strip_kept_frac")
    kept = power_kept_frac(
        strip["strip_frac"].to_numpy(),
        strip["strip_light_frac"].to_numpy(),
        light_w_m2.to_numpy(),
        cell_c.to_numpy(),
        strung=strung,
    )
    return pd.Series(kept, index=strip.index, name="strip_kept_frac")


def _strip_loss_frac(hours: pd.DataFrame, plan: Soiling) -> np.ndarray:
    """Light lost on the strip, beyond the dust of the rest of the module, (n,), [0 to 1].

    The second of two like years, as for dust. Hours with less than a wet day's rain behind them
    add their share of a dry day; a wet day that does not clear adds one light rain, in its last
    hour; the sum since the last clearing is held at the most.
    """
    years = two_years(hours, plan)
    rain = years.rain_mm
    fell = rain.rolling(pd.Timedelta(hours=24), closed="right").sum()
    dry = (fell < float(WET_DAY_MM)).to_numpy()
    added = np.where(dry, plan.strip_loss_per_dry_day_frac / 24.0, 0.0)
    day_mm = rain.to_numpy().reshape(-1, 24).sum(axis=1)
    light_rain = (day_mm >= float(WET_DAY_MM)) & (day_mm <= plan.strip_clearing_rain_mm)
    added[23::24] += plan.strip_loss_per_light_rain_frac * light_rain
    total = np.cumsum(added)
    clear = clean_hours(rain, threshold_mm=plan.strip_clearing_rain_mm, washes=years.washes)
    last = np.maximum.accumulate(np.where(clear.to_numpy(), total, 0.0))
    loss: np.ndarray = np.minimum(total - last, plan.strip_max_loss_frac)
    return loss[len(hours) :]
