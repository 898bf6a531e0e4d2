"""Strings: printed figures, the table of allowed counts, fuses, labels."""

from __future__ import annotations

import math
import runpy
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as some

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import data_folder, demo_sites
from solarcalc.sitefile.array import Module
from solarcalc.sitefile.read import read_site
from solarcalc.sitefile.supply import Controller
from solarcalc.wiring.string_checks import (
    MOST_COUNT,
    allowed_table,
    core_colour_rows,
    plan_sentence,
    polarity_steps,
    string_checks,
    string_names,
    string_plan,
)
from solarcalc.wiring.string_plan import (
    StringCase,
    charge_a,
    circuit_a,
    open_circuit_v,
    series_limits,
    string_fuse_advice,
    string_fuse_checks,
    string_fuses,
    string_row,
    table_open_circuit_v,
    working_v,
)

sized_run = runpy.run_path(str(Path(__file__).with_name("cable_stand_ins.py")))["sized_run"]

MODULE = {
    "label": "Invented", "pmax_w": 545.0, "voc_v": 49.6, "isc_a": 13.92, "vmp_v": 41.8,
    "imp_a": 13.04, "alpha_isc_pct_per_k": 0.045, "beta_voc_pct_per_k": -0.27,
    "gamma_pmax_pct_per_k": -0.34, "cells_in_series": 72, "cell_build": "half-cut",
    "length_m": 2.278, "width_m": 1.134, "mass_kg": 28.5,
}  # fmt: skip
CONTROLLER = {
    "label": "Invented tracker 150 V 60 A", "max_pv_voltage_v": 150.0,
    "min_tracking_voltage_v": 62.0, "max_tracking_voltage_v": 138.0,
    "max_charge_current_a": 60.0, "efficiency_frac": 0.97,
}  # fmt: skip


def module(**changes):
    return Module(**{**MODULE, **changes})


def case_of(module_changes=None, controller_changes=None, **changes):
    given_here = {"bank_v": 48.0, "bank_top_v": 61.2, "coldest_c": -10.0, "hottest_cell_c": 75.0}
    return StringCase(
        module=module(**(module_changes or {})),
        controller=Controller(**{**CONTROLLER, **(controller_changes or {})}),
        **{**given_here, **changes},
    )


def _voltages(case):
    keys = ("voc_v", "beta_voc_pct_per_k")
    return module(**{key: case[key] for key in keys if key in case})


@pytest.mark.published("wiring/strings-nec-iec62548.toml")
def test_printed_figures(case):
    near = lambda value: pytest.approx(value, abs=case["last_digit"] / 2.0)  # noqa: E731
    match case["quantity"]:
        case "table":
            for ends in ("lowest_c", "warmest_c"):
                ours = [table_open_circuit_v(module(), at) / 49.6 for at in case[ends]]
                assert ours == pytest.approx(case["figure"], abs=1e-12)
        case "by-table":
            ours = case["series"] * table_open_circuit_v(_voltages(case), case["coldest_c"])
            assert ours == near(case["figure"])
        case "open-circuit":
            ours = [open_circuit_v(_voltages(case), at) for at in case["coldest_c"]]
            assert ours == near(case["figure"])
        case "millivolt":
            beta = case["change_mv_per_k"] / 10.0 / case["voc_v"]
            ours = open_circuit_v(
                module(voc_v=case["voc_v"], beta_voc_pct_per_k=beta), case["coldest_c"]
            )
            assert ours == near(case["figure"])
        case "window":
            _check_window(case, near)
        case "currents":
            assert [circuit_a(isc) for isc in case["isc_a"]] == near(case["circuit_a"])
        case "fuse":
            fuses = string_fuses(
                isc_a=case["isc_a"], strings=case["strings"], max_fuse_a=case["max_fuse_a"],
                cold_voc_v=880.0,
            )
            assert fuses.backfeed_a == near(case["backfeed_a"])
            assert fuses.needed is case["needed"]
            assert fuses.least_a == near(case["low_a"])
            assert fuses.most_a == near(case["high_a"])
            assert fuses.rated_a == case["rated_a"]
        case "fuse-count":
            pairs = zip(case["strings"], case["max_fuse_a"], strict=True)
            ours = [
                string_fuses(isc_a=case["isc_a"], strings=n, max_fuse_a=most, cold_voc_v=100.0)
                for n, most in pairs
            ]
            assert [each.needed for each in ours] == case["needed"]
        case "charge":
            assert charge_a(case["power_w"], case["bank_v"]) == near(case["tracked_a"])
        case other:
            raise AssertionError(other)


