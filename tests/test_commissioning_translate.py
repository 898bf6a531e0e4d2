"""Carrying readings from one light and heat to another: printed figures, the single diode."""

from __future__ import annotations

import runpy
from pathlib import Path

import pvlib
import pytest
from hypothesis import given
from hypothesis import strategies as some

from solarcalc.basis.errors import InputError
from solarcalc.basis.sourced import FROM_MEMORY
from solarcalc.commissioning.line import insulation_by_modules_ohm, insulation_test, trip_time_ms
from solarcalc.energy.diode import (
    DIODE_FACTOR,
    STC,
    Conditions,
    isc_at_stc_a,
    isc_expected_a,
    light_term_v,
    power_at_stc_w,
    voc_at_stc_v,
    voc_expected_v,
)
from solarcalc.wiring.conductors import hot_ohm_per_km

CASES = runpy.run_path(str(Path(__file__).with_name("commissioning_cases.py")))
by_diode, site_called = CASES["by_diode"], CASES["site_called"]
MODULE = site_called("ridge-clinic").module


def module_of(case: dict) -> object:
    names = {"isc_a", "alpha_isc_pct_per_k", "voc_v", "beta_voc_pct_per_k", "gamma_pmax_pct_per_k"}
    return MODULE.model_copy(update={key: case[key] for key in names & set(case)})


def conditions(case: dict) -> Conditions:
    return Conditions(light_w_m2=case["light_w_m2"], cell_c=case["cell_c"])


@pytest.mark.published("commissioning/translation.toml")
def test_translation(case):
    ours = {
        "string": lambda: (
            isc_expected_a(module_of(case), conditions(case)),
            voc_expected_v(module_of(case), conditions(case), in_series=case["in_series"])
            - case["in_series"] * light_term_v(
                conditions(case), cells_in_series=MODULE.cells_in_series),
        ),
        "light": lambda: (light_term_v(conditions(case), cells_in_series=case["cells"]),),
        "power": lambda: (power_at_stc_w(case["power_w"], module_of(case), conditions(case)),),
    }[case["quantity"]]()  # fmt: skip
    assert ours == pytest.approx(tuple(case["figure"]), abs=case["last_digit"] / 2.0)


@pytest.mark.published("commissioning/limits.toml")
def test_limits(case):
    if case["quantity"] == "array-insulation":
        tests = [insulation_test("array", volts) for volts in case["system_v"]]
        assert [test.test_v for test in tests] == case["test_v"]
        assert [test.least_megohm for test in tests] == case["least_megohm"]
    elif case["quantity"] == "insulation":
        pairs = zip(case["circuit"], case["volts"], strict=True)
        tests = [insulation_test(*pair) for pair in pairs]
        assert [test.test_v for test in tests] == case["test_v"]
        assert [test.least_megohm for test in tests] == case["least_megohm"]
    elif case["quantity"] == "modules":
        ours = [insulation_by_modules_ohm(case["area_m2"], count) / 1e6 for count in case["count"]]
        assert ours == pytest.approx(case["megohm"], abs=case["last_digit"] / 2.0)
    elif case["quantity"] == "conductor":
        per_km = hot_ohm_per_km(case["ohm_per_km"], case["conductor_c"], "copper")
        ours = per_km * case["length_m"] / 1000.0
        assert ours == pytest.approx(case["ohm"], abs=case["last_digit"] / 2.0)
    else:
        assert [trip_time_ms(times) for times in case["times"]] == case["longest_ms"]


LIGHT, HEAT = some.floats(50.0, 1300.0), some.floats(-20.0, 85.0)


@given(LIGHT, HEAT)
def test_there_and_back(light_w_m2, cell_c):
    at = Conditions(light_w_m2=light_w_m2, cell_c=cell_c)
    assert isc_at_stc_a(isc_expected_a(MODULE, at), MODULE, at) == pytest.approx(MODULE.isc_a)
    assert voc_at_stc_v(voc_expected_v(MODULE, at, in_series=5), MODULE, at, in_series=5) == (
        pytest.approx(5 * MODULE.voc_v)
    )


def test_the_diode_factor_is_that_of_a_list_of_measured_modules():
    """The California Energy Commission's list: n = a / (n_s k T / q), crystalline silicon."""
    modules = pvlib.pvsystem.retrieve_sam("CECMod").T
    silicon = modules[modules["Technology"].isin(["Mono-c-Si", "Multi-c-Si"])]
    thermal_v = 1.380649e-23 / 1.602176634e-19 * 298.15
    factors = silicon["a_ref"].astype(float) / (silicon["N_s"].astype(float) * thermal_v)
    assert len(factors) == 20946
    assert float(DIODE_FACTOR) == pytest.approx(factors.median(), abs=0.005)


@pytest.mark.parametrize("stem", ["ridge-clinic", "coral-pharmacy", "plateau-school"])
@pytest.mark.parametrize("light_w_m2", [250.0, 500.0, 1000.0, 1150.0])
@pytest.mark.parametrize("cell_c", [0.0, 25.0, 65.0])
def test_near_the_single_diode_of_the_same_data_sheet(stem, light_w_m2, cell_c):
    """Another model of the same sheet, by pvlib: within a third of the tolerance of 5 %."""
    module = site_called(stem).module
    at = Conditions(light_w_m2=light_w_m2, cell_c=cell_c)
    isc_a, voc_v, _ = by_diode(module, light_w_m2, cell_c)
    assert isc_expected_a(module, at) == pytest.approx(isc_a, rel=0.015)
    assert voc_expected_v(module, at) == pytest.approx(voc_v, rel=0.015)


def test_warmer_is_lower_and_brighter_is_higher():
    base = voc_expected_v(MODULE, Conditions(light_w_m2=800.0, cell_c=40.0))
    assert voc_expected_v(MODULE, Conditions(light_w_m2=800.0, cell_c=50.0)) < base
    assert voc_expected_v(MODULE, Conditions(light_w_m2=900.0, cell_c=40.0)) > base
    assert voc_expected_v(MODULE, STC) == pytest.approx(MODULE.voc_v)
    assert isc_expected_a(MODULE, STC) == pytest.approx(MODULE.isc_a)


@pytest.mark.parametrize("light_w_m2", [0.0, -5.0, float("nan"), float("inf")])
def test_the_dark_is_refused(light_w_m2):
    with pytest.raises(InputError, match="irradiance above 0"):
        Conditions(light_w_m2=light_w_m2, cell_c=25.0)


def test_what_was_not_opened_says_so():
    assert FROM_MEMORY in insulation_test("extra-low", 48.0).clause
    assert insulation_test("extra-low", 200.0).test_v == 500.0
