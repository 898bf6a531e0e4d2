"""Module, heat, glass and losses against data sheets, published sums and a measured day."""

from __future__ import annotations

import runpy
import tomllib
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solarcalc.basis.errors import InputError
from solarcalc.basis.hours import year_hours
from solarcalc.circuit.module import five_parameters
from solarcalc.design import open_design
from solarcalc.energy.diode import diode_curve, diode_of, open_circuit_v
from solarcalc.energy.light import LIGHT_STEPS, RowLight, cell_temperature_c, diffuse_glass
from solarcalc.energy.year import Balance, Harvest, LossStep, array_power, dc_power, harvest_year
from solarcalc.sitefile.array import Module
from solarcalc.sitefile.losses import Losses
from solarcalc.stages.array import light_of, standing
from solarcalc.views.yields import loss_table

HERE = Path(__file__).resolve().parent
FIGURES = runpy.run_path(str(HERE / "published_figures.py"))
with (HERE.parent / "data" / "equipment" / "modules.toml").open("rb") as _file:
    MODULES = {key: Module(**figures) for key, figures in tomllib.load(_file).items()}
ONE = MODULES["half108-397"]
NO_LOSSES = Losses(
    dc_wiring_frac=0.0, mismatch_frac=0.0, light_induced_frac=0.0, yearly_ageing_frac=0.0
)


def _balance(**more):
    figures = {
        "module_count": 6, "modules_in_series": 3, "losses": NO_LOSSES, "min_tracking_v": 0.0,
        "max_tracking_v": 1000.0, "controller_efficiency_frac": 1.0, "controller_limit_w": 1e9,
        "inverter_efficiency_frac": 1.0, **more,
    }  # fmt: skip
    return Balance(**figures)


def _harvest(hours, steps, peak_kwp):
    return Harvest(
        hours=hours, told_steps=lambda: steps, peak_kwp=peak_kwp, in_window_frac=1.0,
        clipped_kwh=0.0, coldest_voc_v=0.0,
    )  # fmt: skip


def _cell_temperature(light_w_m2, temp_air_c, wind_m_s, mounting):
    index = year_hours(0.0)[:1]
    air = pd.DataFrame({"temp_air": temp_air_c, "wind_speed": wind_m_s}, index=index)
    return cell_temperature_c(pd.Series(light_w_m2, index=index), air, mounting=mounting).iloc[0]


def _yields(peak_kwp, plane_kwh_m2, array_kwh, use_kwh):
    index = year_hours(0.0)
    sums = {"plane_w_m2": plane_kwh_m2, "dc_w": array_kwh, "bus_w": array_kwh, "ac_w": use_kwh}
    hours = pd.DataFrame({k: 1000.0 * v / len(index) for k, v in sums.items()}, index=index)
    steps = (
        LossStep(name="light", yield_kwh_per_kwp=plane_kwh_m2, part="capture"),
        LossStep(name="use", yield_kwh_per_kwp=use_kwh / peak_kwp, part="system (BOS)"),
    )
    year = _harvest(hours, steps, peak_kwp)
    assert year.ac_kwh == pytest.approx(use_kwh)
    assert (year.by_month()["performance_ratio"]).to_numpy() == pytest.approx(
        np.full(12, year.performance_ratio)
    )
    return {
        "reference": year.reference_yield_h,
        "array": year.array_yield_h,
        "final": year.final_yield_h,
        "ratio": year.performance_ratio,
        "capture": year.reference_yield_h - year.array_yield_h,
        "system": year.array_yield_h - year.final_yield_h,
    }


def _kept_by_age(age_years, yearly_ageing_frac):
    aged = [NO_LOSSES.model_copy(update={"yearly_ageing_frac": yearly_ageing_frac,
                                         "age_years": age}) for age in age_years]  # fmt: skip
    return [_balance(losses=losses).kept_by_age_frac for losses in aged]


QUANTITIES = {
    "cell_temperature": _cell_temperature,
    "yields": _yields,
    "kept_by_age": _kept_by_age,
}


@pytest.mark.published("energy/heat-and-yield.toml")
def test_published_figure(case):
    result, printed = QUANTITIES[case["quantity"]](**case["inputs"]), case["figure"]
    if isinstance(printed, dict):
        result, printed = [result[name] for name in printed], list(printed.values())
    np.testing.assert_allclose(result, printed, rtol=0.0, atol=0.5001 * case["last_digit"])


