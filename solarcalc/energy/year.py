"""From light to energy: array, controller and inverters, losses in order; how sure the year is."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property, partial
from itertools import pairwise
from statistics import NormalDist
from typing import Literal

import numpy as np
import pandas as pd

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.measured import remaining_bias_frac
from solarcalc.basis.physics import STC_C, STC_W_M2
from solarcalc.basis.sourced import FROM_MEMORY, NO_SOURCE
from solarcalc.basis.text import small
from solarcalc.energy.diode import (
    DARK_W_M2,
    LEAST_EFFICIENCY_200_FRAC,
    diode_curve,
    open_circuit_v,
    power_at_voltage_w,
    weak_light_bounds,
)
from solarcalc.energy.light import LIGHT_STEPS, RowLight
from solarcalc.sitefile.array import Module
from solarcalc.sitefile.losses import Losses

LossPart = Literal["capture", "thermal capture", "system (BOS)"]


@dataclass(frozen=True, kw_only=True)
class LossStep:
    """One step from reference yield to final yield.

    Parameters
    ----------
    name : str
        What took the energy.
    yield_kwh_per_kwp : float
        Yearly yield left after it [kWh/kWp].
    part : LossPart
        As IEC 61724-1 divides losses: of the array's capture, that of heat apart, or of the
        balance of system behind it.
    """

    name: str
    yield_kwh_per_kwp: float
    part: LossPart


def lost_frac(before: LossStep, after: LossStep) -> float:
    """Share of the yield that a step took, [0 to 1]; negative where it gave; 0 of nothing."""
    if before.yield_kwh_per_kwp == 0.0:
        return 0.0
    return 1.0 - after.yield_kwh_per_kwp / before.yield_kwh_per_kwp


@dataclass(frozen=True, kw_only=True)
class Harvest:
    """A year of energy.

    Parameters
    ----------
    hours : DataFrame, shape (8760,)
        ``plane_w_m2`` in-plane irradiance before any shade [W/m2]; ``dc_w`` array power at the
        controller's input [W]; ``bus_w`` after the controller [W]; ``ac_w`` if the inverters
        turned all of it into alternating current [W]; ``cell_c`` [degC]; ``string_v`` [V].
    told_steps : callable
        Gives the steps when they are asked for: most years tried of a design are only summed.
    peak_kwp : float
        Rated power of the array [kWp].
    in_window_frac : float
        Share of the array's energy offered while the string's best voltage lies within the
        controller's tracking window [0 to 1]; 1 of nothing.
    clipped_kwh : float
        Energy the controller's current limit turned away [kWh].
    coldest_voc_v : float
        Highest open-circuit voltage of a string, at the coldest hour of the year taken at full
        sun, IEC 62548 manner [V].
    told_weak_light : callable
        Gives `weak_light_frac` when it is asked for.
    """

    hours: pd.DataFrame
    told_steps: Callable[[], tuple[LossStep, ...]]
    peak_kwp: float
    in_window_frac: float
    clipped_kwh: float
    coldest_voc_v: float
    told_weak_light: Callable[[], tuple[float, float]] = lambda: (1.0, 1.0)

    @cached_property
    def steps(self) -> tuple[LossStep, ...]:
        """Each loss in order: the first is the reference yield, the last the final yield.

        Horizon, obstacles and strip of dirt are left out where they take nothing.
        """
        return self.told_steps()

    @cached_property
    def weak_light_frac(self) -> tuple[float, float]:
        """Yearly energy over this one's with the least and the most usual efficiency in weak light.

        1 and 1 where the module's sheet says it.
        """
        return self.told_weak_light()

    @property
    def reference_yield_h(self) -> float:
        """Y_r, in-plane energy over the reference irradiance [h] (IEC 61724-1)."""
        return self.steps[0].yield_kwh_per_kwp

    @property
    def array_yield_h(self) -> float:
        """Y_A, array energy over rated power [kWh/kWp] (IEC 61724-1)."""
        return float(self.hours["dc_w"].sum()) / 1000.0 / self.peak_kwp

    @property
    def final_yield_h(self) -> float:
        """Y_f, potential alternating-current energy over rated power [kWh/kWp] (IEC 61724-1)."""
        return self.steps[-1].yield_kwh_per_kwp

    @property
    def performance_ratio(self) -> float:
        """PR = Y_f / Y_r (IEC 61724-1).

        A share, 0 to 1.
        """
        return self.final_yield_h / self.reference_yield_h

    @property
    def lost_to_window_frac(self) -> float:
        """Share of the array's yearly energy lost to the controller's tracking window, [0 to 1]."""
        return self._taken_frac(_WINDOW)

    @property
    def snow_frac(self) -> float:
        """Share that snow on the modules takes of what is left before it, [0 to 1]."""
        return self._taken_frac(_SNOW)

    def _taken_frac(self, step: str) -> float:
        return next((lost_frac(before, after) for before, after in pairwise(self.steps)
                     if after.name == step), 0.0)  # fmt: skip

    @cached_property
    def ac_kwh(self) -> float:
        """Potential alternating-current energy of the year [kWh]."""
        return float(self.hours["ac_w"].sum()) / 1000.0

    def by_month(self) -> pd.DataFrame:
        """Month by month, shape (12,): plane kWh/m2, DC, AC kWh, yields and PR."""
        month = pd.DatetimeIndex(self.hours.index).month
        sums = self.hours[["plane_w_m2", "dc_w", "bus_w", "ac_w"]].groupby(month).sum() / 1000.0
        table = pd.DataFrame(
            {"plane_kwh_m2": sums["plane_w_m2"], "dc_kwh": sums["dc_w"], "ac_kwh": sums["ac_w"],
             "final_yield_kwh_per_kwp": sums["ac_w"] / self.peak_kwp,
             "performance_ratio": sums["ac_w"] / self.peak_kwp / sums["plane_w_m2"]}
        )
        table.index.name = "month"
        return table


@dataclass(frozen=True, kw_only=True)
class Balance:
    """What lies between the array and the loads.

    Parameters
    ----------
    module_count, modules_in_series : int
    losses : Losses
    min_tracking_v, max_tracking_v : float
        Tracking window of the controller; its floor lies above the bank it charges [V].
    controller_efficiency_frac : float
    controller_limit_w : float
        Largest power on the battery side, current limit times battery voltage [W].
    inverter_efficiency_frac : float
        Of the two inverters, weighted by what their boards use, [0 to 1].
    start_v : float
        Voltage of the string from which the controller works [V]; 0 for any.
    """

    module_count: int
    modules_in_series: int
    losses: Losses
    min_tracking_v: float
    max_tracking_v: float
    controller_efficiency_frac: float
    controller_limit_w: float
    inverter_efficiency_frac: float
    start_v: float = 0.0

    @property
    def kept_by_age_frac(self) -> float:
        """Power left after first light and ageing, [0 to 1]."""
        return kept_by_age_frac(self.losses)


def kept_by_age_frac(losses: Losses) -> float:
    """Power left after first light and ageing, [0 to 1]; (1 - d)^years, Jordan and Kurtz."""
    aged: float = (1.0 - losses.yearly_ageing_frac) ** losses.age_years
    return (1.0 - losses.light_induced_frac) * aged


def array_power(module: Module, rows_light: Sequence[RowLight]) -> pd.DataFrame:
    """Best power per module, mean over the strings, before fixed losses.

    Returns
    -------
    DataFrame, shape (n,)
        ``p_w`` [W] of a module; ``bare_w`` [W] without snow; ``clean_w`` [W] without snow and
        without the dirt band; ``open_w`` [W]
        without shade of row on row either; ``v_v`` [V], its voltage in the rows behind, the
        many, were they evenly lit, and of the row before where they are in the dark, at
        ``light_w_m2`` [W/m2] and ``lit_cell_c`` [degC];
        ``cell_c`` [degC], mean over the rows.
    """
    curves = [diode_curve(module, row.light["open"], row.cell_c) for row in rows_light]
    both = list(zip(rows_light, curves, strict=True))
    volts = curves[-1]["v_v"]
    for curve in reversed(curves[:-1]):
        volts = volts.where(volts > 0.0, curve["v_v"])
    return pd.DataFrame(
        {"p_w": sum(row.share * row.kept_frac * (1.0 - row.snow_frac) * curve["p_w"]
                    for row, curve in both),
         "bare_w": sum(row.share * row.kept_frac * curve["p_w"] for row, curve in both),
         "clean_w": sum(row.share * row.clean_frac * curve["p_w"] for row, curve in both),
         "open_w": sum(row.share * curve["p_w"] for row, curve in both), "v_v": volts,
         "light_w_m2": rows_light[-1].light["open"], "lit_cell_c": rows_light[-1].cell_c,
         "cell_c": sum(row.share * row.cell_c for row in rows_light)}
    )


def dc_power(array: pd.DataFrame, module: Module, balance: Balance) -> pd.DataFrame:
    """Array power through ageing, mismatch, wiring and the tracking window.

    Returns
    -------
    DataFrame, shape (n,)
        ``aged``, ``matched``, ``wired``, ``tracked`` [W] of the whole array, each after the
        loss it is named for; ``string_v`` [V]; ``below``, ``above`` the window (bool).

    Notes
    -----
    Wiring takes the stated fraction at rated power and falls with the current: P (1 - f P/P0).
    Where the string's best voltage is outside the window the controller holds it at the window's
    edge: the hour keeps the share that an evenly lit module has there of its best power, 0 from
    its open-circuit voltage on. Part shade keeps the same share: that bypassed parts lower the
    voltage further is not counted. Where even the open-circuit voltage is under the start
    voltage the controller sleeps; that it wakes later than it falls asleep is left out.
    """
    rated_w = module.pmax_w * balance.module_count
    aged = array["p_w"] * balance.module_count * balance.kept_by_age_frac
    matched = aged * (1.0 - balance.losses.mismatch_frac)
    wired = matched * (1.0 - balance.losses.dc_wiring_frac * matched / rated_w)
    string_v = array["v_v"] * balance.modules_in_series
    below = (string_v < balance.min_tracking_v) & (array["p_w"] > 0.0)
    above = (string_v > balance.max_tracking_v) & (array["p_w"] > 0.0)
    return pd.DataFrame(
        {
            "aged": aged,
            "matched": matched,
            "wired": wired,
            "tracked": wired * kept_by_window(array, module, balance),
            "string_v": string_v,
            "below": below,
            "above": above,
        }
    )


def bus_power_w(power: pd.DataFrame, balance: Balance) -> pd.Series:
    """Power of the array (`dc_power`) behind controller and charge-current limit [W].

    Shape (8760,), a value for each hour.
    """
    converted = power["tracked"] * balance.controller_efficiency_frac
    return converted.clip(upper=balance.controller_limit_w)


def kept_by_window(array: pd.DataFrame, module: Module, balance: Balance) -> pd.Series:
    """Share of the power that the tracking window and the start voltage leave, by hour.

    Parameters
    ----------
    array : DataFrame, shape (n,)
        ``light_w_m2``, ``lit_cell_c`` and ``v_v`` of `array_power`.
    module : Module
    balance : Balance
    """
    series = balance.modules_in_series
    kept = pd.Series(1.0, index=array.index)
    lit = array["light_w_m2"] > DARK_W_M2

    def held_w(hours: pd.Series, voltage_v: pd.Series) -> np.ndarray:
        return power_at_voltage_w(module, array.loc[hours, "light_w_m2"].to_numpy(),
                                  array.loc[hours, "lit_cell_c"].to_numpy(), voltage_v.to_numpy())

    edge_v = array["v_v"].clip(balance.min_tracking_v / series, balance.max_tracking_v / series)
    outside = lit & (edge_v != array["v_v"])
    if outside.any():
        best_w = held_w(outside, array.loc[outside, "v_v"])
        kept[outside] = np.minimum(held_w(outside, edge_v[outside]) / best_w, 1.0)
    if balance.start_v > 0.0 and lit.any():
        start_v = pd.Series(balance.start_v / series, index=array.index[lit])
        kept[lit] = kept[lit].where(held_w(lit, start_v) > 0.0, 0.0)
    return kept


def harvest_year(
    rows_light: Sequence[RowLight], module: Module, balance: Balance, *, coldest_air_c: float
) -> Harvest:
    """A year of energy with every loss in order.

    Parameters
    ----------
    rows_light : sequence of RowLight
        From `light_on_rows`.
    module : Module
    balance : Balance
    coldest_air_c : float
        Lowest air temperature of the year [degC]; the cell is taken as cold as the air.
    """
    array = array_power(module, rows_light)
    power = dc_power(array, module, balance)
    converted = power["tracked"] * balance.controller_efficiency_frac
    bus = bus_power_w(power, balance)
    ac = bus * balance.inverter_efficiency_frac
    plane = sum(row.share * row.light["total"] for row in rows_light)
    hours = pd.DataFrame(
        {"plane_w_m2": plane, "dc_w": power["tracked"], "bus_w": bus, "ac_w": ac,
         "cell_c": array["cell_c"], "string_v": power["string_v"]}
    )
    peak_kwp = module.pmax_w * balance.module_count / 1000.0

    def steps() -> tuple[LossStep, ...]:
        return _with_effect(
            [*_light_steps(rows_light), *_power_steps(rows_light, module, array, power, balance),
             *_system_steps(converted, bus, ac, peak_kwp)]
        )

    cold_v = open_circuit_v(module, light_w_m2=STC_W_M2, cell_c=coldest_air_c)
    return Harvest(hours=hours, told_steps=steps, peak_kwp=peak_kwp,
                   in_window_frac=_in_window_frac(power),
                   clipped_kwh=float((converted - bus).sum()) / 1000.0,
                   coldest_voc_v=cold_v * balance.modules_in_series,
                   told_weak_light=partial(_weak_light_frac, rows_light, module, array))


def _weak_light_frac(
    rows_light: Sequence[RowLight], module: Module, array: pd.DataFrame
) -> tuple[float, float]:
    """Energy of the array with the least and the most usual weak light, over its own."""
    low, high = weak_light_bounds(module)
    own = float(array["p_w"].sum())
    if low is high or own == 0.0:
        return 1.0, 1.0
    least, most = (float(array_power(one, rows_light)["p_w"].sum()) for one in (low, high))
    return least / own, most / own


def _in_window_frac(power: pd.DataFrame) -> float:
    offered = float(power["wired"].sum())
    inside = float(power["wired"].mask(power["below"] | power["above"], 0.0).sum())
    return inside / offered if offered > 0.0 else 1.0


BEFORE_CABLES = "Partial-shading mismatch"
"""Step that every year has, after which the modules' own energy is left."""
BEFORE_WINDOW = "DC cable loss"
_WINDOW = "Operation outside the MPP voltage range"
_PART_SHADE = BEFORE_CABLES
DIRT_BAND = "Soiling: dirt band at the lower frame"
_SNOW = "Snow on the modules"
_LIGHT_NAMES = {
    "total": "Reference yield: in-plane irradiation",
    "after_horizon": "Horizon shading",
    "after_obstacles": "Obstacle shading",
    "after_shade": "Inter-row shading, beam",
    "after_mask": "Inter-row shading, diffuse (sky view)",
    "after_glass": "Angle-of-incidence loss",
    "after_dust": "Soiling",
}
ONLY_WHERE_FOUND = (_LIGHT_NAMES["after_horizon"], _LIGHT_NAMES["after_obstacles"], DIRT_BAND,
                     _SNOW)  # fmt: skip
