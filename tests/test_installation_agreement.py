"""One installation, one set of papers: drawn, scheduled, bought, labelled and tested alike.

Over the demo sites, and over random valid site files with a cheap invented year. What is counted
here is read from the papers themselves: words of the drawings, rows of the schedules, lines of
the bill and of the test sheet.
"""

from __future__ import annotations

import os
import re
import runpy
from collections import Counter, defaultdict
from pathlib import Path
from xml.etree import ElementTree as Tree

import pytest
from hypothesis import HealthCheck, assume, given, settings

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import demo_sites
from solarcalc.basis.text import spelt
from solarcalc.commissioning.sheet import sheet_of
from solarcalc.diagrams.battery_terminals import terminal_diagram
from solarcalc.diagrams.earthing import earth_lines, earthing_diagram, earthing_drawing
from solarcalc.diagrams.room import MOST_BOXES, room_drawing
from solarcalc.diagrams.single_line import single_line
from solarcalc.diagrams.single_line_reduced import single_line_reduced
from solarcalc.diagrams.trench_plan import trench_plans
from solarcalc.earthing.bar import BAR, SPARE_TERMINALS
from solarcalc.installation.routes import sets_of
from solarcalc.installation.schedules import cable_rows, device_rows, label_rows
from solarcalc.installation.standing import held_by, held_words, room_tags
from solarcalc.quote.bill import bill_of
from solarcalc.sitefile.read import read_site
from solarcalc.sitepack.terminals import banks_at
from solarcalc.sitepack.trenches import trenches_of
from solarcalc.stages.grounds import test_facts as facts_of
from solarcalc.wiring.ducts import dealt
from solarcalc.wiring.runs import states_of

HERE = Path(__file__).parent
CASES = runpy.run_path(str(HERE / "installation_cases.py"))
DRAWN = runpy.run_path(str(HERE / "diagram_cases.py"))
SITES = runpy.run_path(str(HERE / "site_files.py"))
EXAMPLES = int(os.environ.get("SOLARCALC_RANDOM_SITES", "15"))
"""Random sites a run; the long suite asks for 200."""
METHODS = {"A1", "A2", "B1", "B2", "D1", "D2"}
"""Ways of laying in IEC 60364-5-52, which stand beside cables."""
TAG = re.compile(r"(?<![-\w])([A-Z]{1,2}\d+)(?:: (?:(\d+) × )?|(?=[,. )]|$))")


@pytest.fixture(scope="module", params=sorted(demo_sites()))
def demo(request):
    return CASES["installed"](read_site(demo_sites()[request.param]).site)


@given(site=SITES["sites"]())
@settings(max_examples=EXAMPLES, deadline=None, suppress_health_check=list(HealthCheck))
def test_papers_of_random_sites_agree(site):
    try:
        built = CASES["installed"](site)
    except InputError:
        assume(False)  # a valid file of a system that cannot be built: it says why
    papers_agree(built)
    earth_is_what_is_drawn(built, CASES["earth"](site))


@pytest.mark.slow
@given(site=SITES["two_plane_sites"]())
@settings(max_examples=EXAMPLES, deadline=None, suppress_health_check=list(HealthCheck))
def test_papers_of_random_sites_of_two_roof_planes_agree(site):
    try:
        built = CASES["installed"](site)
    except InputError:
        assume(False)
    assume("battery-fuse" in built.by_key)  # else none so large is made: a check fails
    papers_agree(built)
    earth_is_what_is_drawn(built, CASES["earth"](site))


def test_papers_of_a_demo_site_agree(demo):
    papers_agree(demo)
    for state in states_of(demo.site):
        for board in demo.site.inverters:
            bonds = [part.tag for part in demo.of_kind("bond")
                     if state in part.states and part.board in ("", board)]  # fmt: skip
            assert len(bonds) == 1, (state, board)
    earth_is_what_is_drawn(demo, CASES["earth"](demo.site))