def test_nominal_conditions_give_a_nominal_temperature():
    # 800 W/m2, 20 degC, 1 m/s on an open rack: data sheets say 43 to 48 degC (IEC 61215, common
    # practice, no source); by NOCT 45 that is 20 + 25.
    assert _cell_temperature(800.0, 20.0, 1.0, "open-frame") == pytest.approx(45.0, abs=2.0)
    warm = [_cell_temperature(800.0, 20.0, 1.0, m) for m in ("open-frame", "small-gap", "flush")]
    assert warm == sorted(warm)
    assert _cell_temperature(0.0, -5.0, 3.0, "flush") == -5.0
    assert _cell_temperature(900.0, 20.0, 8.0, "small-gap") < _cell_temperature(
        900.0, 20.0, 1.0, "small-gap"
    )


def _at(module, light_w_m2, cell_c):
    curve = diode_curve(module, pd.Series([light_w_m2]), pd.Series([cell_c])).iloc[0]
    return curve["p_w"], curve["v_v"]


@pytest.mark.parametrize("key", MODULES)
def test_fit_gives_the_data_sheet_back(key):
    module = MODULES[key]
    power, voltage = _at(module, 1000.0, 25.0)
    assert power == pytest.approx(module.pmax_w, rel=0.001)
    assert voltage == pytest.approx(module.vmp_v, rel=0.001)
    assert power / voltage == pytest.approx(module.imp_a, rel=0.001)
    assert open_circuit_v(module, light_w_m2=1000.0, cell_c=25.0) == pytest.approx(
        module.voc_v, rel=0.001
    )
    d = diode_of(module)
    short = pvlib.singlediode.bishop88_i_from_v(
        0.0, d["I_L_ref"], d["I_o_ref"], d["R_s"], d["R_sh_ref"], d["a_ref"]
    )
    assert float(short) == pytest.approx(module.isc_a, rel=0.001)


@pytest.mark.parametrize("key", MODULES)
def test_temperature_coefficients_of_the_fit(key):
    module = MODULES[key]
    warm_v, cool_v = (open_circuit_v(module, light_w_m2=1000.0, cell_c=t) for t in (50.0, 25.0))
    beta = 100.0 * (warm_v / cool_v - 1.0) / 25.0
    assert beta == pytest.approx(module.beta_voc_pct_per_k, rel=0.02)
    gamma = 100.0 * (_at(module, 1000.0, 50.0)[0] / _at(module, 1000.0, 25.0)[0] - 1.0) / 25.0
    assert gamma == pytest.approx(module.gamma_pmax_pct_per_k, rel=0.001)
    five = diode_of(module) | {"Adjust": 0.0}
    plain = pvlib.pvsystem.calcparams_desoto(
        1000.0, np.array([25.0, 50.0]),
        **{key: value for key, value in five.items() if key not in ("Adjust", "G_weak")},
    )  # fmt: skip
    cool_w, warm_w = pvlib.pvsystem.max_power_point(*plain, method="newton")["p_mp"]
    # Without the sixth parameter it comes out 2.7 to 6.4 % weaker.
    weaker = 100.0 * (warm_w / cool_w - 1.0) / 25.0 / module.gamma_pmax_pct_per_k - 1.0
    assert -0.065 < weaker < -0.025


def test_hot_power_against_the_straight_line():
    # 550 W, -0.35 %/K, 65 degC: 473.0 W by the straight line; ours within 1.5 %.
    module = ONE.model_copy(
        update={"pmax_w": 550.0, "voc_v": 49.8, "isc_a": 14.0, "vmp_v": 41.9, "imp_a": 550.0 / 41.9,
                "cells_in_series": 72, "gamma_pmax_pct_per_k": -0.35}
    )  # fmt: skip
    assert _at(module, 1000.0, 65.0)[0] == pytest.approx(473.0, rel=0.015)


def test_every_module_works_down_to_the_dark():
    light = pd.Series([0.0, 0.5, 1.0, 1.01, 5.0, 100.0, 1000.0, 1300.0])
    for module in MODULES.values():
        curve = diode_curve(module, light, pd.Series(-10.0, index=light.index))
        assert (curve["p_w"][:3] == 0.0).all()
        assert curve["p_w"].is_monotonic_increasing
        assert np.isfinite(curve.to_numpy()).all()
    none = diode_curve(ONE, light[:2], pd.Series([5.0, 5.0]))
    assert (none == 0.0).all().all()


