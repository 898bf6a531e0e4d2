"""Yields and performance ratio by IEC 61724-1, as they are and with the heat taken out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.physics import STC_C, STC_W_M2


@dataclass(frozen=True, kw_only=True)
class Yields:
    """Yields of a period by IEC 61724-1 [kWh/kW, the same as hours at rated power].

    Parameters
    ----------
    reference_h, array_h, final_h : float
        Light over 1 kW/m2; array energy and usable energy over rated power [h].
    hours : float
        Length of the period [h].
    """

    reference_h: float
    array_h: float
    final_h: float
    hours: float

    @property
    def performance_ratio(self) -> float:
        """PR = Y_f / Y_r; nan in a period without light."""
        return self.final_h / self.reference_h if self.reference_h > 0.0 else float("nan")

    @property
    def capture_loss_h(self) -> float:
        """L_c = Y_r - Y_a [h]."""
        return self.reference_h - self.array_h

    @property
    def system_loss_h(self) -> float:
        """L_s = Y_a - Y_f [h]."""
        return self.array_h - self.final_h

    @property
    def capacity_factor_frac(self) -> float:
        """Y_f over the hours of the period, [0 to 1]."""
        return self.final_h / self.hours


def yields_of(
    *,
    rated_kw: float,
    light_kwh_per_m2: float,
    array_kwh: float,
    usable_kwh: float,
    length_h: float,
) -> Yields:
    """Yields from the energies of a period.

    Parameters
    ----------
    rated_kw : float
        Rated power of the array [kW], above 0.
    light_kwh_per_m2 : float
        On the plane of the array [kWh/m2].
    array_kwh, usable_kwh : float
        Energy of the array, and after the whole system [kWh].
    length_h : float
        Length of the period [h], above 0.

    Raises
    ------
    InputError
        A rated power or a length that is not above 0.

    Examples
    --------
    >>> year = yields_of(rated_kw=5.0, light_kwh_per_m2=1825.0, array_kwh=7150.0,
    ...                  usable_kwh=6850.0, length_h=8760.0)
    >>> year.final_h, round(year.performance_ratio, 3), year.capture_loss_h
    (1370.0, 0.751, 395.0)
    """
    for name, value in (("rated_kw", rated_kw), ("length_h", length_h)):
        if not value > 0.0:
            raise InputError(Fault(where=name, given=f"{value:g}", allowed="above 0"))
    return Yields(
        reference_h=light_kwh_per_m2 / (STC_W_M2 / 1000.0), array_h=array_kwh / rated_kw,
        final_h=usable_kwh / rated_kw, hours=length_h,
    )  # fmt: skip


def ratio_table(
    power_w: pd.Series,
    light_w_m2: pd.Series,
    module_c: pd.Series,
    *,
    rated_w: float,
    gamma_per_k: float,
    by: str = "D",
) -> pd.DataFrame:
    """Performance ratio of the array by day, month or the whole, three ways.

    Intervals without one of the three figures are left out of all sums. The array's energy is
    used, so this is the array's share of the ratio; the converters' loss is not in it.

    Parameters
    ----------
    power_w, light_w_m2, module_c : Series, shape (n,)
        Array power [W], light on its plane [W/m2], temperature of the modules [degC]; same
        index, regular.
    rated_w : float
        [W].
    gamma_per_k : float
        Change of power with heat [1/K], negative.
    by : {"D", "MS", "all"}

    Returns
    -------
    DataFrame, one row a period
        ``ratio`` as it is; ``ratio_25c`` brought to 25 degC; ``ratio_mean`` brought to the mean
        module temperature of the file weighted by light, which keeps the yearly level and takes
        the seasons out; ``light_kwh_m2``, ``energy_kwh``, ``share`` of lit intervals used.

    Notes
    -----
    PR' = sum P / (P0 sum G/1000 (1 + gamma (T - T0))), T0 = 25 degC or the mean.
    """
    step_h = (power_w.index[1] - power_w.index[0]).total_seconds() / 3600.0
    table = pd.DataFrame({"p": power_w, "g": light_w_m2, "t": module_c})
    lit = table["g"] > 0.0
    good = lit & table.notna().all(axis=1)
    used = table.where(good)
    mean_c = float(np.average(used["t"][good], weights=used["g"][good])) if good.any() else 25.0
    sums = pd.DataFrame(
        {
            "energy_kwh": used["p"] * step_h / 1000.0,
            "light_kwh_m2": used["g"] * step_h / 1000.0,
            "at_25c": used["g"] * (1.0 + gamma_per_k * (used["t"] - STC_C)) * step_h / 1000.0,
            "at_mean": used["g"] * (1.0 + gamma_per_k * (used["t"] - mean_c)) * step_h / 1000.0,
            "used": good.astype(float),
            "lit": (lit | table["g"].isna() & (table["p"] > 0.0)).astype(float),
        }
    )
    total = sums.sum().to_frame().T if by == "all" else sums.resample(by).sum()
    rated_kw = rated_w / 1000.0
    none = total["light_kwh_m2"] <= 0.0
    for name, under in (
        ("ratio", "light_kwh_m2"), ("ratio_25c", "at_25c"), ("ratio_mean", "at_mean"),
    ):  # fmt: skip
        total[name] = (total["energy_kwh"] / rated_kw / total[under].mask(none)).astype(float)
    total["share"] = total["used"] / total["lit"].mask(total["lit"] == 0.0)
    return total[["ratio", "ratio_25c", "ratio_mean", "light_kwh_m2", "energy_kwh", "share"]]


def weighted_efficiency_frac(efficiencies: tuple[float, ...], weights: tuple[float, ...]) -> float:
    """An inverter's efficiency weighted by how long it runs at each load, [0 to 1].

    Notes
    -----
    European weights .03 .06 .13 .10 .48 .20 at 5, 10, 20, 30, 50, 100 % of rated power
    (EN 50530, from memory).

    Examples
    --------
    >>> european = (0.03, 0.06, 0.13, 0.10, 0.48, 0.20)
    >>> round(weighted_efficiency_frac((0.92, 0.95, 0.965, 0.97, 0.972, 0.968), european), 5)
    0.96721

    Raises
    ------
    InputError
        Weights that do not add up to 1, or not one a load.
    """
    if len(efficiencies) != len(weights) or abs(sum(weights) - 1.0) > 1e-9:
        raise InputError(
            Fault(where="weights", given=str(weights), allowed="one a load, 1 together")
        )
    return sum(weight * value for weight, value in zip(weights, efficiencies, strict=True))