def papers_agree(built):
    """Every agreement at once."""
    drawn_is_scheduled_and_bought(built)
    bought_has_a_place(built)
    a_place_has_one_name(built)
    conductors_are_whole(built)
    routes_hold_what_is_counted(built)
    poles_follow_from_conductors(built)
    one_bond_a_state(built)
    room_is_what_is_listed(built)
    things_stand_on_the_test_sheet(built)
    devices_stand_where_their_schedule_says(built)
    devices_are_listed_where_they_stand(built)
    devices_are_drawn_at_their_end(built)
    strokes_are_conductors(built)
    the_electrode_is_joined_to_the_bar(built)
    leads_of_surge_devices_are_drawn(built)
    boards_are_written_as_the_glossary_has_them(built)


def the_electrode_is_joined_to_the_bar(built):
    """The single-line diagram has the conductor to the electrode and that along it."""
    words = DRAWN["Drawing"](single_line(built)).all_words()
    for one in built.earths:
        if "electrode" in (one.start, one.end):
            assert re.search(rf"\b{one.tag}\b", words), one.tag


def strokes_are_conductors(built):
    """Slanted strokes of the diagram: the cores of each run, wherever it is drawn (IEC 60617)."""
    drawing = DRAWN["Drawing"](single_line(built))
    lines = [places_of(each) for each in drawing.root.iter()]
    count = sum(sorted((abs(x - u), abs(y - v))) == pytest.approx([1.2, 2.4], abs=0.02)
                for line in lines if len(line) == 2 for (x, y), (u, v) in [line])  # fmt: skip
    runs = [one for one in built.cables if one.sized and one.key.startswith(tuple(ALONG))
            and one.key != "controller_battery@2"]  # its words stand along the line, no strokes
    twice = built.site.supply.separate_banks  # two rows of modules: these runs stand in both
    runs = [one for one in runs if one.key != "controller_battery@2" and not (
        twice and one.key == "controller_battery_essential")]  # fmt: skip
    drawn = [one.cores * (1 + (twice and one.key in ("string", "dc_main"))) for one in runs]
    poles = [len(one.functions) for one in runs]  # what stands where the line is short
    assert sum(poles) + 2 <= count <= sum(drawn) + 2  # with those of the legend


def places_of(shape):
    """Places that a straight line of a drawing goes through [mm]; empty for all else."""
    found = re.findall(r"[ML](-?[\d.]+) (-?[\d.]+)", shape.get("d") or "")
    return [(float(x), float(y)) for x, y in found]


def leads_of_surge_devices_are_drawn(built):
    """Both leads of each stand beside it: from the live conductors, and to earth."""
    words = DRAWN["Drawing"](single_line(built)).all_words()
    for part in built.of_kind("surge"):
        for one in (*built.leads, *built.earths):
            if part.key in (one.start, one.end):
                assert re.search(rf"\b{one.tag}\b", words), (part.key, one.tag)


def boards_are_written_as_the_glossary_has_them(built):
    """"Non-essential" on every drawing, for the one who sees it and the one who cannot."""
    drawn = [single_line(built), single_line_reduced(built),
             *(terminal_diagram(bank, site_name="x") for bank in banks_at(built)),
             *(svg for svg, _ in trench_plans(trenches_of(built), built.site, ())),
             earthing_drawing(built, CASES["earth"](built.site), "rods")]
    if len(built.layout.boxes) <= MOST_BOXES:
        drawn.append(room_drawing(built.layout, site_name="x", held=held_words(built),
                                  tags=room_tags(built)))
    for svg in drawn:
        assert "nonessential" not in " ".join(Tree.fromstring(svg).itertext()).lower()


AT = {
    "inverter output board": "board",
    "PV string combiner box": "combiner", "upstream of the controller": "controller",
    "at the battery busbars, at that end": "busbar", "at the battery end of its cable": "busbar",
    "from the battery terminals": "battery", "of each string, at its terminals": "battery",
    "from its own battery terminal": "battery", "each at its own terminal": "battery",
    "at the string busbars": "busbar",
    "where the grid comes in": "grid", "at the generator": "generator", "inverter": "inverter",
    "outside the safety distance": "busbar",
}
"""What stands in the protection schedule, and the kind of part at that end of the conductor."""
ALONG = {
    "string": (1, 0), "dc_main": (1, 0), "controller_battery": (0, 1), "battery_inverter": (0, 1),
    "battery_main": (0, -1), "battery_string": (0, -1), "inverter_output": (0, 1),
    "inverter_board": (0, 1),
    "board_house": (0, 1), "grid_in": (0, -1), "generator_in": (0, -1),
}
"""Which way the single-line diagram leads each run from its start: to the right, down or up."""