def test_quick_search_finds_the_best_power():
    light, cell = pd.Series([30.0, 250.0, 700.0, 1100.0]), pd.Series([-5.0, 10.0, 45.0, 70.0])
    d = diode_of(ONE)
    five = five_parameters(d, light.to_numpy(), cell.to_numpy())
    slow = pvlib.pvsystem.max_power_point(*five, method="brentq")
    np.testing.assert_allclose(diode_curve(ONE, light, cell)["p_w"], slow["p_mp"], rtol=1e-9)


@pytest.mark.parametrize(
    "wrong",
    [
        {"cells_in_series": 108},  # halves counted twice
        {"cells_in_series": 10},
        {"beta_voc_pct_per_k": -0.02},
        {"vmp_v": 20.0},  # the search ends at a module that is another
        {"vmp_v": 0.995 * ONE.voc_v, "imp_a": 0.996 * ONE.isc_a},
        {"imp_a": 0.5 * ONE.isc_a},
        {"vmp_v": 10.0},
        {"voc_v": 200.0},
        {"vmp_v": 0.997 * ONE.voc_v},
    ],
)
def test_impossible_data_sheet_is_refused(wrong):
    module = ONE.model_copy(update=wrong)
    with pytest.raises(InputError, match="no single-diode module") as caught:
        diode_of(module)
    fault = caught.value.faults[0]
    assert ONE.label in fault.where
    table, _, key = fault.where.split(" ")[0].partition(".")
    assert table == "module"
    assert key in type(ONE).model_fields
    assert fault.why
    assert fault.remedy


@pytest.mark.slow
def test_usual_data_sheets_all_fit():
    # 60 made-up sheets over the usual range of crystalline modules; each must fit.
    generator = np.random.default_rng(7)
    draw = generator.uniform
    for _ in range(60):
        cells = int(generator.choice([36, 54, 60, 66, 72]))
        voc, isc = cells * draw(0.60, 0.75), draw(5.0, 18.0)
        vmp, imp = draw(0.815, 0.855) * voc, draw(0.93, 0.96) * isc
        module = ONE.model_copy(
            update={"pmax_w": vmp * imp, "voc_v": voc, "isc_a": isc, "vmp_v": vmp, "imp_a": imp,
                    "alpha_isc_pct_per_k": draw(0.03, 0.06), "cells_in_series": cells,
                    "beta_voc_pct_per_k": -draw(0.24, 0.33)}
        )  # fmt: skip
        assert _at(module, 1000.0, 25.0)[0] == pytest.approx(vmp * imp, rel=0.005)


def test_glass_limits():
    glass = diffuse_glass(25.0)
    assert 0.9 < glass.sky < 1.0
    assert 0.5 < glass.ground < glass.sky
    assert diffuse_glass(0.0).ground == 0.0
    for tilt_deg in (5.0, 25.0, 60.0, 90.0):  # the band of 6.5 deg: nearly that of its own angle
        on_glass = pvlib.iam.physical(90.0 - tilt_deg)
        assert 0.0 < diffuse_glass(tilt_deg).band <= on_glass + 1e-9


def _row(levels_w_m2, cell_c=25.0, share=1.0):
    index = year_hours(0.0)[: len(levels_w_m2)]
    columns = (*LIGHT_STEPS, "open")
    light = pd.DataFrame({c: np.asarray(levels_w_m2, float) for c in columns}, index=index)
    return RowLight(share=share, light=light, cell_c=pd.Series(cell_c, index=index))


def test_wiring_mismatch_and_age_by_hand():
    # At half power: age 0.98 x 0.99^2, mismatch 0.9, and of 10 % wiring loss at full current the
    # share of the power that is left.
    losses = Losses(dc_wiring_frac=0.1, mismatch_frac=0.1, light_induced_frac=0.02,
                    yearly_ageing_frac=0.01, age_years=2.0)  # fmt: skip
    index = year_hours(0.0)[:3]
    half_w, full_w = 0.5 * ONE.pmax_w, ONE.pmax_w
    array = pd.DataFrame(
        {"p_w": [0.0, half_w, full_w], "v_v": 31.0, "cell_c": 25.0, "lit_cell_c": 25.0,
         "light_w_m2": [0.0, 500.0, 1000.0]}, index=index
    )
    power = dc_power(array, ONE, _balance(losses=losses))
    aged = 6.0 * half_w * 0.98 * 0.99**2
    assert power["aged"].tolist() == pytest.approx([0.0, aged, 2.0 * aged])
    matched = 0.9 * aged
    assert power["matched"].iloc[1] == pytest.approx(matched)
    assert power["wired"].iloc[1] == pytest.approx(matched * (1.0 - 0.1 * matched / (6.0 * full_w)))
    assert power["string_v"].iloc[1] == pytest.approx(93.0)


