"""The power room to scale: measures hold on A4, numbers do not overlap. All rooms are invented."""

from __future__ import annotations

import dataclasses
import math
import re
import runpy
from itertools import combinations, pairwise
from pathlib import Path

import pytest

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import demo_sites
from solarcalc.design import open_design
from solarcalc.diagrams.lettering import SMALLEST_MM
from solarcalc.diagrams.room import MOST_BOXES, SCALES, _around, room_drawing
from solarcalc.diagrams.room_view import MARK_MM, View, meet, numbered_marks
from solarcalc.diagrams.sheet import Sheet
from solarcalc.installation.standing import held_words, room_tags

CASES = runpy.run_path(str(Path(__file__).with_name("diagram_cases.py")))
Drawing, clashes, SVG = CASES["Drawing"], CASES["clashes"], CASES["SVG"]
LONG = 'The <Very Long> & "Quoted" name of a thing in the power room ' * 3


@dataclasses.dataclass(frozen=True)
class Box:
    """Invented stand-in of a thing in the room."""

    name: str
    kind: str
    along_m: float
    out_m: float
    length_m: float
    depth_m: float
    height_m: float
    base_m: float = 0.0


@dataclasses.dataclass(frozen=True)
class Layout:
    """Invented stand-in of a room."""

    length_m: float = 3.0
    depth_m: float = 2.4
    height_m: float = 2.6
    boxes: tuple[Box, ...] = ()
    aisle_m: float = 1.4
    spark_m: float = 0.5
    unplaced: tuple[str, ...] = ()


def furnished(length_m=3.0, depth_m=2.4, height_m=2.6, name="", spark_m=0.5):
    far = depth_m - 0.25
    boxes = (
        Box(f"rack {name}", "rack", 0.1, 0.05, length_m * 0.7, 0.3, height_m * 0.4),
        Box(f"controller 1 {name}", "controller", 0.1, far, 0.2, 0.2, 0.4, 1.4),
        Box(f"controller 2 {name}", "controller", 0.1, far, 0.2, 0.2, 0.4, 0.8),
        Box(f"inverter {name}", "inverter", 0.5, far, 0.5, 0.25, 0.6, 1.2),
        Box(f"board {name}", "board", 0.0, depth_m / 2.0, 0.15, 0.3, 0.6, 1.2),
        Box(f"door {name}", "door", length_m, 0.1, 0.0, min(0.9, depth_m * 0.3), 1.9),
        Box(f"low {name}", "vent-low", 0.0, 0.4, 0.0, 0.2, 0.2, 0.1),
        Box(f"high {name}", "vent-high", length_m, 0.5, 0.0, 0.2, 0.2, 1.7),
        Box(f"extinguisher {name}", "extinguisher", length_m - 0.2, depth_m * 0.6, 0.2, 0.15, 0.5),
        Box(f"alarm {name}", "alarm", length_m / 2.0, depth_m / 2.0, 0.12, 0.12, 0.05, 1.9),
        Box(f"bar {name}", "earth-bar", 0.1, depth_m - 0.05, 0.3, 0.05, 0.06, 0.3),
    )
    return Layout(length_m=length_m, depth_m=depth_m, height_m=height_m, boxes=boxes,
                  aisle_m=depth_m - 0.6, spark_m=spark_m)  # fmt: skip


def walls(drawing):
    """Width and height of the inside of each view [mm]: its field is the white one in a hatch."""
    rects = list(drawing.root.iter(f"{SVG}rect"))
    return [
        (float(inner.get("width")), float(inner.get("height")))
        for outer, inner in pairwise(rects)
        if outer.get("fill") == "url(#room-wall)"
    ]


