"""Portrait against landscape on the job's roof, and what pitch and tilt do to the answer."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import get_args

import numpy as np
import pandas as pd

from solarcalc.harvest.energy import array_power
from solarcalc.harvest.light import LIGHT_STEPS
from solarcalc.job.array import (
    Standing,
    array_kwh_per_kwp,
    kwh_per_kwp_of_power,
    light_of,
    open_plane,
    standing,
)
from solarcalc.job.field import own_plan, sweep_site
from solarcalc.job.opening import Job
from solarcalc.job.surroundings import boxes_of
from solarcalc.roof import Orientation, RoofFit, count_on_roof
from solarcalc.sweep import Field, kwh_per_kwp, kwh_per_m2, sweep

ORIENTATIONS: tuple[Orientation, ...] = get_args(Orientation)


@dataclass(frozen=True, kw_only=True)
class Variant:
    """One way to lay the modules, the roof filled.

    Parameters
    ----------
    stands : Standing
    peak_kwp : float
        Rated power of all modules that fit [kWp].
    array_kwh_per_kwp : float
        Array yield of the year [kWh/kWp]; 0 when nothing fits.
    shade_loss_frac : float
        Energy lost to shade of row on row, as a share of what there would be without [0 to 1].
    strip_loss_frac : float
        Energy lost to the strip of dirt above the lower frames, as a share of what was left.
    box_loss_frac, mask_loss_frac, dust_loss_frac : float
        Light lost to boxes on the roof, to sky hidden by rows, and to dust, each as a share of
        what was left.
    """

    stands: Standing
    peak_kwp: float
    array_kwh_per_kwp: float
    shade_loss_frac: float
    strip_loss_frac: float
    box_loss_frac: float
    mask_loss_frac: float
    dust_loss_frac: float

    @property
    def fit(self) -> RoofFit:
        """The filled roof."""
        return self.stands.roof_fit

    @property
    def array_kwh(self) -> float:
        """Energy of the filled roof in a year [kWh]."""
        return self.array_kwh_per_kwp * self.peak_kwp


def compare_orientations(job: Job) -> dict[Orientation, Variant]:
    """Both orientations, each with the roof filled at its own pitch."""
    return {orientation: _variant(job, orientation) for orientation in ORIENTATIONS}


def _variant(job: Job, orientation: Orientation) -> Variant:
    stands = standing(job, orientation)
    fit = stands.roof_fit
    if fit.module_count == 0:
        return Variant(stands=stands, peak_kwp=0.0, array_kwh_per_kwp=0.0,
                       shade_loss_frac=0.0, strip_loss_frac=0.0, box_loss_frac=0.0,
                       mask_loss_frac=0.0, dust_loss_frac=0.0)
    row_count = fit.row_count
    rows_light = light_of(
        job, stands.rows, pitch_m=stands.pitch_m, row_count=row_count, boxes=boxes_of(job, fit)
    )
    power = array_power(job.site.module, rows_light)
    total = power.sum()
    sums = {
        step: sum(row.share * float(row.light[step].sum()) for row in rows_light)
        for step in LIGHT_STEPS
    }
    return Variant(
        stands=stands,
        peak_kwp=fit.module_count * job.site.module.pmax_w / 1000.0,
        array_kwh_per_kwp=kwh_per_kwp_of_power(job, power),
        shade_loss_frac=1.0 - total["clean_w"] / total["open_w"],
        strip_loss_frac=1.0 - total["p_w"] / total["clean_w"],
        box_loss_frac=1.0 - sums["after_obstacles"] / sums["after_horizon"],
        mask_loss_frac=1.0 - sums["after_mask"] / sums["after_shade"],
        dust_loss_frac=1.0 - sums["after_dust"] / sums["after_glass"],
    )


PITCH_STEPS = 25


def energy_by_pitch(job: Job, *, steps: int = PITCH_STEPS) -> pd.DataFrame:
    """Modules that fit and energy against the row pitch, both orientations.

    Returns
    -------
    DataFrame
        ``orientation``, ``pitch_m``, ``modules``; ``kwh_per_kwp`` and ``roof_kwh`` of the filled
        roof; ``kwh_per_m2`` of a row behind another over the roof from it to the next. Pitches
        run from the smallest the rows allow to half as much again as the shadow rule asks. Empty
        for rows flush with the roof, which need no pitch. Boxes shade every pitch as they do
        the rows at the site's own; the strip of dirt is left out.
    """
    parts = []
    for orientation in ORIENTATIONS:
        stands = standing(job, orientation)
        if stands.rows.lift_deg > 0.0:
            low = stands.rows.least_pitch_m
            high = max(1.5 * (stands.rule_m or stands.pitch_m), 1.5 * low)
            parts.append(_by_pitch(job, stands, orientation, np.linspace(low, high, steps)))
    columns = ["orientation", "pitch_m", "modules", "kwh_per_kwp", "kwh_per_m2", "roof_kwh"]
    return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=columns)


def _by_pitch(
    job: Job, stands: Standing, orientation: Orientation, pitches_m: np.ndarray
) -> pd.DataFrame:
    rows = stands.rows
    site = sweep_site(job, (rows.modules_up,))
    field = Field(
        tilts_deg=(rows.tilt_deg,), azimuths_deg=(rows.azimuth_deg,),
        pitches=pitches_m.tolist(), orientations=(orientation,), modules_up=(rows.modules_up,),
        plans=(own_plan(job),),
    )  # fmt: skip
    table = sweep(site, field)
    fits = [count_on_roof(rows, job.site.roof, pitch_m=float(pitch)) for pitch in pitches_m]
    modules, row_counts = np.array(fits).T
    kept = _boxes_leave_frac(job, stands)
    each = kept * kwh_per_kwp(table, row_count=np.maximum(row_counts, 1)).to_numpy()
    each = np.where(modules > 0, each, 0.0)
    return pd.DataFrame(
        {
            "orientation": orientation,
            "pitch_m": pitches_m,
            "modules": modules,
            "kwh_per_kwp": each,
            "kwh_per_m2": kept * kwh_per_m2(table, site.equipment).to_numpy(),
            "roof_kwh": each * modules * job.site.module.pmax_w / 1000.0,
        }
    )


def _boxes_leave_frac(job: Job, stands: Standing) -> float:
    """Share of the year's energy that boxes leave the filled roof at its own pitch."""
    boxes = boxes_of(job, stands.roof_fit)
    if boxes is None:
        return 1.0
    with_, without = (
        array_kwh_per_kwp(
            job, stands.rows, pitch_m=stands.pitch_m, row_count=stands.roof_fit.row_count,
            boxes=tried,
        )
        for tried in (boxes, None)
    )  # fmt: skip
    return with_ / without if without > 0.0 else 0.0


