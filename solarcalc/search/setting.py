"""A site as the compiled loops over very many arrays take it.

It brings in a compiler (see `solarcalc.views.arrays_tried`).
"""

from __future__ import annotations

from collections.abc import Sequence

from solarcalc.circuit.strings import Strung
from solarcalc.design import Design
from solarcalc.energy.diode import cells_of
from solarcalc.energy.light import within_row
from solarcalc.roof.rows import Orientation
from solarcalc.shading.rows import (
    horizon_band_seen_frac,
    horizon_hides_sun,
    horizon_sky_seen_frac,
)
from solarcalc.soiling import soiling_loss_frac
from solarcalc.stages.orientation import ORIENTATIONS
from solarcalc.stages.snow import albedo_of
from solarcalc.sweep.device import Equipment
from solarcalc.sweep.fields import Setting
from solarcalc.sweep.years import CleaningPlan, RoofPlane, sky_year_of

OWN_PLAN = "cleaned as planned"


def own_plan(design: Design) -> CleaningPlan:
    """Washing as the site file has it."""
    return plan_of(design, OWN_PLAN, tuple(design.site.soiling.cleaning_dates))


def plan_of(design: Design, name: str, dates: tuple[str, ...]) -> CleaningPlan:
    """Washing on other days of the year, ``"06-15"``."""
    soiling = design.site.soiling.model_copy(update={"cleaning_dates": list(dates)})
    hours = design.weather.hours
    return CleaningPlan(
        name=name,
        cleanings_per_year=len(dates),
        loss_frac=lambda tilt_deg: soiling_loss_frac(
            hours, soiling, tilt_deg=float(tilt_deg)).to_numpy(),
    )


def setting_of(design: Design, modules_high: Sequence[int]) -> Setting:
    """The job as a sweep takes it; strings lie along their rows, tier by tier where told so."""
    site = design.site
    hidden = horizon_hides_sun(site.horizon, design.sun).to_numpy()
    return Setting(
        year=sky_year_of(design.weather.hours, design.sun, hidden=hidden),
        roof=RoofPlane(slope_deg=site.roof.slope_deg, azimuth_deg=site.roof.azimuth_deg,
                       albedo_frac=albedo_of(design)),
        equipment=Equipment(
            module=site.module, losses=site.losses, mounting=site.array.mounting,
            gap_m=site.array.module_gap_m, gap_under_m=site.array.gap_under_m,
        ),
        wiring={(way, up): strung_of(design, way, up)
                for way in ORIENTATIONS for up in modules_high},
        sky_seen=lambda tilt, azimuth: horizon_sky_seen_frac(site.horizon, tilt, azimuth),
        band_seen=lambda tilt, azimuth: horizon_band_seen_frac(site.horizon, tilt, azimuth),
    )  # fmt: skip


def strung_of(design: Design, way: Orientation, modules_high: int) -> Strung:
    """Strings of the site that stay within one row of so many modules one above another."""
    wiring = within_row(design.site.array, modules_high=modules_high)
    return Strung(cells=cells_of(design.site.module), wiring=wiring, orientation=way)
