"""Roof, fixing, string and trench plans: all that is built is drawn once, and nothing overlaps.

Over the demo sites, and over random roofs with boxes and walkways. Sites are invented.
"""

from __future__ import annotations

import math
import re
import runpy
from collections import Counter
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pypdfium2
import pytest
from hypothesis import HealthCheck, assume, example, given, settings
from hypothesis import strategies as some

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import demo_sites
from solarcalc.basis.text import spelt
from solarcalc.diagrams.fixing_plan import (
    FIXING_MM,
    MOST_LINES,
    RAIL_MM,
    TICK_MM,
    fixing_plans,
    patterns_of,
)
from solarcalc.diagrams.roof_plan import roof_plans
from solarcalc.diagrams.sheet import LINE_MM, paper_of
from solarcalc.diagrams.string_plan import END_MM, string_plans
from solarcalc.diagrams.trench_plan import A_SHEET, trench_plans
from solarcalc.documents.pdf import document_pdf
from solarcalc.documents.tree import Document, Head, drawing
from solarcalc.sitepack.modules import module_plan, placed_rails
from solarcalc.sitepack.trenches import digging_steps, trenches_of
from solarcalc.stages.array import own_hardware

HERE = Path(__file__).parent
CASES = runpy.run_path(str(HERE / "roof_cases.py"))
own_of, roofs = CASES["own_of"], CASES["roofs"]
DRAWN = runpy.run_path(str(HERE / "diagram_cases.py"))
Drawing, clashes = DRAWN["Drawing"], DRAWN["clashes"]
installed = runpy.run_path(str(HERE / "installation_cases.py"))["installed"]
EXAMPLES = 15
QUICK = {
    "deadline": None,
    "suppress_health_check": [HealthCheck.filter_too_much, HealthCheck.too_slow],
}
THINNEST_MM, BORDER_MM = 0.25, 5.0


def read(drawn):
    """Sheets read back, each held to what every sheet keeps."""
    found = []
    for svg, words in drawn:
        drawing = Drawing(svg)
        assert clashes(drawing) == []
        assert min(drawing.sizes()) >= 2.5
        widths = [float(width) for width in re.findall(r'stroke-width="([\d.]+)"', svg)]
        assert min(width for width in widths if width > 0.0) >= THINNEST_MM
        for span in drawing.spans():
            assert span.left >= BORDER_MM, span.words
            assert span.right <= drawing.width - BORDER_MM, span.words
            assert span.bottom <= drawing.height - BORDER_MM, span.words
        for _, stroke in drawing.strokes():
            assert stroke.left >= BORDER_MM - 0.01
            assert stroke.right <= drawing.width - BORDER_MM + 0.01
            assert stroke.bottom <= drawing.height - BORDER_MM + 0.01
        assert len(words) > 40
        found.append(drawing)
    return found


def circles(sheets, radius_mm, fill):
    return sum(
        len(re.findall(rf'r="{radius_mm:g}" fill="{fill}"', sheet.svg)) for sheet in sheets
    )


def named(plan, sheets):
    """How often each number of a module stands on the sheets, in one line or in two."""
    lines = [line for sheet in sheets for line in sheet.texts()]
    singles = Counter(line.rstrip("+−") for line in lines)
    split = Counter(
        f"{one.rstrip('+−')}{other.rstrip('+−')}" for one, other in pairwise(lines)
        if other.startswith("/")
    )  # fmt: skip
    return {name: singles[name] + split[name] for name in plan.names.values()}


def the_roof_plan_agrees(plan):
    sheets = read(roof_plans(plan))
    count = plan.site.array.module_count
    assert named(plan, sheets) == dict.fromkeys(plan.names.values(), 1)
    assert len(plan.names) == count
    for sheet in sheets:
        assert "By site survey, mark here:" in sheet.texts()
        assert "N" in sheet.texts()
    assert len(sheets) >= math.ceil(count / 60)
    assert {sheet.width for sheet in sheets} == {420.0 if count > 40 else 297.0}
    return sheets


def the_fixing_plan_agrees(plan, hardware):
    sheets = read(fixing_plans(plan, hardware))
    assert circles(sheets, FIXING_MM, "white") == hardware.foot_count
    legends = [the_legend_says_what_is_there(sheet) for sheet in sheets]
    rails = sum(sheet.svg.count(f'stroke-width="{RAIL_MM:g}"') for sheet in sheets)
    assert rails - sum(map(len, legends)) == len(placed_rails(plan))
    there = {word for legend in legends for word in legend}
    joints, splices = hardware.expansion_joint_count, hardware.splice_count
    assert ("expansion gap" in there, "rail splice" in there) == (joints > 0, splices > 0)
    words = sheets[0].all_words()
    for said in (f"{hardware.foot_count} roof fixings", f"{splices} fixed" if joints else
                 f"{splices} rail splices" if splices else "rails of",
                 f"{hardware.mid_clamp_count} mid clamps", f"{hardware.stock_count} rails of"):
        assert said in words
    assert joints or "expansion" not in "".join(sheet.all_words() for sheet in sheets)
    patterns = patterns_of(placed_rails(plan))
    if plan.along_eaves and len(sheets) == 1:
        told = {line for line in sheets[0].texts() if re.fullmatch(r"\d+\.\d\d", line)}
        missed = {f"{foot:.2f}" for pattern in patterns[:MOST_LINES] for foot in pattern.feet_m}
        assert missed <= told or "Not all distances have room" in words
    return sheets


