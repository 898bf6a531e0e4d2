"""The choice of a size: safe first, then cheapest; what is refused and with which words."""

from __future__ import annotations

import math
import runpy
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as some

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import data_folder
from solarcalc.basis.present_value import annuity_years
from solarcalc.sitefile.read import read_site
from solarcalc.wiring.capacity import capacity, device_rating_a, factors, surely_opens_a
from solarcalc.wiring.choose import (
    Money,
    Sizes,
    core_count,
    money_of,
    run_checks,
    safe_and_cheapest,
)
from solarcalc.wiring.conductors import (
    adiabatic_k,
    least_for_run_mm2,
    least_withstand_mm2,
    sizes_mm2,
    withstand_check,
)
from solarcalc.wiring.runs import Run, SizedRun
from solarcalc.wiring.terminals import takes_mm2

PLAIN = runpy.run_path(str(Path(__file__).with_name("plain_site.py")))


def size_run(
    run: Run, money: Money, *, sizes: Sizes = "metric", least_mm2: float = 0.0
) -> SizedRun:
    """The run with the cable that is installed: the cheapest over its life that is safe."""
    return safe_and_cheapest(run, money, sizes=sizes, least_mm2=least_mm2)[1]


MONEY = Money(
    per_m_mm2_of_copper=0.0011, per_m_mm2_of_aluminium=0.0004, per_metre_of_core=0.003,
    per_kwh_lost=0.002, lifetime_years=20.0, interest_frac=0.08,
)  # fmt: skip
DAY_A = np.maximum(0.0, np.sin((np.arange(8760) % 24 - 6) / 12.0 * np.pi)) * 15.0


def run_of(**changes) -> Run:
    """A main run on a wall, changed where a test needs it."""
    plain = {
        "key": "dc_main", "name": "Main run", "start": "combiner", "end": "power room",
        "current": "dc", "count": 1, "loaded": 2, "voltage_v": 300.0, "highest_v": 420.0,
        "design_a": 27.0, "device": "dc-breaker", "hourly_a": DAY_A, "power_factor": 1.0,
        "length_m": 10.0, "length_given": True, "method": "C", "insulation": "pvc",
        "material": "copper", "ambient_c": 30.0, "soil_k_m_per_w": 2.5, "grouped_circuits": 1,
        "size_mm2": None, "in_parallel": 1, "drop_limit_frac": 0.03,
    }  # fmt: skip
    return Run(**{**plain, **changes})


@given(circuits=some.integers(9, 60))
def test_beyond_nine_circuits_one_layer_on_a_wall_warms_no_more(circuits: int) -> None:
    """IEC 60364-5-52 table B.52.17 item 2: 0.70, no further reduction beyond nine (from memory)."""
    found = factors(run_of(method="C", grouped_circuits=circuits))
    assert found[f"{circuits} circuits together"] == 0.7


runs = some.builds(
    run_of,
    design_a=some.floats(0.5, 250.0),
    device=some.sampled_from(["none", "dc-fuse", "dc-breaker", "ac-breaker"]),
    length_m=some.floats(1.0, 80.0),
    voltage_v=some.floats(200.0, 500.0),
    method=some.sampled_from(["A1", "A2", "B1", "B2", "C", "D1", "D2", "solar-free"]),
    insulation=some.sampled_from(["pvc", "xlpe"]),
    loaded=some.sampled_from([2, 3]),
    current=some.sampled_from(["dc", "ac"]),
    power_factor=some.floats(0.7, 1.0),
    ambient_c=some.floats(0.0, 55.0),
    grouped_circuits=some.integers(1, 6),
    drop_limit_frac=some.floats(0.01, 0.05),
)


