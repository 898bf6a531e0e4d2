"""Lists for the site: what is loaded is what is bought, what is switched is what is there.

Over the demo sites, and over random valid site files with a cheap invented year. Sites are
invented.
"""

from __future__ import annotations

import re
import runpy
from collections import Counter, defaultdict
from pathlib import Path

import pytest
from hypothesis import HealthCheck, assume, given, settings

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import data_rows, demo_sites
from solarcalc.basis.quantity import in_quantity
from solarcalc.commissioning.facts import facts_of
from solarcalc.commissioning.sheet import sheet_of
from solarcalc.design import open_design
from solarcalc.diagrams.battery_terminals import terminal_diagram
from solarcalc.installation.schedules import source_terminals
from solarcalc.installation.schedules import work_of as fitted
from solarcalc.powerroom.layout import lifted_by, unit_mass_kg
from solarcalc.programme.schedule import site_schedule
from solarcalc.quote.bill import bought_line
from solarcalc.sitefile.bill_items import ITEMS
from solarcalc.sitefile.read import read_site, with_changes
from solarcalc.sitefile.task_list import task_list
from solarcalc.sitepack.pick_list import days_of, pick_rows, picks_of
from solarcalc.sitepack.switching import SWITCHED, lock_points, switching_rows, switching_steps
from solarcalc.sitepack.terminals import banks_at, terminal_rows
from solarcalc.sitepack.tools import glove_class, highest_v, insulation_voltages, tool_rows
from solarcalc.sitepack.torques import joint_count, torque_rows
from solarcalc.sitepack.trenches import digging_steps, trench_rows
from solarcalc.stages.grounds import test_facts as facts_built
from solarcalc.stages.money import bill_of_site, work_of
from solarcalc.wiring.runs import charger_of_a

HERE = Path(__file__).parent
INSTALLED = runpy.run_path(str(HERE / "installation_cases.py"))["installed"]
DRAWN = runpy.run_path(str(HERE / "diagram_cases.py"))
SITES = runpy.run_path(str(HERE / "site_files.py"))


def built_of(name, **changes):
    return INSTALLED(with_changes(read_site(demo_sites()[name]), changes).site)


def programme_of(built):
    work = work_of(built, sheet_of(facts_built(built)))
    return site_schedule(built.site.programme, work, name=built.site.site.name,
                         where="test: programme")


@pytest.fixture(scope="module", params=sorted(demo_sites()))
def demo(request):
    return built_of(request.param)


@pytest.fixture(scope="module")
def coral():
    return built_of("coral-pharmacy")


def test_lists_of_a_demo_site_agree(demo):
    lists_agree(demo)


@pytest.mark.slow
@given(site=SITES["sites"]())
@settings(max_examples=15, deadline=None, suppress_health_check=list(HealthCheck))
def test_lists_of_random_sites_agree(site):
    try:
        built = INSTALLED(site)
    except InputError:
        assume(False)  # a valid file of a system that cannot be built: it says why
    lists_agree(built)


def lists_agree(built):
    """Every agreement at once."""
    loaded_is_bought(built)
    switched_is_what_is_there(built)
    a_walk_through_the_battery_meets_every_unit(built)
    dug_is_what_the_bill_has(built)
    joints_follow_from_parts(built)
    tools_follow_from_tasks(built)


# --- pick list