def the_legend_says_what_is_there(sheet):
    """Symbols of the legend: those of what is drawn on the same sheet, no others."""
    legend = {"roof fixing", "rail splice", "expansion gap"} & set(sheet.texts())
    strokes = re.findall(f'<path d="([^"]+)"[^>]*stroke-width="{LINE_MM:g}"', sheet.svg)
    ticks = [one for one in strokes if tick_mm(one) == pytest.approx(2.0 * TICK_MM, abs=0.02)]
    own = {"rail splice": 1, "expansion gap": 2}  # strokes of the symbol itself
    assert (len(ticks) > sum(own.get(word, 0) for word in legend)) == (len(legend) > 1)
    return legend


def tick_mm(path):
    """Length of a stroke of two ends [mm], 0 for other lines."""
    ends = [float(value) for value in re.findall(r"-?[\d.]+", path)]
    return math.dist(ends[:2], ends[2:]) if len(ends) == 4 else 0.0


def the_string_plan_agrees(plan, built):
    sheets = read(string_plans(plan, built))
    strings = plan.site.array.string_count
    assert named(plan, sheets) == dict.fromkeys(plan.names.values(), 1)
    if plan.along_eaves:
        for fill in ("black", "white"):
            assert circles(sheets, END_MM, fill) == strings + len(sheets)
    tags = {one.key: one.tag for one in built.conductors}
    for sheet in sheets:
        assert tags["string"] in sheet.all_words()
        assert f"× {tags['string']}, home run: " in sheet.all_words()
        the_isolator_is_named_where_it_is(built, sheet)
    return sheets


def the_isolator_is_named_where_it_is(built, sheet):
    """The plan says to lock off what isolates the array, at the thing it stands at."""
    (main,) = [one for one in built.conductors if one.key == "dc_main"]
    (key,) = (*main.at_start, *main.at_end)
    at = built.by_key[main.end if key in main.at_end else main.start]
    words = re.sub(r"\s+", " ", sheet.all_words())
    assert f"isolator {built.by_key[key].tag} at {at.kind} {at.tag} locked off" in words


def all_agree(own, built):
    plan = module_plan(own)
    assume(plan is not None)
    the_roof_plan_agrees(plan)
    the_fixing_plan_agrees(plan, own_hardware(own))
    the_string_plan_agrees(plan, built)


@given(changes=roofs())
@settings(max_examples=2 * EXAMPLES, **QUICK)
def test_drawings_of_random_roofs(changes):
    try:
        own = own_of("ridge-clinic", **changes)
    except InputError:
        assume(False)  # boxes in one another's place
    all_agree(own, BUILT)


@pytest.mark.slow
@given(
    series=some.integers(2, 12), strings=some.integers(4, 20), rows=some.integers(1, 9),
    high=some.integers(1, 3),
    length_m=some.sampled_from([15.0, 30.0, 60.0, 120.0]),
    depth_m=some.sampled_from([8.0, 15.0, 30.0]),
    orientation=some.sampled_from(["portrait", "landscape"]),
    layout=some.sampled_from(["along-row", "across-rows"]),
)  # fmt: skip
@example(series=10, strings=4, rows=2, high=3, length_m=15.0, depth_m=30.0,
         orientation="portrait", layout="across-rows")  # fmt: skip
@settings(max_examples=EXAMPLES, **QUICK)
def test_drawings_of_large_roofs(
    series, strings, rows, high, length_m, depth_m, orientation, layout
):
    own = own_of(
        "ridge-clinic", roof={"length_m": length_m, "depth_m": depth_m},
        array={"module_count": series * strings, "modules_in_series": series, "rows": rows,
               "modules_high": high, "orientation": orientation, "string_layout": layout},
        variants=[],
    )  # fmt: skip
    all_agree(own, BUILT)


BUILT = installed(own_of("ridge-clinic").site)


@pytest.mark.parametrize("name", [name for name in sorted(demo_sites())
                                  if name != "valley-workshop"])  # has sheets of two roof planes
