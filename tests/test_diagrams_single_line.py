"""The single-line diagram: every cable and device is named, nothing overlaps, nothing is invented.
"""

from __future__ import annotations

import dataclasses
import runpy
from itertools import product
from pathlib import Path

import pytest

from solarcalc.basis.files import data_folder
from solarcalc.diagrams.lettering import SMALLEST_MM, fitted, joined, words_width_mm
from solarcalc.diagrams.single_line import single_line
from solarcalc.sitefile.read import read_site

CASES = runpy.run_path(str(Path(__file__).with_name("diagram_cases.py")))
Drawing, clashes = CASES["Drawing"], CASES["clashes"]
INSTALLED = runpy.run_path(str(Path(__file__).with_name("installation_cases.py")))
SITES = sorted((data_folder() / "sites").glob("*.toml"))
LONG = 'The <Very Long> & "Quoted" Name of a Bakery, Cold Store, Clinic and Workshop, No 1 '
LAYOUTS = ("shared-bank", "one-inverter", "separate-banks")


@pytest.fixture(scope="module")
def base():
    return read_site(Path(__file__).with_name("frozen") / "coral-pharmacy.toml").site


def changed(site, /, **tables):
    for table, keys in tables.items():
        site = site.model_copy(update={table: getattr(site, table).model_copy(update=keys)})
    return site


def built_of(site):
    return INSTALLED["installed"](site)


@pytest.mark.parametrize(
    ("layout", "grid", "generator_w", "changeover"),
    list(product(LAYOUTS, ("none", "random"), (0.0, 5000.0), ("none", "manual", "built-in"))),
)
def test_words_lie_over_nothing_in_any_arrangement(base, layout, grid, generator_w, changeover):
    for tie in ("at-inverter", "at-changeover", "at-grid", "nowhere"):
        site = changed(
            base, supply={"layout": layout}, grid={"kind": grid},
            generator={"power_w": generator_w}, battery={"units_in_parallel": 4},
            protection={"changeover": changeover, "neutral_earth_bond": tie},
        )  # fmt: skip
        drawing = Drawing(single_line(built_of(site)))
        assert clashes(drawing) == []
        assert min(drawing.sizes()) >= SMALLEST_MM


@pytest.mark.parametrize(
    ("strings", "in_series", "controllers"), [(1, 3, 1), (12, 20, 2), (30, 8, 3)]
)
@pytest.mark.parametrize("layout", LAYOUTS)
def test_small_and_large_systems_with_long_names(base, strings, in_series, controllers, layout):
    if layout == "separate-banks":
        strings, controllers = max(strings, 2), max(controllers, 2)
    site = changed(
        base, site={"name": LONG}, supply={"layout": layout},
        array={"module_count": strings * in_series, "modules_in_series": in_series},
        controller={"count": controllers, "label": LONG}, generator={"power_w": 3000.0},
        battery={"label": LONG, "units_in_parallel": 4}, protection={"changeover": "automatic"},
        module={"isc_a": 5.0, "imp_a": 4.5, "pmax_w": 60.0}, cables={"dc_drop_frac": 0.2},
    )  # fmt: skip
    site = changed(site, inverter={
        board: getattr(site.inverter, board).model_copy(update={"label": LONG})
        for board in ("essential", "nonessential")
    })  # fmt: skip
    built = built_of(site)
    built = dataclasses.replace(built, parts=tuple(
        dataclasses.replace(part, name=LONG, device=part.device and dataclasses.replace(
            part.device, extra=LONG))
        for part in built.parts
    ))  # fmt: skip
    drawing = Drawing(single_line(built))
    assert clashes(drawing) == []
    words = drawing.all_words()
    assert f"{strings} string{'' if strings == 1 else 's'} of {in_series}" in words
    assert ("combiner" in words) == (strings > 1)


@pytest.mark.parametrize("path", SITES, ids=lambda path: path.stem)
def test_every_demo_site_can_be_drawn(path):
    site = read_site(path).site
    drawing = Drawing(single_line(built_of(site)))
    assert clashes(drawing) == []
    assert site.site.name in drawing.root[0].text


def test_every_cable_and_device_is_named_with_its_size(base):
    built = built_of(changed(base, generator={"power_w": 5000.0},
                             protection={"changeover": "manual"}))  # fmt: skip
    words = Drawing(single_line(built)).all_words().replace("\u00a0", " ")
    for one in built.cables:
        assert one.tag in words, one.key
        if not one.key.startswith(("battery_main", "battery_string")):
            assert one.size_name in words
            assert f"{one.length_m:g} m" in words
    for part in built.devices:
        assert part.tag in words, part.key
        if part.rated_a is not None and part.key != "changeover-sources":
            assert f"{part.rated_a:g} A" in words, part.key
    assert "type 2" in words