def _window_w(low_v, high_v, start_v=0.0, series=3, light=(0.0, 20.0, 200.0, 800.0, 1100.0)):
    row = _row(light, cell_c=50.0)
    return dc_power(array_power(ONE, [row]), ONE, _balance(
        min_tracking_v=low_v, max_tracking_v=high_v, modules_in_series=series, start_v=start_v,
    ))  # fmt: skip


def test_outside_the_window_the_curve_counts_at_its_edge():
    # hand: the library's own curve at a third of the edge's voltage, by root finding.
    low_v, high_v = 88.0, 400.0
    power = _window_w(low_v, high_v)
    assert power["below"].tolist() == [False, True, True, True, True]
    light = np.array([200.0, 800.0, 1100.0])
    five = five_parameters(diode_of(ONE), light, 50.0)
    amps = pvlib.pvsystem.i_from_v(np.full(3, low_v / 3), *five, method="brentq")
    np.testing.assert_allclose(power["tracked"].iloc[2:], 6.0 * low_v / 3 * amps, rtol=1e-6)
    above = _window_w(10.0, 60.0)
    assert above["above"].tolist() == [False, True, True, True, True]
    assert (above["tracked"].iloc[1:] < above["wired"].iloc[1:]).all()
    assert _window_w(10.0, 400.0, start_v=3 * ONE.voc_v)["tracked"].sum() == 0.0
    dead = _window_w(3.0 * ONE.voc_v, 400.0)["tracked"]  # above every open-circuit voltage at 50 C
    assert dead.sum() == 0.0


@settings(max_examples=60, deadline=None)
@given(low=st.floats(5.0, 120.0), width=st.floats(1.0, 100.0), more=st.floats(0.0, 40.0))
def test_a_wider_window_never_gives_less(low, width, more):
    narrow = _window_w(low, low + width)
    wide = _window_w(max(low - more, 1.0), low + width + more)
    assert (wide["tracked"] >= narrow["tracked"] - 1e-6).all()
    assert (narrow["tracked"] <= narrow["wired"] + 1e-9).all()


def test_power_is_continuous_at_the_edge_of_the_window():
    best_v = float(_window_w(1.0, 400.0)["string_v"].iloc[3])
    inside, outside = (_window_w(best_v + step, 400.0)["tracked"].iloc[3] for step in (-1e-6, 1e-6))
    assert inside == pytest.approx(outside, rel=1e-6)


def test_a_string_a_little_short_loses_a_little():
    # One module less than the window asks for: some percent are lost, where all was thought lost.
    power = _window_w(3.0 * ONE.vmp_v, 400.0, light=(400.0, 800.0))
    lost = 1.0 - power["tracked"].sum() / power["wired"].sum()
    assert 0.02 < lost < 0.25


WEAK = {case["id"]: case for case in FIGURES["published_cases"]("energy/weak-light.toml")}


def _flashed(case, frac):
    return ONE.model_copy(update={
        "label": case["id"], "pmax_w": case["vmp_v"] * case["imp_a"], "bypass_diodes": 2,
        "efficiency_200_w_m2_frac": frac,
        **{key: case[key] for key in (
            "isc_a", "voc_v", "imp_a", "vmp_v", "alpha_isc_pct_per_k", "beta_voc_pct_per_k",
            "gamma_pmax_pct_per_k", "cells_in_series")},
    })  # fmt: skip


@pytest.mark.published("energy/weak-light.toml")
def test_weak_light_of_flashed_modules(case, compared):
    # Met at 200 W/m2, the fit is within 4 % at 100 W/m2 and 1.5 % from 400 to 1100 W/m2 (measured
    # to 2.8 %, the source's own uncertainty); the five figures alone were 3 to 20 % high at 100.
    light = pd.Series([float(one) for one in case["light_w_m2"]])
    flashed = np.array(case["power_w"])
    at_200 = flashed[1] / (case["vmp_v"] * case["imp_a"]) / 0.2
    found = diode_curve(_flashed(case, at_200), light, pd.Series(25.0, index=light.index))["p_w"]
    off = found.to_numpy() / flashed - 1.0
    assert off[1] == pytest.approx(0.0, abs=1e-4)
    compared(flashed, found.to_numpy(), rel=[0.04, 1e-4] + [0.016] * (len(flashed) - 2))
    assert abs(off[0]) < 0.04
    assert np.abs(off[2:]).max() < 0.016