def loaded_is_bought(built):
    bill, schedule = bill_of_site(built), programme_of(built)
    picks = picks_of(built, bill, schedule)
    loaded = defaultdict(float)
    for one in picks:
        assert one.quantity > 0.0
        loaded[one.key] += one.quantity
    loaded.pop("", None)
    bought = {line.key: line for line in bill}
    assert set(loaded) == set(bought)
    kinds = Counter((one.key, one.name) for one in picks)
    for key, line in bought.items():  # what is cut from drums is whole, and covers the bill
        of_it = sum(name == key for name, _ in kinds)
        cut = of_it - 1 if line.item.startswith("cable-") else 0.0
        assert line.quantity - 1e-6 <= loaded[key] <= line.quantity + cut + 1e-6, key
    for one in picks:
        assert re.fullmatch(r"[\d\u202f]+(\.\d)?", in_quantity(one.quantity))
        assert float(in_quantity(one.quantity).replace("\u202f", "")) == pytest.approx(
            one.quantity)  # nothing of it is lost in print
        if one.unit in ("m", "each"):
            assert one.quantity == int(one.quantity), one.name
    loaded_before_it_is_fitted(built, bill, picks, schedule)
    for one in picks:
        planned = next(other for other in schedule.planned if other.task.name == one.task)
        assert planned.start.date() <= one.day <= planned.finish.date()
        assert one.day in days_of(planned, schedule)
        assert one.crew == planned.crew
    assert [one.day for one in picks] == sorted(one.day for one in picks)
    first = {}
    for one in picks:
        if ITEMS.get(one.key) and ITEMS[one.key].unit == "each":
            assert one.quantity == int(one.quantity)
        first.setdefault(one.key, one.day)
    for key, day in first.items():  # nothing is missing on the first day of its task
        if key:
            name = next(one.task for one in picks if one.key == key)
            planned = next(other for other in schedule.planned if other.task.name == name)
            assert day == min(days_of(planned, schedule))


def loaded_before_it_is_fitted(built, bill, picks, schedule):
    """No item is listed later than the first task that the hours of its fitting are in."""
    task_of = {rate.unit: task.key for task in task_list() for rate in task.rates}
    taken_for = {line.key: line.place for line in bill}
    first = {}
    for one in picks:
        first.setdefault(taken_for.get(one.key, one.key), one.day)
    for part in built.parts:
        planned = schedule.at(task_of[part.work]) if part.work else None
        if part.bought and planned:
            assert first[bought_line(part.bought).key] <= planned.start.date(), part.key


def test_every_item_of_a_bill_has_its_task_and_no_other_is_named():
    rows = data_rows("loading")
    assert {row["item"] for row in rows} == set(ITEMS)
    keys = {task.key for task in task_list()}
    assert {task for row in rows for task in row["tasks"].split()} <= keys
    assert {row["task"] for row in data_rows("loose_material")} <= keys
    assert all(set(row["tasks"].split()) <= keys for row in data_rows("tools"))


def test_a_thing_goes_with_the_task_that_fits_it(demo):
    """The list of items agrees with the unit of work of each part."""
    task_of = {rate.unit: task.key for task in task_list() for rate in task.rates}
    loaded = {row["item"]: row["tasks"].split() for row in data_rows("loading")}
    for part in demo.parts:
        if part.work and part.bought:
            assert task_of[part.work] in loaded[part.bought.item], part.key


def test_picks_of_the_pharmacy_by_hand(coral):
    rows = pick_rows(picks_of(coral, bill_of_site(coral), programme_of(coral)))
    # hand: 15 modules of 3 clips; 60 feet of 2 screws; 8 battery units of 2 covers
    found = {row["what"]: float(row["quantity"]) for row in rows if row["from"] == "by allowance"}
    assert found["Clip for module leads"] == 45
    assert found["Roof screw or bolt with its seal"] == 120
    assert found["Terminal cover"] == 16
    modules = [row for row in rows if row["what"].startswith("Module,")]
    assert sum(float(row["quantity"]) for row in modules) == 15
    assert {row["serial numbers"] for row in modules} == {"write down"}


# --- switching


