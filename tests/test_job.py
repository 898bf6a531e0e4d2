"""Opening and changing jobs, both orientations and the whole walk at places all over the globe."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import demo_sites
from solarcalc.design import open_design
from solarcalc.sitefile.named import site_path
from solarcalc.stages.array import roof_checks, standing, string_checks
from solarcalc.stages.boards import autonomy_days, board_checks
from solarcalc.supply.energy import not_supplied_frac
from solarcalc.views import arrays_tried, battery, orientation, yields
from solarcalc.views.assumptions import board_assumptions, light_assumptions
from solarcalc.views.battery import flows_by_month
from solarcalc.views.orientation import compare_orientations, energy_by_tilt
from solarcalc.views.yields import loss_table

CLINIC = "ridge-clinic"


@pytest.fixture(scope="module")
def clinic():
    return open_design(CLINIC)


def test_unknown_site_suggests_the_nearest():
    with pytest.raises(InputError, match="did you mean ridge-clinic") as caught:
        open_design("ridge-clinik")
    fault = caught.value.faults[0]
    assert (fault.where, fault.given) == ("site_file", "ridge-clinik")
    for name in demo_sites():
        assert name in fault.allowed
    with pytest.raises(InputError, match="solarcalc new"):
        open_design("zzzz")


def test_a_path_and_a_name_open_the_same_site(clinic):
    by_path = open_design(str(demo_sites()[CLINIC]))
    assert by_path.site == clinic.site
    pd.testing.assert_frame_equal(by_path.weather.hours, clinic.weather.hours)


@pytest.mark.parametrize(
    ("changes", "field", "given"),
    [
        ({"array": {"tilt_deg": 95.0}}, "array.tilt_deg", "95"),
        ({"array": {"orientation": "sideways"}}, "array.orientation", "sideways"),
        ({"array": {"module_count": 13}}, "array.module_count", "13"),
        ({"array": {"tilt": 10.0}}, "array.tilt", ""),
        ({"battery": {"units_in_parallel": 0}}, "battery.units_in_parallel", "0"),
        ({"battery": {"nonessential_shed_frac": 0.9}}, "battery.nonessential_shed_frac", "0.9"),
        ({"array": {"tilt_deg": float("nan")}}, "array.tilt_deg", "nan"),
    ],
)
def test_bad_change_names_the_field_as_changed(changes, field, given):
    with pytest.raises(InputError) as caught:
        open_design(CLINIC, changes)
    fault = next(f for f in caught.value.faults if field in f.where)
    assert "ridge-clinic.toml, as changed" in fault.where
    assert given in fault.given
    assert fault.allowed


def test_every_bad_change_is_told_at_once():
    with pytest.raises(InputError) as caught:
        open_design(CLINIC, {"array": {"tilt_deg": -1.0}, "roof": {"slope_deg": 80.0}})
    told = " ".join(fault.where for fault in caught.value.faults)
    assert "array.tilt_deg" in told
    assert "roof.slope_deg" in told


def test_no_change_changes_nothing(clinic):
    same = open_design(CLINIC, {"array": {"tilt_deg": None}, "battery": {}})
    assert same.site == clinic.site
    assert same.site.array.model_fields_set == clinic.site.array.model_fields_set


def test_changes_keep_defaults_unset_and_the_weather(clinic):
    tried = clinic.changed({"array": {"tilt_deg": 12.5}})
    assert tried.site.array.tilt_deg == 12.5
    assert tried.weather is clinic.weather
    assert "module_gap_m" not in tried.site.array.model_fields_set
    assert "tilt_deg" in tried.site.array.model_fields_set
    assert clinic.site.array.tilt_deg == 35.0
    labels = [entry.label for entry in light_assumptions(tried)]
    assert "array.module_gap_m (default value used)" in labels
    set_now = clinic.changed({"array": {"module_gap_m": 0.03}})
    labels = [entry.label for entry in light_assumptions(set_now)]
    assert "array.module_gap_m (default value used)" not in labels


def test_moving_the_site_moves_the_sun(clinic):
    moved = clinic.changed({"site": {"latitude_deg": 36.3}})
    assert moved.weather is not clinic.weather
    noon = clinic.sun["apparent_zenith_deg"].idxmin()
    zenith = [this.sun.loc[noon, "apparent_zenith_deg"] for this in (moved, clinic)]
    assert zenith[0] - zenith[1] == pytest.approx(0.2, abs=0.01)


def test_every_assumption_has_a_source(clinic):
    for entry in board_assumptions(clinic):
        assert entry.source.strip()
        assert entry.label.strip()


@pytest.mark.parametrize("name", list(demo_sites()))
def test_the_whole_walk_of_every_demo_site(name):
    this = open_design(name)
    year = this.energy
    supply = this.supply
    assert len(year.hours) == len(supply.hours) == 8760
    assert np.isfinite(year.hours.to_numpy()).all()
    # The bus gets from the harvest exactly what the supply is offered.
    assert supply.hours["solar_w"].tolist() == year.hours["bus_w"].tolist()
    size = supply.hours[["solar_w", "stored_wh"]].max(axis=1).clip(lower=1.0)
    assert (supply.balance_error_w() / size).max() < 1e-9
    assert abs(supply.closing_gap_frac) < 1e-6
    flows = flows_by_month(this).sum()
    loads = supply.hours[["essential_load_w", "nonessential_load_w"]].sum().sum() / 1000.0
    told = flows.filter(regex="supplied").sum()
    assert told == pytest.approx(loads)
    for check in (
        *roof_checks(this),
        *string_checks(this, year),
        *board_checks(this, supply),
    ):
        assert check.outcome == "passed" or check.remedy
        assert check.clause
    values = {**yields.values(this), **battery.values(this)}
    assert all(np.isfinite(value) for value in values.values() if not isinstance(value, str))


@pytest.mark.parametrize("name", ["plateau-school", "coral-pharmacy", "orchard-shop"])
def test_both_orientations_fill_the_roof(name):
    this = open_design(name)
    variants = compare_orientations(this)
    assert list(variants) == ["portrait", "landscape"]
    for way, variant in variants.items():
        assert variant.stands.rows.orientation == way
        assert variant.fit.module_count > 0
        assert variant.array_kwh == pytest.approx(variant.array_kwh_per_kwp * variant.peak_kwp)
        assert 0.0 <= variant.shade_loss_frac < 0.1
    answer = orientation.answer(this, variants)
    assert str(variants["portrait"].fit.module_count) in answer
    assert str(variants["landscape"].fit.module_count) in answer


def test_the_own_orientation_filled_equals_the_yield_of_its_rows():
    this = open_design("plateau-school")
    site, own = this.site, compare_orientations(this)["landscape"]
    whole = own.fit.module_count // site.array.modules_in_series * site.array.modules_in_series
    filled = this.changed(
        {
            "array": {"rows": len(own.fit.places), "module_count": whole},
            "losses": {"dc_wiring_frac": site.losses.dc_wiring_frac},
        }
    )
    year = filled.energy
    assert year.array_yield_h == pytest.approx(own.array_kwh_per_kwp, rel=1e-9)


def test_a_set_pitch_compares_both_ways_all_the_same():
    this = open_design("plateau-school", {"array": {"row_pitch_m": 1.3}})
    variants = compare_orientations(this)
    assert variants["landscape"].stands.pitch_m == 1.3
    assert variants["portrait"].stands.pitch_m > variants["portrait"].stands.rows.footprint_m
    with pytest.raises(InputError, match=r"array\.row_pitch_m"):
        standing(open_design("plateau-school", {"array": {"row_pitch_m": 0.5}}))


def test_nothing_fits_on_a_tiny_roof():
    this = open_design(CLINIC, {"roof": {"length_m": 1.5, "depth_m": 1.5}})
    variants = compare_orientations(this)
    assert [v.fit.module_count for v in variants.values()] == [0, 0]
    assert [v.array_kwh for v in variants.values()] == [0.0, 0.0]
    assert orientation.answer(this, variants).startswith("No module of this size fits")
    assert roof_checks(this)[0].outcome == "failed"
    curve = arrays_tried.energy_by_pitch(this, steps=3)
    assert (curve["roof_kwh"] == 0.0).all()


def test_room_is_counted_row_by_row():
    # Rows turned 45 deg on a square roof are of unequal length: the fullest row times the number
    # of rows is not what fits.
    this = open_design(
        CLINIC,
        {"roof": {"length_m": 14.0, "depth_m": 14.0, "slope_deg": 0.0},
         "array": {"azimuth_deg": 225.0, "tilt_deg": 10.0, "row_pitch_m": 3.0}},
    )  # fmt: skip
    fit = standing(this).roof_fit
    sizes = [place.modules_along for place in fit.places]
    assert len(set(sizes)) > 1
    too_many = -(-sum(sizes) // 3) * 3 + 3
    assert max(sizes) * len(sizes) >= too_many
    crowded = this.changed({"array": {"module_count": too_many, "rows": len(sizes)}})
    assert roof_checks(crowded)[0].outcome == "failed"
    assert roof_checks(this)[0].item == "Modules on the roof"


@pytest.mark.parametrize("tilt", [0.0, 3.0])
def test_near_flat_modules_get_a_caution(clinic, tilt):
    flat = clinic.changed({"array": {"tilt_deg": tilt}})
    told = [v for v in roof_checks(flat) if v.item == "Tilt of the modules"]
    assert [v.outcome for v in told] == ["review"]


def test_sun_that_stays_down_gives_no_rule_but_a_yield():
    # 55 N from 6 to 18 h: in December the sun is down at both ends of the window.
    this = open_design(
        "cove-cannery",
        {"array": {"mounting": "open-frame", "rows": 2, "modules_high": 1, "tilt_deg": 60.0,
                   "clear_from_solar_h": 6.0, "clear_to_solar_h": 18.0},
         "roof": {"slope_deg": 5.0}},
    )  # fmt: skip
    stands = standing(this)
    assert stands.rule_m is None
    assert stands.pitch_m >= stands.rows.least_pitch_m
    pitch = next(v for v in roof_checks(this) if v.item == "Row pitch")
    assert (pitch.outcome, pitch.limit) == ("review", "no answer")
    values = orientation.values(compare_orientations(this), stands)
    assert values["shadow_rule_pitch_m"] == "no answer"
    assert this.energy.ac_kwh > 0.0


def test_the_sun_side_wins_on_both_halves_of_the_globe():
    north, south = open_design(CLINIC), open_design("plateau-school")
    for this, best, worst in ((north, 180.0, 0.0), (south, 0.0, 180.0)):
        energy = {
            facing: this.changed(
                {"array": {"azimuth_deg": facing, "tilt_deg": 25.0, "rows": 1}}
            ).energy.ac_kwh
            for facing in (best, worst, 90.0, 270.0)
        }
        assert energy[best] == max(energy.values())
        assert energy[worst] == min(energy.values())


def test_best_tilt_grows_with_latitude():
    tilts = range(0, 61, 10)
    best = {}
    for name in ("plateau-school", CLINIC, "cove-cannery"):
        this = open_design(
            name, {"soiling": {"loss_per_dry_day_frac": 0.0, "dirt_band_lip_m": 0.0},
                   "snow": dict.fromkeys(("snowfall_cm", "events", "ground_days"), [0.0] * 12),
                   "roof": {"slope_deg": 0.0}, "array": {"mounting": "open-frame"}}
        )  # fmt: skip
        curve = energy_by_tilt(this, tilts)
        best[name] = curve.loc[curve["kwh_per_kwp"].idxmax(), "tilt_deg"]
        assert curve["kwh_per_kwp"].max() / curve["kwh_per_kwp"].iloc[0] < 1.35
    assert best["plateau-school"] <= best[CLINIC] <= best["cove-cannery"]
    assert 10.0 <= best["plateau-school"] <= 30.0  # 18 S
    assert 30.0 <= best["cove-cannery"] <= 60.0  # 55 N


def test_closer_rows_carry_more_and_give_less_each():
    curve = arrays_tried.energy_by_pitch(open_design("coral-pharmacy"), steps=4)
    for _, lines in curve.groupby("orientation"):
        assert lines["modules"].is_monotonic_decreasing
        assert lines["kwh_per_kwp"].iloc[0] < lines["kwh_per_kwp"].iloc[-1]
    assert arrays_tried.energy_by_pitch(open_design("orchard-shop"), steps=3).empty  # flush


def test_autonomy_by_hand():
    # At 25 degC, where cold takes nothing.
    clinic = open_design(CLINIC, {"battery": {"room_c": 25.0}})
    battery, inverter = clinic.site.battery, clinic.site.inverter.essential
    bank_wh = battery.unit_voltage_v * battery.unit_capacity_ah * battery.units_in_parallel
    usable = bank_wh * battery.units_in_series * (1.0 - battery.min_soc_frac)
    usable *= battery.discharge_efficiency_frac
    day = sum(
        item.power_w * item.count * item.duty_frac * _hours(item.use)
        for item in clinic.site.loads.essential
    )
    draw = day / inverter.efficiency_frac + 24.0 * inverter.no_load_power_w
    assert autonomy_days(clinic) == pytest.approx(usable / draw)


def _hours(use):
    total = 0.0
    for span in use:
        start, end = (int(c[:2]) + int(c[3:]) / 60.0 for c in span.replace(" ", "").split("-"))
        total += end - start if end > start else 24.0 - start + end
    return total


def test_a_board_without_loads_is_carried_through():
    this = open_design(CLINIC, {"loads": {"nonessential": []}})
    supply = this.supply
    assert not_supplied_frac(supply, "nonessential") == 0.0
    assert "the demand of the non-essential loads is supplied in full" in battery.answer(this)
    assert supply.hours_without_supply("nonessential") == 0


def test_voltage_and_current_limits_become_checks(clinic):
    module, series = clinic.site.module, clinic.site.array.modules_in_series
    hot = clinic.changed({"controller": {
        "max_pv_voltage_v": series * module.voc_v,
        "max_tracking_voltage_v": 0.9 * series * module.vmp_v, "max_charge_current_a": 20.0,
    }})  # fmt: skip
    # The ceiling lies under the best voltage in nearly every hour: the controller hardly tracks.
    outcome = {v.item: v.outcome for v in string_checks(hot, hot.energy)}
    assert hot.energy.in_window_frac < 0.1
    assert 0.0 < hot.energy.lost_to_window_frac < 0.3
    assert outcome["String open-circuit voltage in the coldest hour"] == "failed"
    assert outcome["Energy lost to operation outside the MPP voltage range"] == "failed"
    assert outcome["Energy lost to charge-current limiting"] == "review"


def test_a_site_beside_copied_workbooks_comes_before_the_installed_one(tmp_path, monkeypatch):
    copied = tmp_path / "data" / "sites" / "ridge-clinic.toml"
    copied.parent.mkdir(parents=True)
    copied.write_bytes(site_path("ridge-clinic").read_bytes())
    (tmp_path / "workbooks").mkdir()
    monkeypatch.chdir(tmp_path / "workbooks")
    assert site_path("ridge-clinic").resolve() == copied
    assert site_path("cove-cannery").resolve() != copied


@pytest.mark.parametrize("folders", [1, 2, 3])
@pytest.mark.parametrize("said", ["shop.toml", "shop", "shop.toml:Larger battery"])
def test_a_site_file_that_lies_in_a_folder_above_is_named(tmp_path, monkeypatch, folders, said):
    """Workbooks are copied out into folders below that of the site files; and ~ is one's own."""
    site = tmp_path / "shop.toml"
    site.write_bytes(site_path("ridge-clinic").read_bytes())
    below = tmp_path.joinpath(*"abc"[:folders])
    below.mkdir(parents=True)
    monkeypatch.chdir(below)
    named = "../" * folders + "shop.toml"
    with pytest.raises(InputError, match=f"did you mean {named}"):
        site_path(said)
    assert site_path(named).resolve() == site
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("USERPROFILE", str(tmp_path))
    assert site_path("~/shop.toml") == site