def is_safe(sized, least_mm2=0.0) -> bool:
    """The rules written a second time, on what the record says."""
    run, i_z, i_n = sized.run, sized.capacity_a, sized.device_a
    carries = i_z >= run.design_a
    if i_n is not None:
        carries = run.design_a <= i_n + 1e-6 and i_n <= i_z
        factor = 1.45
        if run.device == "dc-fuse":
            factor = 1.6 if i_n >= 16 else 1.9 if i_n > 4 else 2.1
        carries = carries and factor * i_n <= 1.45 * i_z
    area = sized.size_mm2 * sized.in_parallel
    cool = True  # terminals stand 70 degC, IEC 60364-5-52 cl. 523.1; a gauge's table sees to it
    by_gauge = "mm²" not in sized.size_name and run.method not in ("D1", "D2")
    if run.insulation == "xlpe" and run.method != "solar-free" and not by_gauge:
        rise_k = (90.0 - run.ambient_c) * (run.design_a / i_z) ** 2
        cool = run.ambient_c > 60.0 or run.ambient_c + rise_k <= 70.0 + 1e-9
    return carries and cool and sized.drop_frac <= run.drop_limit_frac and area >= least_mm2


@settings(deadline=None, max_examples=150)
@given(run=runs, sizes=some.sampled_from(["metric", "awg"]), least_mm2=some.floats(0.0, 60.0))
def test_what_is_chosen_is_safe_never_smaller_than_the_safe_and_cheapest_of_all(
    run, sizes, least_mm2
):
    try:
        safe, chosen = safe_and_cheapest(run, MONEY, sizes=sizes, least_mm2=least_mm2)
    except InputError as refused:
        (fault,) = refused.faults
        if "tried copper" not in fault.given:
            raise
        return
    assert is_safe(safe, least_mm2)
    assert is_safe(chosen, least_mm2)
    assert chosen.size_mm2 >= safe.size_mm2
    assert chosen.in_parallel == safe.in_parallel
    assert chosen.lifetime_cost <= safe.lifetime_cost
    assert chosen.capacity_a == pytest.approx(chosen.table_a * math.prod(chosen.factors.values()))
    if sizes == "awg":
        return
    for size in sizes_mm2("copper"):
        if size < 4.0 and run.method == "solar-free":
            continue
        fixed = replace(run, size_mm2=size, in_parallel=safe.in_parallel)
        other = size_run(fixed, MONEY, sizes=sizes)
        if size < safe.size_mm2:
            single = safe.in_parallel == 1 or size >= 50.0
            assert not (single and is_safe(other, least_mm2))
        elif safe.in_parallel == 1:
            assert chosen.lifetime_cost <= other.lifetime_cost + 1e-12


@settings(deadline=None, max_examples=100)
@given(run=runs, material=some.sampled_from(["copper", "aluminium"]))
def test_a_larger_size_never_carries_less_and_never_drops_or_loses_more(run, material):
    if run.method == "solar-free" and material == "aluminium":
        return
    sized = [
        size_run(replace(run, size_mm2=size, material=material), MONEY)
        for size in sizes_mm2(material)
    ]
    for small, large in pairwise(sized):
        assert large.capacity_a > small.capacity_a
        assert large.drop_frac < small.drop_frac
        assert large.loss_kwh_per_year < small.loss_kwh_per_year
        assert large.cost > small.cost


@settings(deadline=None, max_examples=60)
@given(run=runs, times=some.floats(1.1, 3.0))
def test_a_longer_run_drops_and_loses_in_proportion(run, times):
    run = replace(run, size_mm2=25.0)
    near, far = (size_run(replace(run, length_m=run.length_m * k), MONEY) for k in (1.0, times))
    assert far.drop_v == pytest.approx(near.drop_v * times)
    assert far.loss_kwh_per_year == pytest.approx(near.loss_kwh_per_year * times)
    assert far.capacity_a == near.capacity_a


def test_a_worked_choice_by_hand() -> None:
    """27 A, breaker 32 A, C with PVC: 4 mm2 carries 36 A. 10 m at 300 V drop little.

    Cost: 2 cores x 10 m x (0.0011 x 4 + 0.003) = 0.148.
    """
    safe, chosen = safe_and_cheapest(run_of(), MONEY)
    assert (safe.size_name, safe.device_a, safe.capacity_a) == ("4 mm²", 32.0, 36.0)
    assert safe.decided_by == "capacity"
    conductor_c = 30.0 + 40.0 * (27.0 / 36.0) ** 2
    drop_v = 2.0 * 27.0 * 0.01 * 4.61 * (1.0 + 0.00393 * (conductor_c - 20.0))
    assert safe.drop_v == pytest.approx(drop_v)
    assert safe.cost == pytest.approx(0.148)
    worth = 0.002 * safe.loss_kwh_per_year * annuity_years(0.08, 20.0)
    assert safe.lifetime_cost == pytest.approx(0.148 + worth)
    assert chosen.size_mm2 > 4.0
    assert chosen.decided_by == "least lifetime cost"