def switched_is_what_is_there(built):
    steps = switching_steps(built)
    by_way = {way: [one for one in steps if one.sequence == way]
              for way in ("off", "on", "emergency")}  # fmt: skip
    off, on = by_way["off"], by_way["on"]
    assert [one.part.key for one in off] == [one.part.key for one in on[::-1]]
    keys = list(dict.fromkeys(one.part.key for one in off))
    fuses = sum(key.startswith("controller-fuse") for key in keys)
    assert len(off) - len(keys) == fuses, "opened, then withdrawn"
    there = {part.key for part in built.parts if part.kind in SWITCHED
             and (part.kind, part.where) != ("changeover", "inverter")}  # is its relay
    assert set(keys) == there
    fed_before_it_feeds(built, [one.part.key for one in on])
    sources_stay_off_the_bars(built)
    for way in by_way.values():
        assert [one.number for one in way] == list(range(1, len(way) + 1))
    for one in steps:
        assert built.by_key[one.part.key] is one.part
        assert one.action
        assert one.check
    # the order on the sign at the door is the same
    sign = [part.key for _, parts in built.switching_off for part in parts]
    assert [key for key in keys if key in sign] == sign
    # no fuse is drawn, and nothing with a fuse in its way goes on, before the isolators are open
    isolators = [number for number, one in enumerate(off) if one.part.kind == "isolator"]
    fuses = [number for number, one in enumerate(off) if one.action.startswith("withdraw")
             and "its board dead" not in one.action]  # fmt: skip
    if isolators and fuses:
        assert max(isolators) < min(fuses)
    assert {one.part.kind for one in by_way["emergency"]} <= {"inverter", "isolator", "breaker"}
    assert {part.key for part in lock_points(built)} >= {
        part.key for part in built.of_kind("isolator")}  # fmt: skip


def fed_before_it_feeds(built, on):
    """Hand: "voltage at its outlet" is proved of a breaker only once all before it is on."""
    cables = [one for one in built.cables if one.current == "ac"]
    for one in cables:
        way = [key for key in (one.start, *one.at_start, *one.at_end)
               if key in on and not key.startswith("changeover")]  # fmt: skip
        before = [key for other in cables if other.end == one.start
                  and other.key.startswith(("inverter_", "board_"))
                  and not one.key.startswith(LINKS)
                  for key in (*other.at_start, *other.at_end)]  # fmt: skip
        places = [on.index(key) for key in way]
        assert places == sorted(places), way
        assert all(on.index(key) < place for key in before for place in places), (before, way)


def sources_stay_off_the_bars(built):
    """Hand: a source on the bars of the outputs feeds back into inverters that run alone."""
    board, tags = source_terminals(built)
    come = [one for one in built.cables if one.key in ("grid_in", "generator_in")]
    bars = {one.end for one in come if built.by_key[one.end].kind == "board"}
    assert {built.by_key[key].tag for key in bars} == ({board} if board else set())
    on = [one for one in built.cables if one in come or one.key.startswith(LINKS)]
    assert tags == (", ".join(one.tag for one in on) if board else "")
    said = [label.words for key in bars for label in built.by_key[key].labels]
    assert any("terminals of their own" in words for words in said) == bool(board)


LINKS = ("source_link", "charger_input")
"""Begin at the terminals that the sources come to, not at an inverter's output."""


def test_what_may_start_by_itself_goes_before_what_it_feeds():
    # IEC 60364-5-53 and common practice: sources in parallel are parted before work, loads first
    built = built_of("ridge-clinic", grid={"kind": "always"}, generator={"power_w": 3000.0},
                     protection={"changeover": "manual"})
    rows = [row for row in switching_rows(built) if row["sequence"] == "off"]
    order = list(dict.fromkeys(row["what"] for row in rows))
    wanted = ["loads", "boards", "generator", "grid", "changeover", "inverters", "array",
              "controllers", "battery, no pole earthed"]  # fmt: skip
    assert [one for one in order if one in wanted] == wanted
    on = [row["what"] for row in switching_rows(built) if row["sequence"] == "on"]
    assert on.index("battery, no pole earthed") < on.index("controllers") < on.index("array")


SOURCES = {"grid": {"kind": "always"}, "generator": {"power_w": 3000.0},
           "protection": {"changeover": "manual", "system": "TT"}}  # fmt: skip


