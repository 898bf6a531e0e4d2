"""Rules that cables of every random site keep: company on the way, cores, voltages, ends.

Company: IEC 60364-5-52 table B.52.17 counts circuits, a pair of direct current or the loaded
conductors of an alternating one; a neutral of evenly loaded phases is not loaded (table 52.1).
"""

from __future__ import annotations

import runpy
from collections import defaultdict
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as some

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import demo_sites
from solarcalc.basis.published import published
from solarcalc.design import open_design
from solarcalc.installation.schedules import cable_rows, route_rows
from solarcalc.quote.bill import bill_of
from solarcalc.stages.electrical import electrical_checks, electrical_of
from solarcalc.wiring.capacity import capacity
from solarcalc.wiring.choose import core_count, run_checks
from solarcalc.wiring.conductors import resistance_column
from solarcalc.wiring.runs import ways_of
from solarcalc.wiring.terminals import terminal, terminal_checks

HERE = Path(__file__).parent
CASES = runpy.run_path(str(HERE / "installation_cases.py"))
PRICED = runpy.run_path(str(HERE / "priced_site.py"))["priced"]
SITES = runpy.run_path(str(HERE / "site_files.py"))
STAND_INS = runpy.run_path(str(HERE / "cable_stand_ins.py"))
PLANS = runpy.run_path(str(HERE / "protection_cases.py"))
EXAMPLES = 15
TRUNKS = {"controller_battery": "battery", "battery_inverter": "battery"}
"""Tables of [runs] that share a trunking where their methods agree."""
ALONE = ("solar-free", "solar-surface")


def changed(site, **tables):
    """The site with keys of its tables changed."""
    return site.model_copy(
        update={name: getattr(site, name).model_copy(update=keys) for name, keys in tables.items()}
    )


def electrical(site):
    try:
        return electrical_of(PRICED(site), CASES["invented_flows"](site))
    except InputError:
        assume(False)


def lines_of(site, key):
    """Line conductors of a cable: of the supply, of its board, one of a single-phase inverter."""
    board = key.rpartition("_")[2]
    if board not in ("essential", "nonessential"):
        return site.loads.phases
    if key.startswith("inverter_output") and site.inverter_of(board).one_a_phase:
        return 1
    return getattr(site.loads, f"{board}_phases") or site.loads.phases


def all_on(site, phases):
    """The site with so many phases everywhere."""
    alike = {board: getattr(site.inverter, board).model_copy(update={"arrangement": "parallel"})
             for board in ("essential", "nonessential")}  # fmt: skip
    own = {f"{board}_phases": None for board in alike}
    return changed(site, loads={"phases": phases, **own}, inverter=alike)


def table_of(key):
    stems = ("string", "dc_main", "controller_battery", "battery_inverter", "inverter_output",
             "inverter_board", "board_house", "grid_in", "generator_in")  # fmt: skip
    return next(stem for stem in stems if key.startswith(stem))


def beside_one_another(site, one):
    """Circuits alike that touch: of strings in the open those that end in one row."""
    in_open = table_of(one.run.key) == "string" and one.run.method.startswith("solar")
    return site.array.strings_side_by_side if in_open else one.run.count


def recounted(site, sized):
    """Circuits that warm one another around each run, by counting what lies with it."""
    ways = defaultdict(list)
    for one in sized:
        table = table_of(one.run.key)
        ways[TRUNKS.get(table, table), one.run.method].append(one)
    found = {}
    for (_, method), here in ways.items():
        own = (max(one.in_parallel for one in here) if method in ALONE
               else sum(beside_one_another(site, one) * one.in_parallel for one in here))
        beside = max(getattr(site.runs, table_of(one.run.key)).grouped_circuits for one in here) - 1
        found |= {one.run.key: own + beside for one in here}
    return found


SIZES = [1.5, 2.5, 4, 6, 10, 16, 25, 35, 50, 70, 95, 120, 150, 185, 240, 300, 400, 500, 630]


def unlike_recounted(site, sized, key) -> bool:
    """More than three sizes made one after another on a way whose circuits warm one another."""
    (way,) = (each for each in ways_of(site) if key in each.runs)
    here = [SIZES.index(one.size_mm2) for one in sized if one.run.key in way.runs]
    return way.together and max(here) - min(here) >= 3