def test_the_chosen_size_falls_back_to_the_safe_one_where_lost_energy_is_worth_nothing() -> None:
    free = replace(MONEY, per_kwh_lost=0.0)
    safe, chosen = safe_and_cheapest(run_of(), free)
    assert chosen is safe


@pytest.mark.parametrize(
    ("changes", "least_mm2", "size", "why"),
    [
        ({}, 0.0, "4 mm²", "capacity"),
        ({"drop_limit_frac": 0.005}, 0.0, "10 mm²", "voltage drop"),
        ({}, 8.0, "10 mm²", "short circuit"),
        ({"design_a": 3.0}, 0.0, "1.5 mm²", "smallest size taken"),
        ({"device": "dc-fuse"}, 0.0, "4 mm²", "capacity"),
        ({"device": "dc-fuse", "method": "D2", "ambient_c": 20.0}, 0.0, "4 mm²", "capacity"),
        ({"device": "dc-fuse", "method": "B1"}, 0.0, "6 mm²", "capacity"),
        ({"device": "none", "design_a": 32.0, "method": "B1"}, 0.0, "4 mm²", "capacity"),
    ],
)
def test_what_asked_for_the_safe_size(changes, least_mm2, size, why) -> None:
    safe, _ = safe_and_cheapest(run_of(**changes), MONEY, least_mm2=least_mm2)
    assert (safe.size_name, safe.decided_by) == (size, why)


def test_a_fuse_asks_for_more_cable_than_a_breaker_of_its_rating() -> None:
    """B1 with PVC: 4 mm2 carries 32 A, enough for a breaker of 32 A; its fuse melts at 51.2 A,
    above 1.45 x 32 = 46.4 A."""
    breaker, _ = safe_and_cheapest(run_of(method="B1"), MONEY)
    fuse, _ = safe_and_cheapest(run_of(method="B1", device="dc-fuse"), MONEY)
    assert (breaker.size_mm2, fuse.size_mm2) == (4.0, 6.0)


def test_small_fuses_melt_at_more_of_their_rating() -> None:
    found = [surely_opens_a("dc-fuse", rated) for rated in (4.0, 10.0, 16.0)]
    assert found == pytest.approx([8.4, 19.0, 25.6])


def test_several_conductors_in_parallel_where_one_does_not_carry() -> None:
    run = run_of(
        key="battery_inverter_nonessential", voltage_v=48.0, highest_v=58.0, design_a=520.0,
        device="dc-fuse", method="B1", insulation="xlpe", length_m=2.0, drop_limit_frac=0.01,
    )  # fmt: skip
    safe, chosen = safe_and_cheapest(run, MONEY)
    assert safe.in_parallel == 3
    assert safe.factors["3 circuits together"] == 0.7
    assert safe.device_a == 630.0
    assert safe.decided_by == "capacity"
    assert chosen.in_parallel == 3
    assert is_safe(chosen)


def test_in_parallel_given_in_the_site_file_is_kept() -> None:
    safe, _ = safe_and_cheapest(run_of(in_parallel=2), MONEY)
    assert safe.in_parallel == 2
    assert safe.size_mm2 < 4.0 + 1e-9


def test_two_in_parallel_cost_twice_one() -> None:
    one, two = (size_run(run_of(size_mm2=50.0, in_parallel=n, count=3), MONEY) for n in (1, 2))
    assert one.cost == pytest.approx(3 * 2 * 10.0 * (0.0011 * 50.0 + 0.003))
    assert two.cost == pytest.approx(2.0 * one.cost)
    assert two.table_a == pytest.approx(2.0 * one.table_a)