def test_a_string_that_never_reaches_the_window_is_a_failed_check_not_a_crash():
    dead = open_design("ridge-clinic", {
        "array": {"modules_in_series": 1}, "controller": {"min_tracking_voltage_v": 100.0},
    })  # fmt: skip
    variants = compare_orientations(dead)
    assert "deliver no energy" in orientation.answer(dead, variants)
    harvest = dead.energy
    assert harvest.ac_kwh == 0.0
    outcome = {check.item: check.outcome for check in string_checks(dead, harvest)}
    assert outcome["Energy lost to operation outside the MPP voltage range"] == "failed"
    assert len(loss_table(dead)) == len(harvest.steps)
    assert yields.values(dead)["performance_ratio"] == 0.0
    assert battery.values(dead)["curtailed_energy_frac"] == 0.0
    assert "essential board is without supply for" in battery.answer(dead)


def test_appliances_that_draw_nothing_leave_the_inverters_figure():
    still = open_design("ridge-clinic")
    lamp = {"name": "lamp", "power_w": 0.0, "use": ["18:00-23:00"]}
    still = still.changed({"loads": {"essential": [lamp], "nonessential": []}})
    harvest = still.energy
    share = harvest.hours["ac_w"].sum() / harvest.hours["bus_w"].sum()
    assert share == pytest.approx(still.site.inverter.essential.efficiency_frac)