def devices_stand_where_their_schedule_says(built):
    """Words of the protection schedule name the part at the end where the graph has a device."""
    found = Counter()
    for one in built.cables:
        for end, keys in ((one.start, one.at_start), (one.end, one.at_end)):
            for key in keys:
                part, words = built.by_key[end], built.by_key[key].device.at
                kind = next((kind for said, kind in AT.items() if said in words), "board")
                assert part.kind == kind, (key, words, end)
                found[key] += 1
        if one.device and not one.key.startswith(("source_link", "charger_input")):
            assert one.device in (*one.at_start, *one.at_end), one.key
    loose = ("surge", "changeover")
    standing = {part.key for part in built.devices
                if part.kind not in loose and "surge" not in part.key}
    assert standing == set(found), standing ^ set(found)


def devices_are_listed_where_they_stand(built):
    """The list of the room has a breaker or RCD of a board in the part at its end of the cable."""
    tags, held = room_tags(built), held_by(built)
    for one in built.cables:
        for end, keys in ((one.start, one.at_start), (one.end, one.at_end)):
            for part in (built.by_key[key] for key in keys):
                if part.kind in ("breaker", "residual") and part.place == "power room" and (
                        built.by_key[end].kind in ("board", "inverter")):
                    names = [name for name, inside in held.items() if part.tag in inside]
                    here = {tags[name].partition(".")[0] for name in names}
                    assert here <= {built.by_key[end].tag}, (part.tag, names)
    for lead in built.leads:
        surge, at = built.by_key[lead.end], built.by_key[lead.start]
        if surge.place == "power room" and at.kind == "controller":
            names = [name for name, inside in held.items()
                     if surge.tag in {one.partition(".")[0] for one in inside}]
            hung = {tag.partition(".")[0] for tag in tags.values()}  # some rooms are too small
            here = {tags[name].partition(".")[0] for name in names}
            assert here == {at.tag} & hung, surge.tag


def devices_are_drawn_at_their_end(built):
    """Along each run: what stands at its start, the run, what stands at its end."""
    texts = written(single_line(built))
    for one in built.cables:
        stem = next((stem for stem in ALONG if one.key.startswith(stem)), "")
        if not stem:
            continue
        way = ALONG[stem]
        far = [sum(a * b for a, b in zip(way, place, strict=True)) for place in texts[one.tag]]
        for keys, sign in ((one.at_start, -1.0), (one.at_end, 1.0)):
            for key in keys:
                tag = built.by_key[key].tag
                own = [sum(a * b for a, b in zip(way, place, strict=True)) for place in texts[tag]]
                assert any(0.0 < sign * (there - here) < 75.0 for here in far for there in own), (
                    one.key, key)
    reduced = written(single_line_reduced(built))
    for one in built.cables:
        if one.key.startswith("battery_main"):
            tags = [built.by_key[key].tag for key in (*one.at_start, *one.at_end)]
            heights = [reduced[tag][0][1] for tag in tags]
            assert heights == sorted(heights, reverse=True), tags
    for bank in banks_at(built):
        strings_are_fused_where_they_are(built, bank)


def strings_are_fused_where_they_are(built, bank):
    """On the terminals' drawing the fuse of a string is nearer to its unit than to its bar."""
    fuse, lead = bank.part("battery-string-fuse"), bank.conductor("battery_string")
    svg = terminal_diagram(bank, site_name="x")
    texts = written(svg)
    tags = [fuse.tag_at("+", number) for number in range(1, bank.battery.units_in_parallel + 1)
            if fuse]  # fmt: skip
    shown = [tag for tag in tags if tag in texts]
    assert bool(shown) == (fuse is not None and fuse.count > 1)
    edges = [float(x) for x in re.findall(r'<rect x="([\d.]+)"[^>]*fill="white"', svg)]
    first_unit = min(edge for edge in edges if edge > 62.0)
    for tag in shown:
        x = min(place[0] for place in texts[tag])
        at_unit = first_unit - x < x - 62.0
        assert at_unit == (fuse.key in lead.at_start), (x, first_unit)


