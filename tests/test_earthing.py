"""The earthing of a site: ground, electrode, conductors, bar, lightning, checks."""

from __future__ import annotations

import math
import re
import runpy
import time
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as some

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import data_folder, demo_sites
from solarcalc.basis.published import published
from solarcalc.commissioning.facts import facts_of
from solarcalc.design import open_design
from solarcalc.earthing.bar import (
    Conductors,
    bar_rows,
    buried_mm2,
    earthing_mm2,
    equipment_mm2,
    frame_bonding_mm2,
    heat_mm2,
    main_bonding_mm2,
    next_size_mm2,
    protective_mm2,
    surge_earth_mm2,
    terminals,
)
from solarcalc.earthing.checks import TOUCH_LIMITS_V
from solarcalc.earthing.lightning import (
    POTENTIAL_SHARE,
    hard_shadow_m,
    keep_away_m,
    pin_distances_m,
    sheltered_m,
)
from solarcalc.earthing.plan import earthing_plan, electrode_rows, ground_rows
from solarcalc.earthing.soil import four_pin_ohm_m, ground_of, season_factor
from solarcalc.protection.direct import DC_BREAKER_KA
from solarcalc.protection.neutral import most_electrode_ohm
from solarcalc.protection.surge import by_power, ground_flash_density_per_km2
from solarcalc.sitefile.earthing import RESIDUAL_MA, Earthing, Soil
from solarcalc.sitefile.read import read_site
from solarcalc.views import battery as battery_views
from solarcalc.views import earthing as earthing_views
from solarcalc.views.drawings import earthing_sheet, single_line_sheet
from solarcalc.views.handover import customer_facts
from solarcalc.wiring.switching import system_of, system_words


def touch_rows() -> list[dict[str, float]]:
    """Largest electrode resistance by residual current, for both limits of touch voltage."""
    return [
        {
            "trips at [mA]": residual,
            **{
                f"limit {limit:g} V [ohm]": most_electrode_ohm(residual, limit)
                for limit in TOUCH_LIMITS_V
            },
        }
        for residual in RESIDUAL_MA
    ]


SITES = data_folder() / "sites"
PLAIN = runpy.run_path(str(Path(__file__).with_name("plain_site.py")))
EVEN = {"spacing_m": [1.0, 2.0, 4.0], "resistance_ohm": [16.0, 8.0, 4.0], "tested_when": "dry"}


def site_with(name="ridge-clinic", **tables):
    """A demo site with keys of some tables changed."""
    site = PLAIN["plain"](read_site(SITES / f"{name}.toml").site)
    changed = {
        table: getattr(site, table).model_copy(update=keys) for table, keys in tables.items()
    }
    return site.model_copy(update=changed)


SURGES = {"array-surge": 1, "array-surge-roof": 1, "board-surge": 1}


def plan_with(line_mm2=16.0, *, plan=None, **tables):
    return earthing_plan(site_with(**tables), conductors(line_mm2, surges=SURGES, **(plan or {})))


def conductors(line_mm2, **others):
    """All as large as the lines of the boards, but those that are given."""
    alike = {"ac_mm2": line_mm2, "dc_mm2": line_mm2, "battery_mm2": line_mm2}
    return Conductors(**(alike | others))


def outcome_of(plan, words):
    (check,) = (each for each in plan.checks if words in each.item)
    return check.outcome


# ground


@pytest.mark.published("earthing/soil.toml")
def test_printed_figures_of_the_ground(case):
    if case["quantity"] == "readings":
        found = [
            four_pin_ohm_m(spacing_m=spacing, resistance_ohm=read)
            for spacing, read in zip(case["spacing_m"], case["resistance_ohm"], strict=True)
        ]
        assert found == pytest.approx(case["result"], rel=case["within_frac"])
    elif case["quantity"] == "kinds":
        rows = {row["kind"]: row for row in published("soil_kinds").rows}
        for column in ("usual", "low", "high"):
            assert [float(rows[kind][column]) for kind in case["kinds"]] == case[column]
    else:
        ratio = max(case["ohm"]) / float(np.median(case["ohm"]))
        assert ratio == pytest.approx(case["worst_over_median"], abs=0.05)
        assert season_factor("mild", 0.5, rods=False) == case["worst_over_median"]


