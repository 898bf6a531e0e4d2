"""A sheet filled in by another model of the modules: clean ones pass, each fault is named."""

from __future__ import annotations

import runpy
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as some

from solarcalc.commissioning.judge import (
    cause_rows,
    commissioning_answer,
    commissioning_assumptions,
    commissioning_checks,
    judge,
    judged_rows,
)
from solarcalc.commissioning.line import Reading, typical
from solarcalc.commissioning.sheet import sheet_of
from solarcalc.commissioning.string_readings import voltage_causes

CASES = runpy.run_path(str(Path(__file__).with_name("commissioning_cases.py")))
facts_with, clean_sheet, by_diode = CASES["facts_with"], CASES["clean_sheet"], CASES["by_diode"]
SITES = ("ridge-clinic", "coral-pharmacy", "cove-cannery", "orchard-shop", "plateau-school")


def keys(report) -> list[str]:
    return [cause.key for cause in report.causes]


def standing(report, line_id: str) -> str:
    return next(each.standing for each in report.lines if each.line.id == line_id)


@pytest.mark.parametrize("stem", SITES)
def test_a_clean_sheet_is_clean(stem, tmp_path):
    report = clean_sheet(facts_with(stem)).checked(tmp_path)
    assert report.causes == ()
    assert {each.standing for each in report.lines} == {"pass"}
    assert {check.outcome for check in commissioning_checks(report)} == {"passed"}
    assert "all passed. Ready for handover" in commissioning_answer(report)
    assert cause_rows(report) == []


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture],
          deadline=None)
@given(
    light_w_m2=some.floats(400.0, 1200.0), cell_c=some.floats(-5.0, 75.0),
    modules=some.integers(1, 20), strings=some.integers(1, 6), noise=some.data(),
)
def test_no_fault_is_seen_where_there_is_none(
    tmp_path, light_w_m2, cell_c, modules, strings, noise
):
    """Meters that scatter by 0.9 % either way, and a model of the modules that is not ours."""
    facts = facts_with(strings=strings, modules=modules)
    scatter = {
        line.id: noise.draw(some.floats(-0.009, 0.009)) for line in sheet_of(facts)
        if line.wants_light
    }  # fmt: skip
    sheet = clean_sheet(facts, light_w_m2=light_w_m2, cell_c=cell_c, noise=scatter)
    report = sheet.checked(tmp_path)
    assert keys(report) == []


@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture],
          deadline=None)
@given(
    light_w_m2=some.floats(400.0, 1200.0), cell_c=some.floats(-5.0, 75.0),
    modules=some.integers(2, 9), lost=some.sampled_from((1, 2, 3, 6, -3)),
)
def test_parts_of_modules_are_counted_in_any_light(tmp_path, light_w_m2, cell_c, modules, lost):
    """One string of four short by thirds of a module: one, two, a whole one, two; or one more."""
    facts = facts_with(strings=4, modules=modules)
    if lost >= 3 * modules:
        return
    sheet = clean_sheet(facts, light_w_m2=light_w_m2, cell_c=cell_c)
    sheet.scale("V03", 1.0 - lost / 3.0 / modules)
    wanted = {1: "bypass-diode", 2: "bypass-diode", 3: "modules-missing", 6: "module-reversed",
              -3: "modules-added"}[lost]  # fmt: skip
    report = sheet.checked(tmp_path)
    assert [(cause.key, cause.ids) for cause in report.causes] == [(wanted, ("V03",))]


def faulty(line_id: str, key: str, *, factor: float = 1.0, words: str = "", **cells: object):
    return pytest.param(line_id, key, factor, cells, words, id=f"{key}-{line_id}-{factor:g}")