@given(site=SITES["sites"]())
@settings(max_examples=EXAMPLES, deadline=None, suppress_health_check=list(HealthCheck))
def test_capacity_is_reckoned_with_what_lies_on_the_way(site):
    built = electrical(site)
    counted = recounted(site, built.sized)
    for one in built.sized:
        run, circuits = one.run, counted[one.run.key]
        assert run.loaded == (3 if run.current == "ac" and lines_of(site, run.key) == 3 else 2)
        assert run.circuits_with(one.in_parallel) == circuits
        (name,) = (name for name in one.factors if name.endswith("together"))
        by_gauge = "loaded conductors" in name  # NEC 310.15(C)(1) counts conductors
        assert name.split()[0] == str(circuits * (run.loaded if by_gauge else 1))
        if site.cables.sizes == "metric":
            rows = [(float(row["circuits"]), float(row[run.lies.group]))
                    for row in published("cable_group_factor").rows if row[run.lies.group]]
            wanted = next(factor for number, factor in rows if number >= circuits)
            if unlike_recounted(site, built.sized, run.key):  # IEC 60364-5-52 B.52.5.1, from memory
                wanted = min(wanted, circuits**-0.5)
            assert one.factors[name] <= wanted + 1e-9
            assert "unlike" in name or one.factors[name] == pytest.approx(wanted)


@given(site=SITES["sites"](), more=some.integers(1, 2))
@settings(max_examples=EXAMPLES, deadline=None, suppress_health_check=list(HealthCheck))
def test_a_circuit_more_on_a_way_never_raises_a_capacity(site, more):
    for one in electrical(site).sized:
        company = replace(one.run, grouped_circuits=one.run.grouped_circuits + more)
        if site.cables.sizes == "metric":
            try:
                fuller = capacity(company, one.size_mm2, one.in_parallel)
            except InputError:
                continue  # more than the table holds
            assert fuller.capacity_a <= one.capacity_a + 1e-9


LENGTHS = some.lists(some.floats(0.5, 40.0), min_size=2, max_size=4).map(sorted)
TABLES = some.sampled_from(["string", "dc_main", "controller_battery", "battery_inverter",
                            "inverter_output", "inverter_board", "board_house", "grid_in",
                            "generator_in"])  # fmt: skip


def longer(site, table, length_m):
    """The site with the length of a table of [runs]."""
    cable = getattr(site.runs, table).model_copy(update={"length_m": length_m})
    return changed(site, runs={table: cable})


@given(site=SITES["sites"](), table=TABLES, lengths=LENGTHS)
@settings(max_examples=EXAMPLES, deadline=None, suppress_health_check=list(HealthCheck))
def test_a_longer_run_never_gets_a_smaller_conductor(site, table, lengths):
    """Nor fewer: by the number in parallel, then by the size."""
    before = {}
    for length_m in lengths:
        try:
            built = electrical_of(PRICED(longer(site, table, length_m)),
                                  CASES["invented_flows"](site))  # fmt: skip
        except InputError:
            break  # and no longer one fits either
        for one in built.sized:
            if table_of(one.run.key) == table:
                laid = one.in_parallel, one.size_mm2
                assert laid >= before.get(one.run.key, (0, 0.0)), (one.run.key, length_m)
                before[one.run.key] = laid


@pytest.mark.parametrize(
    ("phases", "functions"),
    [(1, ("L", "N", "PE")), (2, ("L1", "L2", "N", "PE")), (3, ("L1", "L2", "L3", "N", "PE"))],
)
@given(site=SITES["sites"]())
@settings(max_examples=5, deadline=None, suppress_health_check=list(HealthCheck))
def test_cores_poles_and_bill_agree_for_each_number_of_phases(phases, functions, site):
    """Every cable of the boards has those cores, every switch those poles."""
    try:
        built = CASES["installed"](all_on(site, phases))
    except InputError:
        assume(False)
    runs = [one for one in built.cables if one.current == "ac"]
    assert {one.functions for one in runs} == {functions}
    for one in runs:
        assert one.cores == (len(functions) - 1) * one.in_parallel + 1
        assert core_count(one.sized.run) == len(functions) - 1
    for part in built.devices:
        if part.device.current == "ac" and "surge-fuse" not in part.key:
            assert part.poles == len(functions) - 1
    bought = sum(line.quantity for line in bill_of(built, None, 0.0)
                 if line.item.startswith("cable-"))  # fmt: skip
    assert bought >= sum(one.core_m for one in built.cables) - 1e-6


