"""How the gap under the modules cools them: between an insulated back and an open frame."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd
import pvlib

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.physics import STC_C, STC_W_M2
from solarcalc.basis.sourced import constant
from solarcalc.sitefile.array import Module

GAP_DECAY_M = constant("harvest.gap_decay_m")
HEAT_CASE = {
    "open-frame": "open_rack_glass_polymer",
    "small-gap": "close_mount_glass_glass",
    "flush": "insulated_back_glass_polymer",
}
"""Published mounting (King et al. 2004) whose coefficients stand for ours."""
MOST_GAP_M = 1.0
MATCHED_WINDS_M_S = (0.0, 6.0)
"""Winds at which one set of coefficients meets the mixture of two; see `heat_coefficients`."""
TABLE_GAPS_M = (0.0, 0.02, 0.05, 0.10, 0.15)


@dataclass(frozen=True, kw_only=True)
class HeatCoefficients:
    """T_cell = T_air + G exp(a + b wind) + delta_k G / 1000, King et al. 2004.

    ``a`` none, ``b`` [s/m], ``delta_k`` cell above the back of the module [K].
    """

    a: float
    b: float
    delta_k: float

    def rise_k(self, *, light_w_m2: float = STC_W_M2, wind_m_per_s: float = 1.0) -> float:
        """Cell above the air [K] at a light [W/m2] and a wind at 10 m height [m/s]."""
        back_k = light_w_m2 * math.exp(self.a + self.b * wind_m_per_s)
        return back_k + self.delta_k * light_w_m2 / STC_W_M2


def heat_coefficients(mounting: str, gap_under_m: float | None = None) -> HeatCoefficients:
    """Coefficients of the cell temperature by mounting and, where it is known, by the gap.

    Parameters
    ----------
    mounting : {"open-frame", "small-gap", "flush"}
    gap_under_m : float, optional
        Between the modules and the roof [m], 0 to 1; with "small-gap" only. Left out, the
        published close roof mount stands for the small gap.

    Raises
    ------
    InputError
        For another mounting, a gap outside 0 to 1 m or one with another mounting.

    Notes
    -----
    With a gap the rise is r_open + (r_flush - r_open) exp(-gap / 6.5 cm). The sum of two
    exponentials in the wind is no third one, so ``a`` and ``b`` are those that meet it in still
    air and at 6 m/s: within 0.1 K up to 10 m/s (`tests/test_heat.py`).
    """
    _check(mounting, gap_under_m)
    if gap_under_m is None:
        return _published(mounting)
    share = kept_by_gap_frac(gap_under_m)
    open_, flush = _published("open-frame"), _published("flush")
    still, windy = (
        math.log(
            (1.0 - share) * math.exp(open_.a + open_.b * wind)
            + share * math.exp(flush.a + flush.b * wind)
        )
        for wind in MATCHED_WINDS_M_S
    )
    return HeatCoefficients(
        a=still,
        b=(windy - still) / (MATCHED_WINDS_M_S[1] - MATCHED_WINDS_M_S[0]),
        delta_k=(1.0 - share) * open_.delta_k + share * flush.delta_k,
    )


def kept_by_gap_frac(gap_m: float, *, decay_m: float = float(GAP_DECAY_M)) -> float:
    """Share of the warming from open frame to insulated back that a gap [m] leaves, [0 to 1]."""
    return math.exp(-gap_m / decay_m)


def gap_cooling_k(gap_m: float, *, flush_c: float, open_c: float) -> float:
    """How much cooler [K] cells are over a gap [m] than on an insulated back.

    Parameters
    ----------
    gap_m : float
        Between the modules and the roof [m], not negative.
    flush_c, open_c : float
        Cell temperature on an insulated back and on an open frame, same hour [degC].

    Examples
    --------
    >>> round(gap_cooling_k(0.065, flush_c=80.0, open_c=50.0), 2)
    18.96
    """
    return (flush_c - open_c) * (1.0 - kept_by_gap_frac(gap_m))


def standoff_m(
    wanted_c: float, *, flush_c: float, open_c: float, decay_m: float = float(GAP_DECAY_M)
) -> float:
    """Smallest gap [m] at which cells stay at or below a temperature.

    Parameters
    ----------
    wanted_c : float
        Highest cell temperature wanted [degC].
    flush_c, open_c : float
        On an insulated back and on an open frame, same hour or same share of hours [degC].
    decay_m : float
        Gap that takes the warming down to 37 % [m].

    Returns
    -------
    float
        0 where an insulated back is cool enough.

    Raises
    ------
    InputError
        When not even the open frame is that cool.

    Notes
    -----
    X = -X0 ln(1 - (T0 - T) / (T0 - Tinf)), IEC TS 63126, T0 insulated back, Tinf open frame.
    """
    if wanted_c >= flush_c:
        return 0.0
    if not wanted_c > open_c:
        raise InputError(
            Fault(
                where="wanted_c",
                given=f"{wanted_c:g} degC",
                allowed=f"above {open_c:g} degC, what an open frame reaches",
                why="no gap cools better than an open frame",
            )
        )
    return -decay_m * math.log((wanted_c - open_c) / (flush_c - open_c))


def gap_table(
    module: Module,
    *,
    gaps_m: Sequence[float] = TABLE_GAPS_M,
    temp_air_c: float = STC_C,
    wind_m_per_s: float = 1.0,
) -> pd.DataFrame:
    """What a gap under the modules does in full sun.

    Parameters
    ----------
    module : Module
        Its ``gamma_pmax_pct_per_k`` is used.
    gaps_m : sequence of float
        Gaps [m], 0 to 1; 0 is an insulated back.
    temp_air_c : float
        Air [degC].
    wind_m_per_s : float
        At 10 m height [m/s].

    Returns
    -------
    DataFrame, one row a gap
        ``gap_m`` [m], ``cell_c`` [degC] at 1000 W/m2, ``above_open_k`` cell above that of an
        open frame [K], ``power_lost_frac`` against an open frame, [0 to 1].

    Notes
    -----
    Power falls by gamma a kelvin from 25 degC: P = 1 + gamma (T - 25).

    Raises
    ------
    InputError
        For a gap outside 0 to 1 m.
    """
    gamma_per_k = module.gamma_pmax_pct_per_k / 100.0

    def power(cell_c: float) -> float:
        return 1.0 + gamma_per_k * (cell_c - STC_C)

    open_c, flush_c = (
        temp_air_c + _published(name).rise_k(wind_m_per_s=wind_m_per_s)
        for name in ("open-frame", "flush")
    )
    rows = []
    for gap_m in gaps_m:
        _check("small-gap", gap_m)
        cell_c = flush_c - gap_cooling_k(gap_m, flush_c=flush_c, open_c=open_c)
        lost = 1.0 - power(cell_c) / power(open_c)
        rows.append((gap_m, cell_c, cell_c - open_c, lost))
    return pd.DataFrame(rows, columns=["gap_m", "cell_c", "above_open_k", "power_lost_frac"])


def _published(mounting: str) -> HeatCoefficients:
    figures = pvlib.temperature.TEMPERATURE_MODEL_PARAMETERS["sapm"][HEAT_CASE[mounting]]
    return HeatCoefficients(a=figures["a"], b=figures["b"], delta_k=figures["deltaT"])


def _check(mounting: str, gap_under_m: float | None) -> None:
    if mounting not in HEAT_CASE:
        allowed = " or ".join(repr(name) for name in HEAT_CASE)
        raise InputError(Fault(where="mounting", given=repr(mounting), allowed=allowed))
    if gap_under_m is None:
        return
    if not 0.0 <= gap_under_m <= MOST_GAP_M:
        raise InputError(
            Fault(where="gap_under_m", given=f"{gap_under_m:g}", allowed="0 to 1 m")
        )
    if mounting != "small-gap":
        raise InputError(
            Fault(
                where="gap_under_m",
                given=f"{gap_under_m:g} m with mounting {mounting!r}",
                allowed="left out, or used with mounting 'small-gap'",
            )
        )