def test_alternating_current_drops_by_reactance_as_well() -> None:
    """By hand: 100 A, 50 m of two times 35 mm2, three phases, power factor 0.85."""
    run = run_of(
        current="ac", loaded=3, voltage_v=400.0, design_a=100.0, length_m=50.0, size_mm2=35.0,
        in_parallel=2, power_factor=0.85, device="ac-breaker",
    )  # fmt: skip
    sized = size_run(run, MONEY)
    conductor_c = 30.0 + 40.0 * (100.0 / sized.capacity_a) ** 2
    ohm = 0.524 * (1.0 + 0.00393 * (conductor_c - 20.0)) * 0.85 + 0.08 * math.sqrt(1.0 - 0.85**2)
    assert sized.drop_v == pytest.approx(math.sqrt(3.0) * 100.0 * 0.05 * ohm / 2.0)


@pytest.mark.parametrize(
    ("key", "method", "r20_ohm_per_km"),
    [("dc_main", "C", 1.15), ("controller_battery", "C", 1.21),
     ("battery_inverter_nonessential", "C", 1.21),
     ("string", "solar-free", 1.24)],
)  # fmt: skip
def test_the_kind_of_copper_goes_by_the_run(key, method, r20_ohm_per_km) -> None:
    run = run_of(key=key, method=method, size_mm2=16.0, device="none")
    sized = size_run(run, MONEY)
    hottest_c = 120.0 if method == "solar-free" else 70.0
    conductor_c = 30.0 + (hottest_c - 30.0) * (27.0 / sized.capacity_a) ** 2
    ohm = r20_ohm_per_km * (1.0 + 0.00393 * (conductor_c - 20.0)) * 0.01
    assert sized.loss_w == pytest.approx(2.0 * 27.0**2 * ohm)


def test_a_string_is_not_made_thicker_than_its_connectors_take() -> None:
    run = run_of(
        key="string", count=4, method="solar-free", insulation="xlpe", ambient_c=60.0,
        design_a=13.0, device="none", length_m=40.0,
    )  # fmt: skip
    dear = replace(MONEY, per_kwh_lost=1.0)
    site = PLAIN["frozen"]("ridge-clinic")
    most_mm2 = takes_mm2(site, run, None)
    assert most_mm2 == 6.0  # usual connectors, common practice, no source
    assert safe_and_cheapest(run, dear, most_mm2=most_mm2)[1].size_mm2 == 6.0
    assert size_run(run, dear).size_mm2 > 10.0
    far = replace(run, length_m=400.0, drop_limit_frac=0.02)
    safe, chosen = safe_and_cheapest(far, dear, most_mm2=most_mm2)
    assert chosen.size_mm2 == safe.size_mm2 > 10.0
    cables = site.cables.model_copy(update={"connector_mm2": 10.0})
    assert takes_mm2(site.model_copy(update={"cables": cables}), run, None) == 10.0


def test_three_phases_have_four_cores() -> None:
    one, three = run_of(), run_of(loaded=3, current="ac")
    assert (core_count(one), core_count(three)) == (2, 4)
    costs = [size_run(replace(run, size_mm2=16.0), MONEY).cost for run in (one, three)]
    assert costs[1] == pytest.approx(2.0 * costs[0])


def test_a_size_fixed_in_the_site_file_is_kept_and_judged() -> None:
    safe, chosen = safe_and_cheapest(run_of(size_mm2=2.5, length_given=False), MONEY)
    assert safe is chosen
    assert (chosen.size_mm2, chosen.decided_by) == (2.5, "the site file")
    order, opens, drop, rated, cable = run_checks(chosen)
    assert (rated.outcome, cable.outcome) == ("passed", "failed")  # PVC is no array cable
    assert [v.outcome for v in (order, opens, drop)] == ["failed", "failed", "passed"]
    assert order.found == "27.0, 32, 27.0"
    assert "B.52.2" in order.clause
    assert all(v.remedy for v in (order, opens))
    assert (drop.evidence, order.evidence) == ("assumed", "computed")  # nobody measured its length
    assert drop.limit == "at most 3.00"