def energy_by_tilt(job: Job, tilts_deg: Sequence[float]) -> pd.DataFrame:
    """Yield of one row alone and its dust against tilt, so that only tilt is compared.

    Returns
    -------
    DataFrame, one line a tilt
        ``tilt_deg``, ``kwh_per_kwp``, ``dust_loss_frac`` (mean over the year, not weighted).
    """
    rows = standing(job).rows
    lines = []
    for tilt_deg in tilts_deg:
        alone = replace(rows, tilt_deg=float(tilt_deg), azimuth_deg=job.site.array.azimuth_deg)
        _, dust = open_plane(job, alone.tilt_deg, alone.azimuth_deg)
        lines.append(
            (
                float(tilt_deg),
                array_kwh_per_kwp(job, alone, pitch_m=alone.slant_m, row_count=1),
                float(dust.mean()),
            )
        )
    return pd.DataFrame(lines, columns=["tilt_deg", "kwh_per_kwp", "dust_loss_frac"])


def orientation_answer(job: Job, variants: dict[Orientation, Variant]) -> str:
    """The answer in one sentence, from the figures."""
    best, other = sorted(variants, key=lambda name: variants[name].array_kwh, reverse=True)
    first, second = variants[best], variants[other]
    if first.fit.module_count == 0:
        there = job.site.roof.obstacles or job.site.roof.walkways
        clear = ", clear of its obstacles and walkways" if there else ""
        return (
            f"No module of this size fits on this roof inside its edge setback{clear}, either way."
        )
    if second.fit.module_count == 0:
        return f"Only {best} fits: {first.fit.module_count} modules, {first.peak_kwp:.1f} kWp."
    if second.array_kwh == 0.0:
        return (
            f"The roof takes {first.fit.module_count} modules in {best} and"
            f" {second.fit.module_count} in {other}, but no energy comes out as the strings are"
            " wired: see the controller's tracking window."
        )
    per_module = first.array_kwh_per_kwp / second.array_kwh_per_kwp - 1.0
    return (
        f"Filled with {job.site.module.label}, the roof takes {first.fit.module_count} modules in"
        f" {best} and {second.fit.module_count} in {other}; {best} gives"
        f" {first.array_kwh:,.0f} kWh a year, {_more(first.array_kwh / second.array_kwh - 1.0)}"
        f" {other}; module for module it gives {_more(per_module)} {other}."
    )


def _more(share: float) -> str:
    percent = round(100.0 * share, 1)
    if percent == 0.0:
        return "the same as"
    return f"{abs(percent):.1f} % {'more' if percent > 0 else 'less'} than"
