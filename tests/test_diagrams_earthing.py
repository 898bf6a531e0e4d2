"""The earthing diagram: every conductor at its terminal. All conductors here are invented."""

from __future__ import annotations

import runpy
from pathlib import Path
from types import SimpleNamespace

import pytest
from hypothesis import HealthCheck, assume, given, settings

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import demo_sites
from solarcalc.diagrams.earthing import (
    MOST_LEFT,
    MOST_RIGHT,
    SUPPLY,
    EarthLine,
    bond_states,
    earth_lines,
    earthing_diagram,
    earthing_drawing,
)
from solarcalc.diagrams.lettering import SMALLEST_MM
from solarcalc.sitefile.read import read_site
from solarcalc.wiring.runs import states_of

CASES = runpy.run_path(str(Path(__file__).with_name("diagram_cases.py")))
Drawing, clashes = CASES["Drawing"], CASES["clashes"]
LONG = 'The <Very Long> & "Quoted" name of a case in the power room ' * 3
LEFT = ("frame", "equipment", "surge", "bonding", "lightning")


def line(number, name, kind, size_mm2=16.0, from_words="power room"):
    return EarthLine(number=number, name=name, from_words=from_words, size_mm2=size_mm2, kind=kind)


USUAL = (
    line(1, "module frames", "frame", 6.0, "roof"),
    line(2, "surge device of the array", "surge"),
    line(3, "inverter case", "equipment", 10.0),
    line(4, "neutral of the inverter", "system", 6.0),
    line(5, "house", "bonding", 10.0, "house's board"),
    line(6, "electrode", "electrode", 25.0, "the ground"),
    line(0, "rails of a row", "frame", 4.0, "rail to rail"),
)


def test_every_conductor_stands_there_with_its_size_and_terminal():
    drawing = Drawing(earthing_diagram(USUAL, "3 rods, 21 ohm", site_name="A & B", system="TT"))
    assert clashes(drawing) == []
    assert min(drawing.sizes()) >= SMALLEST_MM
    for each in USUAL[:-2]:
        assert each.name in drawing.texts()
        assert str(each.number) in drawing.texts()
        assert f"{each.size_mm2:g} mm² Cu" in drawing.texts()
    words = drawing.all_words()
    assert "25 mm² Cu: the ground" in words
    assert "test link" in drawing.texts()
    assert "3 rods, 21 ohm" in words
    assert "Not at this terminal: rails of a row, 4 mm² Cu" in words
    assert "licensed electrician" in words


def test_a_full_bar_of_long_names_does_not_overlap():
    full = [line(n + 1, LONG, LEFT[n % 5], 300.0, LONG) for n in range(MOST_LEFT)]
    full += [line(100 + n, LONG, "system", 120.0, LONG) for n in range(MOST_RIGHT)]
    full += [line(200 + n, LONG, "electrode", 50.0, LONG) for n in range(2)]
    drawing = Drawing(earthing_diagram(full, LONG * 3, site_name=LONG, system=LONG))
    assert clashes(drawing) == []
    assert "201" in drawing.texts()


def test_without_a_neutral_or_electrode_it_says_so():
    drawing = Drawing(earthing_diagram(USUAL[:3], "none yet", site_name="x"))
    assert clashes(drawing) == []
    assert "no conductor bonds the neutral to this terminal" in drawing.texts()
    assert "test link" not in drawing.texts()


def test_it_is_the_same_each_time_and_escapes():
    svg = earthing_diagram(USUAL, LONG, site_name=LONG)
    assert svg == earthing_diagram(USUAL, LONG, site_name=LONG)
    assert "<Very" not in svg
    assert "href" not in svg


def test_lines_of_a_schedule_become_lines_of_the_drawing():
    schedule = [
        SimpleNamespace(part="", number=1, name="frames", start="roof", end="main earth bar",
                        size_mm2=6.0, kind="frame", count=2),
        SimpleNamespace(part="", number=2, name="electrode", start="main earth bar", end="the rods",
                        size_mm2=16.0, kind="electrode", count=1),
        SimpleNamespace(part="", number=0, name="rail", start="rail", end="next rail", size_mm2=6.0,
                        kind="frame", count=1),
    ]  # fmt: skip
    assert [each.from_words for each in earth_lines(schedule)] == [
        "roof", "the rods", "rail to next rail",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("lines", "complaint"),
    [
        ((), "given:   none"),
        ((line(1, "a", "frame", 0.0),), "0 mm²"),
        ((line(1, "a", "frame", float("nan")),), "above 0 mm²"),
        ((line(1, "a", "roof"),), "'roof'"),
        ((line(1, "a", "frame"), line(1, "b", "frame")), "1 more than once"),
        (tuple(line(n + 1, "a", "frame") for n in range(MOST_LEFT + 1)), "19 conductors"),
        (tuple(line(n + 1, "a", "electrode") for n in range(3)), "3 conductors"),
    ],
)
def test_bad_lines_are_refused(lines, complaint):
    with pytest.raises(InputError, match=complaint):
        earthing_diagram(lines, "rods", site_name="x")


INSTALLED = runpy.run_path(str(Path(__file__).with_name("installation_cases.py")))
SITES = runpy.run_path(str(Path(__file__).with_name("site_files.py")))


@pytest.mark.parametrize("stem", demo_sites())
def test_a_demo_site_has_exactly_one_bond_closed_in_each_supply_state(stem):
    """IEC 60364-1 cl. 312 and 60364-5-55 cl. 551, from memory: one neutral-earth bond a state."""
    site = read_site(demo_sites()[stem]).site
    built = INSTALLED["installed"](site)
    states = bond_states(built)
    assert {state.supply for state in states} == {SUPPLY[each] for each in states_of(site)}
    assert all(len(state.closed) == 1 for state in states)
    drawing = Drawing(earthing_drawing(built, INSTALLED["earth"](site), "3 rods, 21 ohm"))
    assert clashes(drawing) == []
    assert "exactly one closed for each board" in drawing.texts()


@given(site=SITES["sites"]())
@settings(max_examples=15, deadline=None, suppress_health_check=list(HealthCheck))
def test_bonds_closed_and_open_are_all_that_concern_a_board(site):
    try:
        built = INSTALLED["installed"](site)
    except InputError:
        assume(False)
    bonds = {part.tag: part for part in built.of_kind("bond")}
    for state in bond_states(built):
        assert not set(state.closed) & set(state.opened)
        assert set(state.closed) | set(state.opened) <= set(bonds)
        for tag in state.closed:
            assert state.supply in {SUPPLY[each] for each in bonds[tag].states}
    drawing = Drawing(earthing_drawing(built, INSTALLED["earth"](site), "3 rods, 21 ohm"))
    assert clashes(drawing) == []
    alone = any(len(state.closed) != 1 for state in bond_states(built))
    assert ("not one for each: see the checks" in drawing.texts()) == alone