@pytest.mark.parametrize(
    ("length_m", "depth_m", "height_m"),
    [(3.0, 2.4, 2.6), (1.6, 1.2, 2.0), (9.0, 3.5, 2.6), (2.4, 6.0, 2.5), (30.0, 20.0, 6.0),
     (50.0, 50.0, 10.0), (1.2, 1.0, 2.0)],
)  # fmt: skip
def test_measures_hold_on_a3_and_nothing_overlaps(length_m, depth_m, height_m):
    drawing = Drawing(room_drawing(furnished(length_m, depth_m, height_m), site_name="x"))
    assert clashes(drawing) == []
    assert min(drawing.sizes()) >= SMALLEST_MM
    assert (drawing.width, drawing.height) == (420.0, 297.0)
    scales = [int(text.rpartition("1:")[2]) for text in drawing.texts()
              if re.fullmatch(r"(Plan|View [A-D]: .*), 1:\d+", text)]  # fmt: skip
    assert set(scales) <= set(SCALES)
    assert f"Scale {', '.join(f'1:{each}' for each in dict.fromkeys(scales))}" in drawing.texts()
    views = walls(drawing)
    assert len(views) == 5  # both end walls have an opening
    for view, scale, (wide_m, high_m) in zip(
        views, scales, [(length_m, depth_m), (length_m, height_m), (length_m, height_m),
                (depth_m, height_m), (depth_m, height_m)], strict=True
    ):
        assert view[0] == pytest.approx(wide_m * 1000.0 / scale, abs=0.002)
        assert view[1] == pytest.approx(high_m * 1000.0 / scale, abs=0.002)
    for each in (length_m, depth_m, height_m):
        assert (f"{each:.2f} m" if each < 10.0 else f"{each:.1f} m") in drawing.texts()


def test_the_drawing_is_as_large_as_its_scales_allow():
    """Hand: 120 mm of plan and 52 mm of elevations at 1:20, 1:50, 25 mm between, in 250.6 mm."""
    words = Drawing(room_drawing(furnished(), site_name="x")).all_words()
    assert "Plan, 1:20" in words
    assert "View A: rack wall, 1:50" in words  # at 1:20 150 + 150 + 120 mm stand in no 308 mm


def test_an_arrow_of_each_view_stands_on_the_plan_clear_of_all_else():
    layout = furnished()
    drawing = Drawing(room_drawing(layout, site_name="x"))
    titles = [text for text in drawing.texts() if re.match("View [A-D]: ", text)]
    letters = [text for text in drawing.texts() if re.fullmatch("[A-D]", text)]
    assert sorted(letters) == sorted(title[5] for title in titles) == ["A", "B", "C", "D"]
    (view, *_) = walls(drawing)
    for span in drawing.spans():
        if span.words in letters:
            assert span.right < 23.0 + view[0]
            assert span.bottom < 23.0 + view[1]


def test_mounting_heights_and_the_escape_route_stand_on_it():
    layout = furnished()
    drawing = Drawing(room_drawing(layout, site_name="x"))
    hung = {f"+{box.base_m:.2f}" for box in layout.boxes if box.kind in ("inverter", "board")}
    assert hung <= set(drawing.texts())
    assert "escape route" in drawing.texts()
    assert "Internal dimensions." in drawing.all_words()


def test_each_thing_has_the_tag_of_its_part():
    layout = furnished()
    tags = {box.name: f"X{number}" for number, box in enumerate(layout.boxes, 90)}
    words = Drawing(room_drawing(layout, site_name="x", tags=tags)).all_words()
    for box in layout.boxes:
        assert f"{tags[box.name]} {box.name}" in words


def test_everything_is_numbered_in_the_plan_and_named_in_the_list():
    layout = furnished(name=LONG)
    drawing = Drawing(room_drawing(layout, site_name=LONG))
    assert clashes(drawing) == []
    numbers = [word for word in drawing.texts() if word.isdigit() and word != "0"]
    for number, box in enumerate(layout.boxes, 1):
        assert numbers.count(str(number)) >= 2, box.name
        sides = (box.length_m, box.depth_m, box.height_m)
        words = " × ".join(f"{side:.2f}" for side in sides if side > 0.0) + " m"
        assert words in drawing.all_words()
    assert "0.00 ×" not in drawing.all_words()
    assert "aisle 1.80 m" in drawing.texts()