"""Steps of what most sites have not; left out where they take nothing."""


def _with_effect(steps: Sequence[LossStep]) -> tuple[LossStep, ...]:
    return tuple(
        step
        for before, step in zip((None, *steps[:-1]), steps, strict=True)
        if before is None
        or step.name not in ONLY_WHERE_FOUND
        or step.yield_kwh_per_kwp != before.yield_kwh_per_kwp
    )


def _light_steps(rows_light: Sequence[RowLight]) -> list[LossStep]:
    """Yields after each loss of light [kWh/kWp]: energy over the reference irradiance."""
    result = []
    for column in LIGHT_STEPS:
        sums = sum(row.share * float(row.light[column].sum()) for row in rows_light)
        result.append(_step(_LIGHT_NAMES[column], sums / STC_W_M2))
    return result


def _power_steps(
    rows_light: Sequence[RowLight], module: Module, array: pd.DataFrame, power: pd.DataFrame,
    balance: Balance,
) -> list[LossStep]:  # fmt: skip
    """What module and array take: first as each module would by itself, then as they stand."""
    cool = warm = 0.0
    for row in rows_light:
        at_stc = pd.Series(STC_C, index=row.cell_c.index)
        light = row.light["after_dust"]
        cool += row.share * float(diode_curve(module, light, at_stc)["p_w"].sum())
        warm += row.share * float(diode_curve(module, light, row.cell_c)["p_w"].sum())
    aged = balance.kept_by_age_frac / module.pmax_w
    matched = aged * (1.0 - balance.losses.mismatch_frac)
    per_kwp = 1.0 / (module.pmax_w * balance.module_count)
    return [
        _step("Low-irradiance loss", cool / module.pmax_w),
        _step("Temperature loss", warm / module.pmax_w, "thermal capture"),
        _step("Light-induced degradation and ageing", warm * aged),
        _step("Module mismatch", warm * matched),
        _step(_PART_SHADE, float(array["clean_w"].sum()) * matched),
        _step(DIRT_BAND, float(array["bare_w"].sum()) * matched),
        _step(_SNOW, float(array["p_w"].sum()) * matched),
        _step(BEFORE_WINDOW, float(power["wired"].sum()) * per_kwp),
        _step(_WINDOW, float(power["tracked"].sum()) * per_kwp),
    ]


