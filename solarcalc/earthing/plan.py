"""The whole earthing of a site: ground, electrode, bar, lightning, what is checked, what to do."""

from __future__ import annotations

import math
from dataclasses import dataclass

from solarcalc.basis.check import Check
from solarcalc.earthing.bar import BarLine, Conductors, bar_lines, to_modules_m
from solarcalc.earthing.bar_notes import bar_notes
from solarcalc.earthing.checks import (
    allowed_ohm,
    asked_ohm,
    electrode_checks,
    ground_checks,
    lightning_checks,
)
from solarcalc.earthing.electrode import (
    Electrode,
    Row,
    electrode_of,
    ground_for,
    rod_table,
    rods_needed,
    rods_ohm,
)
from solarcalc.earthing.lightning import (
    SOIL_STEPS,
    USUAL_DOWN_CONDUCTORS,
    Lightning,
    electrode_steps,
    keep_away_m,
    lightning_advice,
)
from solarcalc.earthing.soil import ground_of
from solarcalc.protection.neutral import slowest_residual_ma
from solarcalc.protection.surge import ground_flash_density_per_km2
from solarcalc.sitefile.earthing import Earthing
from solarcalc.sitefile.site import Site

COUNTS_SHOWN = 8
"""Rods up to which the resistance is tabled and drawn."""


@dataclass(frozen=True, kw_only=True)
class EarthingPlan:
    """The earthing of a site.

    Parameters
    ----------
    earthing : Earthing
        Table [earthing] of the site file.
    electrode : Electrode
        With the ground it stands in; `electrode.worst_ohm` is what every check uses.
    residual_ma : float
        Of the device that the touch voltage is checked with [mA].
    touch_limit_v : float
        [V]
    allowed_ohm : float
        By the touch voltage condition [ohm].
    asked_ohm : float
        That the electrode is design value: its target, or the strictest rule [ohm].
    needed_rods : int or None
        Rods of the site's length and spacing for that in the worst season; None where 24 are not
        enough. Where rods measured more than computed, the ground is taken as worse by as much.
    by_count : tuple of tuple
        Number of such rods and their resistance, reckoned likewise [ohm].
    rod_rows : list of dict
        What other lengths and numbers of rods would give in the worst season.
    lines : tuple of BarLine
        The schedule of the main earth bar.
    lightning : Lightning
    checks : tuple of Check
    notes : tuple of str
        How the earths meet.
    soil_steps, electrode_steps, lightning_notes : tuple of str
        How to measure, and what lightning asks.
    array_height_m : float
        Upper edge of the array above the roof [m].
    """

    earthing: Earthing
    electrode: Electrode
    residual_ma: float
    touch_limit_v: float
    allowed_ohm: float
    asked_ohm: float
    needed_rods: int | None
    by_count: tuple[tuple[int, float], ...]
    rod_rows: list[Row]
    lines: tuple[BarLine, ...]
    lightning: Lightning
    checks: tuple[Check, ...]
    notes: tuple[str, ...]
    soil_steps: tuple[str, ...]
    electrode_steps: tuple[str, ...]
    lightning_notes: tuple[str, ...]
    array_height_m: float

    @property
    def main_earth_mm2(self) -> float:
        """Conductor from the bar to the electrode [mm2]."""
        return self.lines[-1].size_mm2


def earthing_plan(site: Site, conductors: Conductors) -> EarthingPlan:
    """The earthing of a site from its file and the conductors chosen for it.

    Parameters
    ----------
    site : Site
    conductors : Conductors

    Returns
    -------
    EarthingPlan

    Raises
    ------
    InputError
        When a size or current is not above 0, or the electrode leaves the formulas' range.
    """
    ground = ground_for(site.earthing, site.soil)
    electrode = electrode_of(site.earthing, ground)
    asked = asked_ohm(site)
    rods_in = _rods_in_ohm_m(site, electrode)
    needed = _needed(site, rods_in, asked)
    lightning = _lightning_of(site)
    return EarthingPlan(
        earthing=site.earthing, electrode=electrode, residual_ma=slowest_residual_ma(site),
        touch_limit_v=site.earthing.touch_limit_v,
        allowed_ohm=allowed_ohm(site),
        asked_ohm=asked, needed_rods=needed, by_count=_by_count(site, rods_in),
        rod_rows=rod_table(site.earthing, site.soil, allowed_ohm=asked),
        lines=bar_lines(site, conductors), lightning=lightning,
        checks=(
            *electrode_checks(site, electrode, needed=needed),
            *ground_checks(ground), *lightning_checks(electrode, lightning),
        ),
        notes=bar_notes(site), soil_steps=SOIL_STEPS,
        electrode_steps=electrode_steps(site.earthing),
        lightning_notes=lightning_advice(lightning), array_height_m=array_height_m(site),
    )  # fmt: skip