def test_pins_a_twentieth_deep_hardly_matter():
    flat = four_pin_ohm_m(spacing_m=3.0, resistance_ohm=5.3)
    for share, within in ((0.05, 0.01), (0.3, 0.2)):
        deep = four_pin_ohm_m(spacing_m=3.0, resistance_ohm=5.3, pin_depth_m=3.0 * share)
        assert flat < deep * (1.0 + within)
        assert deep == pytest.approx(flat, rel=within)
    # hand: pins of no depth are points on a half space: V = rho I / (2 pi) (1/a - 1/2a) x 2
    assert flat == pytest.approx(5.3 * 2.0 * math.pi / (2.0 * (1.0 / 3.0 - 1.0 / 6.0)))


def test_every_kind_of_ground_has_its_row_in_order():
    rows = published("soil_kinds").rows
    for row in rows:
        assert float(row["low"]) < float(row["usual"]) <= float(row["high"])
        assert ground_of(Soil(kind=row["kind"]), depth_m=2.4, rods=True).low_ohm_m == float(
            row["low"]
        )
    usual = [float(row["usual"]) for row in rows]
    assert usual == sorted(usual)


def test_even_ground_takes_the_mean_and_layers_the_rods_depth():
    even = ground_of(Soil(**EVEN), depth_m=2.4, rods=True)
    assert even.layers == "none"
    assert even.resistivity_ohm_m == pytest.approx(2.0 * math.pi * 16.0)
    better = Soil(spacing_m=[1.0, 2.0, 4.0], resistance_ohm=[60.0, 10.0, 2.0])
    at_rod = ground_of(better, depth_m=2.4, rods=True)
    assert (at_rod.layers, at_rod.resistivity_ohm_m) == (
        "better-below", pytest.approx(2.0 * math.pi * 2.0 * 10.0),
    )  # fmt: skip
    at_strip = ground_of(better, depth_m=0.5, rods=False)
    assert at_strip.resistivity_ohm_m == pytest.approx(2.0 * math.pi * 60.0)
    worse = Soil(spacing_m=[1.0, 2.0, 4.0], resistance_ohm=[10.0, 10.0, 30.0])
    below = ground_of(worse, depth_m=0.5, rods=False)
    assert below.layers == "worse-below"
    assert below.resistivity_ohm_m == pytest.approx(2.0 * math.pi * (10.0 + 20.0 + 120.0) / 3.0)
    mixed = Soil(spacing_m=[1.0, 2.0, 4.0], resistance_ohm=[10.0, 20.0, 2.5])
    assert ground_of(mixed, depth_m=2.4, rods=True).layers == "uneven"


def test_a_wet_test_and_a_shallow_electrode_leave_more_to_the_dry_season():
    for rods, depth in ((True, 2.4), (True, 1.2), (False, 0.5)):
        factors = [season_factor(when, depth, rods=rods) for when in ("wet", "mild", "dry")]
        assert factors == sorted(factors, reverse=True)
        assert factors[-1] == 1.0
    assert season_factor("wet", 1.2, rods=True) > season_factor("wet", 2.4, rods=True)


# electrode


@pytest.mark.published("earthing/rules.toml")
def test_printed_rules(case):
    kind = case["quantity"]
    if kind == "touch":
        for row, high, low in zip(
            touch_rows(), case["limit_50_ohm"], case["limit_25_ohm"], strict=True
        ):
            assert (round(row["limit 50 V [ohm]"]), round(row["limit 25 V [ohm]"])) == (high, low)
        assert [row["trips at [mA]"] for row in touch_rows()] == case["residual_ma"]
    elif kind == "protective":
        assert [protective_mm2(line) for line in case["line_mm2"]] == case["result"]
    elif kind == "main-bonding":
        assert [main_bonding_mm2(size) for size in case["earthing_mm2"]] == case["result"]
    elif kind == "frames":
        assert [frame_bonding_mm2(lightning=flag) for flag in (False, True)] == case["result"]
        assert [surge_earth_mm2(lightning=flag) for flag in (False, True)] == case["result"]
    elif kind == "buried":
        found = [buried_mm2(sheathed=sheath, guarded=guard) for sheath, guard in case["cover"]]
        assert found == case["result"]
    elif kind == "k":
        for laid, k in zip(case["laid"], case["result"], strict=True):
            assert heat_mm2(fault_a=k * 10.0, clear_s=1.0, laid=laid) == pytest.approx(10.0)
    elif kind == "flashes":
        for days, power, linear in zip(
            case["thunderstorm_days"], case["power"], case["linear"], strict=True
        ):
            assert by_power(days) == pytest.approx(power, abs=0.00005)
            assert ground_flash_density_per_km2(days) == pytest.approx(max(power, linear),
                                                                       abs=0.00005)
    else:
        assert kind == "separation"
        found = keep_away_m(case["length_m"], down_conductors=case["down_conductors"])
        assert found == pytest.approx(case["result"], abs=0.005)