def written(svg):
    """Places of the words on a drawing by the tag that they begin with [mm]."""
    found = defaultdict(list)
    for each in DRAWN["Drawing"](svg).root.iter():
        if each.text and each.get("x"):
            words = each.text.replace("\u00a0", " ")
            tag = re.match(r"[A-Z]+\d+(\.\d+)?(?=[:, ]|$)", words)
            if tag:
                found[tag[0]].append((float(each.get("x")), float(each.get("y"))))
    return found


def things_stand_on_the_test_sheet(built):
    """Each thing that carries current has its line, and each earth conductor a line of its own."""
    lines = sheet_of(facts_of(built))
    keys = {line.key for line in lines}
    for one in (*built.conductors, *built.parts):
        assert set(one.tests) <= keys, (one.key, set(one.tests) - keys)
    assert all(part.tests for part in built.devices)
    assert all(one.tests for one in built.conductors)
    bonds = sum("continuity" in one.tests for one in built.earths)
    assert sum(line.key == "continuity" for line in lines) == bonds
    strings = sum(line.key == "polarity" for line in lines)
    assert strings == built.site.string_count


def counts_on(svg):
    """Parts by their tag as the words of a drawing count them; 1 where no count stands by it."""
    words = re.sub(r"\s+", " ", DRAWN["Drawing"](svg).all_words())
    found = Counter()
    for tag, count in TAG.findall(words):
        found[tag] = max(found[tag], int(count or 1))
    return found


def surge_devices_of_boards_are_as_many_as_drawn(built):
    """Each stands at the bar of its own board, so its tag is written once for each."""
    words = DRAWN["Drawing"](single_line(built)).all_words()
    for part in built.parts:
        if part.key == "board-surge":
            assert len(re.findall(rf"\b{part.tag}\b", words)) == part.count
            (earth,) = (one for one in built.earths if one.start == part.key)
            assert earth.count == part.count


def drawn_is_scheduled_and_bought(built):
    surge_devices_of_boards_are_as_many_as_drawn(built)
    drawn = counts_on(single_line(built))
    rows = {row["tag"]: row for row in device_rows(built)}
    bought = {line.key: line.quantity for line in bill_of(built, None, 0.0)}
    wanted = Counter()
    for part in built.parts:
        if part.bought is not None:
            one = part.bought
            wanted[f"{one.item}-{one.very}" if one.very else one.item] += part.count
        else:
            assert part.why_not, part.key
        if "single-line" in part.drawn_on:
            assert drawn[part.tag] == part.count, (part.key, part.tag, drawn[part.tag])
        if part.device is not None:
            assert int(rows[part.tag]["count"]) == part.count
            assert int(rows[part.tag]["poles"]) == part.poles > 0
    assert {key: bought.get(key) for key in wanted} == dict(wanted)
    for tag in drawn.keys() - METHODS:
        assert tag in {part.tag for part in built.parts} | {one.tag for one in built.conductors}


def bought_has_a_place(built):
    keys = [part.key for part in built.parts]
    assert len(set(keys)) == len(keys)
    assert len({part.tag for part in built.parts}) == len(keys)
    for part in built.parts:
        assert part.count > 0
        assert part.place
        assert part.drawn_on or part.loose or part.where or part.why_not, part.key


def a_place_has_one_name(built):
    """The ends of cables at one part have one name, such as those at the busbars."""
    words = defaultdict(set)
    whole = (one for one in built.cables if not one.key.startswith("charger_input"))
    for one in whole:  # a charger is a part of its inverter
        words[one.start].add(one.start_words.removeprefix("each "))
        words[one.end].add(one.end_words.removeprefix("each "))
    assert {key: said for key, said in words.items() if len(said) > 1} == {}
    for one in built.earths:
        for key, said in ((one.start, one.start_words), (one.end, one.end_words)):
            assert (key == "earth-bar") == (said == BAR), one.tag