@settings(max_examples=30, deadline=None)
@given(low=st.floats(0.8, 0.96), less=st.floats(0.0, 0.1), cell_c=st.floats(-10.0, 70.0))
def test_power_never_rises_as_the_figure_at_200_falls(low, less, cell_c):
    light = pd.Series([2.0, 20.0, 100.0, 200.0, 500.0, 900.0, 1000.0])
    cell = pd.Series(cell_c, index=light.index)
    high, lower = (
        diode_curve(ONE.model_copy(update={"efficiency_200_w_m2_frac": frac}), light, cell)["p_w"]
        for frac in (low, max(low - less, 0.75))
    )
    assert (lower <= high * (1.0 + 1e-9)).all()
    assert lower.is_monotonic_increasing
    assert lower.iloc[-1] == pytest.approx(high.iloc[-1], rel=1e-9)  # full light stays


def test_an_impossible_figure_at_200_is_refused():
    with pytest.raises(InputError, match=r"efficiency_200_w_m2_frac = 1\.05"):
        diode_of(ONE.model_copy(update={"efficiency_200_w_m2_frac": 1.05}))


def test_current_limit_and_efficiencies_by_hand():
    # Six modules at standard conditions, 0.9 controller, 2000 W limit, 0.8 inverter.
    year = harvest_year(
        [_row([0.0, 1000.0])], ONE,
        _balance(controller_efficiency_frac=0.9, controller_limit_w=2000.0,
                 inverter_efficiency_frac=0.8), coldest_air_c=-10.0,
    )  # fmt: skip
    assert year.hours["dc_w"].iloc[1] == pytest.approx(6.0 * ONE.pmax_w, rel=0.001)
    assert year.hours["bus_w"].tolist() == pytest.approx([0.0, 2000.0])
    assert year.hours["ac_w"].iloc[1] == pytest.approx(1600.0)
    assert year.clipped_kwh == pytest.approx((0.9 * year.hours["dc_w"].iloc[1] - 2000.0) / 1000.0)
    assert year.reference_yield_h == pytest.approx(1.0)
    assert year.final_yield_h == pytest.approx(1600.0 / (6.0 * ONE.pmax_w))
    # Coldest string by the data sheet: 35 K below standard conditions.
    colder_frac = -ONE.beta_voc_pct_per_k / 100.0 * 35.0
    assert year.coldest_voc_v == pytest.approx(3 * ONE.voc_v * (1.0 + colder_frac), rel=0.005)


def test_rows_are_weighted_by_their_share():
    front, behind = _row([1000.0], share=0.25), _row([400.0], cell_c=45.0, share=0.75)
    together = array_power(ONE, [front, behind]).iloc[0]
    assert together["p_w"] == pytest.approx(
        0.25 * _at(ONE, 1000.0, 25.0)[0] + 0.75 * _at(ONE, 400.0, 45.0)[0]
    )
    assert together["cell_c"] == pytest.approx(40.0)


@pytest.fixture(scope="module", params=["cove-cannery", "plateau-school", "ridge-clinic"])
def this(request):
    return open_design(request.param)


def test_losses_in_order_multiply_up_to_the_ratio(this):
    year = this.energy
    left = np.array([step.yield_kwh_per_kwp for step in year.steps])
    kept = left[1:] / left[:-1]
    assert np.prod(kept) == pytest.approx(year.performance_ratio, rel=1e-12)
    for step, share in zip(year.steps[1:], kept, strict=True):
        # Weak light and the heat of the cells may give: some modules are at their best below
        # full sun, and cells colder than 25 degC beat their rating. No other step may.
        if step.name not in ("Low-irradiance loss", "Temperature loss"):
            assert share <= 1.0 + 1e-12, step.name
        assert share > 0.8
    assert [step.part for step in year.steps].index("system (BOS)") == len(year.steps) - 3
    assert year.steps[-4].yield_kwh_per_kwp == pytest.approx(year.array_yield_h)
    assert left[0] == pytest.approx(year.hours["plane_w_m2"].sum() / 1000.0)
    assert left[-1] == pytest.approx(year.hours["ac_w"].sum() / 1000.0 / year.peak_kwp)
    months = year.by_month()
    assert months["ac_kwh"].sum() == pytest.approx(year.ac_kwh)
    assert months["plane_kwh_m2"].sum() == pytest.approx(year.reference_yield_h)
    assert 0.6 < year.performance_ratio < 0.88  # published surveys: 0.6 to 0.8 old, to 0.88 new