def test_a_breaker_is_on_before_its_residual_current_device_is_tested():
    """A test button needs voltage: the breaker stands before the device (common practice)."""
    steps = switching_steps(built_of("ridge-clinic", **SOURCES))
    on = [one.part.key for one in steps if one.sequence == "on"]
    for source in ("grid", "generator"):
        assert on.index(f"{source}-breaker") < on.index(f"residual-{source}")
    for board in ("essential", "nonessential"):
        (breaker,) = [key for key in on if key.startswith("board-breaker")
                      and key.removeprefix("board-breaker") in ("", f"-{board}")]
        assert on.index(breaker) < on.index(f"residual-{board}") < on.index(
            f"house-breaker-{board}")


@pytest.mark.parametrize("name", ["coral-pharmacy", "orchard-shop"])
def test_a_fuse_of_a_controller_is_switched_and_not_drawn_live(name):
    """IEC 60947-3: the switch breaks the current; its fuse is drawn and inserted dead."""
    built = built_of(name)
    for way, wanted in (
        ("off", ["open its switch", "isolator", "withdraw, its switch open, isolator open"]),
        ("on", ["insert, its switch open, isolator open", "isolator", "close its switch"]),
    ):  # fmt: skip
        found = ["isolator" if one.part.key.startswith("battery-isolator") else one.action
                 for one in switching_steps(built) if one.sequence == way
                 and one.part.key.startswith(("controller-fuse", "battery-isolator"))]  # fmt: skip
        assert [said.startswith(want) for said, want in zip(found, wanted, strict=True)] == [
            True] * 3, found  # fmt: skip


@pytest.mark.parametrize("name", ["ridge-clinic", "orchard-shop"])
def test_dead_and_live_are_proved_where_the_reading_says_so(name):
    """Polarity before an isolator is closed; no outlet called dead while others feed it."""
    built = built_of(name)
    steps = switching_steps(built)
    said = {(one.sequence, one.part.key, one.action.split(",")[0]): one for one in steps}
    checks = {(way, key): one.check for (way, key, _), one in said.items()}
    assert "busbars" not in checks["on", "board-breaker-essential"]
    assert "clamp" not in " ".join(one.check for one in steps)
    bar = built.by_key["string-bar"].tag
    assert checks["off", "battery-string-fuse"] == (
        f"after the last one: no voltage from {bar}+ to {bar}−")
    assert checks["off", "battery-fuse"] == "no voltage from its outlet + to its outlet −"
    for one in steps:
        if one.sequence == "on" and one.part.kind == "isolator":
            assert one.action.startswith("polarity correct at its inlet; close")
            assert "polarity" not in one.check
        if one.sequence == "on" and one.part.key.startswith("controller-"):
            assert "pre-charge" in one.action or one.action.startswith("insert")


@pytest.mark.parametrize("inside", [True, False])
def test_in_an_emergency_nobody_passes_the_racks(inside):
    built = built_of("ridge-clinic", **SOURCES, room={"inverters_inside": inside})
    steps = [one for one in switching_steps(built) if one.sequence == "emergency"]
    in_room = [one.part.place == "power room" for one in steps]
    assert in_room == sorted(in_room), "what is reached from outside goes first"
    assert [one.part.key for one in steps][:2] == ["generator-breaker", "grid-breaker"]
    for one, there in zip(steps, in_room, strict=True):
        assert not (there and one.part.key.startswith("battery-isolator"))
        assert ("otherwise leave" in one.action) == there


# --- terminals of the battery