def conductors_are_whole(built):
    parts = built.by_key
    rows = {row["tag"]: row for row in cable_rows(built)}
    labels = {row["label"] for row in label_rows(built)}
    assert len({one.tag for one in built.conductors}) == len(built.conductors)
    for one in built.conductors:
        assert one.start in parts, one.key
        assert one.end in parts, one.key
        assert one.size_mm2 > 0.0
        assert one.insulation
        assert one.rated_v >= one.highest_v
        assert one.length_m > 0.0
        assert one.tests
        assert {label.label for label in one.labels} <= labels
        assert any(label.count for label in one.labels)
        if one.device:
            assert parts[one.device].rated_a == one.device_a
            assert one.device_a <= one.capacity_a + 1e-9, one.key
        else:
            assert one.why_no_device
        if one.current == "ac":
            assert one.functions[-2:] == ("N", "PE")
        if one.current != "earth":
            assert f"{one.cores}:" in rows[one.tag]["cores"]
        if one.sized is not None:
            assert one.cores == (one.sized.run.loaded + (
                one.current == "ac" and lines_of(built, one) > 1)) * one.in_parallel + (
                one.current == "ac")
            protective_cores_are_sized(built, one)
    bought = {line.key: line for line in bill_of(built, None, 0.0)}
    metres = sum(line.quantity for key, line in bought.items() if line.item.startswith("cable-"))
    needed = sum(one.core_m for one in (*built.cables, *built.leads))
    assert needed <= metres + 1e-6
    assert metres < needed + len(bought)


def lines_of(built, one):
    """Line conductors that a cable must have: of the supply, of its board, of its inverter."""
    site, board = built.site, one.key.rpartition("_")[2]
    if board not in ("essential", "nonessential"):
        return site.loads.phases
    ends = {built.by_key[key].kind for key in (one.start, one.end)}
    alone = site.inverter_of(board).arrangement == "one-a-phase"
    if alone and "inverter" in ends:
        return 1
    own = getattr(site.loads, f"{board}_phases")
    return own or site.loads.phases


def protective_cores_are_sized(built, one):
    """IEC 60364-5-54 table 54.2: the same up to 16 mm2, 16 up to 35, beyond it half."""
    if one.current == "dc":
        assert one.protective_mm2 is None
        return
    line_mm2 = one.size_mm2 * one.in_parallel
    least = line_mm2 if line_mm2 <= 16.0 else 16.0 if line_mm2 <= 35.0 else line_mm2 / 2.0
    assert one.protective_mm2 >= min(least, one.size_mm2) - 1e-9
    assert sum(one.metres_by_size.values()) == pytest.approx(one.core_m)


def routes_hold_what_is_counted(built):
    by_key = {one.key: one for one in built.conductors}
    laid = [key for route in built.routes for key in route.conductors]
    led = [one for one in built.earths if one.route]
    assert sorted(laid) == sorted(one.key for one in (*built.cables, *led))
    what_leaves_the_room_is_led_and_drawn(built)
    for route in built.routes:
        every = [by_key[key] for key in route.conductors]
        here = [one for one in every if one.current != "earth"]
        if not here:  # warms nothing, and is dug for as an electrode or not at all
            assert (route.circuits, route.trench_m, route.duct) == (0, 0.0, None)
            continue
        for one in here:
            assert one.grouped == route.circuits, (route.key, one.key)
        if route.method in ("D1", "D2"):  # in the ground: pipe, trench, cover, distance
            assert (route.duct is not None) == (route.method == "D1") or route.fill is None
            assert (route.trench_m > 0.0) == (built.site.duct.depth_m > 0.0)
            assert route.depth_m == built.site.duct.depth_m
            assert route.apart_m >= 0.5
        if not route.method.startswith("solar"):  # strings by row: tests/test_topology.py
            assert route.circuits >= sum(one.count * one.in_parallel for one in here)
        if route.fill is not None:
            others = len(built.site.duct.other_cables_mm) * (
                (route.key, route.method) == ("dc_main", "D1"))  # fmt: skip
            cables = sum(
                one.count * one.in_parallel * (2 if one.current == "dc" else 1) for one in here
            )
            cables += sum(one.count for one in every if one.current == "earth")
            sets = [each for one in every for each in sets_of(one)]
            shares = dealt(sets, route.duct_count)
            assert sum(each.count for share in shares for each in share) == cables
            assert len(shares) == route.duct_count
            most = max(sum(each.count for each in share) for share in shares)
            assert route.fill.cable_count - others <= most
            assert route.duct_m == pytest.approx(route.duct_count * route.fill.length_m)
    lines = {line.key: line for line in bill_of(built, None, 0.0)}
    trench = sum(route.trench_m for route in built.routes)
    earthing = built.site.earthing
    apart_m = (earthing.rod_count - 1) * earthing.rod_spacing_m
    trench += apart_m if earthing.electrode == "rods" else earthing.conductor_m
    assert trench <= (lines["trench"].quantity if trench else 0.0) < trench + 1.0
    ducts = sum(line.quantity for line in lines.values() if line.item == "duct")
    duct_m = sum(route.duct_m for route in built.routes)
    assert duct_m - 1e-6 <= ducts < duct_m + len(lines)