def test_a_dry_rod_serves_thirty_milliampere_and_not_three_hundred():
    dry = {"kind": "gravel", "spacing_m": [1.0, 2.0], "tested_when": "dry"}
    soil = dry | {"resistance_ohm": [1000.0 / 2.0 / math.pi, 1000.0 / 4.0 / math.pi]}
    rod = {"rod_length_m": 1.5, "measured_ohm": None}
    for residual, outcome in ((30.0, "review"), (300.0, "failed")):
        plan = plan_with(soil=soil, earthing=rod, protection={"residual_ma": residual})
        assert plan.electrode.worst_ohm == pytest.approx(596.308, abs=0.001)
        assert outcome_of(plan, "worst season") == outcome
    islanded = plan_with(
        soil=soil, earthing=rod, protection={"residual_ma": 300.0, "system": "TN-S"}
    )
    assert outcome_of(islanded, "worst season") == "review"


def test_the_slowest_device_on_the_electrode_sets_its_limit():
    """IEC 60364-4-41 cl. 411.5.3: 50 V at the 100 mA of the delayed device before a grid in TT."""
    assert plan_with(grid={"kind": "none"}).allowed_ohm == pytest.approx(50.0 / 0.03)
    assert plan_with(grid={"kind": "always"}).allowed_ohm == pytest.approx(500.0)
    earthed = plan_with(grid={"kind": "always"}, protection={"system": "TN-S"})
    assert earthed.allowed_ohm == pytest.approx(50.0 / 0.03)


def test_check_and_test_sheet_hold_the_electrode_to_one_limit():
    """hand: least of 50 V / 0.03 A = 1667 or 50 V / 0.1 A = 500, 200 that is steady, a target."""
    for tables, ohm in (
        ({"grid": {"kind": "none"}}, 200.0), ({"grid": {"kind": "always"}}, 200.0),
        ({"earthing": {"target_ohm": 14.0}}, 14.0), ({"earthing": {"target_ohm": 900.0}}, 200.0),
        ({"protection": {"residual_ma": 500.0}}, 100.0),
    ):
        site = site_with(**tables)
        plan = plan_with(**tables)
        (check,) = [each for each in plan.checks if each.rule == "earthing/electrode-limit"]
        assert check.limit.startswith(f"at most {ohm:.0f}" if ohm >= 100.0 else f"at most {ohm:g}")
        assert plan.asked_ohm == pytest.approx(ohm)
        assert facts_of(site).electrode_limit_ohm == pytest.approx(ohm)


def test_an_electrode_above_what_is_asked_exceeds_it_and_a_finer_device_helps_only_touch():
    """hand: ~94 ohm is over the 10 ohm of lightning rods, far below 50 V / 0.03 A = 1667 ohm."""
    school = open_design("plateau-school")
    (check,) = [one for one in school.checks["earthing"] if one.rule == "earthing/electrode-limit"]
    assert check.outcome == "review"
    assert "lower rated residual current" not in check.remedy
    said = earthing_views.answer(school)
    assert "exceeds the limit of 10 Ω (earth electrode of the LPS): to review" in said
    assert "built for" not in said
    # hand: 50 V / 0.5 A = 100 ohm; rods in 20000 ohm m stay above it
    bare = plan_with(protection={"residual_ma": 500.0, "system": "TT"},
                     soil={"kind": "gravel", "spacing_m": [], "reading_ohm": []})
    (touch,) = [one for one in bare.checks if one.rule == "earthing/electrode-limit"]
    assert (touch.outcome == "failed") == ("lower rated residual current" in touch.remedy)


def test_the_notes_name_the_system_by_what_feeds_the_boards():
    first = open_design("coral-pharmacy").electrical.plan.notes[0]
    assert "on the inverter as TN-S, on the grid TT" in first
    assert "on the inverter as TN-S;" in open_design("plateau-school").electrical.plan.notes[0]


PROTECTED = runpy.run_path(str(Path(__file__).with_name("protection_cases.py")))
GRID = {"kind": "always"}