def test_the_breaker_of_a_source_stands_at_its_entry_before_its_cable(base):
    built = built_of(changed(base, generator={"power_w": 5000.0}))
    drawing = Drawing(single_line(built))

    def down(tag):
        """Height of the words that begin with a tag [mm from the top]."""
        (y,) = [float(each.get("y")) for each in drawing.root.iter() if each.text
                and each.text.replace("\u00a0", " ").startswith(f"{tag}: ")]
        return y

    runs = {one.key: one.tag for one in built.cables}
    for source in ("grid", "generator"):
        entry = down(built.by_key[f"{source}-breaker"].tag)
        residual = down(built.by_key[f"residual-{source}"].tag)
        assert down(runs[f"{source}_in"]) < residual < entry < down(built.by_key[source].tag)


def test_what_is_not_there_is_not_in_the_legend(base):
    full = Drawing(single_line(built_of(base))).texts()
    assert "surge protective device" in " ".join(full)
    quiet = changed(base, grid={"kind": "none"},
                    protection={"thunderstorm_days": 0.0, "system": "IT"},
                    runs={"board_house": base.runs.board_house.model_copy(
                        update={"length_m": 3.0})})  # fmt: skip
    words = " ".join(Drawing(single_line(built_of(quiet))).texts())
    assert "surge protective" not in words
    assert "residual current" not in words


@pytest.mark.parametrize(
    ("layout", "tie", "changeover", "count"),
    [
        ("shared-bank", "at-inverter", "built-in", 2),
        ("one-inverter", "at-inverter", "built-in", 1),
        ("shared-bank", "at-changeover", "manual", 2),
        ("one-inverter", "at-changeover", "manual", 1),
        ("shared-bank", "at-changeover", "built-in", 2),
        ("shared-bank", "at-grid", "built-in", 0),
        ("shared-bank", "nowhere", "built-in", 0),
    ],
)
def test_neutral_and_earth_are_joined_where_the_site_says(base, layout, tie, changeover, count):
    site = changed(base, supply={"layout": layout},
                   protection={"neutral_earth_bond": tie, "changeover": changeover})  # fmt: skip
    drawing = Drawing(single_line(built_of(site)))
    assert sum("N-PE bond" in text for text in drawing.texts()) == count
    assert sum("supplier's" in text for text in drawing.texts()) == 1
    assert "which this system has not" not in drawing.all_words()


def test_a_tie_without_its_place_is_said(base):
    site = changed(base, grid={"kind": "none"}, protection={"neutral_earth_bond": "at-grid"})
    drawing = Drawing(single_line(built_of(site)))
    assert not any("N-PE bond" in text for text in drawing.texts())
    assert "which this system has not" in drawing.all_words()


def test_a_guessed_length_a_buried_run_and_aluminium_can_be_told(base):
    runs = base.runs
    main = runs.dc_main.model_copy(update={"length_m": None, "material": "aluminium"})
    site = base.model_copy(update={"runs": runs.model_copy(update={"dc_main": main})})
    drawing = Drawing(single_line(built_of(site)))
    assert " Al" in drawing.all_words()
    assert "15 m?" in drawing.all_words()
    assert "cable in conduit, duct or soil" in drawing.texts()
    above = {key: getattr(runs, key).model_copy(update={"method": "B1"})
             for key in ("dc_main", "board_house")}  # fmt: skip
    dry = base.model_copy(update={"runs": runs.model_copy(update=above)})
    assert "cable in conduit, duct or soil" not in Drawing(single_line(built_of(dry))).texts()


def test_it_needs_nothing_outside_itself_and_is_the_same_each_time(base):
    svg = single_line(built_of(base))
    assert svg == single_line(built_of(base))
    root = Drawing(svg).root
    assert [child.tag.rpartition("}")[2] for child in root][:2] == ["title", "desc"]
    each = base.array.modules_in_series
    strings = base.array.module_count // each
    assert f"{strings} strings of {each} modules" in root[1].text
    for word in ("<script", "<image", "href", "style", "@import"):
        assert word not in svg
    assert svg.count("http") == svg.count('xmlns="http://www.w3.org/2000/svg"') == 1
    for shape in root.iter():
        for paint in (shape.get("fill"), shape.get("stroke")):
            assert paint in (None, "black", "white", "none") or paint.startswith("url(#")


def test_names_are_escaped_and_cut(base):
    site = changed(base, site={"name": LONG})
    svg = single_line(built_of(site))
    assert "<Very" not in svg
    assert "&lt;Very Long&gt; &amp;" in svg


def test_a_caution_and_the_licence_stand_on_it(base):
    words = Drawing(single_line(built_of(base))).all_words()
    assert "licensed electrician under local codes" in words
    assert "stay live" in words


def test_words_are_broken_and_cut_to_their_width():
    lines = fitted("one twelve-hundred-and-more two", 15.0, lines=3)
    assert all(words_width_mm(line, 2.8) <= 15.0 for line in lines)
    assert fitted("ab " * 50, 15.0, lines=2)[-1].endswith("…")
    assert words_width_mm("漢字", 1.0) > 2.0
    assert joined(["a", "b"], 1000.0) == ["a, b"]
    assert joined(["16 A", "unbroken-and-longer-than-the-line"], 15.0, lines=2) == ["16 A"]