def a_walk_through_the_battery_meets_every_unit(built):
    rows = terminal_rows(built)
    for bank in banks_at(built):
        battery, joints = bank.battery, bank.joints
        link = bank.part("battery-link")
        links = [one for one in joints if link and one.tag.startswith(f"{link.tag}.")]
        assert len(links) == (link.count if link else 0)
        assert len({one.tag for one in links}) == len(links)
        follow = defaultdict(list)
        for one in joints:
            follow[one.start].append(one)
        met = Counter()
        paths = walked(follow, bank.bar("+"), bank.bar("−"))
        assert len(paths) == battery.units_in_parallel
        for path in paths:
            assert len(path) == battery.units_in_series
            met.update(path)
            volts = sum(battery.unit_voltage_v for _ in path)
            assert volts == pytest.approx(battery.nominal_voltage_v)
        assert set(met.values()) == {1}
        assert len(met) == battery.unit_count
        tags = {part.tag for part in built.parts} | {one.tag for one in built.conductors}
        for one in joints:
            assert one.tag.partition(".")[0] in tags
            assert {tag.partition(".")[0] for tag in one.through} <= tags
        strings = bank.part("battery-string-fuse")
        fused = [tag for one in joints for tag in one.through
                 if strings and tag.partition(".")[0] == strings.tag]  # fmt: skip
        assert len(set(fused)) == (strings.count if strings else 0)
        lugs = sum(one.lug_count for one in built.conductors
                   if one.key in (bank.key("battery_main"), bank.key("battery_string")))
        assert sum(one.lugs for one in joints) == lugs
        drawing = DRAWN["Drawing"](terminal_diagram(bank, site_name="x"))
        assert not DRAWN["clashes"](drawing)
    assert len(rows) == sum(len(bank.joints) for bank in banks_at(built))


def walked(follow, start, end):
    """Units on each way from plus bar to minus bar; a unit leads from its plus to its minus."""
    ways, found = [(start, [])], []
    while ways:
        here, units = ways.pop()
        if here == end:
            found.append(units)
            continue
        assert len(units) < 1000
        for joint in follow[here]:
            terminal = joint.end
            unit = [terminal[:-1]] if terminal.endswith("+") and "." in terminal else []
            ways.append((f"{terminal[:-1]}−" if unit else terminal, units + unit))
    return found


def test_terminals_of_the_pharmacy_by_hand(coral):
    # hand: 2 strings of 4 units of 12 V: 6 links, 4 leads, 2 main conductors
    (bank,) = banks_at(coral)
    rows = terminal_rows(coral)
    assert len(rows) == 6 + 4 + 2
    unit, bars = coral.by_key["battery"].tag, coral.by_key["string-bar"].tag
    ends = {(row["from"], row["to"]) for row in rows}
    assert (f"{unit}.4−", f"{bars}−") in ends
    assert (f"{unit}.5−", f"{unit}.6+") in ends
    assert (f"{unit}.4−", f"{unit}.5+") not in ends
    fuse, isolator = coral.by_key["battery-fuse"].tag, coral.by_key["battery-isolator"].tag
    main = next(one for one in bank.joints if one.start == bank.bar("+"))
    assert main.through == (isolator, fuse)


# --- trenches


def dug_is_what_the_bill_has(built):
    rows = trench_rows(built)
    dug = [row for row in rows if row["dug as"] == "trench"]
    routes = [route for route in built.routes if route.trench_m > 0.0]
    assert len(dug) == len(routes)
    for row, route in zip(dug, routes, strict=True):
        assert float(row["length [m]"]) == pytest.approx(route.trench_m)
        tags = {one.tag for one in built.conductors if one.key in route.conductors}
        assert set(str(row["in it"]).split(", ")) == tags
        assert float(row["dig [m]"]) > built.site.duct.depth_m
        assert "locate services" in row["safety"]
    lines = {line.key: line.quantity for line in bill_of_site(built)}
    metres = sum(float(row["length [m]"]) for row in rows)
    assert fitted(built)["trench_m"] == pytest.approx(metres)
    assert metres <= lines.get("trench", 0.0) + 1e-6


def test_a_trench_by_hand(coral):
    # hand: 0.6 m of cover, a duct of 50 mm, 0.05 m of sand: 0.70 m; tape 0.25 m above the duct
    row = trench_rows(coral)[0]
    assert (row["dig [m]"], row["wide [m]"], row["tape at [m]"]) == ("0.70", "0.30", "0.35")
    assert row["length [m]"] == "8"


def test_a_deep_trench_is_held_and_has_a_ladder():
    # 29 CFR 1926.652(a)(1), from memory: walls of 5 feet (1.5 m) or more are protected;
    # 1926.651(c)(2): a ladder from 4 feet (1.2 m)
    shallow, deep = built_of("coral-pharmacy"), built_of("coral-pharmacy", duct={"depth_m": 1.5})
    assert trench_rows(shallow)[0]["safety"] == "locate services first"
    assert "walls held" in trench_rows(deep)[0]["safety"]
    assert "competent person" in digging_steps(deep)[0]
    assert "competent person" not in digging_steps(shallow)[0]