@pytest.mark.parametrize("tables", [
    {}, {"grid": GRID}, {"grid": GRID, "protection": {"system": "TN-S"}},
    {"protection": {"system": "TN-S", "neutral_earth_bond": "at-changeover"}},
    {"protection": {"system": "IT", "neutral_earth_bond": "nowhere"}},
    {"grid": GRID, "protection": {"system": "TT", "neutral_earth_bond": "at-grid"}},
], ids=["alone", "grid", "TN-S grid", "TN-S", "IT", "at-grid"])
def test_no_text_says_another_system_than_the_site_has(tables):
    """TT where a source is earthed elsewhere alone, on every drawing, note and check's limit."""
    job = open_design("plateau-school").changed(tables)
    site = job.site
    systems = {system_of(site, source) for source in ("inverter", *site.sources)}
    texts = [
        *job.electrical.plan.notes, *job.earth.notes, single_line_sheet(job)[1],
        *re.findall(">([^<]+)<", single_line_sheet(job)[0] + earthing_sheet(job)[0]),
        *(one.limit for one in job.electrical.plan.checks if one.rule == "protection/bonds"),
    ]
    said = {system for text in texts for system in re.findall(r"\b(?:TT|TN-S|IT)\b", text)}
    # What a bar note says of copper and ground is the same on both.
    assert said - {"TN-S"} <= systems
    assert said >= systems


@pytest.mark.slow
@given(system=some.sampled_from(["TT", "TN-S", "IT"]),
       tie=some.sampled_from(["at-inverter", "at-changeover", "at-grid", "nowhere"]),
       change=some.sampled_from(["none", "manual", "automatic", "built-in"]),
       grid=some.booleans(), engine=some.booleans())  # fmt: skip
def test_a_system_is_tt_only_where_the_source_is_earthed_elsewhere(
    system, tie, change, grid, engine
):
    site = PROTECTED["site"](
        protection={"system": system, "neutral_earth_bond": tie, "changeover": change},
        **({"grid": {"kind": "always"}} if grid else {"grid": {"kind": "none"}}),
        **({"generator": {"power_w": 5000.0}} if engine else {}),
    )  # fmt: skip
    words = system_words(site)
    for source in ("inverter", *site.sources):
        found = system_of(site, source)
        assert found in words
        assert found == system or (system, found) == ("TT", "TN-S")
    assert ("TT" in words) <= (system == "TT")
    if system == "TT" and grid:
        assert system_of(site, "grid") == "TT"
    if system == "TT" and tie == "at-inverter":
        assert system_of(site, "inverter") == "TN-S" or change == "none"


def test_a_battery_energy_on_paper_is_the_rated_one():
    job = open_design("coral-pharmacy")
    rated_kwh = job.site.battery.rated_wh / 1000.0
    assert battery_views.values(job)["rated_battery_kwh"] == round(rated_kwh, 1)
    assert f"the battery ({rated_kwh:.1f} kWh rated)" in battery_views.answer(job)
    assert customer_facts(job).full_wh == job.site.battery.rated_wh


@pytest.mark.parametrize("stem", sorted(demo_sites()))
def test_a_breaker_has_a_rating_that_is_made_and_no_voltage_is_rounded_down(stem):
    built = open_design(stem).installation
    for device in built.devices:
        if device.key == "controller-breaker":
            assert device.device.breaking_ka == float(DC_BREAKER_KA)
    (main,) = (one for one in built.cables if one.key == "dc_main")
    said = [float(volts) for label in main.labels
            for volts in re.findall(r", (\d+) V d\.c\.", label.words)]
    assert min(said) >= main.highest_v


def test_a_measured_electrode_stands_in_for_the_computed_one():
    fair = plan_with(soil=EVEN, earthing={"measured_ohm": 45.0})
    assert fair.electrode.worst_ohm == 45.0
    assert outcome_of(fair, "beside computed") == "passed"
    poor = plan_with(soil=EVEN, earthing={"measured_ohm": 450.0, "target_ohm": 100.0})
    assert outcome_of(poor, "beside computed") == "review"
    assert outcome_of(poor, "worst season") == "failed"
    assert "450" in next(v.found for v in poor.checks if "worst season" in v.item)
    wet = plan_with(soil=EVEN | {"tested_when": "wet"}, earthing={"measured_ohm": 45.0})
    assert wet.electrode.worst_ohm == 90.0
    assert any(row["Quantity"] == "earth electrode, measured" for row in electrode_rows(wet))


