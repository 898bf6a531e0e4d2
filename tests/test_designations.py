"""One number for each device and conductor, the same on every drawing, schedule and list.

IEC 81346-1: a reference designation names one object and no other; letters of IEC 81346-2. Both
from memory.
"""

from __future__ import annotations

import re
import runpy
from pathlib import Path

import pytest
from hypothesis import HealthCheck, assume, given, settings

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import demo_sites
from solarcalc.diagrams.battery_terminals import terminal_diagram
from solarcalc.diagrams.earthing import earthing_drawing
from solarcalc.diagrams.room import room_drawing
from solarcalc.diagrams.sheet import A3_SHORT_MM, FOOT_MM
from solarcalc.diagrams.single_line import single_line
from solarcalc.diagrams.single_line_reduced import single_line_reduced
from solarcalc.installation.schedules import (
    COMBINED_COLUMNS,
    REDUCED_COLUMNS,
    cable_and_protection_rows,
    cable_rows,
    device_rows,
    device_type,
    label_rows,
)
from solarcalc.installation.standing import room_tags
from solarcalc.sitefile.read import read_site
from solarcalc.sitepack.switching import WALL_COLUMNS, switching_steps, wall_rows, wall_steps
from solarcalc.sitepack.terminals import banks_at, terminal_rows
from solarcalc.wiring.string_checks import string_names

HERE = Path(__file__).parent
CASES = runpy.run_path(str(HERE / "installation_cases.py"))
DRAWN = runpy.run_path(str(HERE / "diagram_cases.py"))
SITES = runpy.run_path(str(HERE / "site_files.py"))
Drawing, clashes = DRAWN["Drawing"], DRAWN["clashes"]
TAG = re.compile(r"(?<![-\w.])((?:PE|DB|[FGHPQTUWX])\d+)(?![\w-])")
LETTERS = {"fuse": "F", "breaker": "F", "residual": "F", "surge": "F", "isolator": "Q",
           "changeover": "Q", "inverter": "T", "controller": "T", "module": "G", "battery": "G",
           "busbar": "X", "combiner": "X"}  # fmt: skip
MOST_BOXES = 30


@pytest.fixture(scope="module", params=sorted(demo_sites()))
def demo(request):
    site = read_site(demo_sites()[request.param]).site
    return CASES["installed"](site), CASES["earth"](site)


@pytest.mark.slow
@given(site=SITES["sites"]())
@settings(max_examples=15, deadline=None, suppress_health_check=list(HealthCheck))
def test_each_number_is_one_thing_on_every_paper_of_a_random_site(site):
    try:
        built = CASES["installed"](site)
    except InputError:
        assume(False)
    numbers_agree(built, CASES["earth"](site))


def test_each_number_is_one_thing_on_every_paper_of_a_demo_site(demo):
    numbers_agree(*demo)


def numbers_agree(built, earth):
    tags = [part.tag for part in built.parts] + [one.tag for one in built.conductors]
    tags += string_names(built.site.array.string_count)
    assert len(set(tags)) == len(tags)
    for part in built.parts:
        letter = LETTERS.get(part.kind)
        assert letter is None or re.fullmatch(rf"{letter}\d+", part.tag), part.key
    papers = papers_of(built, earth)
    for name, words in papers.items():
        unknown = set(TAG.findall(words)) - set(tags)
        assert not unknown, (name, unknown)
    every_device_and_cable_is_drawn(built)
    the_combined_schedule_is_both(built)


def papers_of(built, earth):
    """Words of each paper by its name."""
    drawn = {
        "single-line": single_line(built), "reduced": single_line_reduced(built),
        "earthing": earthing_drawing(built, earth, "rods"),
        **{f"terminals {bank.board}": terminal_diagram(bank, site_name="x")
           for bank in banks_at(built)},
    }  # fmt: skip
    if len(built.layout.boxes) <= MOST_BOXES:
        drawn["room"] = room_drawing(built.layout, site_name="x", tags=room_tags(built))
    words = {name: read_back(svg) for name, svg in drawn.items()}
    rows = {
        "cables": cable_rows(built), "devices": device_rows(built), "wall": wall_rows(built),
        "combined": cable_and_protection_rows(built), "joints": terminal_rows(built),
        "labels": label_rows(built),
    }  # fmt: skip
    return words | {
        name: "; ".join(str(value) for row in each for value in row.values())
        for name, each in rows.items()
    }  # fmt: skip