def test_gains_stay_in_the_table_of_losses():
    school = open_design(HERE / "frozen" / "plateau-school.toml",
                         {"module": {"efficiency_200_w_m2_frac": 0.994}})
    rows = {row["step"]: row for row in loss_table(school)}
    assert rows["Low-irradiance loss"]["loss [%]"] < 0.0
    left = [row["yield left [kWh/kWp]"] for row in rows.values()]
    lost = [row["loss [%]"] for row in rows.values()][1:]
    assert left[0] * np.prod([1.0 - p / 100.0 for p in lost]) == pytest.approx(left[-1])


def test_front_row_sees_more_than_the_rows_behind(this):
    stands = standing(this)
    alone = light_of(this, stands.rows, pitch_m=stands.pitch_m, row_count=1)
    three = light_of(this, stands.rows, pitch_m=stands.pitch_m, row_count=3)
    assert [row.share for row in alone] == [1.0]
    assert [row.share for row in three] == pytest.approx([1 / 3, 2 / 3])
    pd.testing.assert_frame_equal(alone[0].light, three[0].light)
    assert (three[1].light["after_dust"] <= three[0].light["after_dust"] + 1e-9).all()
    for before, after in pairwise(LIGHT_STEPS):
        assert (three[1].light[after] <= three[1].light[before] + 1e-9).all()
    if stands.rows.lift_deg == 0.0:
        pd.testing.assert_frame_equal(three[1].light, three[0].light)


def test_tight_rows_cost_energy_and_the_row_count_matters():
    clinic = open_design("ridge-clinic")
    rows = standing(clinic).rows

    def energy(pitch_m, row_count):
        light = light_of(clinic, rows, pitch_m=pitch_m, row_count=row_count)
        return float(array_power(clinic.site.module, light)["p_w"].sum())

    alone, wide, tight = energy(9.0, 1), energy(9.0, 4), energy(2.2, 4)
    assert alone > wide > 0.97 * alone
    assert tight < 0.9 * alone
    assert energy(2.2, 40) < tight


def test_one_module_more_in_series_raises_only_the_voltage():
    balance = _balance()
    rows = [_row([0.0, 500.0, 900.0], cell_c=40.0)]
    one = harvest_year(rows, ONE, balance, coldest_air_c=0.0)
    six = harvest_year(rows, ONE, replace(balance, modules_in_series=6), coldest_air_c=0.0)
    assert six.coldest_voc_v == pytest.approx(2.0 * one.coldest_voc_v)
    assert six.hours["dc_w"].tolist() == one.hours["dc_w"].tolist()


def test_a_string_under_the_bank_it_should_charge_gives_next_to_nothing():
    # One module of some 30 V on a bank of 48 V, a controller that itself tracks from 20 V: a
    # charger that only steps down has no way in.
    own = open_design("plateau-school")
    low = own.changed({"array": {"modules_in_series": 1},
                       "controller": {"min_tracking_voltage_v": 20.0}})  # fmt: skip
    assert own.site.module.voc_v < own.site.battery.charging_voltage_v
    assert low.energy.in_window_frac == 0.0
    assert low.energy.ac_kwh == pytest.approx(0.0, abs=1e-6)


def test_rows_behind_in_the_dark_do_not_take_the_voltage_of_a_front_row_that_is_lit():
    """At dusk a row in front may just be lit: what it gives comes at its own voltage."""
    design = open_design("ridge-clinic")
    one = design.light[-1]
    hour = int(np.argmax(one.light["open"].to_numpy()))
    behind = one.light.copy()
    behind["open"] = behind["open"].where(np.arange(len(behind)) != hour, 0.5)
    front = replace(one, share=0.4)
    found = array_power(design.site.module, [front, replace(one, share=0.6, light=behind)])
    alone = array_power(design.site.module, [replace(one, share=1.0)])
    assert found["p_w"].iloc[hour] > 0.0
    assert found["v_v"].iloc[hour] == alone["v_v"].iloc[hour] > 0.0
    assert found["v_v"].drop(found.index[hour]).equals(alone["v_v"].drop(alone.index[hour]))
