"""A year of energy for every array of a field, or of one of them by month."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import pandas as pd

from solarcalc.basis.errors import Fault, InputError
from solarcalc.circuit.strings import Strung
from solarcalc.energy.light import diffuse_glass
from solarcalc.roof.rows import normal_vector
from solarcalc.shading.rows import band_rays
from solarcalc.sitefile.roof import WALKWAY_M
from solarcalc.sweep import kernels
from solarcalc.sweep.compiled import in_threads
from solarcalc.sweep.device import Equipment, device_of, heat_k_per_w_m2, no_shade, shade_of
from solarcalc.sweep.years import (
    ORIENTATIONS,
    CleaningPlan,
    Field,
    RoofPlane,
    SkyYear,
    lit_hours,
    sky_parts,
)

Wiring = Mapping[tuple[str, int], Strung]
"""How modules are strung, by orientation and modules high."""
SkySeen = Callable[[float, float], float]
"""From tilt and azimuth [deg] to the share of its sky that the horizon leaves a plane."""
PLANES_AT_ONCE = 8
"""Planes a thread takes at a time."""
FLUSH_COSINE = float(np.cos(np.radians(1e-5)))
"""Cosine above which modules lie flush with the roof, as `Rows.lift_deg` has it."""
COLUMNS = (
    "tilt_deg", "azimuth_deg", "plan", "orientation", "modules_high", "pitch_m",
    "behind_kwh_per_kwp", "front_kwh_per_kwp",
)  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Setting:
    """Where a sweep is done and with what: the same for all its arrays.

    Parameters
    ----------
    year : SkyYear
    roof : RoofPlane
    equipment : Equipment
    wiring : mapping of (orientation, modules high) to Strung, or None
        None leaves the shade table off: shade then takes its share of the direct light alone.
    sky_seen, band_seen : callable, optional
        From tilt and azimuth [deg] to the share of the even sky, and of the band over a flat
        horizon, that the horizon leaves.
    """

    year: SkyYear
    roof: RoofPlane
    equipment: Equipment
    wiring: Wiring | None = None
    sky_seen: SkySeen | None = None
    band_seen: SkySeen | None = None


@dataclass(frozen=True, kw_only=True)
class OneYear:
    """A year of one array.

    Parameters
    ----------
    behind_kwh_per_kwp, front_kwh_per_kwp : float
        Energy of a row behind another and of the front row [kWh/kWp].
    behind_by_month, front_by_month : array (12,)
        The same by month.
    """

    behind_kwh_per_kwp: float
    front_kwh_per_kwp: float
    behind_by_month: np.ndarray
    front_by_month: np.ndarray


def sweep(site: Setting, field: Field, *, threads: int | None = None) -> pd.DataFrame:
    """Yearly energy of every array of a field, with shade by the cells' table.

    Use it to search; `solarcalc.energy.year` gives one array with all its losses in order. Left
    out: the controller's voltage window and current limit, the inverters, obstacles, the dirt
    strip, and light that rows throw on one another. Rows are endless; each row has cables of
    its own.

    Parameters
    ----------
    site : Setting
    field : Field
    threads : int, optional
        Processors to use; all that the process may use if left out. A single plane is worked
        out without starting any. The figures do not depend on it.

    Returns
    -------
    DataFrame, one line an array
        ``tilt_deg``, ``azimuth_deg``, ``plan``, ``orientation``, ``modules_high``, ``pitch_m``,
        ``behind_kwh_per_kwp`` of a row behind another and ``front_kwh_per_kwp`` of the front
        row [kWh/kWp]. Rows that would stand closer than the free strip allows have no energy
        behind (NaN) and keep their line.

    Raises
    ------
    InputError
        When a way of stringing is missing or not of its orientation and count, or a plan's
        loss is not one share an hour.

    Notes
    -----
    An hour of a row behind another, shaded fraction f (`solarcalc.shading.rows.shaded_fraction`),
    share of its sky F (two-dimensional, crossed strings: Hottel 1954, from memory) and of the
    band over the horizon B (`solarcalc.shading.rows.band_seen_frac`):
    light = (direct + sky F + band B + ground) through glass and dust; heat by direct (1 - f) +
    sky F + band B + ground; power = best power at that light and heat, times what the table keeps
    at f, at the diffuse share, light and heat. Then ageing, mismatch and cables P (1 - c P / P0).
    """
    sun = sun_of(site.year, site.roof, site.equipment)
    planes = planes_of(site, field)
    arrays, shade = _arrays_of(site, field)
    device = device_of(site.equipment.module, site.equipment.losses)
    shape = (len(planes.up), len(field.plans), len(arrays.pitch))
    behind, front = np.empty(shape), np.empty(shape[:2])

    def work(first: int) -> None:
        last = min(first + PLANES_AT_ONCE, shape[0])
        kernels.sweep_planes(first, last, sun, planes, device, shade, arrays, behind, front)

    in_threads(work, range(0, shape[0], PLANES_AT_ONCE), threads)
    return _table(field, arrays, behind, front)


def one_year(site: Setting, field: Field) -> OneYear:
    """A year of one array by month: a field with one value on every axis.

    Raises
    ------
    InputError
        As `sweep`, and when the field holds more than one array or its rows stand too close.
    """
    planes, (arrays, shade) = planes_of(site, field), _arrays_of(site, field)
    count = len(planes.up) * len(field.plans) * len(arrays.pitch)
    least_m = kernels.least_pitch(0, arrays, float(planes.cos_lift[0]))
    if count != 1 or arrays.pitch[0] < least_m:
        raise InputError(
            Fault(where="field",
                  given=f"{count} arrays, the first at a pitch of {arrays.pitch[0]:.3f} m",
                  allowed=f"one array, at a pitch of {least_m:.3f} m or more")
        )
    sun = sun_of(site.year, site.roof, site.equipment)
    device = device_of(site.equipment.module, site.equipment.losses)
    power = _hourly(sun, planes, device, shade, arrays)
    month = site.year.month[lit_hours(site.year)] - 1
    behind, front = (np.bincount(month, weights=row, minlength=12) for row in power)
    return OneYear(
        behind_kwh_per_kwp=float(behind.sum()), front_kwh_per_kwp=float(front.sum()),
        behind_by_month=behind, front_by_month=front,
    )  # fmt: skip


def warm_up() -> None:
    """Bring the machine code into this process, compiled or from disk, by a sweep of one hour.

    For a process that others are forked from, which then have it at once. Starts no thread.
    """
    one, half = np.ones(1), np.full(1, 0.5)
    sun = kernels.Sun(*[one] * len(kernels.Sun._fields))
    planes = kernels.Planes(
        east=half, north=half, up=half, sky=half, dark=half, band=half, ground=half,
        sky_glass=half, band_glass=half, ground_glass=half, cos_lift=half,
        ring=np.ones((1, 1)), ring_on_roof=np.ones((1, 1)), tilt_at=np.zeros(1, int),
        passed=np.ones((1, 1, 1), np.float32),
    )  # fmt: skip
    device = kernels.Device(
        glass=np.ones(2), power=(np.float32(0.1),) * 36, wiring=np.float32(0.01)
    )
    arrays = kernels.Arrays(pitch=4.0 * one, slant=one, gap=half, strip=0.3, table=np.zeros(1, int))
    kernels.sweep_planes(0, 1, sun, planes, device, no_shade(), arrays, np.empty((1, 1, 1)),
                         np.empty((1, 1)))  # fmt: skip
    _hourly(sun, planes, device, no_shade(), arrays)


def _hourly(
    sun: kernels.Sun, planes: kernels.Planes, device: kernels.Device, shade: kernels.Shade,
    arrays: kernels.Arrays,
) -> np.ndarray:  # fmt: skip
    """Net power of the first array by hour with light, behind another row and in front, (2, n)."""
    q = arrays.pitch[0] / arrays.slant[0]
    wide, which = np.float32(q), int(arrays.table[0])
    sky = np.float32(kernels.sky_kept(q, planes.cos_lift[0]))
    band = np.float32(kernels.band_kept(q, 0, planes))
    hours, _, hour_at = kernels.order_hours(sun, planes, 0, 0, device.glass, q)
    power = np.empty((2, len(hour_at)))
    kernels.year_of_blocks(wide, sky, band, hours, hour_at, which, device, shade, power)
    return power


@lru_cache(maxsize=8)
def sun_of(year: SkyYear, roof: RoofPlane, equipment: Equipment) -> kernels.Sun:
    """Hours with light, ready for the loops; kept, as every slider move asks for it."""
    at = lit_hours(year)
    parts = sky_parts(year, roof)
    zenith, azimuth = np.radians(year.zenith_deg[at]), np.radians(year.azimuth_deg[at])
    return kernels.Sun(
        east=np.sin(zenith) * np.sin(azimuth), north=np.sin(zenith) * np.cos(azimuth),
        up=np.cos(zenith), on_roof=parts.on_roof[at], direct=parts.direct_w_m2[at],
        sky=parts.even_w_m2[at], band=parts.band_w_m2[at],
        ground=year.ghi_w_m2[at] * np.array(roof.albedo_by_month)[year.month[at] - 1],
        air_c=year.air_c[at],
        heat=np.array(  # one that may be written to, as the loops are compiled for
            heat_k_per_w_m2(year.wind_m_per_s[at], equipment.mounting, equipment.gap_under_m)),
    )


def planes_of(site: Setting, field: Field) -> kernels.Planes:
    """The planes of a field, azimuths innermost, ready for the loops."""
    pairs = list(itertools.product(range(len(field.tilts_deg)), field.azimuths_deg))
    tilt_at = np.array([at for at, _ in pairs])
    tilt = np.array(field.tilts_deg, float)[tilt_at]
    normal = np.array([normal_vector(float(field.tilts_deg[at]), azimuth) for at, azimuth in pairs])
    glass = [diffuse_glass(float(tilt_deg)) for tilt_deg in tilt]
    roof_normal = normal_vector(site.roof.slope_deg, site.roof.azimuth_deg)
    cos_lift = np.clip(normal @ roof_normal, -1, 1)
    cos_tilt, sin_tilt = np.cos(np.radians(tilt)), np.sin(np.radians(tilt))
    sky, band = (
        np.ones(len(pairs)) if seen is None
        else np.array([seen(float(t), float(a)) for t, (_, a) in zip(tilt, pairs, strict=True)])
        for seen in (site.sky_seen, site.band_seen)
    )  # fmt: skip
    ring = np.maximum(normal @ band_rays().T, 0.0)
    whole = ring.sum(axis=1)[:, None]
    return kernels.Planes(east=normal[:, 0].copy(), north=normal[:, 1].copy(),
                          up=normal[:, 2].copy(), sky=(1.0 + cos_tilt) / 2.0 * sky,
                          dark=sin_tilt * sky, band=sin_tilt * band,
                          ground=(1.0 - cos_tilt) / 2.0,
                          sky_glass=np.array([one.sky for one in glass]),
                          band_glass=np.array([one.band for one in glass]),
                          ground_glass=np.array([one.ground for one in glass]),
                          cos_lift=np.where(cos_lift > FLUSH_COSINE, 1.0, cos_lift),
                          ring=ring / whole,
                          ring_on_roof=np.maximum(band_rays() @ roof_normal, 0.0) / whole,
                          tilt_at=tilt_at, passed=_passed(site, field))


def _passed(site: Setting, field: Field) -> np.ndarray:
    """Share of light that passes the dust, (tilts, plans, lit hours), single precision."""
    at = lit_hours(site.year)
    passed = np.ones((len(field.tilts_deg), len(field.plans), len(at)), np.float32)
    for column, plan in enumerate(field.plans):
        if plan.loss_frac is not None:
            for row, tilt_deg in enumerate(field.tilts_deg):
                loss = np.asarray(plan.loss_frac(float(tilt_deg)), float)
                _check_loss(plan, loss, site.year.hour_count)
                passed[row, column] = 1.0 - loss[at]
    return passed


def _check_loss(plan: CleaningPlan, loss: np.ndarray, hour_count: int) -> None:
    if loss.shape != (hour_count,) or not ((loss >= 0.0) & (loss <= 1.0)).all():
        raise InputError(
            Fault(where=f"cleaning plan {plan.name!r}: loss_frac",
                  given=f"shape {loss.shape}, {loss.min():g} to {loss.max():g}",
                  allowed=f"{hour_count} shares, 0 to 1")
        )


def _arrays_of(site: Setting, field: Field) -> tuple[kernels.Arrays, kernels.Shade]:
    stands = list(itertools.product(field.orientations, field.modules_high))
    slant = np.array([site.equipment.slant_m(way, int(up)) for way, up in stands])
    slant = np.repeat(slant, len(field.pitches))
    pitch = np.tile(np.array(field.pitches, float), len(stands))
    table = np.arange(len(stands))
    if site.wiring is None:
        shade, table = no_shade(), np.full(len(stands), -1)
    else:
        shade = shade_of(tuple(_strung(site.wiring, way, int(up)) for way, up in stands))
    arrays = kernels.Arrays(
        pitch=pitch * slant if field.pitch_unit == "slants" else pitch,
        slant=slant,
        gap=np.full(len(pitch), site.equipment.gap_m),
        strip=float(WALKWAY_M),
        table=np.repeat(table, len(field.pitches)),
    )
    return arrays, shade


def _strung(wiring: Wiring, way: str, modules_high: int) -> Strung:
    strung = wiring.get((way, modules_high))
    if strung is None or strung.orientation != way or strung.tiers != modules_high:
        found = "none" if strung is None else f"{strung.orientation}, {strung.tiers} up"
        raise InputError(
            Fault(where=f"wiring: {way}, {modules_high} up", given=found,
                  allowed="strings of that orientation with that many modules high")
        )
    return strung


def _table(
    field: Field, arrays: kernels.Arrays, behind: np.ndarray, front: np.ndarray
) -> pd.DataFrame:
    azimuths, plans = len(field.azimuths_deg), len(field.plans)
    each, per_stand = len(arrays.pitch), len(field.pitches)
    size = behind.size

    def spread(values: object, repeat: int) -> np.ndarray:
        column = np.repeat(np.asarray(values), repeat)
        return np.tile(column, size // len(column))

    stands = list(itertools.product(field.orientations, field.modules_high))
    names = [plan.name for plan in field.plans]
    return pd.DataFrame(
        {
            "tilt_deg": spread(np.array(field.tilts_deg, float), azimuths * plans * each),
            "azimuth_deg": spread(np.array(field.azimuths_deg, float), plans * each),
            "plan": _words(spread(range(plans), each), names),
            "orientation": _words(
                spread([ORIENTATIONS.index(way) for way, _ in stands], per_stand), ORIENTATIONS
            ),
            "modules_high": spread([up for _, up in stands], per_stand),
            "pitch_m": spread(arrays.pitch, 1),
            "behind_kwh_per_kwp": behind.ravel(),
            "front_kwh_per_kwp": np.repeat(front.ravel(), each),
        },
        columns=list(COLUMNS),
    )


def _words(codes: np.ndarray, words: Sequence[str]) -> pd.Categorical:
    """A column of few different words, held as numbers."""
    whole: Any = pd.Categorical.from_codes
    column: pd.Categorical[object] = whole(codes, list(words))
    return column