def test_rods_that_measured_worse_need_more_of_them():
    asked = {"target_ohm": 14.0, "rod_count": 2}
    computed = plan_with(soil=EVEN, earthing=asked)
    worse = plan_with(soil=EVEN, earthing=asked | {"measured_ohm": 40.0})
    better = plan_with(soil=EVEN, earthing=asked | {"measured_ohm": 10.0})
    assert dict(worse.by_count)[2] == pytest.approx(40.0)
    assert better.by_count == computed.by_count
    assert (computed.needed_rods, worse.needed_rods) == (4, 8)


def test_ground_by_its_kind_alone_is_never_sure():
    plan = plan_with(protection={"residual_ma": 300.0})
    assert plan.electrode.worst_ohm < plan.allowed_ohm
    assert outcome_of(plan, "worst season") == "review"
    assert outcome_of(plan, "Soil resistivity measured") == "not assessed"
    assert outcome_of(plan, "measured as built") == "not assessed"
    assert ground_rows(plan) == []


def test_cautions_of_the_test_and_of_close_rods():
    soil = {"spacing_m": [1.0], "resistance_ohm": [20.0]}
    plan = plan_with(soil=soil, earthing={"rod_count": 3, "rod_spacing_m": 1.0})
    assert outcome_of(plan, "as deep as") == "review"
    assert outcome_of(plan, "Readings of") == "review"
    assert outcome_of(plan, "Spacing of the earth rods") == "review"
    good = plan_with(soil=EVEN, earthing={"rod_count": 3, "rod_spacing_m": 3.0, "measured_ohm": 17})
    assert {check.outcome for check in good.checks} == {"passed"}
    for check in (*plan.checks, *good.checks):
        assert bool(check.remedy) == (check.outcome != "passed")
        assert check.clause


@pytest.mark.parametrize("kind", ["strip", "ring"])
def test_a_strip_or_ring_stands_in_its_own_ground(kind):
    plan = plan_with(soil=EVEN, earthing={"electrode": kind, "target_ohm": 5.0})
    assert plan.electrode.computed_ohm == pytest.approx(2.0 * 100.5 / 20.0, rel=0.15)
    assert outcome_of(plan, "worst season") == "failed"
    assert plan.electrode.ground.depth_m == 0.5


def test_the_table_of_rods_agrees_with_the_smallest_number():
    plan = plan_with(soil=EVEN, earthing={"target_ohm": 14.0})
    (row,) = (row for row in plan.rod_rows if row["rod length [m]"] == 2.4)
    assert row["needed for 14 Ω"] == plan.needed_rods == 4
    assert row["4 rods [ohm]"] <= 14.0 < row["3 rods [ohm]"]
    assert dict(plan.by_count)[4] == pytest.approx(row["4 rods [ohm]"])
    assert [row["rod length [m]"] for row in plan.rod_rows] == [1.2, 1.5, 1.8, 2.4, 3.0, 6.0]
    wet = plan_with(soil=EVEN | {"tested_when": "wet"})
    short, longer = wet.rod_rows[2]["1 rod [ohm]"], wet.rod_rows[3]["1 rod [ohm]"]
    assert short / longer > 3.0 / 2.0 * 1.2, "short rods take the season of the surface"


def test_pins_stand_where_the_curve_is_right():
    # hand: half balls of potential rho I / (2 pi r), current out at 0 and in at 1: the voltage
    # from 0 to p leaves out 1/p - 1/(1 - p) + 1, which is 0 at the golden section
    share = (math.sqrt(5.0) - 1.0) / 2.0
    assert 1.0 / share - 1.0 / (1.0 - share) + 1.0 == pytest.approx(0.0, abs=1e-12)
    assert float(POTENTIAL_SHARE) == round(share, 2)
    assert pin_distances_m(Earthing(rod_count=5, rod_spacing_m=4.0))[0] == 80.0
    assert pin_distances_m(Earthing(electrode="strip"))[0] == 100.0


# conductors and bar