@pytest.mark.parametrize(("line_id", "key", "factor", "cells", "words"), [
    faulty("V02", "reversed-string", factor=-1.0, words="positive and negative are swapped"),
    faulty("V02", "bypass-diode", factor=1.0 - 1.0 / 9.0, words="a third of a module"),
    faulty("V02", "bypass-diode", factor=1.0 - 4.0 / 9.0, words="and 1 whole module"),
    faulty("V02", "modules-missing", factor=2.0 / 3.0, words="short by 1 module"),
    faulty("V02", "module-reversed", factor=1.0 / 3.0, words="1 module in it the wrong way round"),
    faulty("V02", "modules-added", factor=4.0 / 3.0, words="1 module too many"),
    faulty("V02", "open-string", factor=0.0, words="is open-circuit"),
    faulty("V02", "voltage-low", factor=0.945, words="not by a whole part"),
    faulty("I04", "open-fuse", factor=0.0, words="fuse"),
    faulty("I04", "string-current-low", factor=0.8, words="20 % less than the others: shade"),
    faulty("I04", "two-strings", factor=2.0, words="two strings"),
    faulty("I04", "string-current-high", factor=1.2, words="20 % more"),
    faulty("I04", "reversed-string", factor=-1.0, words="is reversed"),
    faulty("P03", "reversed-string", value="no", words="string 3 is reversed"),
    faulty("P09", "bank-reversed", value="no", words="positive and negative are swapped"),
    faulty("E01", "poor-earth", value=600, words="3 times what is allowed"),
    faulty("C01", "poor-bond", value=1.2, words="paint"),
    faulty("C01", "open-conductor", value=">999", words="no path to earth"),
    faulty("R01", "pole-to-earth", value=0.2, words="positive only"),
    faulty("R02", "pole-to-earth", value=0.2, words="negative only"),
    faulty("R06", "insulation-low", value=0.3, words="essential board"),
    faulty("F03", "residual-device", value=450, words="trips late or not at all"),
    faulty("F04", "residual-device", value=">40", words="trips late or not at all"),
    faulty("F05", "residual-device", value=11, words="too soon"),
    faulty("F11", "neutral-tie", value=60, words="neutral-earth bond is missing"),
    faulty("F06", "out-of-limits", value=180, words="outside its limits"),
    faulty("F12", "seen", value="no", words="not confirmed: array isolator interrupts"),
    faulty("B02", "unlike-unit", value=52.0, words="unlike in charge, age or kind"),
    faulty("B02", "unit-reversed", value=-53.1, words="reversed"),
    faulty("B02", "open-unit", value=0.0, words="no voltage"),
    faulty("B02", "dead-cell", value=49.9, words="1 cell: dead"),
])  # fmt: skip
def test_each_fault_is_named(tmp_path, line_id, key, factor, cells, words):
    sheet = clean_sheet(facts_with())
    if cells:
        sheet.put(line_id, **cells)
    else:
        sheet.scale(line_id, factor)
    report = sheet.checked(tmp_path)
    assert keys(report) == [key]
    assert report.causes[0].ids == (line_id,)
    assert words in report.causes[0].words
    assert report.causes[0].remedy
    assert [each.line.id for each in report.standing("fail")] == [line_id]
    failed = [check for check in commissioning_checks(report) if check.outcome == "failed"]
    assert len(failed) == 2
    assert words in failed[-1].remedy
    assert "Not ready" in commissioning_answer(report)
    assert line_id in commissioning_answer(report)
    assert [row["lines"] for row in cause_rows(report)] == [line_id]


@pytest.mark.parametrize(("factor", "key"), [(0.7, "array-dirty"), (1.4, "sensor-shaded")])
def test_all_currents_off_alike_is_the_sensor_or_the_whole_array(tmp_path, factor, key):
    """A shaded sensor reads too little sun: all strings stand too high. Dirt: all too low."""
    sheet = clean_sheet(facts_with())
    for line_id in sheet.ids("current"):
        sheet.scale(line_id, factor)
    report = sheet.checked(tmp_path)
    assert keys(report) == [key]
    assert report.causes[0].ids == tuple(sheet.ids("current"))


def test_a_sensor_in_shade_by_what_it_writes(tmp_path):
    """The strings see 900 W/m2, their sensor 600: named, and the voltages do not mind."""
    sheet = clean_sheet(facts_with(), light_w_m2=900.0)
    for line_id in (*sheet.ids("current"), *sheet.ids("voltage")):
        sheet.put(line_id, irradiance_w_m2=600.0)
    assert keys(sheet.checked(tmp_path)) == ["sensor-shaded"]


def test_a_temperature_sensor_off_the_module(tmp_path):
    """Cells at 65 degC, the sensor hangs in air of 30: all voltages low alike, by no module."""
    sheet = clean_sheet(facts_with(), cell_c=65.0)
    for line_id in sheet.ids("voltage"):
        sheet.put(line_id, cell_c=30.0)
    assert keys(sheet.checked(tmp_path)) == ["temperature-reading"]


def test_every_string_one_module_short(tmp_path):
    sheet = clean_sheet(facts_with())
    for line_id in sheet.ids("voltage"):
        sheet.scale(line_id, 2.0 / 3.0)
    report = sheet.checked(tmp_path)
    assert keys(report) == ["modules-missing"]
    assert "every string has about 1 module fewer" in report.causes[0].words