def _system_steps(
    converted: pd.Series, bus: pd.Series, ac: pd.Series, peak_kwp: float
) -> list[LossStep]:
    named = {"Charge controller conversion": converted, "Charge-current limiting": bus,
             "Inverters (potential final yield)": ac}
    return [
        _step(name, float(watts.sum()) / 1000.0 / peak_kwp, "system (BOS)")
        for name, watts in named.items()
    ]


def _step(name: str, value: float, part: LossPart = "capture") -> LossStep:
    return LossStep(name=name, yield_kwh_per_kwp=value, part=part)


_HALF_OF = (
    *(_LIGHT_NAMES[f"after_{what}"] for what in ("horizon", "obstacles", "shade", "mask", "dust")),
    _PART_SHADE, DIRT_BAND, _SNOW,
)  # fmt: skip
"""Losses whose own size is a guess by half."""


def half_known_frac(steps: Sequence[LossStep]) -> dict[str, float]:
    """Losses whose own size is a guess by half, each a share of what was left [0 to 1]."""
    return {after.name: lost for before, after in pairwise(steps)
            if after.name in _HALF_OF and (lost := lost_frac(before, after)) != 0.0}  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Uncertainty:
    """One thing that is not known exactly.

    Parameters
    ----------
    name : str
    sigma_frac : float
        Standard deviation, as a share of the yearly energy [0 to 1].
    source : str
    """

    name: str
    sigma_frac: float
    source: str