def test_sizes_go_up_to_what_is_made():
    assert next_size_mm2(6.0) == 6.0
    assert next_size_mm2(6.01) == 10.0
    assert equipment_mm2(1.5, guarded=False) == 4.0
    assert equipment_mm2(1.5, guarded=True) == 2.5
    assert equipment_mm2(95.0, guarded=False) == 50.0
    # hand: 3000 A cleared in 0.05 s, k 143: 4.69 mm2, made as 6
    assert equipment_mm2(95.0, guarded=False, fault_a=3000.0, clear_s=0.05) == 6.0
    assert earthing_mm2(120.0) == 25.0, "need not be more where an electrode carries the fault"
    assert earthing_mm2(120.0, buried=False) == 25.0


@pytest.mark.parametrize(
    ("act", "named"),
    [
        (lambda: protective_mm2(0.0), "line conductor"),
        (lambda: next_size_mm2(401.0), "at most 400 mm²"),
        (lambda: heat_mm2(fault_a=-1.0, clear_s=1.0), "fault current"),
        (lambda: heat_mm2(fault_a=100.0, clear_s=6.0), "at most 5 s"),
        (lambda: heat_mm2(fault_a=100.0, clear_s=1.0, laid="on-air"), "separate-pvc"),
        (lambda: four_pin_ohm_m(spacing_m=1.0, resistance_ohm=1.0, pin_depth_m=-1.0), "pin depth"),
        (lambda: keep_away_m(10.0, down_conductors=0), "down conductors"),
        (lambda: ground_flash_density_per_km2(-1.0), "thunderstorm_days"),
        (lambda: sheltered_m(1.0, 2.0), "height of an air-termination rod"),
        (lambda: earthing_plan(site_with(), conductors(-4.0)), "line conductor"),
    ],
)
def test_what_has_no_meaning_is_refused(act, named):
    with pytest.raises(InputError, match=named):
        act()


def test_the_bar_has_one_terminal_for_each_and_one_link_to_the_ground():
    plan = plan_with()
    at_bar = [line for line in plan.lines if line.number]
    taken = [line.number + more for line in at_bar for more in range(line.count)]
    assert taken == list(range(1, len(taken) + 1))
    assert terminals(plan.lines) == len(taken) + 2
    assert plan.lines[-1].kind == "electrode"
    assert plan.lines[-1].test_link
    assert plan.main_earth_mm2 == 25.0
    kinds = {line.kind for line in plan.lines}
    assert kinds == {"frame", "equipment", "system", "surge", "bonding", "electrode"}
    assert [row["earthed"] for row in bar_rows(plan.lines)] == [line.name for line in plan.lines]
    assert len({line.label for line in plan.lines}) == len(plan.lines)
    by_name = {line.name: line for line in plan.lines}
    assert (by_name["rails"].length_m, by_name["rails"].size_mm2) == (20.0, 6.0)
    assert by_name["surge device of the array"].size_mm2 == 6.0


def test_lightning_rods_make_the_roof_conductors_larger_and_join_the_bar():
    plan = plan_with(protection={"lightning_protection": True})
    by_name = {line.name: line for line in plan.lines}
    assert by_name["lightning protection"].kind == "lightning"
    for name in ("module frames", "rails", "surge device of the array", "combiner case"):
        assert by_name[name].size_mm2 >= 16.0
    assert outcome_of(plan, "Separation distance s") == "review"
    assert plan.asked_ohm == 10.0


@pytest.mark.parametrize("tie", ["at-inverter", "at-changeover", "at-grid", "nowhere"])
def test_the_neutral_has_its_terminal_only_where_it_is_tied_here(tie):
    plan = plan_with(protection={"neutral_earth_bond": tie}, grid={"kind": "none"})
    system = [line for line in plan.lines if line.kind == "system"]
    assert len(system) == 2 * (tie in ("at-inverter", "at-changeover")), "one an inverter"
    assert ("one bar" in plan.notes[0]) == bool(system)


def test_a_join_by_relay_has_no_conductor_and_its_note_says_so():
    """IEC 60364-1 cl. 312.2, from memory: one that stays would be a second while the grid feeds."""
    plan = plan_with(grid={"kind": "always"}, protection={"changeover": "built-in"})
    assert not [line for line in plan.lines if line.part.startswith("bond-")]
    assert "own relay" in plan.notes[0]
    assert "one bar" not in plan.notes[0]