def read_back(svg):
    """Words of a drawing that has nothing over anything and no letter below 2.5 mm."""
    drawing = Drawing(svg)
    assert clashes(drawing) == []
    return re.sub(r"\s+", " ", drawing.all_words())


def every_device_and_cable_is_drawn(built):
    """With a symbol or a line, not in the notes at the foot."""
    drawing = Drawing(single_line(built))
    foot_mm = A3_SHORT_MM - FOOT_MM
    words = " ".join(span.words for span in drawing.spans() if span.bottom < foot_mm)
    there = set(TAG.findall(words.replace("\u00a0", " ")))
    for one in (*built.devices, *built.cables, *built.leads):
        assert one.tag in there, (one.key, one.tag)
    assert "Not drawn here" not in drawing.all_words()


def the_combined_schedule_is_both(built):
    """Each cable and each device once or more; every figure as the two schedules have it."""
    rows = cable_and_protection_rows(built)
    cables = {str(row["tag"]).partition(" ")[0]: row for row in rows if row["tag"]}
    assert set(cables) == {one.tag for one in (*built.cables, *built.leads)}
    devices = {str(row["device"]).partition(" ")[0] for row in rows} - {"–"}
    assert devices == {part.tag for part in built.devices}
    for row in rows:
        assert set(COMBINED_COLUMNS) == set(row) >= set(REDUCED_COLUMNS)
    for row in cable_rows(built):
        mine = cables[str(row["tag"])]
        assert mine["length [m]"] == row["length [m]"]
        assert mine["I_n [A]"] == row["device [A]"]
        for key, of in (("I_b [A]", "design current [A]"), ("I_z [A]", "capacity [A]"),
                        ("drop [%]", "drop [%]")):  # fmt: skip
            if row[of] != "":
                assert float(mine[key]) == pytest.approx(float(row[of]), rel=0.06, abs=0.06)
    for part in built.devices:
        assert device_type(part)


def test_the_wall_names_each_switch_once_a_sequence(demo):
    built, _ = demo
    steps = wall_steps(built)
    for way in WALL_COLUMNS:
        assert [int(step.partition(" ")[0]) for step in steps[way]] == list(
            range(1, len(steps[way]) + 1))  # fmt: skip
        named = [tag for step in steps[way]
                 for tag in TAG.findall(step.partition(":")[0].replace(",", " "))]
        assert sorted(named) == sorted(
            one.part.tag for one in switching_steps(built) if one.sequence == way)  # fmt: skip
    assert len(wall_rows(built)) == max(map(len, steps.values()))
    assert "isolator open" not in " ".join(steps["off"]), "by its number"


def test_the_drawings_for_the_crew_are_on_paper_they_can_be_read_from(demo):
    built, earth = demo
    sizes = {"single-line": (420.0, 297.0), "room": (420.0, 297.0), "earthing": (297.0, 210.0),
             "reduced": (180.0, 118.0)}  # fmt: skip
    for name, svg in {
        "single-line": single_line(built), "reduced": single_line_reduced(built),
        "earthing": earthing_drawing(built, earth, "rods"),
        "room": room_drawing(built.layout, site_name="x", tags=room_tags(built)),
    }.items():  # fmt: skip
        drawing = Drawing(svg)
        assert (drawing.width, drawing.height) == sizes[name]
        fonts = [float(one.get("font-size")) for one in drawing.root.iter() if one.get("font-size")]
        assert min(fonts) >= 2.5
        widths = [float(one.get("stroke-width")) for one in drawing.root.iter()
                  if float(one.get("stroke-width", 0.0)) > 0.0]  # fmt: skip
        assert min(widths) >= 0.25, name