def _check_window(case, near):
    # alpha 0 and gamma as the printed coefficient make the same working voltage.
    ours = case_of(
        {"voc_v": case["voc_v"], "vmp_v": case["vmp_v"], "alpha_isc_pct_per_k": 0.0,
         "beta_voc_pct_per_k": case["beta_voc_pct_per_k"],
         "gamma_pmax_pct_per_k": case["vmp_pct_per_k"]},
        {"max_pv_voltage_v": case["max_pv_voltage_v"],
         "min_tracking_voltage_v": case["min_tracking_voltage_v"],
         "max_tracking_voltage_v": case["max_pv_voltage_v"]},
        coldest_c=case["coldest_c"], hottest_cell_c=case["hottest_cell_c"],
    )  # fmt: skip
    assert open_circuit_v(ours.module, case["coldest_c"]) == near(case["cold_voc_v"])
    assert working_v(ours.module, case["hottest_cell_c"]) == near(case["hot_working_v"])
    assert series_limits(ours) == (case["least"], case["most"])


def test_below_the_table_there_is_no_factor_and_above_it_none_is_needed():
    assert table_open_circuit_v(module(), -40.1) is None
    assert table_open_circuit_v(module(), 25.0) == 49.6
    assert table_open_circuit_v(module(), 24.5) == pytest.approx(49.6 * 1.02)


def test_working_voltage_by_hand():
    # hand: gamma - alpha = -0.385 %/K; beta Voc / Vmp = -0.27 x 49.6 / 41.8 = -0.3204 %/K.
    assert working_v(module(), 75.0) == pytest.approx(41.8 * (1.0 - 0.00385 * 50.0))
    steep = module(beta_voc_pct_per_k=-0.4)
    assert working_v(steep, 75.0) == pytest.approx(41.8 - 0.004 * 49.6 * 50.0)


def test_a_row_by_hand():
    row = string_row(case_of(), 2, 3)
    assert row.cold_voc_v == pytest.approx(2 * 49.6 * (1 + 0.0027 * 35))
    assert row.circuit_a == pytest.approx(1.25 * 13.92 * 3)
    assert row.power_w == 3270.0
    assert row.charge_a == pytest.approx(3270.0 * 0.97 / 48.0)
    assert row.allowed
    assert row.reviews == ("66 A in full sun where a controller gives 60 A",)
    shared = string_row(case_of(None, {"count": 2}), 2, 3)
    assert shared.circuit_a == pytest.approx(1.25 * 13.92 * 2), "the fullest controller has two"
    assert shared.charge_a == pytest.approx(2180.0 * 0.97 / 48.0)


def test_each_count_that_is_not_allowed_says_why_in_figures():
    one, three = string_row(case_of(), 1, 1), string_row(case_of(), 3, 1)
    assert one.reasons == ("hot working voltage 33.8 V below the controller's 62 V",)
    assert three.reasons == ("cold open circuit 162.9 V above the controller's 150 V",)
    high = string_row(case_of(bank_top_v=67.0), 2, 1)
    assert high.reasons == ("hot working voltage 67.5 V not 1 V above the bank's 67.0 V",)
    weak = case_of(None, {"max_pv_voltage_v": 250.0, "max_tracking_voltage_v": 140.0},
                   system_max_v=160.0)
    row = string_row(weak, 3, 1)
    assert row.reasons == ("cold open circuit 162.9 V above the module's 160 V",)
    assert row.reviews == ("cold working voltage 142.3 V above the tracking window's 140 V",)


def test_the_table_holds_every_count_and_its_reason():
    rows = string_plan(case_of(), 4, 3)
    assert [(row.series, row.strings) for row in rows] == [
        (s, p) for s in range(1, 5) for p in range(1, 4)
    ]
    short = allowed_table(rows)
    assert [(line["in series"], line["strings"], line["allowed"]) for line in short] == [
        (1, "1 to 3", "no"), (2, "1 to 2", "yes"), (2, "3", "to review"), (3, "1 to 3", "no"),
        (4, "1 to 3", "no"),
    ]  # fmt: skip
    assert short[2]["why"] == "from 3 on: 66 A in full sun where a controller gives 60 A"
    own = string_plan(case_of())
    assert max(row.series for row in own) == 3, "one more than the cold allows"
    assert max(row.strings for row in own) <= MOST_COUNT
    assert plan_sentence(case_of()) == (
        "2 modules in series fit Invented tracker 150 V 60 A between −10\u00a0°C at dawn and cells"
        " of 75\u00a0°C."
    )