# --- torques and settings


def joints_follow_from_parts(built):
    rows = torque_rows(built, level=float)
    assert all(row["set to"] == row["sheet, page"] == row["initials"] == "" for row in rows)
    joints = [row for row in rows if row["joints"] != ""]
    assert all(row["by the design"] == "" and row["joints"] > 0 for row in joints)
    tags = {part.tag for part in built.parts}
    for row in rows:
        assert {tag for tag in str(row["tags"]).split(", ") if tag} <= tags
    named = {tag for row in joints for tag in str(row["tags"]).split(", ")}
    for part in built.devices:
        assert not part.bought or part.tag in named, part.key
    units = sum(part.count for part in built.of_kind("battery"))
    found = {row["what"]: row["joints"] for row in joints}
    assert found["Battery terminal"] == 2 * units
    clamps = sum(plane.hardware.end_clamp_count for plane in built.planes if plane.hardware)
    assert found.get("End clamp", 0) == clamps
    bar = sum(one.count for one in built.earths if "earth-bar" in (one.start, one.end))
    assert found["Terminal of the main earthing terminal (earth bar)"] == bar


def test_joints_and_settings_of_the_pharmacy_by_hand(coral):
    rows = {row["what"]: row for row in torque_rows(coral, level=float)}
    # hand: 3 string fuses, 2 of strings of units, the main fuse, the controller's and 2 of the
    # inverters, all in both poles as no pole is on earth: 18 poles of 2 terminals
    assert rows["Terminal of a fuse holder"]["joints"] == 36
    # hand: bars carry a plus and a minus each: controller, 2 inverters, main; main and 2 strings
    assert rows["Bolt of a busbar"]["joints"] == 2 * 4 + 2 * 3
    # hand: 24 cells of lead-acid; absorption 2.42 V, float 2.27 V a cell at 25 degC as the kind
    # has them, 1.75 V at the end of discharge: 58.1, 54.5 and 42.0 V
    charge = coral.site.battery.traits.charge
    assert rows["Absorption voltage at 25 °C"]["by the design"] == f"{24 * charge.absorption_v:.1f}"
    assert rows["Low-voltage cut"]["by the design"] == "42.0"
    rule = {"by": "pole", "each": "2"}
    assert joint_count(coral, coral.by_key["array-isolator"], rule) == 4


# --- tools


def tools_follow_from_tasks(built):
    schedule = programme_of(built)
    names = {one.task.name for one in schedule.planned}
    rows = tool_rows(built, schedule)
    for row in rows:
        assert set(str(row["for"]).split("; ")) <= names
    items = {row["item"] for row in rows}
    wet = any(battery.traits.water for battery in built.site.banks.values())
    assert ("Acid-proof gloves" in items) == wet
    assert ("Slings and lifting bar for the generator" in items) == built.site.generator.there
    assert "Edge protection, or harness with lanyard and anchor" in items
    what_is_lifted_is_said_once(built, rows)
    instruments_are_those_of_the_test_sheet(built, rows)
    volts = highest_v(built)
    for row in rows:
        if row["kind"] == "instrument" and row["rated"] and row["item"] != "Insulation tester":
            asked, _, _ = row["rated"].removeprefix("at least ").partition(" ")
            assert float(asked) >= volts["ac" if "AC" in row["rated"] else "dc"]
            assert row["calibrated until"] in ("", "–")


def test_gloves_and_lifts_by_the_book():
    # IEC 60903, from memory: class 00 to 500 V a.c. and 750 V d.c., class 0 to 1000 and 1500
    assert glove_class(500.0, 750.0) == "00"
    assert glove_class(230.0, 751.0) == "0"
    assert glove_class(501.0, 100.0) == "0"
    # NIOSH load constant 51 lb alone; HSE L23 for a team of two, two thirds of twice that
    assert [lifted_by(kg) for kg in (1.0, 23.0, 23.1, 30.7, 31.0, 65.0)] == [
        "1 person", "1 person", "2 people", "2 people", *["hoist or lifting table"] * 2]


