"""What modules make of light and what shade costs them, in forms that a compiled loop reads."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import pandas as pd
import pvlib

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.physics import STC_W_M2
from solarcalc.circuit.strings import Strung
from solarcalc.circuit.table import ShadeTable, shade_table
from solarcalc.energy.diode import DARK_W_M2, diode_curve
from solarcalc.energy.light import cell_temperature_c
from solarcalc.energy.year import kept_by_age_frac
from solarcalc.sitefile.array import Module
from solarcalc.sitefile.losses import Losses
from solarcalc.sweep import kernels

FIT_LIGHT_W_M2 = (1.5, 1800.0)
FIT_CELL_C = (-40.0, 110.0)
"""Light [W/m2] and cell temperature [degC] between which the power is fitted."""
HOTTEST_C, HOTTEST_K_PER_W_M2 = 45.0, 0.06
"""Air and heating by light that no hour passes: what is hotter counts little in the fit."""
FIT_LIMIT_FRAC = 5e-4
"""How far the fit may be from the diode model, as a share of the hour's power above 50 W/m2;
the modules of the demo sites are within 2e-4."""
_FIT_POINTS = (100, 31)
GLASS_STEPS = 4096
"""Steps of the cosine in the table of the glass; straight lines between are within 1e-6."""


@dataclass(frozen=True, kw_only=True)
class Equipment:
    """What stands on the roof, the same for every array of a sweep.

    Parameters
    ----------
    module : Module
    losses : Losses
    mounting : str
        As in the site file; sets the heat of the cells.
    gap_m : float
        Gap between modules [m].
    gap_under_m : float or None
        Gap between modules and roof [m], with a mounting that has one.
    """

    module: Module
    losses: Losses
    mounting: str
    gap_m: float
    gap_under_m: float | None = None

    def slant_m(self, orientation: str, modules_high: int) -> float:
        """Width of a row up its own slope [m]."""
        return modules_high * self._sides_m(orientation)[0] + (modules_high - 1) * self.gap_m

    def along_m(self, orientation: str) -> float:
        """Length one module takes along the row, without the gap [m]."""
        return self._sides_m(orientation)[1]

    def _sides_m(self, orientation: str) -> tuple[float, float]:
        long_m, short_m = self.module.length_m, self.module.width_m
        return (long_m, short_m) if orientation == "portrait" else (short_m, long_m)


@lru_cache(maxsize=16)
def device_of(module: Module, losses: Losses) -> kernels.Device:
    """The module's power after ageing and mismatch, and its glass, for the compiled loops.

    Raises
    ------
    InputError
        When the diode of the data sheet gives a power that the fit cannot follow.

    Notes
    -----
    P / (G P_rated) = sum over i, j of a_ij ln(G)^i T^j, i 0 to 5, + (b_1j G + b_2j G^2 + b_3j G^3)
    T^j, j 0 to 3: a logarithm for the diode, the last terms for the resistances. Least squares on
    the diode model of `solarcalc.energy.diode`, weighted by power.
    """
    light, cell = _fit_points()
    share = diode_curve(module, pd.Series(light), pd.Series(cell))["p_w"].to_numpy()
    share = share / module.pmax_w * STC_W_M2 / light
    terms = _terms(light, cell)
    likely = cell < HOTTEST_C + HOTTEST_K_PER_W_M2 * light
    weight = np.where(likely, 1.0, 0.05) * np.sqrt(0.01 + light / STC_W_M2)
    found, *_ = np.linalg.lstsq(terms * weight[:, None], share * weight, rcond=None)
    missed = np.abs(terms @ found / share - 1.0)[likely & (light > 50.0)].max()
    if not missed <= FIT_LIMIT_FRAC:
        raise InputError(
            Fault(where=f"module: {module.label}",
                  given="a data sheet whose power the sweep cannot follow",
                  allowed=f"a fit within {100.0 * FIT_LIMIT_FRAC:g} % of the diode model",
                  why=f"it is {100.0 * missed:.2f} % off",
                  remedy="check the data sheet; the harvest of one array does without the fit")
        )
    kept = kept_by_age_frac(losses) * (1.0 - losses.mismatch_frac)
    return kernels.Device(glass=glass_table(),
                          power=tuple(np.float32(value) for value in found * kept),
                          wiring=np.float32(losses.dc_wiring_frac))


def _fit_points() -> tuple[np.ndarray, np.ndarray]:
    low, high = FIT_LIGHT_W_M2
    light = np.geomspace(max(low, DARK_W_M2), high, _FIT_POINTS[0])
    cell = np.linspace(*FIT_CELL_C, _FIT_POINTS[1])
    first, second = np.meshgrid(light, cell, indexing="ij")
    return first.ravel(), second.ravel()


def _terms(light: np.ndarray, cell_c: np.ndarray) -> np.ndarray:
    """Columns of the fit, in the order `kernels._power` reads them."""
    depth = np.log(light) - kernels.LOG_LIGHT_MIDDLE
    sun = light / kernels.LIGHT_SCALE_W_M2
    cell = (cell_c - kernels.CELL_MIDDLE_C) / kernels.CELL_SCALE_K
    of_light = [depth**power for power in range(6)] + [sun, sun**2, sun**3]
    return np.stack([one * cell**power for one in of_light for power in range(4)], axis=1)


@lru_cache(maxsize=1)
def glass_table() -> np.ndarray:
    """Share of direct light that passes the glass, at even steps of the cosine from 0 to 1.

    Shape (steps + 1,).
    """
    angle = np.degrees(np.arccos(np.linspace(0.0, 1.0, GLASS_STEPS + 1)))
    return np.ascontiguousarray(pvlib.iam.physical(angle), dtype=float)


def heat_k_per_w_m2(
    wind_m_per_s: np.ndarray, mounting: str, gap_under_m: float | None
) -> np.ndarray:
    """Rise of the cells above the air for each W/m2 [K m2/W], by hour.

    Parameters
    ----------
    wind_m_per_s : array (n,)
        [m/s].
    mounting : str
    gap_under_m : float or None
        [m].

    Notes
    -----
    It does not depend on the plane: the heat model is a straight line in the light.
    """
    weather = pd.DataFrame({"temp_air": 0.0, "wind_speed": wind_m_per_s})
    one = pd.Series(1.0, index=weather.index)
    rise: np.ndarray = cell_temperature_c(
        one, weather, mounting=mounting, gap_under_m=gap_under_m
    ).to_numpy()
    return rise


SHARE_BINS = 2048
"""Bins of the diffuse share. A share beside a knot may fall in the cell next to its own, whose
plane is then carried on by half a bin at most."""
LIGHT_KNOTS, HEAT_KNOTS = 4, 2
"""Knots of light and heat that the compiled loops are written for."""


@lru_cache(maxsize=16)
def shade_of(strungs: tuple[Strung, ...]) -> kernels.Shade:
    """The shade tables of some ways of stringing, side by side, made where they are missing.

    Each cell of a table, between two knots of each of its four axes, is held as the sixteen
    coefficients of its product of straight lines, single precision, in one line of the
    processor's cache.
    """
    return pack([shade_table(strung) for strung in strungs])


def pack(tables: list[ShadeTable]) -> kernels.Shade:
    """Tables with the same knots of light, heat and diffuse share, for the compiled loops.

    Raises
    ------
    InputError
        When a table has another number of knots than the loops are written for.
    """
    _check(tables)
    first = tables[0]
    widths = [_bin_count(table.fraction) for table in tables]
    most = max(widths) + 1
    froms, pers = (np.zeros((len(tables), most), np.float32) for _ in range(2))
    ats = np.zeros((len(tables), most), np.uint32)
    cells, held = [], 0
    for row, (table, width) in enumerate(zip(tables, widths, strict=True)):
        flat = _cells(table.kept_frac)
        low, start, per = _bins(table.fraction, width)
        froms[row, : width + 1], pers[row, : width + 1] = start, per
        ats[row, : width + 1] = held + low * flat.shape[1] * flat.shape[2]
        cells.append(flat.reshape(-1, 16))
        held += len(cells[-1])
    share_low, share_from, share_per = _bins(first.diffuse_share, SHARE_BINS)
    log_light, heat = np.log(first.light_w_m2), first.cell_c
    return kernels.Shade(
        kept=np.concatenate(cells).astype(np.float32), fraction_from=froms, fraction_per=pers,
        fraction_at=ats, fraction_bins=np.array(widths, np.float32), share_from=share_from,
        share_per=share_per, share_at=(share_low * (LIGHT_KNOTS - 1)).astype(np.uint32),
        log_light=tuple(np.float32(value) for value in log_light),
        per_log_light=tuple(np.float32(value) for value in 1.0 / np.diff(log_light)),
        heat_from=np.float32(heat[0]), heat_per=np.float32(1.0 / (heat[1] - heat[0])),
    )


@lru_cache(maxsize=1)
def no_shade() -> kernels.Shade:
    """A table in which nothing is lost; it keeps the types of the loops where none is used."""
    ends = np.array([0.0, 1.0])
    return pack([ShadeTable(
        fraction=ends, diffuse_share=ends, light_w_m2=np.array([1.0, 10.0, 100.0, 1000.0]),
        cell_c=ends, kept_frac=np.ones((2, 2, LIGHT_KNOTS, HEAT_KNOTS)),
    )])  # fmt: skip


def _cells(kept: np.ndarray) -> np.ndarray:
    """Coefficients of each cell, (fraction, share, light, 16), the last as 2 x 2 x 2 x 2.

    Of the sixteen the slowest index is the power of heat, then light, fraction, share.
    """
    found = kept
    for axis in range(4):
        low = np.take(found, range(kept.shape[axis] - 1), axis=axis)
        rise = np.diff(found, axis=axis)
        found = np.stack([low, rise], axis=-1)
    # axes now: fraction, share, light, heat, then powers of fraction, share, light, heat
    found = found.transpose(0, 1, 2, 3, 7, 6, 4, 5)
    return np.ascontiguousarray(found.reshape(*found.shape[:3], 16))


def _bin_count(knots: np.ndarray) -> int:
    """Bins of a width that goes into every gap between knots, or else is a small part of it."""
    count = round(1.0 / float(np.diff(knots).min()))
    whole = np.abs(knots * count - np.round(knots * count)).max() < 1e-6
    return count if whole else 16 * count


def _bins(knots: np.ndarray, count: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Knot below the middle of each bin, its value, and one over the gap; the last bin is 1."""
    middle = np.minimum((np.arange(count + 1) + 0.5) / count, 1.0)
    low = np.clip(np.searchsorted(knots, middle, side="right") - 1, 0, len(knots) - 2)
    per = 1.0 / np.diff(knots)
    return low, knots[low].astype(np.float32), per[low].astype(np.float32)


def _check(tables: list[ShadeTable]) -> None:
    first = tables[0]
    for table in tables:
        knots = (len(table.light_w_m2), len(table.cell_c))
        alike = all(
            np.array_equal(getattr(table, axis), getattr(first, axis))
            for axis in ("diffuse_share", "light_w_m2", "cell_c")
        )
        if knots != (LIGHT_KNOTS, HEAT_KNOTS) or not alike:
            raise InputError(
                Fault(where="shade table", given=f"{knots[0]} knots of light, {knots[1]} of heat",
                      allowed=f"{LIGHT_KNOTS} and {HEAT_KNOTS}, the same in every table",
                      why="the compiled loops are written for them")
            )