def test_drawings_of_a_demo_site(name):
    own = own_of(name)
    plan, built = module_plan(own), installed(own.site)
    sheets = [*the_roof_plan_agrees(plan), *the_fixing_plan_agrees(plan, own_hardware(own)),
              *the_string_plan_agrees(plan, built),
              *read(trench_plans(trenches_of(built), own.site, digging_steps(built)))]
    assert len(sheets) == 4
    for sheet, number in zip(sheets, ("02", "03", "04", "07a"), strict=True):
        words = sheet.all_words()
        assert "…" not in words
        assert f"-SP-{number} " in words
        assert f"Sheet {number.lstrip('0')}/14" in words
    assert "Not all distances" not in sheets[1].all_words()
    # drawn are as many fixings as the bill buys
    fixings = next(part for part in built.parts if part.key == "roof-foot")
    assert f"{fixings.count} roof fixings" in sheets[1].all_words()


def test_scale_and_dimensions_of_the_pharmacy():
    # hand: 14 x 9 m at 1:100 is 140 x 90 mm; at 1:50 it would be 280 mm and leave an A4. Five
    # modules of 1.793 m and four gaps of 0.02 m take 9.045 m from 0.664 m: to 9.71 m
    plan = module_plan(own_of("coral-pharmacy"))
    (sheet,) = read(roof_plans(plan))
    assert "Scale 1:100" in sheet.texts()
    assert 'width="140" height="90"' in sheet.svg
    assert {"0.00", "0.66", "9.71", "14.00", "0.70", "2.06", "9.00"} <= set(sheet.texts())


def test_the_scale_holds_in_the_pdf():
    # hand: from 0.66 to 9.71 m at 1:100 are 90.4 mm of paper (values of two digits after the point)
    plan = module_plan(own_of("coral-pharmacy"))
    ((svg, words),) = roof_plans(plan)
    content = document_pdf(Document(
        code="SP", head=Head(site="Shop", number="CSP-SP-01", title="Site pack"),
        blocks=(drawing(svg, words, paper=paper_of(svg)),), stamp="EXAMPLE",
    ))  # fmt: skip
    pages = pypdfium2.PdfDocument(content)
    text = next(page.get_textpage() for page in pages if "9.71" in
                page.get_textpage().get_text_bounded())  # fmt: skip
    left_mm = []
    for value in ("0.66", "9.71"):
        at, _ = text.search(value).get_next()
        left_mm.append(text.get_charbox(at)[0] * 25.4 / 72.0)
    assert left_mm[1] - left_mm[0] == pytest.approx(90.45, abs=0.3)
    assert "EXAMPLE" in text.get_text_bounded()


def test_a_roof_of_150_modules_has_three_sheets_of_a3():
    # 60 a sheet: 150 / 60 = 2.5
    own = own_of("ridge-clinic", roof={"length_m": 40.0, "depth_m": 30.0},
                 array={"module_count": 150, "modules_in_series": 10, "rows": 5},
                 variants=[])  # fmt: skip
    sheets = the_roof_plan_agrees(module_plan(own))
    assert len(sheets) == 3
    words = " ".join(sheet.all_words() for sheet in sheets)
    assert all(f"RRC-SP-02-{number}" in words for number in (1, 2, 3))


def test_a_trench_in_section():
    # hand: 0.6 m of cover, a pipe of 110 mm, 0.05 m of bedding: 0.76 m; tape 0.25 m above the pipe
    built = BUILT
    (drawing,) = read(trench_plans(trenches_of(built), built.site, digging_steps(built)))
    words = drawing.all_words()
    for said in ("0.76", "warning tape at 0.35", "bedding sand 0.05", "1 PV DC main cable: 14 m",
                 "W7, W9", "LOCATE BURIED SERVICES FIRST"):  # fmt: skip
        assert said in words


def test_where_nothing_is_dug_there_is_no_trench_plan():
    assert trench_plans((), BUILT.site, ()) == []


@given(
    lengths=some.lists(some.floats(0.5, 400.0), min_size=1, max_size=7),
    cover_m=some.floats(0.2, 2.5), bends=some.sampled_from([None, 90.0]),
    ducts=some.lists(some.floats(0.01, 0.16), min_size=1, max_size=6),
)  # fmt: skip
@settings(max_examples=2 * EXAMPLES, **QUICK)
def test_trenches_of_any_size(lengths, cover_m, ducts, bends):
    like = trenches_of(BUILT)
    some_trenches = tuple(
        replace(like[number % 3], number=number + 1, length_m=round(length_m, 1),
                cover_m=round(cover_m, 2), lying_m=tuple(ducts), bends_deg=bends,
                dig_m=round(cover_m, 2) + max(ducts) + 0.05, wide_m=sum(ducts) + 0.35)
        for number, length_m in enumerate(lengths)
    )  # fmt: skip
    sheets = read(trench_plans(some_trenches, BUILT.site, digging_steps(BUILT)))
    assert len(sheets) == math.ceil(len(lengths) / A_SHEET)
    words = " ".join(sheet.all_words() for sheet in sheets)
    for trench in some_trenches:
        name = trench.name.replace("; Distribution circuit", " and")  # once what is said twice
        said = (f"{trench.number} {spelt(one)}: {trench.length_m:g} m"
                for one in (trench.name, name))  # fmt: skip
        assert any(one in words for one in said)