def test_nothing_fits_between_heat_and_cold():
    narrow = case_of(None, {"min_tracking_voltage_v": 80.0, "max_tracking_voltage_v": 95.0,
                            "max_pv_voltage_v": 100.0})
    least, most = series_limits(narrow)
    assert (least, most) == (3, 1)
    assert "heat asks for 3 or more, cold allows 1" in plan_sentence(narrow)
    failed = [v for v in string_checks(narrow, 1, 1) if v.outcome == "failed"]
    assert len(failed) == 1
    assert "no series count fits both" in failed[0].remedy
    assert not [line for line in allowed_table(string_plan(narrow)) if line["allowed"] != "no"]


@pytest.mark.parametrize(
    ("series", "strings", "outcomes"),
    [
        (2, 1, ["passed"] * 8),
        (3, 1, ["failed", "passed", "review", "passed", "review", "passed", "passed", "passed"]),
        (1, 1, ["passed", "passed", "passed", "failed", "passed", "passed", "passed", "passed"]),
        (2, 4, ["passed"] * 5 + ["review", "review", "passed"]),
    ],
)
def test_the_sites_own_choice_is_judged(series, strings, outcomes):
    checks = string_checks(case_of(), series, strings)
    assert [check.outcome for check in checks] == outcomes
    for check in checks:
        assert check.clause
        assert bool(check.remedy) is (check.outcome != "passed")


def test_strings_are_shared_out_unevenly():
    last = string_checks(case_of(None, {"count": 2}), 2, 3)[-1]
    assert (last.found, last.outcome) == ("3 over 2", "review")


@given(count=some.integers(1, 6), strings=some.integers(1, 24), series=some.integers(1, 3))
def test_modules_that_load_all_controllers_do_not_hang_on_how_strings_fall(count, strings, series):
    """By hand: 60 A of 48 V over 97 % are 2969 W a controller, of 545 W modules."""
    checks = string_checks(case_of(None, {"count": count}), series, strings)
    told = next(one for one in checks if one.item.startswith("Charge current at 1000"))
    fullest = math.ceil(strings / count) * series
    assert (told.outcome == "passed") is (fullest * 545.0 <= 2969.0)
    if told.remedy:
        assert f"about {math.floor(count * 60.0 * 48.0 / 0.97 / 545.0)} modules" in told.remedy


def test_below_the_table_the_second_look_is_left_out():
    assert len(string_checks(case_of(coldest_c=-45.0), 2, 1)) == 7


@given(some.floats(-40.0, 25.0), some.floats(40.0, 90.0), some.integers(1, 8))
def test_the_limits_and_the_rows_agree(coldest_c, hottest_c, series):
    case = case_of(None, {"max_pv_voltage_v": 450.0, "max_tracking_voltage_v": 425.0},
                   coldest_c=coldest_c, hottest_cell_c=hottest_c)
    least, most = series_limits(case)
    assert string_row(case, series, 1).allowed is (least <= series <= most)


@given(some.floats(-40.0, 20.0), some.floats(0.5, 5.0))
def test_colder_is_higher_and_hotter_is_lower(at_c, step_k):
    assert open_circuit_v(module(), at_c) > open_circuit_v(module(), at_c + step_k)
    assert working_v(module(), at_c) > working_v(module(), at_c + step_k)
    assert table_open_circuit_v(module(), at_c) >= table_open_circuit_v(module(), at_c + step_k)


@pytest.mark.parametrize(
    ("changes", "match"),
    [
        ({"coldest_c": 80.0}, r"below cables\.hottest_cell_c"),
        ({"bank_v": 0.0}, "above 0 V"),
        ({"bank_top_v": 40.0}, "at least the nominal 48 V"),
        ({"system_max_v": float("nan")}, "above 0 V"),
    ],
)
def test_what_cannot_be_is_refused(changes, match):
    with pytest.raises(InputError, match=match):
        case_of(**changes)