def what_leaves_the_room_is_led_and_drawn(built):
    """Each conductor with an end in the room and one elsewhere lies in a way that a sheet shows."""
    trenches = trenches_of(built)
    shown = {tag for one in trenches for tag in one.tags}
    shown |= {tag for tags in room_tags(built).values() for tag in tags.split(", ")}
    if built.layout.unplaced:  # an entry without a place is said by its name
        shown |= {one.tag for one in built.conductors}
    for one in built.conductors:
        ends = {built.by_key[key].place for key in (one.start, one.end)}
        if one.current == "surge" or not (ends & {"power room"} and len(ends) > 1):
            continue
        (route,) = [route for route in built.routes if route.key == one.route]
        assert one.key in route.conductors
        if one.current == "earth" or route.trench_m > 0.0:
            assert one.tag in shown, one.key
        if route.trench_m > 0.0:
            (trench,) = [each for each in trenches if one.tag in each.tags]
            assert trench.length_m == route.trench_m
    for route in built.routes:  # IEC 61386-1: what is laid is made for cables
        assert route.duct is None or route.duct.kind != "waste"
    sold = {line.name: line for line in bill_of(built, None, 0.0) if line.item == "duct"}
    for route in built.routes:
        if route.duct is not None:
            assert any(route.duct.words.lower() in name.lower() for name in sold)


def poles_follow_from_conductors(built):
    lines = {one.key: len(one.functions) - 2 for one in built.cables if one.current == "ac"}
    for key, count in lines.items():  # beside N and PE
        assert count == lines_of(built, next(one for one in built.cables if one.key == key)), key
    at = {key: one.key for one in built.cables for key in (*one.at_start, *one.at_end)}
    for part in built.devices:
        if part.device.current == "ac":  # every line and N, a backup fuse no N; never PE
            board = part.key.rpartition("-")[2]
            board = board if board in ("essential", "nonessential") else "essential"
            inside = part.kind == "changeover" and part.bought is None
            run = at.get(part.key) or (
                "grid_in" if part.key == "changeover-sources" and "grid_in" in lines
                else f"inverter_output_{board}" if inside and f"inverter_output_{board}" in lines
                else f"board_house_{board}")  # fmt: skip
            backup = "surge-fuse" in part.key
            assert part.poles == lines[run] + 1 - backup, part.key
    for one in built.cables:
        if one.device and one.current == "dc":
            assert built.by_key[one.device].poles in (1, len(one.functions))


def one_bond_a_state(built):
    """One in each state of each board, or a check that does not pass."""
    site = built.site
    bonds = built.of_kind("bond")
    drawn = counts_on(single_line(built))
    earths = Counter(one.start for one in built.earths)
    for bond in bonds:
        assert drawn[bond.tag] == bond.count == 1
        fixed = bond.key != "bond-grid" and "relay" not in bond.why_not
        assert earths[bond.key] == (1 if fixed else 0)
        # a join that stays is in effect whatever feeds, or its source is parted in all poles
        if fixed and site.protection.changeover == "built-in" and bond.key != "bond-generator":
            assert set(bond.states) == set(states_of(site))
    checks = {v.item: v for v in CASES["checks"](site)}
    for state in states_of(site):
        for board in site.inverters:
            here = [bond for bond in bonds if state in bond.states and bond.board in ("", board)]
            found = [v for item, v in checks.items() if item.startswith(
                         f"Neutral and earth joined, {board} board")
                     and CASES["STATE_WORDS"][state] in item]  # fmt: skip
            if site.protection.system == "IT":
                continue
            if len(here) != 1:
                assert [check.outcome for check in found] == ["failed"], (state, here)