RATED_POWER = Uncertainty(name="Rated power of the modules", sigma_frac=0.015, source=NO_SOURCE)
FIXED = (
    Uncertainty(name="Long-term sunshine of the place against the weather file",
                sigma_frac=0.04, source=FROM_MEMORY),
    Uncertainty(name="One year against another", sigma_frac=0.04, source=FROM_MEMORY),
    Uncertainty(name="Light on the tilted plane",
                sigma_frac=remaining_bias_frac("light on the tilted plane"),
                source="root mean square of what is left between the Perez sky and measured light"
                " on tilted planes, data/measured_bias.csv; the middle of what may come stands on"
                " that sky, uncorrected"),
    RATED_POWER,
    Uncertainty(name="Module and heat model",
                sigma_frac=remaining_bias_frac("DC energy", known_frac=RATED_POWER.sigma_frac),
                source="root mean square of what is left between the energy of measured strings"
                " and the model, less what rated power explains, data/measured_bias.csv; the"
                " published curves of those modules leave as much"),
    Uncertainty(name="Fixed losses: mismatch, cables, first light, ageing", sigma_frac=0.015,
                source=NO_SOURCE),
)
"""The same for every site; an office that knows better puts its own figures here."""


MADE_YEAR = Uncertainty(
    name="Year made from twelve monthly means", sigma_frac=0.02,
    source="its in-plane energy is within 3 % of that of real hourly files, measured in the tests"
    " of this package",
)  # fmt: skip