def test_xlpe_says_when_it_runs_hotter_than_terminals_stand() -> None:
    hot = size_run(run_of(insulation="xlpe", size_mm2=2.5, design_a=32.0), MONEY)
    check = run_checks(hot)[3]
    warm_c = 30.0 + 60.0 * (32.0 / 33.0) ** 2
    assert (check.outcome, check.found) == ("failed", f"{warm_c:.0f}")
    assert check.limit == "at most 70 at usual terminals"
    cool = size_run(run_of(insulation="xlpe", size_mm2=25.0), MONEY)
    assert run_checks(cool)[3].outcome == "passed"


def test_cable_made_for_modules_says_when_its_life_is_cut_short() -> None:
    run = run_of(method="solar-free", ambient_c=80.0, device="none", size_mm2=4.0, design_a=40.0)
    check = run_checks(size_run(run, MONEY))[2]
    warm_c = 80.0 + 40.0 * (40.0 / (55.0 * 0.84)) ** 2
    assert (check.outcome, check.found) == ("failed", f"{warm_c:.0f}")
    light = run_checks(size_run(replace(run, design_a=13.0), MONEY))[2]
    assert light.outcome == "passed"


def test_withstand_is_judged_with_the_fault() -> None:
    sized = size_run(run_of(size_mm2=10.0), MONEY)
    good = withstand_check(sized, 2000.0, 0.1)
    bad = withstand_check(sized, 6000.0, 0.4)
    assert (good.outcome, good.limit) == ("passed", "at least 5.5")
    assert (bad.outcome, bad.found, bad.limit) == ("failed", "10.0", "at least 33.0")
    assert "needs 35 mm² or more" in bad.remedy
    assert "licensed" in bad.remedy


def test_cable_made_for_modules_starts_a_short_circuit_hotter() -> None:
    run = run_of(method="solar-free")
    k = adiabatic_k("copper", 120.0, 250.0)
    assert 120.0 < k < 143.0
    assert least_for_run_mm2(run, 1000.0, 1.0) == pytest.approx(1000.0 / k)
    assert least_for_run_mm2(run_of(), 1150.0, 1.0) == pytest.approx(10.0)


def test_american_sizes() -> None:
    """27 A, breaker 32 A: AWG 10 carries 35 A but may not have more than 30 A before it."""
    safe, chosen = safe_and_cheapest(run_of(method="B1"), MONEY, sizes="awg")
    assert safe.size_name == "AWG 8"
    assert chosen.size_mm2 >= safe.size_mm2
    small = size_run(run_of(method="B1", size_mm2=5.26), MONEY, sizes="awg")
    assert small.size_name == "AWG 10"
    order = run_checks(small)[0]
    assert order.outcome == "failed"
    assert "240.4(D)" in order.clause


