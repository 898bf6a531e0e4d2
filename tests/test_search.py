"""Thousands of arrays on a roof: against the harvest, the packing and sums by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solarcalc.basis.quantity import in_unit
from solarcalc.design import open_design
from solarcalc.roof.packing import count_on_roof, fit_on_roof
from solarcalc.roof.rows import Rows, rows_of
from solarcalc.sitefile.roof import Roof
from solarcalc.stages.array import array_kwh_per_kwp, standing
from solarcalc.views import arrays_tried
from solarcalc.views.orientation import compare_orientations


@pytest.fixture(scope="module")
def clinic():
    return open_design("ridge-clinic")


@pytest.fixture(scope="module")
def field(clinic):
    axes = arrays_tried.Axes(
        tilts_deg=(3.0, 5.0, 20.0, 35.0), pitches_slants=(1.0, 1.4, 2.0), modules_high=(1,)
    )
    return arrays_tried.swept_roof(clinic, axes)


def test_each_line_is_the_harvest_of_that_array(clinic, field):
    lines = field[(field["plan"] == "cleaned as planned") & (field["modules"] > 0)]
    assert len(lines) > 12
    for _, line in lines.iterrows():
        stands = standing(clinic, line["orientation"])
        rows = replace(stands.rows, tilt_deg=line["tilt_deg"])
        expected = array_kwh_per_kwp(
            clinic, rows, pitch_m=line["pitch_m"], row_count=int(line["rows"])
        )
        # The dirt band is one factor a year in the search, by hour in the harvest: it lies
        # over the shade where both are, which the factor cannot know. Elsewhere 0.1 %.
        tolerance = 0.001 if line["tilt_deg"] > 10.0 or line["tilt_deg"] == 3.0 else 0.004
        assert line["kwh_per_kwp"] == pytest.approx(expected, rel=tolerance)
        fit = fit_on_roof(rows, clinic.site.roof, pitch_m=line["pitch_m"])
        assert (line["modules"], line["rows"]) == (fit.module_count, fit.row_count)


def test_costs_by_hand(clinic, field):
    line = field[field["modules"] > 0].iloc[0]
    costs = clinic.site.costs
    metres = line["modules"] * (clinic.site.module.width_m + clinic.site.array.module_gap_m)
    assert line["orientation"] == "portrait"
    once = costs.fixed + line["modules"] * costs.per_module + metres * costs.per_metre_of_row
    share = 0.08 * 1.08**20 / (1.08**20 - 1.0)  # 8 % over 20 years
    cleanings = {"no manual cleaning": 0, "cleaned monthly": 12,
                 "cleaned as planned": 0}[line["plan"]]
    yearly = once * share + cleanings * costs.per_cleaning
    assert line["cost_per_kwh"] == pytest.approx(yearly / line["roof_kwh"])


def test_cleaning_wins_energy_and_costs_money(field):
    monthly, never = (
        field[field["plan"] == plan].set_index(["tilt_deg", "orientation", "pitch_m"])
        for plan in ("cleaned monthly", "cleaned as planned")
    )
    won = (monthly["roof_kwh"] - never["roof_kwh"]).dropna()
    assert len(won) > 6
    assert (won > 0.0).all()


def test_flush_modules_leave_nothing_to_search():
    assert arrays_tried.swept_roof(open_design("orchard-shop")).empty


def test_bests_and_front_by_brute_force(field):
    bests = arrays_tried.bests_of_field(field)
    assert bests["roof_kwh"].iloc[0] == field["roof_kwh"].max()
    assert bests["kwh_per_kwp"].iloc[1] == field["kwh_per_kwp"].max()
    assert bests["kwh_per_m2"].iloc[2] == field["kwh_per_m2"].max()
    assert bests["cost_per_kwh"].iloc[3] == field["cost_per_kwh"].min()
    front = arrays_tried.front_of_field(field)
    energy, cost = field["roof_kwh"].to_numpy(), field["cost_per_kwh"].to_numpy()
    beaten = [
        bool(np.any((energy >= e) & (cost <= c) & ((energy > e) | (cost < c))))
        for e, c in zip(energy, cost, strict=True)
    ]
    alive = field[~np.array(beaten) & field["roof_kwh"].notna().to_numpy()]
    assert sorted(front.index) == sorted(alive.index)


def test_a_single_best_array_is_said_in_one_sentence(clinic, field):
    one = field[field["modules"] > 0].head(1)
    assert "also the lowest cost per kWh. Here snow is one factor" in (
        arrays_tried.field_sentence(clinic, one))  # fmt: skip
    several = arrays_tried.field_sentence(clinic, field)
    assert f"{in_unit(field['roof_kwh'].max(), 'kWh')} kWh/year" in several


def test_planes_peak_towards_the_equator(clinic):
    planes = arrays_tried.swept_planes(
        clinic, tilts_deg=[0, 30, 60], azimuths_deg=[0, 90, 180, 270]
    )
    best = planes.loc[planes["kwh_per_kwp"].idxmax()]
    assert (best["tilt_deg"], best["azimuth_deg"]) == (30.0, 180.0)
    flat = planes[planes["tilt_deg"] == 0.0]["kwh_per_kwp"]
    assert flat.max() == pytest.approx(flat.min(), rel=1e-6)
    assert "The best is tilt 30°, azimuth 180°" in arrays_tried.planes_sentence(clinic, planes)
    rows = standing(clinic).rows
    alone = replace(rows, tilt_deg=30.0, azimuth_deg=180.0)
    one_row = array_kwh_per_kwp(clinic, alone, pitch_m=9.0, row_count=1)
    assert planes["kwh_per_kwp"].max() == pytest.approx(one_row, rel=0.001)


def test_by_pitch_is_the_harvest_with_boxes():
    this = open_design("coral-pharmacy")
    curve = arrays_tried.energy_by_pitch(this, steps=3)
    stands = standing(this, "portrait")
    own = compare_orientations(this)["portrait"].array_kwh_per_kwp
    near = curve[curve["orientation"] == "portrait"]
    found = np.interp(stands.pitch_m, near["pitch_m"], near["kwh_per_kwp"])
    assert found == pytest.approx(own, rel=0.02)  # straight lines between three pitches
    assert (curve["kwh_per_m2"].diff()[curve["orientation"].eq("portrait")].dropna() < 0.0).all()


def test_axes_follow_the_roof(clinic):
    assert arrays_tried.axes_of(clinic).modules_high == (1,)
    assert arrays_tried.axes_of(clinic, 3).modules_high == (1, 2, 3)
    bare, boxed = arrays_tried.axes_of(clinic), arrays_tried.axes_of(open_design("coral-pharmacy"))
    assert len(boxed.tilts_deg) < len(bare.tilts_deg)


@settings(max_examples=60, deadline=None)
@given(
    st.floats(2.0, 40.0), st.floats(2.0, 30.0), st.floats(0.0, 1.0), st.floats(0.0, 60.0),
    st.floats(1.0, 3.0), st.sampled_from([0.0, 90.0, 180.0, 270.0]), st.integers(1, 3),
)  # fmt: skip
def test_count_is_that_of_the_packing(length, depth, setback, tilt, spread, azimuth, up):
    roof = Roof(length_m=length, depth_m=depth, azimuth_deg=180.0, edge_setback_m=setback)
    rows = Rows(
        orientation="portrait", slant_m=1.7 * up, along_m=1.05, gap_m=0.02, modules_high=up,
        tilt_deg=tilt, azimuth_deg=azimuth, roof_slope_deg=0.0, roof_azimuth_deg=180.0,
    )  # fmt: skip
    pitch_m = rows.footprint_m * spread + 0.3
    fit = fit_on_roof(rows, roof, pitch_m=pitch_m)
    assert count_on_roof(rows, roof, pitch_m=pitch_m) == (fit.module_count, fit.row_count)


def test_count_around_boxes_is_that_of_the_packing():
    site = open_design("coral-pharmacy").site
    rows = rows_of(site.array, site.module, site.roof)
    fit = fit_on_roof(rows, site.roof, pitch_m=3.0)
    assert count_on_roof(rows, site.roof, pitch_m=3.0) == (fit.module_count, fit.row_count)


def test_missing_energy_keeps_its_line(field):
    tight = field[(field["tilt_deg"] == 5.0) & (field["pitch_m"] < 1.3)]
    assert len(tight) > 0
    assert tight["kwh_per_kwp"].isna().all()
    assert (tight["modules"] == 0).all()
    assert isinstance(field, pd.DataFrame)