def what_is_lifted_is_said_once(built, rows):
    """Check, tools and lift rows name the same way to lift a battery unit."""
    site = built.site
    for battery in site.banks.values():
        way = lifted_by(unit_mass_kg(battery, site.room))
        row = next(row for row in rows if row["kind"] == "lift"
                   and row["item"].startswith("Battery unit"))  # fmt: skip
        if len(site.banks) == 1:
            assert row["standard"] == way
            items = {each["item"].lower() for each in rows}
            assert ("hoist or lifting table" in items) == (way == "hoist or lifting table")
    task = next(one for one in task_list() if one.key == "battery")
    assert "two lift" not in task.caution


def instruments_are_those_of_the_test_sheet(built, rows):
    """Every instrument the sheet asks for is on the list under its name, with its voltages."""
    listed = [str(row["item"]).lower() for row in rows]
    for line in sheet_of(facts_of(built.site)):
        for words in line.instrument.removeprefix("visual, and a ").split("; "):
            name = words.split(",")[0].split(" where ")[0]
            if name.split()[0] not in ("visual", "display", ""):
                assert any(name in item for item in listed), words
    rated = {row["item"]: row["rated"] for row in rows}
    for volts in re.findall(r"insulation tester, (\d+) V",
                            " ".join(line.instrument for line in sheet_of(facts_of(built.site)))):
        assert f"{volts} V" in rated["Insulation tester"]
    assert "category III" in rated["Voltmeter with leads"]


def test_the_tester_of_insulation_has_the_voltages_of_the_sheet(coral):
    # IEC 60364-6 table 6.1, from memory: 500 V for circuits to 500 V, 250 V for extra-low voltage
    assert insulation_voltages(coral) == "500 V and 250 V"


def test_two_strings_reversed_stand_double(coral):
    string = next(one for one in coral.cables if one.key == "string")
    assert highest_v(coral)["dc"] == pytest.approx(2.0 * string.highest_v)


def test_a_setting_is_what_the_checks_say_of_it():
    """hand: three times 30 mA is 90, the next made 100; of 12 kW and 6 kW one input takes 6."""
    design = open_design("coral-pharmacy", {
        "grid": {"kind": "always", "limit_w": 12000.0},
        "generator": {"power_w": 6000.0, "hottest_air_c": 25.0},
    })  # fmt: skip
    rows = {row["what"]: row["by the design"]
            for row in torque_rows(design.installation, level=float)}  # fmt: skip
    trips = {what: value for what, value in rows.items() if what.startswith("Tripping current")}
    delayed = [value for what, value in trips.items() if "delayed" in what]
    assert delayed == ["100", "100"]
    assert sorted(trips.values()) == ["100", "100", "30", "30"]
    limit = "Limit of the input for grid and generator, all inverters together"
    assert (rows[limit], rows[f"{limit}, a line"]) == ("6000", "26")


@pytest.mark.parametrize("name", sorted(demo_sites()))
def test_the_input_is_set_to_what_the_check_of_the_source_says(name):
    """In all, not for each inverter: two that draw the whole limit overload the source."""
    design = open_design(name)
    rows = {row["what"]: row["by the design"]
            for row in torque_rows(design.installation, level=float)
            if str(row["what"]).startswith("Limit of the input")}  # fmt: skip
    asked = [one for one in design.electrical_checks
             if one.rule in ("protection/grid-input", "protection/generator-input")]  # fmt: skip
    assert bool(rows) == bool(asked) == bool(design.site.sources)
    for check in asked:
        (line_a,) = (value for what, value in rows.items() if what.endswith(", a line"))
        assert f"set the input limit to {line_a} A per line" in check.limit
    several = sum(one.count for one in design.site.inverters.values()) > 1
    assert all((", all inverters together" in what) == several for what in rows)


