"""String plan: the order of modules in each string, its ends, the way of its cables."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import partial

from solarcalc.basis.messages import PATTERN
from solarcalc.diagrams.lettering import SMALL_MM
from solarcalc.diagrams.roof_plan import described, draw_names, draw_others, names_fit
from solarcalc.diagrams.roof_view import (
    BELOW_MM,
    LEFT_MM,
    View,
    Zone,
    draw_ground,
    draw_marks,
    draw_orientation,
    finished,
    legend_lines,
    scale_bar,
    view_of,
    whole_size,
    zones_of,
)
from solarcalc.diagrams.sheet import DASHED, LINE_MM, THIN_MM, Point
from solarcalc.installation.records import Conductor, Installation
from solarcalc.roof.strings import Spot
from solarcalc.sitepack.modules import ModulePlan
from solarcalc.wiring.runs import plane_key

CHAIN_MM, END_MM = 0.5, 0.7
"""Width of the line through a string, radius of the mark at its end [mm]."""
LANE_MM, COLLECT_MM = 0.9, 2.4
"""From a row's front edge to the way of its cables, and from the modules to the common way [mm]."""
BOX_MM = (62.0, 9.5)
"""Width and height of the box of the combiner [mm]."""
MOST_STRINGS = 9
"""Strings in the legend of a sheet; the schedules have all."""


def string_plans(plan: ModulePlan, built: Installation,
                 language: str = PATTERN) -> list[tuple[str, str]]:  # fmt: skip
    """Sheets of the string plan, each with its words.

    Parameters
    ----------
    plan : ModulePlan
    built : Installation
        For the numbers of cables, fuses and combiner, and their lengths.
    language : str
        Of the words on it.
    """
    units = list(plan.strings.values())
    zones = zones_of(plan, units, partial(names_fit, plan))
    return [_drawn(plan, zone, built, language) for zone in zones]


def _drawn(plan: ModulePlan, zone: Zone, built: Installation,
           language: str) -> tuple[str, str]:  # fmt: skip
    runs = " ".join(f"{line}." for line in home_run_words(built, plan.plane))
    view = view_of(plan, zone, "string", "String plan", f"{described(plan)} {runs}", language)
    here = {spot.place for spot in zone.spots}
    strings = {name: spots for name, spots in plan.strings.items() if spots[0].place in here}
    marks = draw_ground(view)
    for spot in zone.spots:
        view.sheet.path(view.corners(spot), closed=True, width_mm=THIN_MM)
    draw_others(view)
    for spots in strings.values():
        view.sheet.path([view.middle(spot) for spot in spots], width_mm=CHAIN_MM)
    if plan.along_eaves:
        _ways(view, strings.values())
    draw_names(view, ends=True)
    draw_marks(view, marks)
    whole_size(view)
    _combiner(view, built)
    _legend(view, strings, built)
    return finished(view, 4, "String plan", [
        "Numbers on the roof: sheet 2.",
        "Dashed: way of the string cables, proposed. + and − side by side, no loop; clipped, never"
        " on the roof surface. Cables of one row in one layer; of another row two diameters away.",
        f"DANGER: an open string is live in daylight: plug the home run in last,"
        f" {_dead_by(built, plan.plane)}.",
    ])  # fmt: skip


def _dead_by(built: Installation, plane: int) -> str:
    """At which combiner, and with which isolator locked off, by their tags."""
    boxes = built.by_key[plane_key("combiner", plane)].tag
    main = _cable(built, plane_key("dc_main", plane))
    where = [(built.by_key[key], built.by_key[end]) for end, keys in (
        (main.start, main.at_start), (main.end, main.at_end)) for key in keys] if main else []
    locked = " and ".join(f"DC isolator {part.tag} at {at.kind} {at.tag} locked off"
                          for part, at in where)  # fmt: skip
    return f"at combiner {boxes} with {locked or 'nothing joined behind it'}"