def named_in(words, name):
    """Whether a list has a name, or the first of it where many things have one line each."""
    return name in words or any(f"{name[:count].rstrip()}…" in words
                                for count in range(10, len(name)))  # fmt: skip


def room_is_what_is_listed(built):
    names = {"inverter": "inverter", "controller": "controller", "board": "board"}
    svg = ""
    if len(built.layout.boxes) <= MOST_BOXES:
        svg = room_drawing(built.layout, site_name="x")
    for kind in names:
        boxes = len(built.layout.of_kind(kind))
        unplaced = sum(name.startswith(kind) for name in built.layout.unplaced)
        inside = sum(part.count for part in built.of_kind(kind) if part.place == "power room")
        assert boxes + unplaced == inside, kind
    for kind, item in (("extinguisher", "extinguisher"), ("alarm", "alarm"), ("door", "door"),
                       ("earth-bar", "earth-bar"), ("vent-low", "vent"), ("vent-high", "vent")):
        found = [part for part in built.of_kind(item)
                 if part.key == kind and part.place == "power room"]
        assert len(built.layout.of_kind(kind)) == sum(part.count for part in found), kind
    assert "<svg" in svg or not svg
    for kind, word in (("fuse", "main fuse"), ("isolator", "isolator")):
        shown = [box.name for box in built.layout.of_kind(kind)]
        shown += [name for name in built.layout.unplaced if word in name and "PV" not in name]
        parts = [part for part in built.of_kind(kind) if part.key.startswith(f"battery-{kind}")]
        if len(parts) < len(built.site.banks):  # none is made so large
            assert any(check.outcome == "failed" and "main fuse" in check.item
                       for check in CASES["checks"](built.site))
            continue
        assert len(shown) == sum(part.count for part in parts), kind
    if svg:
        words = re.sub(r"\s+", " ", DRAWN["Drawing"](svg).all_words())
        names = [spelt(box.name) for box in built.layout.boxes]
        assert [name for name in names if not named_in(words, name)] == []


def test_no_sentence_of_a_demo_drawing_is_cut_off(demo):
    name, lines = demo.site.site.name, earth_lines(CASES["earth"](demo.site))
    single, room, earth = (DRAWN["Drawing"](svg).all_words() for svg in (
        single_line(demo), room_drawing(demo.layout, site_name=name),
        earthing_diagram(lines, "x", site_name=name)))  # fmt: skip
    for words in (single, room, earth):
        assert "…" not in words
    assert "Enclosures are bonded to the main earthing terminal too" in re.sub(r"\s+", " ", single)
    for bar in demo.of_kind("busbar"):
        if "single-line" in bar.drawn_on:
            assert f"bars {bar.rated_a:.0f} A" in re.sub(r"\s+", " ", single)
    assert "can always be opened from inside without a key" in re.sub(r"\s+", " ", room)


def earth_is_what_is_drawn(built, lines):
    """Every conductor of the graph at the bar with its count and size, and none besides."""
    drawing = DRAWN["Drawing"](earthing_diagram(earth_lines(lines), "x", site_name="x"))
    words = re.sub(r"\s+", " ", drawing.all_words())
    for one in built.earths:
        if one.key == "earth-electrode":
            continue
        alike = "" if one.count == 1 else f"{one.count} × "
        assert re.search(rf"\b{one.tag} ", words), one.key
        assert f"{alike}{one.size_mm2:g} mm²" in words, one.key
    (bar,) = built.of_kind("earth-bar")
    at_bar = sum(one.count for one in built.earths if "earth-bar" in (one.start, one.end))
    assert bar.bought.size == at_bar + SPARE_TERMINALS
