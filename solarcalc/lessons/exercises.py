"""The apprentice's exercises: each asks for one number and works it out to check the answer."""

from __future__ import annotations

import math

from solarcalc.basis.no_answer import NoAnswer, or_why
from solarcalc.design import Design
from solarcalc.earthing.electrode import ground_for, rods_needed
from solarcalc.energy.diode import Conditions, diode_curve, isc_expected_a
from solarcalc.roof.rows import Rows, shadow_rule_pitch_m
from solarcalc.stages.array import light_of, standing
from solarcalc.stages.boards import autonomy_days
from solarcalc.stages.electrical import options_of

EXERCISE_TILT_DEG = 15.0
EXERCISE_WINDOW_H = (10.0, 14.0)
EXERCISE_HOTTER_K = 10.0
EXERCISE_DAYS = 3.0
EXERCISE_LONGER = 2.0
EXERCISE_EARTH_OHM = 50.0
EXERCISE_MARGIN_FRAC = 0.3
EXERCISE_LIGHT_W_M2 = 620.0
EXERCISE_CELL_C = 45.0


def exercise_pitch_m(design: Design) -> float | None:
    """Pitch [m] of portrait rows lifted 15 deg on a level roof, clear from 10 to 14 solar time.

    The rows face the equator at the site's latitude; one module up. None where the sun stays
    down through those hours.
    """
    module, place = design.site.module, design.site.site
    rows = Rows(
        orientation="portrait",
        slant_m=module.length_m,
        along_m=module.width_m,
        gap_m=design.site.array.module_gap_m,
        modules_high=1,
        tilt_deg=EXERCISE_TILT_DEG,
        azimuth_deg=180.0 if place.latitude_deg >= 0.0 else 0.0,
        roof_slope_deg=0.0,
        roof_azimuth_deg=180.0,
    )
    start_h, end_h = EXERCISE_WINDOW_H
    return shadow_rule_pitch_m(
        rows, latitude_deg=place.latitude_deg, from_solar_h=start_h, to_solar_h=end_h
    )


def exercise_heat_loss_percent(design: Design) -> float:
    """Yearly array energy lost [%] if every cell ran 10 K hotter, other things equal."""
    stands = standing(design)
    rows_light = light_of(
        design, stands.rows, pitch_m=stands.pitch_m, row_count=design.site.array.rows
    )
    warm = hot = 0.0
    for row in rows_light:
        light = row.light["after_dust"]
        warm += row.share * float(diode_curve(design.site.module, light, row.cell_c)["p_w"].sum())
        hotter_c = row.cell_c + EXERCISE_HOTTER_K
        hot += row.share * float(diode_curve(design.site.module, light, hotter_c)["p_w"].sum())
    return 100.0 * (1.0 - hot / warm)


@or_why
def exercise_units_in_parallel(design: Design) -> int | None:
    """Fewest parallel strings of the site's battery that carry the essential board for 3 days.

    With separate banks they are those of that board's own bank. None where a bank gives nothing.
    """
    feeding = next(iter(design.site.banks.values()))
    days_each = autonomy_days(design) / feeding.units_in_parallel
    return None if days_each <= 0.0 else math.ceil(EXERCISE_DAYS / days_each - 1e-9)


def exercise_dc_main_size_mm2(design: Design) -> float | None:
    """Smallest size [mm2] of the main run at twice its length that keeps its limit of drop.

    Capacity is left aside. None where no size of the table does.
    """
    run = design.electrical.run("dc_main").run
    longer, _, _ = options_of(design.electrical, "dc_main", length_m=EXERCISE_LONGER * run.length_m)
    fits = [one.size_mm2 for one in longer if one.drop_frac <= run.drop_limit_frac]
    return min(fits, default=None)


def exercise_rods(design: Design) -> int | None:
    """Rods in a line, one length apart, for 50 ohm in soil of twice the resistivity.

    None where 24 are not enough.
    """
    earthing = design.site.earthing
    ground = ground_for(earthing, design.site.soil)
    return rods_needed(
        target_ohm=EXERCISE_EARTH_OHM, resistivity_ohm_m=2.0 * ground.worst_ohm_m,
        length_m=earthing.rod_length_m, diameter_m=earthing.rod_diameter_mm / 1000.0,
        spacing_m=earthing.rod_length_m,
    )  # fmt: skip


@or_why
def exercise_price(design: Design) -> float:
    """Price before tax [money] that leaves the firm a margin of three tenths of it."""
    return design.offer.cost / (1.0 - EXERCISE_MARGIN_FRAC)


def exercise_string_a(design: Design) -> float:
    """Short-circuit current [A] of a string in 620 W/m2 with cells at 45 degC."""
    at = Conditions(light_w_m2=EXERCISE_LIGHT_W_M2, cell_c=EXERCISE_CELL_C)
    return isc_expected_a(design.site.module, at)


def exercise_string_lost_percent(design: Design) -> float:
    """Share of the array's energy [%] that is gone while one of its strings is."""
    return 100.0 * design.site.array.modules_in_series / design.site.module_count


def judge(
    my_answer: float | None, right: float | NoAnswer | None, *, unit: str, within: float = 0.03
) -> str:
    """Whether an answer is right, without giving the right one away.

    Parameters
    ----------
    my_answer : float or None
        None while the apprentice has not answered.
    right : float, NoAnswer or None
        No number when the exercise has no answer at this site.
    unit : str
    within : float
        Share of the right answer that it may be off, [0 to 1].
    """
    if right is None or isinstance(right, NoAnswer):
        return "This exercise has no answer at this site: try it with another site file."
    if my_answer is None:
        return f"No answer yet: enter your number [{unit}] in place of None and run this cell."
    if abs(my_answer - right) <= within * abs(right):
        return f"Correct: {my_answer:g} {unit}."
    direction = "small" if my_answer < right else "large"
    return f"Not yet: {my_answer:g} {unit} is too {direction}. Look at the hint and try again."