def test_a_third_of_a_module_inside_the_tolerance_is_looked_at(tmp_path):
    """Nine in series: a third is 3.7 %, which 5 % lets pass; the neighbours give it away."""
    sheet = clean_sheet(facts_with(strings=3, modules=9)).scale("V02", 1.0 - 1.0 / 27.0)
    report = sheet.checked(tmp_path)
    assert keys(report) == ["bypass-diode"]
    assert standing(report, "V02") == "review"
    assert "to review (V02)" in commissioning_answer(report)
    outcomes = {check.outcome for check in commissioning_checks(report)}
    assert outcomes == {"passed", "review"}


def test_where_most_strings_lost_a_group_the_sound_one_is_not_blamed(tmp_path):
    sheet = clean_sheet(facts_with(strings=3, modules=9))
    for line_id in ("V01", "V02"):
        sheet.scale(line_id, 1.0 - 1.0 / 27.0)
    report = sheet.checked(tmp_path)
    assert [(cause.key, cause.ids) for cause in report.causes] == [
        ("bypass-diode", ("V01",)), ("bypass-diode", ("V02",)),
    ]  # fmt: skip


def test_two_strings_the_one_nearer_to_what_is_expected_is_sound():
    assert typical([0.7, 0.99]) == 0.99
    assert typical([]) == 1.0
    readings = [Reading(id="V01", name="string 1", modules=3, ratio=1.0),
                Reading(id="V02", name="string 2", modules=3, ratio=2.0 / 3.0)]
    causes = voltage_causes(readings, bypass_diodes=3, within=0.05)
    assert [(cause.key, cause.ids) for cause in causes] == [("modules-missing", ("V02",))]


def test_many_faults_at_once_are_all_named(tmp_path):
    sheet = clean_sheet(facts_with())
    sheet.scale("V01", -1.0).scale("V05", 2.0 / 3.0).scale("I06", 0.0).put("E01", value=4000)
    sheet.put("R03", value=0.1).put("R04", value=0.2).put("B04", value=52.9)
    assert sorted(keys(sheet.checked(tmp_path))) == sorted([
        "reversed-string", "modules-missing", "open-fuse", "poor-earth", "both-poles-to-earth",
        "unlike-unit",
    ])  # fmt: skip


def test_many_modules_in_parallel_may_explain_a_low_array(tmp_path):
    """120 modules of 2.58 m2: 40 / 2.58 / 120 = 0.13 megohm though each one passes (by hand)."""
    facts = facts_with(strings=12, modules=10)
    report = clean_sheet(facts).put("R01", value=0.3).put("R02", value=0.3).checked(tmp_path)
    area = facts.module.length_m * facts.module.width_m
    assert keys(report) == ["both-poles-to-earth"]
    assert f"have {40.0 / area / 120:.3g} MΩ together" in report.causes[0].words
    low = clean_sheet(facts).put("R01", value=0.01).put("R02", value=0.01).checked(tmp_path)
    assert "together" not in low.causes[0].words


def test_too_little_sun_is_not_judged(tmp_path):
    report = clean_sheet(facts_with(), light_w_m2=300.0).checked(tmp_path)
    assert report.causes == ()
    assert {each.line.key for each in report.standing("not assessed")} == {"current"}
    check = next(v for v in commissioning_checks(report) if v.item.startswith("I01"))
    assert check.outcome == "review"
    assert check.remedy == "measure again in at least 400 W/m²"
    dark = clean_sheet(facts_with(), light_w_m2=150.0).checked(tmp_path)
    assert {each.line.key for each in dark.standing("not assessed")} == {"current", "voltage"}
    # A reversed string and an open one need no sun to be seen.
    sheet = clean_sheet(facts_with(), light_w_m2=150.0).scale("V01", -1.0).scale("V02", 0.0)
    assert keys(sheet.checked(tmp_path)) == ["reversed-string", "open-string"]


def test_working_currents_are_compared_with_one_another(tmp_path):
    facts = facts_with(current_test="working")
    assert keys(clean_sheet(facts).checked(tmp_path)) == []
    sheet = clean_sheet(facts)
    for line_id in sheet.ids("current"):
        sheet.scale(line_id, 0.5)
    report = sheet.checked(tmp_path)
    assert keys(report) == ["held-back"]
    assert len(report.standing("review")) == 6
    assert report.standing("fail") == ()
    report = sheet.scale("I02", 0.5).checked(tmp_path)
    assert sorted(keys(report)) == ["held-back", "string-current-low"]