def test_a_number_hides_no_small_thing():
    drawing = Drawing(room_drawing(furnished(), site_name="x"))
    rects = [tuple(float(one.get(key)) for key in ("x", "y", "width", "height"))
             for one in drawing.root.iter(f"{SVG}rect") if one.get("x")]
    small = [one for one in rects if 1.0 < min(one[2:]) < 4.0
             and max(one[2:]) < 12.0]  # fmt: skip
    marks = [(float(one.get("cx")), float(one.get("cy"))) for one in drawing.root.iter(
        f"{SVG}circle") if float(one.get("r")) == MARK_MM]  # fmt: skip
    assert small
    for left, top, wide, high in small:
        middle = left + wide / 2.0, top + high / 2.0
        assert all(math.dist(middle, mark) > MARK_MM for mark in marks), (left, top)


def leaders(drawing):
    """Lines from the dot in a thing to its number, as (dot, number) [mm]."""
    parts = list(drawing.root.iter())
    ends = [[float(value) for value in re.findall(r"-?[\d.]+", part.get("d") or "")]
            for part in parts]  # fmt: skip
    return [
        ((x, y), (u, v)) for (x, y, u, v), dot in (
            (line, after) for line, after in zip(ends, parts[1:], strict=False) if len(line) == 4)
        if dot.tag == f"{SVG}circle" and float(dot.get("r")) == 0.4
        and math.dist((x, y), (float(dot.get("cx")), float(dot.get("cy")))) < 0.01
    ]  # fmt: skip


def cross(one, other):
    (a, b), (c, d) = one, other

    def turn(p, q, r):
        return (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0])

    return (turn(a, b, c) * turn(a, b, d) < -1e-6) and (turn(c, d, a) * turn(c, d, b) < -1e-6)


@pytest.mark.parametrize("name", list(demo_sites()))
@pytest.mark.parametrize("room", [{}, {"length_m": 3.5, "depth_m": 2.0}])
def test_no_line_to_a_number_crosses_another(name, room):
    """In small rooms too, where many entries and fuses lie at one wall."""
    layout = open_design(name).changed({"room": room}).room.layout
    lines = leaders(Drawing(room_drawing(layout, site_name="x")))
    assert len(lines) >= 15
    assert [pair for pair in combinations(lines, 2) if cross(*pair)] == []


def test_many_things_have_a_shorter_list():
    boxes = tuple(Box(f"unit {n} {LONG}", "inverter", 0.1 * n, 0.0, 0.05, 0.2, 0.3)
                  for n in range(29))  # fmt: skip
    drawing = Drawing(room_drawing(Layout(boxes=boxes, aisle_m=0.0), site_name="x"))
    assert clashes(drawing) == []
    for box in boxes:  # whatever its name, where it stands is on the sheet
        assert f"x {box.along_m:.2f} y 0.00 z 0.00" in drawing.all_words()
    with pytest.raises(InputError, match=f"at most {MOST_BOXES}"):
        room_drawing(Layout(boxes=(*boxes, *boxes)), site_name="x")


def test_the_line_of_sparks_stands_at_its_distance_inside_the_room():
    layout = furnished()
    rack = layout.boxes[0]
    places = [place for piece in _around(rack, layout) for place in piece]
    assert places
    for along, out in places:
        assert -1e-9 <= along <= layout.length_m + 1e-9
        assert -1e-9 <= out <= layout.depth_m + 1e-9
        dx = max(rack.along_m - along, along - rack.along_m - rack.length_m, 0.0)
        dy = max(rack.out_m - out, out - rack.out_m - rack.depth_m, 0.0)
        assert (dx**2 + dy**2) ** 0.5 == pytest.approx(0.5, abs=0.003)  # chords of a quarter in 16
    assert max(out for _, out in places) == pytest.approx(rack.out_m + rack.depth_m + 0.5)
    words = Drawing(room_drawing(layout, site_name="x")).all_words()
    assert "no ignition source within d = 0.50 m" in words
    without = Drawing(room_drawing(furnished(spark_m=0.0), site_name="x"))
    assert "no ignition source" not in without.all_words()