def test_a_battery_fault_that_is_known_sizes_the_cases():
    by_table = plan_with(plan={"battery_mm2": 95.0})
    known = {"battery_mm2": 95.0, "fault_a": 6000.0, "clear_s": 0.02}
    by_heat = plan_with(plan=known)
    size = {line.name: line.size_mm2 for line in by_table.lines}
    heat = {line.name: line.size_mm2 for line in by_heat.lines}
    # hand: 6000 x sqrt(0.02) / 143 = 5.93 mm2, made as 6; the table has 95 / 2, made as 50
    assert (size["battery rack"], heat["battery rack"]) == (50.0, 6.0)
    case = "inverter case, nonessential board"
    assert heat[case] == 16.0, "never below what the boards' line asks"


def test_one_inverter_has_one_line():
    plan = plan_with(supply={"layout": "one-inverter"})
    assert sum(line.name.startswith("inverter case") for line in plan.lines) == 1


# lightning


@pytest.mark.parametrize(("top", "edge"), [(2.0, 0.5), (3.0, 1.2), (1.0, 0.0)])
@pytest.mark.parametrize(("name", "radius"), [("III", 45.0), ("IV", 60.0)])
def test_a_ball_rolled_against_the_rod_just_touches_the_array(top, edge, name, radius):
    reach = sheltered_m(top, edge, protection_class=name)
    # the ball lies on the roof and against the top of the rod; its middle is at height `radius`
    middle = math.sqrt(radius**2 - (radius - top) ** 2)
    assert math.hypot(middle - reach, radius - edge) == pytest.approx(radius)
    assert 0.0 < reach <= middle


def test_through_a_wall_the_distance_doubles_and_one_conductor_carries_all():
    assert keep_away_m(10.0, through="solid") == 2.0 * keep_away_m(10.0)
    assert keep_away_m(10.0, down_conductors=1) == pytest.approx(0.4)
    assert hard_shadow_m(10.0) == pytest.approx(0.01 / math.radians(0.533), rel=1e-4)


# the whole


@pytest.mark.parametrize("name", sorted(path.stem for path in SITES.glob("*.toml")))
def test_every_demo_site_has_a_plan(name):
    plan = plan_with(name=name)
    assert plan.checks
    assert not [check for check in plan.checks if check.outcome == "failed"]
    for advice in (plan.soil_steps, plan.electrode_steps, plan.lightning_notes):
        assert advice[-1].endswith("which take precedence over anything written here.")


def test_it_costs_little():
    site = site_with()
    earthing_plan(site, conductors(16.0))
    start = time.perf_counter()
    for _ in range(20):
        earthing_plan(site, conductors(16.0))
    assert (time.perf_counter() - start) / 20.0 < 0.05


# the site file


def test_a_site_file_with_a_strip_too_deep_for_its_length_is_refused(tmp_path):
    text = PLAIN["plain_text"](SITES / "ridge-clinic.toml")
    path = tmp_path / "deep.toml"
    keys = "conductor_m = 4.0\nconductor_depth_m = 1.2\n"
    path.write_text(f'{text}\n[earthing]\nelectrode = "strip"\n{keys}', encoding="utf-8")
    with pytest.raises(InputError, match=r"a quarter of conductor_m, 1 m"):
        read_site(path)
    path.write_text(f'{text}\n[earthing]\nelectrode = "rods"\n{keys}', encoding="utf-8")
    assert read_site(path).site.earthing.conductor_depth_m == 1.2


def test_half_a_fault_is_no_fault_and_the_table_counts():
    """IEC 60364-5-54 table 54.2: 16 mm2 for a line of 16; heat needs current and time both."""
    for half in ({"fault_a": 9000.0}, {"clear_s": 5.0}):
        assert equipment_mm2(16.0, guarded=True, **half) == 16.0


@given(some.floats(1.0, 300.0), some.one_of(some.none(), some.floats(1.0, 300.0)))
@settings(max_examples=20, deadline=None)
def test_earth_conductors_of_the_array_reach_along_its_cable(cable_m, measured_m):
    """Beside 66 m of cable in one trench lay 20 m of earth conductor, told as measured."""
    own = {} if measured_m is None else {"earthing": {"bar_to_modules_m": measured_m}}
    built = open_design("orchard-shop", {
        "runs": {"dc_main": {"length_m": cable_m}}, **own}).installation  # fmt: skip
    lines = [one for one in built.conductors if one.current == "earth"
             and one.start in ("module", "combiner") and one.end == "earth-bar"]  # fmt: skip
    assert len(lines) == 2
    for one in lines:
        assert one.length_m == (measured_m or max(20.0, cable_m))
        assert one.length_given is (measured_m is not None)