def _ways(view: View, strings: Iterable[Sequence[Spot]]) -> None:
    """From both ends of each string down between modules, along the row's front, to one side."""
    corners = view.plan.corners_m[[spot.place for spot in view.zone.spots]]
    aside = view.at(float(corners[:, :, 0].max()), 0.0)[0] + COLLECT_MM
    lanes = []
    for spots in strings:
        for spot, fill in ((spots[0], "black"), (spots[-1], "white")):
            x, y = view.corners(spot)[1]
            lane = _front_mm(view, spot.row) + LANE_MM
            view.sheet.path([(x, y - END_MM), (x, lane), (aside, lane)], width_mm=LINE_MM,
                            dash=DASHED)  # fmt: skip
            view.sheet.circle(x, y - END_MM, END_MM, width_mm=LINE_MM, fill=fill)
            lanes.append(lane)
    view.sheet.path([(aside, min(lanes)), (aside, _box_corner(view)[1])], width_mm=LINE_MM,
                    dash=DASHED)  # fmt: skip


def _front_mm(view: View, row: int) -> float:
    """Front edge of a row of the sheet [mm]."""
    return max(view.corners(spot)[0][1] for spot in view.zone.spots if spot.row == row)


def _box_corner(view: View) -> Point:
    """Upper left corner of the combiner's box, below the modules' right end [mm]."""
    corners = view.plan.corners_m[[spot.place for spot in view.zone.spots]]
    right = view.at(float(corners[:, :, 0].max()), 0.0)[0] + COLLECT_MM
    foot = view.at(0.0, view.zone.window_m[1])[1]
    left = min(right - BOX_MM[0] / 2.0, view.legend_mm - 3.0 - BOX_MM[0])
    return max(left, LEFT_MM), foot + (BELOW_MM - BOX_MM[1]) / 2.0


def _combiner(view: View, built: Installation) -> None:
    """A box below the eaves that stands for the combiner, wherever the survey puts it."""
    x, y = _box_corner(view)
    view.sheet.box(x, y, x + BOX_MM[0], y + BOX_MM[1], width_mm=LINE_MM, dash=DASHED)
    tags = built.by_key[plane_key("combiner", view.plan.plane)].tag
    for number, words in enumerate((f"combiner {tags} and roof entry", "place by site survey")):
        line = view.sheet.fitted(words, BOX_MM[0] - 2.0, size_mm=SMALL_MM, lines=1)[0]
        view.sheet.text(x + 1.5, y + 3.8 + 4.0 * number, line, size_mm=SMALL_MM, bold=number == 0)


def _legend(view: View, strings: dict[str, tuple[Spot, ...]], built: Installation) -> None:
    """Marks, and a line a string: its modules, cable, length, fuse."""
    y = draw_orientation(view)
    x, y = view.legend_mm, y + 7.0 if view.zone.whole else y
    for words, fill in (("+ end of a string", "black"), ("− end of a string", "white")):
        view.sheet.circle(x + 4.0, y - 1.0, END_MM, width_mm=LINE_MM, fill=fill)
        view.sheet.text(x + 10.0, y, words, size_mm=SMALL_MM)
        y += 4.2
    plane = view.plan.plane
    said = [string_words(name, len(spots), built, plane) for name, spots in strings.items()]
    if len(said) > MOST_STRINGS:
        said = [*said[:MOST_STRINGS], f"{len(said) - MOST_STRINGS} more: schedules"]
    y = legend_lines(view, y + 2.0, said, head="Strings")
    y = legend_lines(view, y, home_run_words(built, plane), head="Cables")
    scale_bar(view)


def _cable(built: Installation, key: str) -> Conductor | None:
    return next((one for one in built.conductors if one.key == key), None)


def string_words(name: str, count: int, built: Installation, plane: int = 1) -> str:
    """Ends, cable and fuse of a string of a roof plane, by labels and tags of the schedules."""
    cable = _cable(built, plane_key("string", plane))
    fuse = built.by_key.get(plane_key("string-fuse", plane))
    said = [f"{name}+ at {name}/1, {name}− at {name}/{count}"]
    said += [cable.tag] if cable else []
    said += [f"fuse {fuse.tag}"] if fuse else []
    return ", ".join(said)


def home_run_words(built: Installation, plane: int = 1) -> list[str]:
    """Home runs and main cable of a roof plane: tag, how many, length, size."""
    found = []
    for key, words in (("string", "home run"), ("dc_main", "combiner to controller")):
        cable = _cable(built, plane_key(key, plane))
        if cable is not None:
            found.append(f"{cable.count} × {cable.tag}, {words}: {cable.length_m:g} m,"
                         f" {cable.cores} × {cable.size_name} each")  # fmt: skip
    return found


