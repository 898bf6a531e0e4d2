"""Exercises worked a second way, and a judge that keeps the answer to itself."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pvlib
import pytest

from solarcalc.circuit.module import five_parameters
from solarcalc.design import open_design
from solarcalc.energy.diode import diode_of
from solarcalc.lessons import exercises
from solarcalc.stages.array import light_of, standing
from solarcalc.stages.boards import autonomy_days

NAMES = ["ridge-clinic", "plateau-school", "coral-pharmacy"]


@pytest.mark.parametrize("name", NAMES)
def test_pitch_by_the_handbook_form(name):
    this = open_design(name)
    latitude = math.radians(abs(this.site.site.latitude_deg))
    declination = math.radians(-23.45)
    # Facing the equator the profile angle of 10 and 14 h (hour angle 30 deg) is
    # 90 - latitude + atan(tan(declination) / cos 30), Duffie and Beckman 2013 eq. 1.9.2 rearranged.
    profile = math.pi / 2 - latitude + math.atan(math.tan(declination) / math.cos(math.pi / 6))
    width, tilt = this.site.module.length_m, math.radians(15.0)
    by_hand = width * math.cos(tilt) + width * math.sin(tilt) / math.tan(profile)
    by_hand = max(by_hand, width * math.cos(tilt) + 0.3)  # the free strip
    assert exercises.exercise_pitch_m(this) == pytest.approx(by_hand, abs=0.002)


def test_pitch_has_no_answer_where_the_sun_stays_down():
    this = open_design("cove-cannery")
    assert exercises.exercise_pitch_m(this) is not None
    place = this.site.site.model_copy(update={"latitude_deg": 70.0})
    sitefile = this.sitefile
    north = replace(
        this, sitefile=replace(sitefile, site=this.site.model_copy(update={"site": place}))
    )
    assert exercises.exercise_pitch_m(north) is None


@pytest.mark.parametrize("name", NAMES)
def test_heat_loss_by_plain_library_calls(name):
    this = open_design(name)
    stands, module = standing(this), this.site.module
    rows = light_of(this, stands.rows, pitch_m=stands.pitch_m, row_count=this.site.array.rows)
    sums = np.zeros(2)
    for row in rows:
        light = row.light["after_dust"].to_numpy()
        lit = light > 1.0
        for place, extra in enumerate((0.0, 10.0)):
            five = five_parameters(
                diode_of(module), light[lit], row.cell_c.to_numpy()[lit] + extra
            )
            best = pvlib.pvsystem.max_power_point(*five, method="newton")["p_mp"]
            sums[place] += row.share * best.sum()
    assert exercises.exercise_heat_loss_percent(this) == pytest.approx(
        100.0 * (1.0 - sums[1] / sums[0]), rel=1e-9
    )
    # The hint: ten times the data sheet's figure, within the share the judge lets pass.
    hint = -10.0 * module.gamma_pmax_pct_per_k
    answer = exercises.exercise_heat_loss_percent(this)
    assert exercises.judge(hint, answer, unit="%", within=0.1).startswith("Correct")


@pytest.mark.parametrize("name", NAMES)
def test_strings_for_three_days_by_counting_up(name):
    this = open_design(name)
    for count in range(1, 60):
        if autonomy_days(this.changed({"battery": {"units_in_parallel": count}})) >= 3.0:
            break
    assert exercises.exercise_units_in_parallel(this) == count
    assert exercises.judge(float(count), count, unit="strings", within=0.0).startswith("Correct")
    assert exercises.judge(count - 1.0, count, unit="strings", within=0.0).startswith("Not yet")


def test_strings_for_three_days_of_a_board_with_its_own_bank():
    """One string alone cannot be parted between two boards; the answer needs no such site."""
    supply = {"supply": {"layout": "separate-banks", "essential_bank_frac": 0.5}}
    controller = {"controller": {"count": 2}}
    shared = open_design("orchard-shop")
    units = {"battery": {"units_in_parallel": 2}}
    own = open_design("orchard-shop", {**supply, **controller, **units})
    assert exercises.exercise_units_in_parallel(own) == exercises.exercise_units_in_parallel(shared)


@pytest.mark.parametrize("right", [2.4831, 0.0, 17.0, -3.5])
@pytest.mark.parametrize("mine", [None, 0.5, 1000.0, -1000.0])
def test_judge_never_reveals_the_answer(right, mine):
    said = exercises.judge(mine, right, unit="m")
    assert not said.startswith("Correct")
    for digits in range(5):
        shown = f"{right:.{digits}f}"
        if mine is None or shown not in f"{mine:g}":
            assert f" {shown} " not in f" {said} "


def test_judge_in_words():
    assert exercises.judge(2.50, 2.48, unit="m") == "Correct: 2.5 m."
    assert "too small" in exercises.judge(1.0, 2.48, unit="m")
    assert "too large" in exercises.judge(3.0, 2.48, unit="m")
    assert exercises.judge(None, 2.48, unit="m").startswith("No answer yet")
    assert "no answer at this site" in exercises.judge(2.0, None, unit="m")
    assert exercises.judge(0.0, 0.0, unit="m").startswith("Correct")