def array_height_m(site: Site) -> float:
    """Upper edge of the array above its roof, without the gap under it [m].

    The highest of all roof planes. The tilt is counted against the slope where the array faces as
    the roof does, else added to it.
    """
    return max(_height_m(one) for one in site.sites)


def _height_m(site: Site) -> float:
    """Of one roof plane [m]."""
    module, array, roof = site.module, site.array, site.roof
    side_m = module.length_m if array.orientation == "portrait" else module.width_m
    turned = abs((array.azimuth_deg - roof.azimuth_deg + 180.0) % 360.0 - 180.0)
    slope_deg = roof.slope_deg if turned > 45.0 else -roof.slope_deg
    lift_deg = min(abs(array.tilt_deg + slope_deg), 90.0)
    return array.modules_high * side_m * math.sin(math.radians(lift_deg))


def ground_rows(plan: EarthingPlan) -> list[Row]:
    """Readings of the four-pin test, a line a spacing; empty where there was none."""
    return [
        {
            "electrode spacing [m]": reading.spacing_m,
            "reading [Ω]": reading.resistance_ohm,
            "resistivity [Ω·m]": reading.resistivity_ohm_m,
        }
        for reading in plan.electrode.ground.readings
    ]


def electrode_rows(plan: EarthingPlan) -> list[Row]:
    """The electrode's resistances, a line each, down to what the checks use."""
    electrode, ground = plan.electrode, plan.electrode.ground
    rows: list[Row] = [
        {"Quantity": "soil resistivity", "Value": ground.resistivity_ohm_m, "Unit": "Ω·m",
         "Source": ground.basis},
        {"Quantity": "earth electrode, calculated", "Value": electrode.computed_ohm, "Unit": "Ω",
         "Source": f"{electrode.words}; {electrode.clause}"},
    ]  # fmt: skip
    if electrode.measured_ohm is not None:
        rows.append(
            {"Quantity": "earth electrode, measured", "Value": electrode.measured_ohm, "Unit": "Ω",
             "Source": "earthing.measured_ohm, used in place of the calculated one"}
        )  # fmt: skip
    return [
        *rows,
        {"Quantity": "season factor", "Value": ground.season_factor, "Unit": "",
         "Source": "worst season over season of the test"},
        {"Quantity": "earth electrode in the worst season",
         "Value": electrode.worst_ohm, "Unit": "Ω",
         "Source": "used by every check"},
        {"Quantity": "limit by touch voltage", "Value": plan.allowed_ohm, "Unit": "Ω",
         "Source": f"{plan.touch_limit_v:g} V at {plan.residual_ma:g} mA"},
        {"Quantity": "design value", "Value": plan.asked_ohm, "Unit": "Ω",
         "Source": "target, or the strictest rule"},
    ]  # fmt: skip


def _rods_in_ohm_m(site: Site, electrode: Electrode) -> float:
    """Resistivity of the worst season at the rods' depth, raised by what rods measured above it."""
    ground = ground_of(site.soil, depth_m=site.earthing.rod_length_m, rods=True)
    if electrode.kind != "rods":
        return ground.worst_ohm_m
    return ground.worst_ohm_m * max(electrode.test_ohm / electrode.computed_ohm, 1.0)


def _needed(site: Site, worst_ohm_m: float, asked: float) -> int | None:
    earthing = site.earthing
    return rods_needed(
        target_ohm=asked, resistivity_ohm_m=worst_ohm_m, length_m=earthing.rod_length_m,
        diameter_m=earthing.rod_diameter_mm / 1000.0, spacing_m=earthing.rod_spacing_m,
    )  # fmt: skip


def _by_count(site: Site, worst_ohm_m: float) -> tuple[tuple[int, float], ...]:
    earthing = site.earthing
    most = max(COUNTS_SHOWN, earthing.rod_count if earthing.electrode == "rods" else 0)
    return tuple(
        (
            count,
            rods_ohm(
                resistivity_ohm_m=worst_ohm_m, length_m=earthing.rod_length_m, count=count,
                diameter_m=earthing.rod_diameter_mm / 1000.0, spacing_m=earthing.rod_spacing_m,
            ),
        )
        for count in range(1, most + 1)
    )  # fmt: skip


def _lightning_of(site: Site) -> Lightning:
    days, along_m = site.protection.thunderstorm_days, to_modules_m(site)
    return Lightning(
        rods=site.protection.lightning_protection, thunderstorm_days=days,
        ground_flash_density_per_km2=ground_flash_density_per_km2(days), down_length_m=along_m,
        keep_away_m=keep_away_m(along_m, down_conductors=int(float(USUAL_DOWN_CONDUCTORS))),
        array_bonded=site.protection.lightning_protection,
    )  # fmt: skip