def test_the_door_swings_outwards_on_each_wall():
    for door, dx, dy in (
        (Box("d", "door", 3.0, 0.5, 0.0, 0.9, 2.0), 1, 0),
        (Box("d", "door", 0.0, 0.5, 0.0, 0.9, 2.0), -1, 0),
        (Box("d", "door", 1.0, 2.4, 0.9, 0.0, 2.0), 0, 1),
        (Box("d", "door", 1.0, 0.0, 0.9, 0.0, 2.0), 0, -1),
    ):
        drawing = Drawing(room_drawing(Layout(boxes=(door,)), site_name="x"))
        bows = [each.get("d") for each in drawing.root.iter(f"{SVG}path") if "A" in each.get("d")]
        assert len(bows) == 1
        start, end = bows[0][1:].split("A")
        x, y = (float(each) for each in start.split())
        *_, u, v = (float(each) for each in end.split())
        assert (x - u) * dx >= 0.0
        assert (y - v) * dy >= 0.0
        assert abs(x - u) == pytest.approx(abs(y - v), abs=0.02)


def test_what_found_no_place_is_said():
    layout = dataclasses.replace(furnished(), unplaced=("inverter, nonessential", "2 units"))
    words = Drawing(room_drawing(layout, site_name="x")).all_words()
    assert "Without a place: inverter, non-essential; 2 units." in words


def test_it_is_the_same_each_time_and_escapes():
    svg = room_drawing(furnished(name=LONG), site_name=LONG)
    assert svg == room_drawing(furnished(name=LONG), site_name=LONG)
    assert "<Very" not in svg
    assert "href" not in svg


@pytest.mark.parametrize(
    ("layout", "complaint"),
    [
        (Layout(length_m=0.0), "length_m"),
        (Layout(depth_m=float("nan")), "depth_m"),
        (Layout(height_m=51.0), "height_m"),
        (Layout(boxes=(Box("rack 1", "rack", 2.5, 0.0, 1.0, 0.3, 1.0),)), "rack 1"),
        (Layout(boxes=(Box("rack 1", "rack", -0.5, 0.0, 1.0, 0.3, 1.0),)), "inside the room"),
        (Layout(boxes=(Box("rack 1", "rack", 0.5, 0.0, 1.0, 0.3, 3.0),)), "inside the room"),
    ],
)
def test_bad_rooms_are_refused(layout, complaint):
    with pytest.raises(InputError, match=complaint):
        room_drawing(layout, site_name="x")


@pytest.mark.parametrize("length_m", [2.4, 4.0, 6.0, 8.0, 12.0])
@pytest.mark.parametrize("depth_m", [2.0, 3.0, 5.0])
@pytest.mark.parametrize("inside", [True, False])
def test_a_room_of_any_shape_has_its_titles_words_and_arrows_clear(length_m, depth_m, inside):
    design = open_design("ridge-clinic", {"room": {
        "length_m": length_m, "depth_m": depth_m, "inverters_inside": inside}})  # fmt: skip
    built = design.installation
    svg = room_drawing(built.layout, site_name="x", tags=room_tags(built),
                       held=held_words(built))  # fmt: skip
    assert clashes(Drawing(svg)) == []


def test_the_number_of_a_small_thing_stands_over_no_rack_beside_it_where_there_is_room() -> None:
    view = View(Sheet("room", "Room", "A room"), 20.0, 20.0, 20.0, 4.0, 2.6)
    rack, fuse = (1, 1.0, 1.6, 2.0, 1.0), (2, 0.85, 2.0, 0.1, 0.1)
    fields = numbered_marks(view, [rack, fuse], [])[:2]
    on_rack = (*view.at(1.0, 1.6), *view.at(3.0, 2.6))
    assert sum(meet(field, on_rack) for field in fields) == 1, "its own alone"