def test_near_the_tolerance_with_all_the_others(tmp_path):
    """All 4.5 % low, one 5.5: unlike by 1 % only, yet outside what is expected."""
    sheet = clean_sheet(facts_with())
    at = by_diode(sheet.facts.module, 820.0, 48.0)[0]
    for line_id in sheet.ids("current"):
        sheet.put(line_id, value=at * 0.958)
    report = sheet.put("I03", value=at * 0.94).checked(tmp_path)
    assert [(cause.key, cause.ids) for cause in report.causes] == [("current-doubtful", ("I03",))]


@pytest.mark.parametrize(("factor", "key", "words"), [
    (3.0 / 4.0, "link-missing", "off by 1 unit: left out"),
    (5.0 / 4.0, "link-missing", "off by 1 unit: too many"),
    (2.0 / 4.0, "unit-linked-backwards", "1 linked backwards, or 2 left out"),
    (0.0, "link-missing", "no voltage"),
    (-1.0, "bank-reversed", "swapped"),
    (0.96, "sum-wrong", "not the sum"),
])  # fmt: skip
def test_a_wrong_battery_link(tmp_path, factor, key, words):
    """Four blocks of 12 V in series, three such strings."""
    sheet = clean_sheet(facts_with("plateau-school"))
    line_id = sheet.ids("links")[1]
    report = sheet.scale(line_id, factor).checked(tmp_path)
    assert [(cause.key, cause.ids) for cause in report.causes] == [(key, (line_id,))]
    assert words in report.causes[0].words


def test_a_dead_cell_shows_in_its_block_and_the_sum_still_adds_up(tmp_path):
    sheet = clean_sheet(facts_with("plateau-school"))
    unit, whole = sheet.ids("unit")[0], sheet.ids("links")[0]
    sheet.put(whole, value=float(sheet.cells[whole]["value"]) - 2.1)
    report = sheet.put(unit, value=float(sheet.cells[unit]["value"]) - 2.1).checked(tmp_path)
    assert [(cause.key, cause.ids) for cause in report.causes] == [("dead-cell", (unit,))]


def test_a_bank_that_is_alike_but_not_charged(tmp_path):
    sheet = clean_sheet(facts_with("plateau-school"))
    for line_id in sheet.ids("unit"):
        sheet.put(line_id, value=12.0)
    for line_id in sheet.ids("links"):
        sheet.put(line_id, value=48.0)
    assert set(keys(sheet.checked(tmp_path))) == {"not-charged"}
    for line_id in sheet.ids("unit"):
        sheet.put(line_id, value=13.6)
    for line_id in sheet.ids("links"):
        sheet.put(line_id, value=54.4)
    assert set(keys(sheet.checked(tmp_path))) == {"overcharged"}


def test_what_was_not_done_is_said(tmp_path):
    facts = facts_with()
    lines = sheet_of(facts)
    nothing = judge(lines, {}, facts)
    assert commissioning_answer(nothing) == (
        f"No test done yet: {len(lines)} tests to do before handover."
    )
    assert {each.standing for each in nothing.lines} == {"not done"}
    assert {check.outcome for check in commissioning_checks(nothing)} == {"review"}
    report = clean_sheet(facts).put("V02", value="").put("F09", value="").checked(tmp_path)
    assert [each.line.id for each in report.standing("not done")] == ["V02", "F09"]
    assert commissioning_answer(report) == (
        f"{len(lines) - 2} of {len(lines)} tests done, those passed. Not ready for handover."
    )
    remedies = [v.remedy for v in commissioning_checks(report) if v.outcome == "review"]
    assert remedies == ["not done yet: V02", "not done yet: F09"]


def test_a_line_without_name_or_day_is_not_signed(tmp_path):
    report = clean_sheet(facts_with()).put("V02", who="").put("F09", when="").checked(tmp_path)
    (check,) = [v for v in commissioning_checks(report) if v.outcome != "passed"]
    assert check.remedy == "write who and when beside V02, F09"


def test_rows_and_assumptions(tmp_path):
    facts = facts_with()
    report = clean_sheet(facts).scale("V02", 2.0 / 3.0).checked(tmp_path)
    rows = judged_rows(report)
    assert len(rows) == len(sheet_of(facts)) == len(report.lines)
    row = next(row for row in rows if row["id"] == "V02")
    assert row["result"] == "fail"
    assert "short by 1 module" in row["likely cause"]
    assert row["who"] == "Invented Tester"
    # Carried to standard test conditions: two modules of the data sheet, within the model's 1.5 %.
    at_stc = float(row["at 1000 W/m² and 25 °C"])
    assert at_stc == pytest.approx(2 * facts.module.voc_v, rel=0.015)
    assert all(entry.source for entry in commissioning_assumptions(facts))