def test_a_count_below_one_is_refused():
    with pytest.raises(InputError, match=r"array\.modules_in_series"):
        string_row(case_of(), 0, 1)
    with pytest.raises(InputError, match="strings in parallel"):
        string_checks(case_of(), 2, 0)
    with pytest.raises(InputError, match="still gives a voltage"):
        series_limits(case_of({"gamma_pmax_pct_per_k": -0.8}, hottest_cell_c=200.0))


# --- fuses -------------------------------------------------------------------------------------


def test_fuses_of_both_poles_with_their_voltage_and_cable():
    fuses = string_fuses(isc_a=12.28, strings=4, max_fuse_a=20.0, cold_voc_v=108.6)
    assert (fuses.fuse_count, fuses.rated_a, fuses.rated_v, fuses.cable_a) == (8, 20.0, 108.6, 20.0)
    earthed = string_fuses(
        isc_a=12.28, strings=4, max_fuse_a=20.0, cold_voc_v=108.6, floating=False
    )
    assert earthed.fuse_count == 4
    (check,) = string_fuse_checks(fuses)
    assert (check.found, check.outcome) == ("20", "passed")
    assert "36.84 A" in check.item
    assert "109 V direct current, in both poles" in string_fuse_advice(fuses)[0]
    assert "in the pole not earthed" in string_fuse_advice(earthed)[0]
    assert "licensed electrician" in string_fuse_advice(fuses)[-1]


def test_no_fuse_made_fits():
    # 1.5 x 13.92 = 20.88 A is above the 20 A that the module allows.
    fuses = string_fuses(isc_a=13.92, strings=3, max_fuse_a=20.0, cold_voc_v=108.6)
    assert fuses.rated_a is None
    (check,) = string_fuse_checks(fuses)
    assert (check.outcome, check.found) == ("failed", "none made")
    assert check.limit == "above 20.88 A, below 33.41 A, at most 20 A"
    assert "no rating suits" in string_fuse_advice(fuses)[0]
    assert fuses.cable_a == 20.0


def test_no_fuse_is_needed():
    fuses = string_fuses(isc_a=13.92, strings=2, max_fuse_a=20.0, cold_voc_v=108.6)
    assert (fuses.needed, fuses.fuse_count, fuses.rated_a) == (False, 0, None)
    assert fuses.cable_a == pytest.approx(17.4)
    (check,) = string_fuse_checks(fuses)
    assert (check.found, check.limit, check.outcome) == ("13.92", "at most 20", "passed")
    assert "17.4 A" in string_fuse_advice(fuses)[1]


@given(some.floats(1.0, 20.0), some.integers(1, 12), some.floats(5.0, 40.0))
def test_a_chosen_fuse_lies_in_its_window(isc_a, strings, max_fuse_a):
    fuses = string_fuses(isc_a=isc_a, strings=strings, max_fuse_a=max_fuse_a, cold_voc_v=100.0)
    assert fuses.needed is ((strings - 1) * isc_a > max_fuse_a)
    if fuses.rated_a is not None:
        assert 1.5 * isc_a < fuses.rated_a < 2.4 * isc_a
        assert fuses.rated_a <= max_fuse_a


def test_fuses_refuse_what_cannot_be():
    with pytest.raises(InputError) as caught:
        string_fuses(isc_a=0.0, strings=0, max_fuse_a=float("nan"), cold_voc_v=-1.0)
    assert len(caught.value.faults) == 4


# --- labels ------------------------------------------------------------------------------------


def test_the_polarity_is_proved_with_a_meter_that_bears_it():
    site = read_site(demo_sites()["ridge-clinic"]).site
    alone = site.model_copy(update={"array": site.array.model_copy(
        update={"module_count": site.array.modules_in_series}
    )})
    several, one = polarity_steps(site, 108.6), polarity_steps(alone, 108.6)
    assert "made for 218 V" in several[1], "two strings, one reversed: twice the voltage"
    assert "made for 109 V" in one[1]
    assert len(several) == len(one) + 2
    assert "licensed" in several[-1]


def test_colours_leave_the_last_word_to_the_local_code():
    assert all("local code decides" in str(row["note"]) for row in core_colour_rows())


def test_there_is_a_string():
    assert string_names(2) == ("S1", "S2")
    with pytest.raises(InputError, match="1 or more"):
        string_names(0)


def test_the_table_of_coldest_voltages_is_there():
    assert (data_folder() / "tables" / "voltage_factors_690_7.csv").is_file()