WEAK_LIGHT = "Modules in weak light, of which their sheet says nothing"


def uncertainties_of(harvest: Harvest, *, made_year: bool = False) -> tuple[Uncertainty, ...]:
    """The fixed uncertainties, and half of each loss that is modelled simply.

    Parameters
    ----------
    harvest : Harvest
    made_year : bool
        The hours were made from monthly means.
    """
    own = [
        Uncertainty(name=f"Half of the loss: {small(name)}",
                    sigma_frac=0.5 * abs(lost),
                    source="what is modelled simply may be off by half; " + NO_SOURCE)
        for name, lost in half_known_frac(harvest.steps).items()
    ]
    low, high = harvest.weak_light_frac
    if high > low:
        own.append(Uncertainty(name=WEAK_LIGHT, sigma_frac=(high - low) / math.sqrt(12.0),
                               source="anywhere in the usual range, the site's year at either end;"
                               " " + LEAST_EFFICIENCY_200_FRAC.source))
    return (*FIXED, *([MADE_YEAR] if made_year else []), *own)


def combined_frac(parts: Sequence[Uncertainty]) -> float:
    """Standard deviation of all parts together, taken as independent: root of summed squares.

    Examples
    --------
    >>> parts = [Uncertainty(name="-", sigma_frac=s, source="-") for s in (0.03, 0.04)]
    >>> round(combined_frac(parts), 6)
    0.05
    """
    return math.sqrt(sum(part.sigma_frac**2 for part in parts))


def exceeded_kwh(mean_kwh: float, sigma_frac: float, *, chance_frac: float) -> float:
    """Yearly energy [kWh] that is exceeded with a given chance; 0.5 gives the mean itself.

    Parameters
    ----------
    mean_kwh : float
        The computed energy, taken as the middle of what may come [kWh].
    sigma_frac : float
        Standard deviation as a share of it [0 to 1].
    chance_frac : float
        Chance that it is exceeded, above 0 and below 1: 0.9 for P90.

    Raises
    ------
    InputError
        For a chance outside.

    Notes
    -----
    Normal distribution: mean (1 - z sigma), with z = 1.2816 for P90.
    """
    if not 0.0 < chance_frac < 1.0:
        raise InputError(
            Fault(where="chance_frac", given=str(chance_frac), allowed="above 0 and below 1")
        )
    return mean_kwh * (1.0 - NormalDist().inv_cdf(chance_frac) * sigma_frac)
