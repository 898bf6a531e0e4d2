"""Horizon and boxes in the year of a job: what they take, and what is kept from job to job."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pandas as pd
import pytest

from solarcalc.design import open_design
from solarcalc.energy.year import lost_frac
from solarcalc.sky import plane_light
from solarcalc.stages.array import light_of, own_boxes, roof_checks, standing
from solarcalc.stages.surroundings import around_of, box_shade_table
from solarcalc.views.orientation import worst_modules_table

NO_BOXES = {"roof": {"obstacles": [], "walkways": []}}
ALL_ROUND = {"horizon": {"azimuth_deg": [0.0, 180.0], "height_deg": [30.0, 30.0]}}


@pytest.fixture(scope="module")
def pharmacy():
    return open_design("coral-pharmacy")


def _steps(this):
    steps = this.energy.steps
    return {after.name: lost_frac(before, after) for before, after in pairwise(steps)}


def test_a_level_horizon_of_thirty_degrees():
    # Sky of a flat plane under a horizon of height h all round: cos(h)^2 = 0.75 of it.
    flat = {"array": {"tilt_deg": 0.0, "rows": 1, "mounting": "open-frame"},
            "roof": {"slope_deg": 0.0}}  # fmt: skip
    this = open_design("ridge-clinic", {**flat, **ALL_ROUND})
    around = around_of(this, standing(this).rows, None)
    assert around.horizon_sky == pytest.approx(0.75, abs=1e-4)
    low = this.sun["apparent_zenith_deg"] > 60.0
    up = this.sun["apparent_zenith_deg"] < 90.0
    assert (around.sun_hidden == (low & up)).all()
    light = plane_light(
        this.weather.hours, this.sun, tilt_deg=0.0, azimuth_deg=180.0, albedo_frac=0.2
    )
    direct = (light["beam"] + light["circumsolar"]).where(~low, 0.0)
    by_hand = float((direct + 0.75 * light["sky"]).sum())  # flat: no band
    (row,) = light_of(this, standing(this).rows, pitch_m=3.0, row_count=1)
    assert float(row.light["after_horizon"].sum()) == pytest.approx(by_hand, rel=1e-4)
    assert _steps(this)["Horizon shading"] == pytest.approx(
        1.0 - by_hand / float(light["total"].sum()), rel=1e-3
    )


def test_boxes_cost_light_and_none_cost_none(pharmacy):
    with_boxes, without = _steps(pharmacy), _steps(pharmacy.changed(NO_BOXES))
    assert with_boxes["Obstacle shading"] > 0.02
    assert "Obstacle shading" not in without
    assert "Horizon shading" not in with_boxes
    names = [check.item for check in roof_checks(pharmacy)]
    assert any(name.startswith("Beam irradiation lost to obstacles") for name in names)


def test_a_change_of_dust_keeps_the_boxes_and_a_change_of_pitch_does_not(pharmacy):
    dusty = pharmacy.changed({"soiling": {"loss_per_dry_day_frac": 0.01}})
    assert own_boxes(dusty) is own_boxes(pharmacy)
    wide = pharmacy.changed({"array": {"row_pitch_m": standing(pharmacy).pitch_m + 0.5}})
    assert own_boxes(wide) is not own_boxes(pharmacy)


def test_worst_modules_are_those_of_the_table(pharmacy):
    rows, boxes = standing(pharmacy).rows, own_boxes(pharmacy)
    light = plane_light(
        pharmacy.weather.hours, pharmacy.sun, tilt_deg=rows.tilt_deg,
        azimuth_deg=rows.azimuth_deg, albedo_frac=0.2,
    )  # fmt: skip
    table = box_shade_table(pharmacy, boxes, light)
    assert len(table) == pharmacy.site.array.module_count
    worst = worst_modules_table(table)
    lost = [line["direct irradiation lost to obstacles [%]"] for line in worst]
    assert lost == sorted(lost, reverse=True)
    assert lost[0] == pytest.approx(100.0 * (1.0 - table["beam_kept_frac"].min()))
    assert worst[0]["module"] == int(np.argmin(table["beam_kept_frac"])) + 1
    assert worst_modules_table(table.assign(beam_kept_frac=1.0)) == []


def test_no_module_on_the_roof_is_no_fault():
    tiny = open_design("coral-pharmacy", {"roof": {"edge_setback_m": 4.0}})
    assert own_boxes(tiny) is None
    assert isinstance(around_of(tiny, standing(tiny).rows, None).sun_hidden, pd.Series)


@pytest.mark.parametrize("tilt", [10.0, 35.0, 90.0])
def test_more_shade_never_gives_more_light(tilt):
    # Hills, rows and boxes one after the other, in every hour, dark and bright horizons alike.
    changes = {"array": {"tilt_deg": tilt, "mounting": "open-frame", "rows": 3},
               "roof": {"slope_deg": 0.0}}  # fmt: skip
    this = open_design("cove-cannery", {**changes, **ALL_ROUND})
    steps = ["total", "after_horizon", "after_obstacles", "after_shade", "after_mask"]
    before = None
    for pitch_m in (12.0, 6.0, 4.0):
        rows = light_of(this, standing(this).rows, pitch_m=pitch_m, row_count=3)
        for row in rows:
            assert (np.diff(row.light[steps].to_numpy(), axis=1) <= 1e-9).all()
            assert (row.light >= 0.0).all().all()
        behind = rows[-1].light["after_mask"]
        assert before is None or (behind <= before + 1e-9).all()
        before = behind
