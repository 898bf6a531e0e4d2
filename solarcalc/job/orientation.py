"""Portrait against landscape on the job's roof, and what pitch and tilt do to the answer."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import get_args

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
from solarcalc.job.opening import Job
from solarcalc.job.surroundings import boxes_of
from solarcalc.roof.packing import RoofFit
from solarcalc.roof.rows import Orientation

ORIENTATIONS: tuple[Orientation, ...] = get_args(Orientation)
_LOSSES_OF_LYING = (
    "shade_loss_frac", "strip_loss_frac", "box_loss_frac", "mask_loss_frac", "dust_loss_frac",
)  # fmt: skip


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
        f" {other}; module for module it gives {_more(per_module)} {other}, sure to"
        f" ± {100.0 * sigma_of_lead_frac(variants):.1f} points."
    )


def sigma_of_lead_frac(variants: dict[Orientation, Variant]) -> float:
    """Standard deviation of the ratio of what a module gives both ways, [0 to 1].

    Notes
    -----
    Weather, module and fixed losses are the same both ways and fall out of the ratio. What is
    left is by how much the losses differ that depend on how a module lies; each model may be off
    by half, both ways alike, and the parts are taken as independent.
    """
    one, other = (variants[name] for name in ORIENTATIONS)
    parts = [
        0.5 * (getattr(one, key) - getattr(other, key))
        for key in _LOSSES_OF_LYING
    ]
    return math.sqrt(sum(part**2 for part in parts))


def _more(share: float) -> str:
    percent = round(100.0 * share, 1)
    if percent == 0.0:
        return "the same as"
    return f"{abs(percent):.1f} % {'more' if percent > 0 else 'less'} than"