def test_american_sizes_in_the_ground_say_how_they_were_taken() -> None:
    run = run_of(method="D1", ambient_c=25.0, insulation="xlpe")
    chosen = size_run(run, MONEY, sizes="awg")
    assert next(iter(chosen.factors)).startswith("taken as ")
    assert next(iter(chosen.factors)).endswith("the metric size below")


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"length_m": 0.0}, ["runs.dc_main.length_m", "given:   0 m", "above 0 m", "measure it"]),
        ({"length_m": -3.0}, ["runs.dc_main.length_m", "-3 m", "above 0 m"]),
        ({"length_m": math.nan}, ["runs.dc_main.length_m", "nan m"]),
        ({"size_mm2": 15.0}, ["runs.dc_main.size_mm2", "15 mm²", "10, 16, 25",
                              "nearest is 16 mm²"]),
        ({"size_mm2": 300.0}, ["runs.dc_main.size_mm2", "nearest is 240 mm²"]),
        (
            {"size_mm2": 10.0, "material": "aluminium"},
            ["runs.dc_main.size_mm2", "10 mm² of aluminium", "one of 16, 25", "table 52.2",
             "copper"],
        ),
        ({"ambient_c": 70.0}, ["runs.dc_main.ambient_c", "70 °C", "below 70 °C", "pvc"]),
        (
            {"ambient_c": 95.0, "insulation": "xlpe", "method": "D1"},
            ["runs.dc_main.ambient_c", "95 °C", "below 90 °C"],
        ),
        (
            {"ambient_c": 91.0, "method": "solar-free"},
            ["runs.dc_main.ambient_c", "91 °C", "at most 90 °C", "EN 50618"],
        ),
        (
            {"material": "aluminium", "method": "solar-surface"},
            ["runs.dc_main.material", "copper", "EN 50618"],
        ),
        (
            {"soil_k_m_per_w": 4.0, "method": "D1", "ambient_c": 20.0},
            ["cables.soil_k_m_per_w", "4 K m/W", "0.5 to 3 K m/W"],
        ),
        ({"grouped_circuits": 21, "method": "B1"},
         ["runs.dc_main.grouped_circuits", "21", "at most 20", 'method = "C-apart"']),
        ({"design_a": 700.0}, ["design current of 700 A", "at most 630 A", "raise the voltage"]),
        ({"design_a": -1.0}, ["run dc_main: design current", "-1 A"]),
        ({"voltage_v": 0.0}, ["run dc_main: voltage", "above 0 V"]),
        ({"power_factor": 1.2}, ["run dc_main: power factor", "above 0 to 1"]),
        ({"in_parallel": 0}, ["runs.dc_main.in_parallel", "1 or more"]),
        (
            {"key": "board_house_nonessential", "length_m": 0.0, "voltage_v": -1.0},
            ["runs.board_house.length_m", "run board_house_nonessential: voltage"],
        ),
        (
            {"design_a": 600.0, "voltage_v": 24.0, "length_m": 40.0},
            ["runs.dc_main.size_mm2", "tried copper, one of 1.5 mm² to 240 mm²",
             "4 in parallel of 50 mm² to 120 mm²", "I_z of at least 630 A",
             "a drop of at most 3 %", "voltage drop", "shorten the run"],
        ),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_in_words(changes, words) -> None:
    with pytest.raises(InputError) as refused:
        size_run(run_of(**changes), MONEY)
    for word in words:
        assert word in str(refused.value)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"material": "aluminium"}, ["runs.dc_main.material", "copper", "metric"]),
        ({"size_mm2": 16.0}, ["runs.dc_main.size_mm2", "the nearest is 13.3 mm² (AWG 6)"]),
        ({"ambient_c": 71.0, "insulation": "xlpe"}, ["runs.dc_main.ambient_c", "at most 70 °C"]),
    ],
)
def test_what_american_sizes_refuse(changes, words) -> None:
    with pytest.raises(InputError) as refused:
        size_run(run_of(**changes), MONEY, sizes="awg")
    for word in words:
        assert word in str(refused.value)


@pytest.mark.parametrize(
    ("fault_a", "clear_s", "words"),
    [(0.0, 0.1, "above 0 A"), (1000.0, 0.0, "above 0 to 5 s"), (1000.0, 6.0, "above 0 to 5 s")],
)
def test_a_fault_that_cannot_be_is_refused(fault_a, clear_s, words) -> None:
    with pytest.raises(InputError, match=words):
        least_withstand_mm2(fault_a, clear_s, "copper", "pvc")


def test_no_device_no_rating() -> None:
    assert device_rating_a(run_of(device="none", design_a=900.0)) is None


def test_prices_come_from_the_site_file() -> None:
    site = read_site(data_folder() / "sites" / "ridge-clinic.toml").site
    money = money_of(site)
    for name, price in vars(money).items():
        assert price == getattr(site.costs, name)


def test_annuity_without_interest_counts_the_years() -> None:
    assert annuity_years(0.0, 20.0) == 20.0
    assert annuity_years(1e-9, 20.0) == pytest.approx(20.0, rel=1e-6)


def test_capacity_is_not_changed_by_asking() -> None:
    first = capacity(run_of(), 6.0)
    first.factors.clear()
    assert capacity(run_of(), 6.0).factors
