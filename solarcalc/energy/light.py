"""The light that reaches the cells, and their heat by the gap under the modules."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
import pandas as pd
import pvlib

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.physics import STC_C, STC_W_M2
from solarcalc.basis.sourced import constant
from solarcalc.circuit.strings import StringWiring, Strung, along_row, spread
from solarcalc.circuit.table import power_kept_frac
from solarcalc.energy.diode import DARK_W_M2, cells_of
from solarcalc.roof.rows import Rows
from solarcalc.shading.rows import band_seen_frac, shaded_fraction, sky_seen_frac
from solarcalc.sitefile.array import Array, Module
from solarcalc.sky import even_and_band
from solarcalc.soiling import dirt_band_kept_frac, dirt_band_strung

GAP_DECAY_M = constant("energy.gap_decay_m")
HEAT_CASE = {"open-frame": "open_rack_glass_polymer", "small-gap": "close_mount_glass_glass",
             "flush": "insulated_back_glass_polymer"}
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
    return HeatCoefficients(a=still,
                            b=(windy - still) / (MATCHED_WINDS_M_S[1] - MATCHED_WINDS_M_S[0]),
                            delta_k=(1.0 - share) * open_.delta_k + share * flush.delta_k)


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


def gap_table(
    module: Module, *, gaps_m: Sequence[float] = TABLE_GAPS_M, temp_air_c: float = STC_C,
    wind_m_per_s: float = 1.0,
) -> pd.DataFrame:  # fmt: skip
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
        raise InputError(Fault(where="gap_under_m", given=f"{gap_under_m:g}", allowed="0 to 1 m"))
    if mounting != "small-gap":
        raise InputError(
            Fault(where="gap_under_m", given=f"{gap_under_m:g} m with mounting {mounting!r}",
                  allowed="left out, or used with mounting 'small-gap'")
        )


@dataclass(frozen=True, kw_only=True)
class StringClass:
    """Strings that stand alike.

    Parameters
    ----------
    share : float
        Of all modules [0 to 1].
    front_frac : float
        Share of their modules in the front row, which no other shades [0 to 1].
    strung : Strung or None
        How the strip of shade meets them; None where it never does.
    """

    share: float
    front_frac: float
    strung: Strung | None


@lru_cache(maxsize=64)
def string_classes(
    module: Module, array: Array, rows: Rows, row_count: int
) -> tuple[StringClass, ...]:
    """The strings of an array by how row-on-row shade meets them; shares add up to 1.

    Parameters
    ----------
    module : Module
    array : Array
        Its `modules_in_series` and `string_layout` count.
    rows : Rows
        Their orientation and modules one above another count.
    row_count : int
        Rows of the array, the front one among them.

    Notes
    -----
    Along a row, and tier by tier, a string stands whole in the front row or whole behind.
    Across rows it takes its modules from row after row, as evenly as can be. Of n in series over
    r rows, ceil(n / r) lie in the front row in the n / (r ceil(n / r)) of the strings that touch
    it; the others have none there.
    """
    series = array.modules_in_series
    if array.string_layout != "across-rows" or row_count == 1:
        front = StringClass(share=1.0 / row_count, front_frac=1.0, strung=None)
        if row_count == 1:
            return (front,)
        behind = _strung(module, rows, within_row(array, modules_high=rows.modules_high))
        return front, StringClass(share=1.0 - 1.0 / row_count, front_frac=0.0, strung=behind)
    in_front = -(-series // row_count)
    touching = series / (row_count * in_front)
    some = spread(series, modules_high=rows.modules_high, unshaded=in_front)
    classes = [
        StringClass(
            share=touching,
            front_frac=in_front / series,
            strung=_strung(module, rows, some) if in_front < series else None,
        )
    ]
    if touching < 1.0:
        none = spread(series, modules_high=rows.modules_high)
        classes.append(
            StringClass(share=1.0 - touching, front_frac=0.0, strung=_strung(module, rows, none))
        )
    return tuple(classes)


def within_row(array: Array, *, modules_high: int) -> tuple[StringWiring, ...]:
    """Strings that stay within one row: tier by tier where the site file says so."""
    series = array.modules_in_series
    if array.string_layout == "tier-by-tier":
        return along_row(series, modules_high=modules_high, tier_by_tier=True)
    return spread(series, modules_high=modules_high)


def _strung(module: Module, rows: Rows, wiring: tuple[StringWiring, ...]) -> Strung:
    return Strung(cells=cells_of(module), wiring=wiring, orientation=rows.orientation)


LIGHT_STEPS = (
    "total", "after_horizon", "after_obstacles", "after_shade", "after_mask", "after_glass",
    "after_dust",
)  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Setup:
    """An array as it stands: the module, its rows, their pitch and how many there are."""

    module: Module
    array: Array
    rows: Rows
    pitch_m: float
    row_count: int


@dataclass(frozen=True, kw_only=True)
class Around:
    """What stands around the array and hides light from all of it.

    Parameters
    ----------
    sun_hidden : Series of bool, shape (n,)
        The sun is up but below the horizon line or below the plane of the roof.
    horizon_sky, horizon_band : float
        Share of the even sky, and of the bright band over a flat horizon, that the horizon line
        leaves the modules, [0 to 1].
    obstacle_beam : Series, shape (n,), or float
        Share of the direct light that boxes on the roof leave the strings, [0 to 1].
    obstacle_sky : float
        Share of the sky, its bright band included, that they leave, [0 to 1].
    """

    sun_hidden: pd.Series
    horizon_sky: float = 1.0
    horizon_band: float = 1.0
    obstacle_beam: pd.Series | float = 1.0
    obstacle_sky: float = 1.0


@dataclass(frozen=True, kw_only=True)
class Dust:
    """Dust on the glass by hour, and the dirt band above the lower frame of each module.

    Parameters
    ----------
    loss_frac : Series, shape (n,)
        Share of light lost all over the glass, [0 to 1].
    strip : DataFrame, shape (n,), or None
        From `solarcalc.soiling.dirt_band_of_year`; None for no strip.
    snow_frac : Series, shape (n,), or float
        Share of the power that snow takes, [0 to 1].
    """

    loss_frac: pd.Series
    strip: pd.DataFrame | None = None
    snow_frac: pd.Series | float = 0.0


@dataclass(frozen=True, kw_only=True)
class RowLight:
    """Light on one class of strings.

    Parameters
    ----------
    share : float
        Of the modules [0 to 1].
    light : DataFrame, shape (n,)
        Columns `LIGHT_STEPS` [W/m2], means over the area; ``open`` on the cells that the shade
        of the row in front does not reach, after all of them.
    cell_c : Series, shape (n,)
        Cell temperature [degC].
    shaded_frac, left_frac : Series, shape (n,), or float
        Share of the width of the shaded rows in the strip of shade, and of the light on unshaded
        cells that the strip leaves, [0 to 1].
    kept_frac, clean_frac : Series, shape (n,), or float
        Share of the power of evenly lit strings in the ``open`` light that the strings keep in
        part shade, with the dirt band and without it, [0 to 1].
    snow_frac : Series, shape (n,), or float
        Share of that power that snow takes, [0 to 1].
    """

    share: float
    light: pd.DataFrame
    cell_c: pd.Series
    shaded_frac: pd.Series | float = 0.0
    left_frac: pd.Series | float = 1.0
    kept_frac: pd.Series | float = 1.0
    clean_frac: pd.Series | float = 1.0
    snow_frac: pd.Series | float = 0.0


def light_on_rows(
    light: pd.DataFrame, sun: pd.DataFrame, hours: pd.DataFrame, setup: Setup, *, around: Around,
    dust: Dust,
) -> tuple[RowLight, ...]:  # fmt: skip
    """Light on the strings of the array, class by class.

    Parameters
    ----------
    light : DataFrame, shape (n,)
        From `solarcalc.sky.plane_light`.
    sun, hours : DataFrame, shape (n,)
        Sun angles and weather of the same hours.
    setup : Setup
    around : Around
    dust : Dust

    Returns
    -------
    tuple of RowLight
        Shares add up to 1. The front row has no row before it; the others share one shade.

    Notes
    -----
    Light is counted over the area: what falls in the shade of a row is lost from the mean. What
    the strings make of it is another matter: they give `kept_frac` of what evenly lit strings
    would give in the light of their unshaded cells (`solarcalc.circuit`). A band over the horizon
    that is brighter than the sky has shares of its own (`solarcalc.shading.rows`); a darker one
    is taken off the even sky before anything hides it (`solarcalc.sky.even_and_band`).
    """
    classes = string_classes(setup.module, setup.array, setup.rows, setup.row_count)
    fraction = pd.Series(0.0, index=light.index)
    sky = band = 1.0
    if setup.row_count > 1:
        fraction = shaded_fraction(setup.rows, sun, pitch_m=setup.pitch_m)
        sky = sky_seen_frac(setup.rows, pitch_m=setup.pitch_m)
        band = band_seen_frac(setup.rows, pitch_m=setup.pitch_m)
    lit = _Lit(light=light, hours=hours, setup=setup, around=around, dust=dust)
    return tuple(
        lit.on(
            one,
            fraction=fraction if one.front_frac < 1.0 else fraction * 0.0,
            sky=one.front_frac + (1.0 - one.front_frac) * sky,
            band=one.front_frac + (1.0 - one.front_frac) * band,
        )
        for one in classes
    )


@dataclass(frozen=True, kw_only=True)
class DiffuseGlass:
    """Share of even sky, of the band over the horizon and of ground light that passes the glass."""

    sky: float
    band: float
    ground: float


@lru_cache(maxsize=512)
def diffuse_glass(tilt_deg: float) -> DiffuseGlass:
    """What the glass of a plane passes of diffuse light, [0 to 1]; Marion 2017."""
    passed = pvlib.iam.marion_diffuse("physical", tilt_deg)
    return DiffuseGlass(sky=float(passed["sky"]), band=float(passed["horizon"]),
                        ground=float(passed["ground"]) if tilt_deg > 0.0 else 0.0)


def cell_temperature_c(
    light_w_m2: pd.Series, hours: pd.DataFrame, *, mounting: str, gap_under_m: float | None = None
) -> pd.Series:
    """Cell temperature [degC] by mounting, and by the gap under the modules where it is known.

    Shape (8760,), a value for each hour.

    Notes
    -----
    T = T_air + G exp(a + b wind) + dT G / 1000, King et al. 2004, with the published a, b, dT
    of an open rack, a close roof mount and an insulated back.
    """
    heat = heat_coefficients(mounting, gap_under_m)
    cell: pd.Series = pvlib.temperature.sapm_cell(
        light_w_m2, hours["temp_air"], hours["wind_speed"], heat.a, heat.b, heat.delta_k
    )
    return cell


@dataclass(frozen=True, kw_only=True)
class _Lit:
    """What all classes of strings share."""

    light: pd.DataFrame
    hours: pd.DataFrame
    setup: Setup
    around: Around
    dust: Dust

    @cached_property
    def beam_glass(self) -> np.ndarray:
        """What the glass passes of direct light, [0 to 1], shape (n,)."""
        passed: np.ndarray = pvlib.iam.physical(self.light["aoi_deg"].to_numpy())
        return passed

    @cached_property
    def sky_and_band(self) -> tuple[np.ndarray, np.ndarray]:
        """Light of the even sky and of the band over it that the horizon leaves, [W/m2]."""
        even, ring = (each.to_numpy() for each in even_and_band(self.light))
        return even * self.around.horizon_sky, ring * self.around.horizon_band

    def on(self, one: StringClass, *, fraction: pd.Series, sky: float, band: float) -> RowLight:
        """Light on one class: strip of shade on its shaded rows, share of sky and band it sees."""
        around, boxes, index = self.around, self.around.obstacle_sky, self.light.index
        part = {str(name): column.to_numpy() for name, column in self.light.items()}
        direct = part["beam"] + part["circumsolar"]
        seen = direct * (~around.sun_hidden.to_numpy()).astype(float)
        free = seen * np.asarray(around.obstacle_beam)
        on_area = free * (1.0 - fraction.to_numpy() * (1.0 - one.front_frac))
        even, ring = self.sky_and_band
        glass = diffuse_glass(self.setup.rows.tilt_deg)
        diffuse = (even * (boxes * sky * glass.sky) + ring * (boxes * band * glass.band)
                   + part["ground"] * glass.ground)
        clean = 1.0 - self.dust.loss_frac.to_numpy()
        glazed = on_area * self.beam_glass + diffuse
        whole = free * self.beam_glass + diffuse
        steps = pd.DataFrame({
            "total": part["total"],
            "after_horizon": seen + even + ring + part["ground"],
            "after_obstacles": free + (even + ring) * boxes + part["ground"],
            "after_shade": on_area + (even + ring) * boxes + part["ground"],
            "after_mask": on_area + (even * sky + ring * band) * boxes + part["ground"],
            "after_glass": glazed,
            "after_dust": glazed * clean,
            "open": whole * clean,
        }, index=index)  # fmt: skip
        cell_c = cell_temperature_c(
            steps["after_mask"], self.hours, mounting=self.setup.array.mounting,
            gap_under_m=self.setup.array.gap_under_m,
        )  # fmt: skip
        left = pd.Series(np.clip(diffuse / np.where(whole > 0.0, whole, 1.0), 0.0, 1.0),
                         index=index)  # fmt: skip
        shade = _kept(one.strung, fraction, left, steps["open"], cell_c)
        return RowLight(share=one.share, light=steps, cell_c=cell_c, shaded_frac=fraction,
                        left_frac=left, clean_frac=shade, snow_frac=self.dust.snow_frac,
                        kept_frac=shade.clip(upper=self._under_dirt_band(steps["open"], cell_c)))

    def _under_dirt_band(self, open_w_m2: pd.Series, cell_c: pd.Series) -> pd.Series:
        """Share kept under the dirt band; where shade covers more, the shade decides."""
        if self.dust.strip is None:
            return pd.Series(1.0, index=open_w_m2.index)
        strung = dirt_band_strung(cells_of(self.setup.module), self.setup.rows.orientation)
        return dirt_band_kept_frac(self.dust.strip, open_w_m2, cell_c, strung=strung)


def _kept(
    strung: Strung | None, fraction: pd.Series, left: pd.Series, open_w_m2: pd.Series,
    cell_c: pd.Series,
) -> pd.Series:  # fmt: skip
    """Share of the power kept by hour; looked up only where a strip lies and light falls."""
    kept = pd.Series(1.0, index=fraction.index)
    met = ((fraction > 0.0) & (open_w_m2 > DARK_W_M2)).to_numpy()
    if strung is not None and met.any():
        kept[met] = power_kept_frac(fraction.to_numpy()[met], left.to_numpy()[met],
                                    open_w_m2.to_numpy()[met], cell_c.to_numpy()[met],
                                    strung=strung)
    return kept
