"""The single-line diagram: every cable and device is named, nothing overlaps, nothing is invented.

All runs and devices here are invented.
"""

from __future__ import annotations

import dataclasses
import runpy
from itertools import product
from pathlib import Path

import pytest

from solarcalc.basis.errors import InputError
from solarcalc.basis.paths import data_folder
from solarcalc.diagrams.sheet import SMALLEST_MM, fitted, joined, words_width_mm
from solarcalc.diagrams.single_line import single_line
from solarcalc.sitefile.read import read_site

CASES = runpy.run_path(str(Path(__file__).with_name("diagram_cases.py")))
Drawing, clashes = CASES["Drawing"], CASES["clashes"]
invented_runs, invented_devices = CASES["invented_runs"], CASES["invented_devices"]
SITES = sorted((data_folder() / "sites").glob("*.toml"))
LONG = 'The <Very Long> & "Quoted" Name of a Bakery, Cold Store, Clinic and Workshop, No 1 '
LAYOUTS = ("shared-bank", "one-inverter", "separate-banks")


@pytest.fixture(scope="module")
def base():
    return read_site(data_folder() / "sites" / "coral-pharmacy.toml").site


def changed(site, /, **tables):
    for table, keys in tables.items():
        site = site.model_copy(update={table: getattr(site, table).model_copy(update=keys)})
    return site


def parts_for(layout):
    """Runs and devices that a layout has."""
    if layout == "one-inverter":
        return invented_runs("battery_inverter_heavy"), invented_devices("inverter-fuse-heavy")
    return invented_runs(), invented_devices()


@pytest.mark.parametrize(
    ("layout", "grid", "generator_w", "changeover"),
    list(product(LAYOUTS, ("none", "random"), (0.0, 5000.0), ("none", "manual", "built-in"))),
)
def test_words_lie_over_nothing_in_any_arrangement(base, layout, grid, generator_w, changeover):
    runs, devices = parts_for(layout)
    for tie in ("at-inverter", "at-changeover", "at-grid", "nowhere"):
        site = changed(
            base, supply={"layout": layout}, grid={"kind": grid},
            generator={"power_w": generator_w}, battery={"units_in_parallel": 4},
            protection={"changeover": changeover, "neutral_earth": tie},
        )  # fmt: skip
        drawing = Drawing(single_line(site, runs, devices))
        assert clashes(drawing) == []
        assert min(drawing.sizes()) >= SMALLEST_MM


@pytest.mark.parametrize(
    ("strings", "in_series", "controllers"), [(1, 3, 1), (12, 20, 4), (300, 8, 50)]
)
@pytest.mark.parametrize("layout", LAYOUTS)
def test_small_and_large_systems_with_long_names(base, strings, in_series, controllers, layout):
    runs, devices = parts_for(layout)
    site = changed(
        base, site={"name": LONG}, supply={"layout": layout},
        array={"module_count": strings * in_series, "modules_in_series": in_series},
        controller={"count": controllers, "label": LONG}, generator={"power_w": 12000.0},
        battery={"label": LONG, "units_in_parallel": 4}, protection={"changeover": "automatic"},
    )  # fmt: skip
    site = changed(site, inverter={
        board: getattr(site.inverter, board).model_copy(update={"label": LONG})
        for board in ("critical", "heavy")
    })  # fmt: skip
    runs = [
        dataclasses.replace(one, run=dataclasses.replace(one.run, count=strings, name=LONG))
        for one in runs
    ]
    devices = [dataclasses.replace(one, extra=LONG, name=LONG) for one in devices]
    drawing = Drawing(single_line(site, runs, devices))
    assert clashes(drawing) == []
    words = drawing.all_words()
    assert f"{strings} string{'' if strings == 1 else 's'} of {in_series}" in words
    assert ("combiner" in words) == (strings > 1)


@pytest.mark.parametrize("path", SITES, ids=lambda path: path.stem)
def test_every_demo_site_can_be_drawn(path):
    site = read_site(path).site
    runs, devices = parts_for(site.supply.layout)
    drawing = Drawing(single_line(site, runs, devices))
    assert clashes(drawing) == []
    assert site.site.name in drawing.root[0].text


def test_every_cable_and_device_is_named_with_its_size(base):
    site = changed(base, generator={"power_w": 5000.0}, protection={"changeover": "manual"})
    runs, devices = invented_runs(), invented_devices()
    words = Drawing(single_line(site, runs, devices)).all_words().replace("\u00a0", " ")
    for number, (key, *_, length_m, method, _insulation, size, beside) in enumerate(
        CASES["RUNS"], 1
    ):
        assert f"W{number}" in words, key
        assert (f"{beside} × {size:g} mm²" if beside > 1 else f"{size:g} mm²") in words
        assert f"{length_m:g} m" in words
        assert {"solar-free": "free air"}.get(method, method) in words
    for device in devices:
        if device.rated_a is not None:
            assert f"{device.rated_a:g} A" in words, device.key
    assert "type 2" in words
    assert "not drawn" not in words