@given(site=SITES["sites"]())
@settings(max_examples=EXAMPLES, deadline=None, suppress_health_check=list(HealthCheck))
def test_the_main_of_the_array_is_cable_made_for_modules(site):
    """EN 50618: tinned fine wires (class 5), double insulation, 1.5 kV; whatever lies elsewhere."""
    try:
        built = CASES["installed"](site)
    except InputError:
        assume(False)
    rows = {row["tag"]: row for row in cable_rows(built)}
    for one in built.cables:
        if one.key in ("string", "dc_main"):
            assert "double" in rows[one.tag]["insulation"]
            assert "EN 50618" in rows[one.tag]["insulation"]
            assert rows[one.tag]["rated [V]"] == "1500 DC"
            assert resistance_column(one.sized.run) == "copper_class_5_tinned"
            # I_mp at 1 kW/m2, below 1.25 I_sc, which the capacity stays at
            strings = 1 if one.key == "string" else -(
                -site.array.string_count // site.controller.count)
            assert one.sized.run.drop_a == pytest.approx(strings * site.module.imp_a)
            assert one.sized.run.design_a >= 1.25 * strings * site.module.isc_a - 1e-6
    assert {row["cables"] for row in route_rows(built)}


def outcome_of(sized, rule):
    return {each.rule: each.outcome for each in run_checks(sized)}[f"wiring/{rule}"]


def test_pvc_and_aluminium_are_no_array_cable():
    sized = STAND_INS["sized_run"]
    assert outcome_of(sized(), "array-cable") == "passed"
    assert outcome_of(sized(insulation="pvc"), "array-cable") == "failed"
    assert outcome_of(sized(material="aluminium"), "array-cable") == "review"


def test_a_cable_rated_below_its_voltage_fails():
    sized = STAND_INS["sized_run"]
    assert outcome_of(sized(rated_v=1500.0, highest_v=1500.0), "rated-voltage") == "passed"
    assert outcome_of(sized(rated_v=600.0, highest_v=700.0), "rated-voltage") == "failed"


def test_ends_of_a_cable_that_is_too_thick_ask_for_a_pin_lug():
    site = PLANS["site"]()
    main = STAND_INS["sized_run"](size_mm2=50.0)
    (_, terminal_in) = found = list(terminal_checks(site, [main]))
    assert {each.outcome for each in found} == {"review"}
    assert {each.evidence for each in found} == {"assumed"}
    assert "pin lug" in terminal_in.remedy
    assert "enter the sizes the terminal takes" in terminal_in.remedy
    assert "controller.input_terminal_mm2" in terminal_in.remedy
    given_size = changed(site, controller={"input_terminal_mm2": 35.0})
    assert [each.outcome for each in terminal_checks(given_size, [main])] == ["review", "failed"]
    wide = changed(site, controller={"input_terminal_mm2": 70.0})
    assert [each.outcome for each in terminal_checks(wide, [main])] == ["review", "passed"]
    assert {each.outcome for each in terminal_checks(
        site, [STAND_INS["sized_run"](size_mm2=6.0)])} == {"passed"}
    assert {each.outcome for each in terminal_checks(
        site, [STAND_INS["sized_run"](size_mm2=6.0, in_parallel=2)])} == {"review"}


def test_larger_breakers_take_larger_conductors():
    sizes = [terminal("breaker", rated).most_mm2 for rated in (63.0, 100.0, 200.0, 400.0)]
    assert sizes == sorted(sizes)
    assert terminal("breaker", 800.0) is None  # bars and bolts


@given(site=SITES["sites"]())
@settings(max_examples=5, deadline=None, suppress_health_check=list(HealthCheck))
def test_no_two_checks_of_a_site_are_one(site):
    checks = electrical_checks(electrical(site))
    said = [(check.item, check.found, check.limit) for check in checks]
    assert len(set(said)) == len(said)


@pytest.mark.parametrize("name", demo_sites())
def test_each_cable_is_sized_in_the_company_that_was_chosen(name):
    """What is printed as its capacity is that beside the cables that lie there, and no others."""
    design = open_design(name)
    site, sized = design.site, design.electrical.sized
    for one in sized:
        (way,) = (each for each in ways_of(site) if one.run.key in each.runs)
        others = [each.size_mm2 for each in sized
                  if each.run.key in way.runs and each.run.key != one.run.key]  # fmt: skip
        company = (min(others), max(others)) if others and way.together else ()
        assert one.run.company_mm2 == company