@pytest.mark.parametrize("fixed", "abc")
def test_an_inverter_of_one_phase_is_told_its_line(fixed):
    """Hand: all of the other board on one line; the first of the two others has least."""
    board = [{"name": "Oven", "power_w": 900.0, "use": ["09:00-12:00"], "phase": fixed}]
    built = built_of("valley-workshop", loads={"nonessential": board})
    rows = {row["what"]: row for row in torque_rows(built, level=float)}
    (row,) = (row for what, row in rows.items() if what.startswith("Line of its input"))
    assert row["tags"] == built.by_key["inverter-essential"].tag
    assert row["by the design"] == ("L2" if fixed == "a" else "L1")


@pytest.mark.parametrize("name", sorted(demo_sites()))
def test_no_other_inverter_has_a_line_of_its_own(name):
    built = built_of(name)
    loads = built.site.loads
    told = [row["tags"] for row in torque_rows(built, level=float)
            if str(row["what"]).startswith("Line of its input")]  # fmt: skip
    assert told == [built.by_key[f"inverter-{board}"].tag for board in built.site.inverters
                    if built.site.sources and loads.phases_of(board) == 1 < loads.phases]


LAYOUTS = ("shared-bank", "one-inverter", "separate-banks")


@pytest.mark.parametrize("layout", LAYOUTS)
@pytest.mark.parametrize("name", ["harmattan-clinic", "coral-pharmacy", "lagoon-house"])
def test_chargers_are_set_to_no_more_than_their_bank_takes_in_all(name, layout):
    """What stands for a tag, in the order of tags, is set on each inverter of that tag."""
    two = {} if layout != "separate-banks" else {
        "controller": {"count": 2}, "battery": {"units_in_parallel": 2}}  # fmt: skip
    built = open_design(name, {"supply": {"layout": layout}, **two}).installation
    count = {part.tag: part.count for part in built.of_kind("inverter")}
    for board in built.site.banks:
        bank = "" if board == "shared" else f", {board} bank"
        set_a = {tag: float(value) * (count[tag] if "each" in row["what"] else 1)
                 for row in torque_rows(built, level=float)
                 if row["what"].startswith("Charge current of the charger")
                 and row["what"].endswith(bank)
                 for tag, value in zip(row["tags"].split(", "), row["by the design"].split(", "),
                                       strict=True)}  # fmt: skip
        whose = count if board == "shared" else {built.by_key[f"inverter-{board}"].tag}
        assert set(set_a) == set(whose)
        most_a = charger_of_a(built.site, board)
        assert sum(set_a.values()) <= most_a + 0.5 * len(set_a)
        assert most_a == 0.0 or sum(set_a.values()) > 0.0


@pytest.mark.parametrize("limit_w", [0.0, 1500.0])
def test_what_may_be_fed_into_the_grid_is_a_setting(limit_w):
    design = open_design("coral-pharmacy", {
        "grid": {"kind": "always"}, "quote": {"tariff": {"feed_in_limit_w": limit_w}}})
    (row,) = (row for row in torque_rows(design.installation, level=float)
              if row["what"].startswith("Power fed into the grid"))
    assert row["by the design"] == (f"{limit_w:g}" if limit_w else "none")
    off = open_design("cove-cannery")
    assert not off.site.grid.there
    assert not any("fed into the grid" in row["what"]
                   for row in torque_rows(off.installation, level=float))


@pytest.mark.parametrize("name", sorted(demo_sites()))
def test_a_drum_holds_cable_of_one_insulation(name):
    """A cable for a buried duct is not that for a wall: the pick list names what sheet 8 names."""
    design = open_design(name)
    picked = [one.name for one in picks_of(design.installation, design.bill, design.programme)
              if one.key.startswith("cable-")]  # fmt: skip
    for one in design.installation.cables:
        if one.current == "ac":
            assert any(f" {one.size_name}, " in what and f", {one.insulation}, " in what
                       for what in picked), one.key  # fmt: skip