def test_a_device_that_is_not_given_is_left_out_with_its_place_in_the_legend(base):
    for kind, keys, legend in (
        ("residual", ("residual-critical", "residual-heavy", "residual-grid"), "residual current"),
        ("surge", ("array-surge", "array-surge-roof", "board-surge"), "surge protective"),
        ("isolator", ("array-isolator", "battery-isolator"), "isolator"),
    ):
        assert any(device.kind == kind for device in invented_devices())
        assert legend in Drawing(single_line(base, invented_runs(), invented_devices())).all_words()
        without = Drawing(single_line(base, invented_runs(), invented_devices(*keys)))
        assert legend not in without.all_words()
        assert clashes(without) == []


def test_without_cables_and_devices_the_drawing_says_so(base):
    drawing = Drawing(single_line(base, [], []))
    assert clashes(drawing) == []
    assert drawing.texts().count("cable not sized") >= 8
    for word in ("fuse", "circuit breaker", "changeover switch"):
        assert word not in drawing.texts()


def test_what_has_no_place_on_the_drawing_is_named_below_it(base):
    site = changed(base, grid={"kind": "none"})
    words = Drawing(single_line(site, invented_runs("generator_in"),
                                invented_devices("generator-breaker"))).all_words()  # fmt: skip
    assert "not drawn here" in words
    assert "grid breaker" in words
    assert "W10 grid to" in words


@pytest.mark.parametrize(
    ("layout", "tie", "changeover", "count"),
    [
        ("shared-bank", "at-inverter", "built-in", 2),
        ("one-inverter", "at-inverter", "built-in", 1),
        ("shared-bank", "at-changeover", "manual", 2),
        ("one-inverter", "at-changeover", "manual", 1),
        ("shared-bank", "at-changeover", "built-in", 2),
        ("shared-bank", "at-grid", "built-in", 1),
        ("shared-bank", "nowhere", "built-in", 0),
    ],
)
def test_neutral_and_earth_are_joined_where_the_site_says(base, layout, tie, changeover, count):
    site = changed(base, supply={"layout": layout},
                   protection={"neutral_earth": tie, "changeover": changeover})  # fmt: skip
    drawing = Drawing(single_line(site, *parts_for(layout)))
    assert drawing.texts().count("neutral to earth") == count
    assert "which this system has not" not in drawing.all_words()


def test_a_tie_without_its_place_is_said(base):
    site = changed(base, grid={"kind": "none"}, protection={"neutral_earth": "at-grid"})
    drawing = Drawing(single_line(site, invented_runs(), invented_devices()))
    assert "neutral to earth" not in drawing.texts()
    assert "which this system has not" in drawing.all_words()


def test_a_guessed_length_a_buried_run_and_aluminium_can_be_told(base):
    runs = invented_runs()
    guessed = dataclasses.replace(
        runs[1], size_name="AWG 4",
        run=dataclasses.replace(runs[1].run, length_given=False, material="aluminium"),
    )  # fmt: skip
    drawing = Drawing(single_line(base, [runs[0], guessed, *runs[2:]], invented_devices()))
    assert "AWG 4 Al" in drawing.all_words()
    assert "45 m?" in drawing.all_words()
    assert "cable in pipe or ground" in drawing.texts()
    above = [dataclasses.replace(one, run=dataclasses.replace(one.run, method="B1"))
             for one in runs]  # fmt: skip
    assert "cable in pipe or ground" not in Drawing(
        single_line(base, above, invented_devices())
    ).texts()


def test_it_needs_nothing_outside_itself_and_is_the_same_each_time(base):
    svg = single_line(base, invented_runs(), invented_devices())
    assert svg == single_line(base, invented_runs(), invented_devices())
    root = Drawing(svg).root
    assert [child.tag.rpartition("}")[2] for child in root][:2] == ["title", "desc"]
    assert "4 strings of 3 modules" in root[1].text
    for word in ("<script", "<image", "href", "style", "@import"):
        assert word not in svg
    assert svg.count("http") == svg.count('xmlns="http://www.w3.org/2000/svg"') == 1
    for shape in root.iter():
        for paint in (shape.get("fill"), shape.get("stroke")):
            assert paint in (None, "black", "white", "none") or paint.startswith("url(#")


def test_names_are_escaped_and_cut(base):
    site = changed(base, site={"name": LONG})
    svg = single_line(site, invented_runs(), invented_devices())
    assert "<Very" not in svg
    assert "&lt;Very Long&gt; &amp;" in svg


def test_a_caution_and_the_licence_stand_on_it(base):
    words = Drawing(single_line(base, invented_runs(), invented_devices())).all_words()
    assert "licensed electrician under local codes" in words
    assert "stay live" in words


def test_two_of_a_key_are_refused(base):
    runs, devices = invented_runs(), invented_devices()
    with pytest.raises(InputError, match="'main'") as caught:
        single_line(base, [*runs, runs[1]], [*devices, devices[0]])
    assert len(caught.value.faults) == 2
    assert "'string-fuse'" in str(caught.value)


def test_words_are_broken_and_cut_to_their_width():
    lines = fitted("one twelve-hundred-and-more two", 15.0, lines=3)
    assert all(words_width_mm(line, 2.8) <= 15.0 for line in lines)
    assert fitted("ab " * 50, 15.0, lines=2)[-1].endswith("…")
    assert words_width_mm("漢字", 1.0) > 2.0
    assert joined(["a", "b"], 1000.0) == ["a, b"]
    assert joined(["16 A", "unbroken-and-longer-than-the-line"], 15.0, lines=2) == ["16 A"]
