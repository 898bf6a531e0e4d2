"""Lesson 3: which way to lay a module where a shadow rises from its lower edge."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from random import Random
from typing import Literal

from solarcalc.circuit.module import Cells
from solarcalc.circuit.strings import Strung, along_row, kept_by_circuit_frac
from solarcalc.design import Design
from solarcalc.energy.diode import cells_of
from solarcalc.figures.lessons import draw_shaded_row
from solarcalc.figures.style import svg_of
from solarcalc.lessons import pictures_roof
from solarcalc.lessons.tasks import Picture, Worked
from solarcalc.sitefile.array import Module
from solarcalc.sitefile.equipment import bundled_equipment

NAMES = ("A", "B", "C", "D", "E")
GROUPS = 3
"""Bypass diodes of the modules of this lesson."""
LIGHT_W_M2, CELL_C = 800.0, 45.0
SCATTER_FRAC = 0.008
LEAST_READ_FRAC = 0.9
"""A module that reads less than this of what its shade explains has a fault: no source."""
CLEAR_OF_EDGE_FRAC = 0.3
"""Share of a group that the shadow covers at least, so that it counts as touched."""
LEAD_FRAC = 0.1
"""Power kept more by one way than by the other, where it is asked which: no source."""
Way = Literal["portrait", "landscape"]


@dataclass(frozen=True, kw_only=True)
class Given:
    """Numbers of one learner: modules, light in the shade, a shadow, five modules as read."""

    full: Module
    half: Module
    lit_w: int
    left_percent: int
    asked: Module
    shadow_m: float
    groups: tuple[int, ...]
    read_w: tuple[float, ...]

    @property
    def left_frac(self) -> float:
        """Share of the light that the shadow leaves [0 to 1]."""
        return self.left_percent / 100.0


def draw(rng: Random, design: Design) -> Given:
    """Invented modules of three groups, a shadow, and a row of which one diode is open."""
    listed = [Module(**entry.values) for entry in bundled_equipment()["modules"].values()]
    three = [one for one in listed if one.bypass_diodes == GROUPS]
    full = rng.choice([one for one in three if one.cell_build == "full"])
    half = rng.choice([one for one in three if one.cell_build == "half-cut"])
    groups = tuple(rng.sample((0, 1, 1, 1, 2), 5))
    faulty = rng.choice([place for place, count in enumerate(groups) if count == 1])
    given = Given(full=full, half=half, lit_w=5 * rng.randint(36, 64),
                  left_percent=rng.randint(14, 26), asked=rng.choice((full, half)),
                  shadow_m=round(rng.uniform(0.08, 0.7), 2), groups=groups, read_w=())
    return replace(given, read_w=tuple(
        round(_row_w(given, count, open_diode=place == faulty)
              * (1.0 + rng.uniform(-SCATTER_FRAC, SCATTER_FRAC)))
        for place, count in enumerate(groups)
    ))  # fmt: skip


def _kept(cells: Cells, way: Way, depth_frac: float, left_frac: float) -> float:
    """Power that one module keeps under a shadow from its lower edge, by its circuit [0 to 1]."""
    strung = Strung(cells=cells, wiring=along_row(1), orientation=way)
    found, _ = kept_by_circuit_frac(depth_frac, left_frac, LIGHT_W_M2, CELL_C, strung=strung)
    return float(found[0])


def _row_w(given: Given, groups: int, *, open_diode: bool = False) -> float:
    """What a module of the row gives with so many groups in the shadow [W]."""
    cells = cells_of(given.full)
    if open_diode:  # the groups can no longer be passed by, each by itself
        cells = replace(cells, bypass_diodes=1,
                        columns_per_substring=GROUPS * cells.columns_per_substring)
    return given.lit_w * _kept(cells, "landscape", groups / GROUPS, given.left_frac)


def example() -> dict[str, float]:
    """A module of 300 W with one of three groups in the shadow: about 200 [W]."""
    return {"lit_w": 300.0, "groups": GROUPS, "dark": 1, "left_w": 300.0 * (GROUPS - 1) / GROUPS}


def picture(given: Given) -> Picture:
    """The same shadow on both: drag its height, change the cells."""
    modules = {"full cells": given.full, "half-cut cells": given.half}

    def draw_it(shadow_height_m: float, light_left_percent: float, cells: str) -> str:
        return pictures_roof.shaded_both_ways(modules[cells], shadow_height_m=shadow_height_m,
                                              left_frac=light_left_percent / 100.0)

    return Picture(draw=draw_it, ranges={
        "shadow_height_m": (0.0, 1.2, 0.05, 0.15),
        "light_left_percent": (10.0, 40.0, 5.0, 20.0), "cells": {name: name for name in modules},
    })  # fmt: skip


def which_loses_less(given: Given) -> Worked:
    """The prediction: one row of cells in the shadow, full cells, portrait against landscape."""
    portrait, landscape = _one_row(given.full, given.left_frac)
    return Worked(right="c" if landscape > portrait + LEAD_FRAC else "b")


def _one_row(module: Module, left_frac: float) -> tuple[float, float]:
    """Power kept with the lowest row of cells in the shadow, in portrait and landscape."""
    cells = cells_of(module)
    rows = (cells.halves * cells.cells_in_column, cells.bypass_diodes * cells.columns_per_substring)
    return (_kept(cells, "portrait", 1.0 / rows[0], left_frac),
            _kept(cells, "landscape", 1.0 / rows[1], left_frac))


def cells_behind_diode(given: Given) -> Worked:
    """Cells in series behind one bypass diode."""
    cells, diodes = given.full.cells_in_series, given.full.bypass_diodes
    return Worked(right=cells // diodes, unit="cells", within_frac=0.0, wrong={
        "all_cells": cells, "one_column": cells_of(given.full).cells_in_column,
        "one_group_more": cells // (diodes + 1)})


def landscape_row(given: Given) -> Worked:
    """Power of a module in landscape with its lowest row of cells in the shadow [W]."""
    return Worked(
        right=given.lit_w * _one_row(given.full, given.left_frac)[1], unit="W", within_frac=0.05,
        by_printed=given.lit_w * (GROUPS - 1) / GROUPS,
        wrong={"by_area": given.lit_w * 5.0 / 6.0, "whole_module": given.lit_w * given.left_frac,
               "the_shaded_group": given.lit_w / GROUPS},
        steps={"simple_w": given.lit_w * (GROUPS - 1) / GROUPS},
    )  # fmt: skip


def portrait_row(given: Given) -> Worked:
    """Power of a module of full cells in portrait with its lowest row in the shadow [W]."""
    rows = cells_of(given.full).cells_in_column
    return Worked(
        right=given.lit_w * _one_row(given.full, given.left_frac)[0], unit="W", within_frac=0.2,
        by_printed=given.lit_w * given.left_frac,
        wrong={"by_area": given.lit_w * (1.0 - 1.0 / rows), "nothing": 0.0,
               "as_in_landscape": given.lit_w * (GROUPS - 1) / GROUPS},
        steps={"rows": rows, "simple_w": given.lit_w * given.left_frac},
    )  # fmt: skip


def half_cut_row(given: Given) -> Worked:
    """Power of a half-cut module in portrait with its lowest row of cells in the shadow [W]."""
    half_w = given.lit_w / 2.0
    return Worked(
        right=given.lit_w * _one_row(given.half, given.left_frac)[0], unit="W", within_frac=0.05,
        by_printed=half_w * (1.0 + given.left_frac),
        wrong={"as_full_cells": given.lit_w * given.left_frac, "upper_half_alone": half_w,
               "by_area": given.lit_w * (1.0 - 1.0 / (2 * cells_of(given.half).cells_in_column))},
        steps={"half_w": half_w, "lower_w": half_w * given.left_frac},
    )  # fmt: skip


def height_of_one_group(given: Given) -> Worked:
    """Height of a shadow up to which a module in landscape loses one group [m]."""
    module = given.half
    return Worked(
        right=module.width_m / GROUPS, unit="m", within_frac=0.03,
        wrong={"long_side": module.length_m / GROUPS, "whole_side": module.width_m,
               "one_row_of_cells": module.width_m / (2 * GROUPS)})  # fmt: skip


def which_way(given: Given) -> Worked:
    """Which way a module keeps more under a shadow; none where it is a close call."""
    module, cells = given.asked, cells_of(given.asked)
    portrait = _kept(cells, "portrait", given.shadow_m / module.length_m, given.left_frac)
    landscape = _kept(cells, "landscape", given.shadow_m / module.width_m, given.left_frac)
    lead = portrait - landscape
    right = "a" if lead > LEAD_FRAC else "b" if lead < -LEAD_FRAC else ""
    if given.shadow_m * GROUPS / module.width_m % 1.0 < CLEAR_OF_EDGE_FRAC:
        right = ""
    slips = {"a": "took_portrait", "b": "took_landscape", "c": "took_no_difference"}
    return Worked(
        right=right, wrong={slip: letter for letter, slip in slips.items() if letter != right},
        steps={"portrait_percent": 100.0 * portrait, "build": module.cell_build,
               "landscape_percent": 100.0 * landscape, "group_m": module.width_m / GROUPS,
               "middle_m": module.length_m / 2.0},
    )  # fmt: skip


def open_diode(given: Given) -> Worked:
    """Which module gives less than its shade explains."""
    expected = [_row_w(given, count) for count in given.groups]
    low = [name for name, read, should in zip(NAMES, given.read_w, expected, strict=True)
           if read < LEAST_READ_FRAC * should]  # fmt: skip
    place = NAMES.index(low[0])
    return Worked(
        right=low[0] if len(low) == 1 else "", items=NAMES,
        drawing=lambda: svg_of(draw_shaded_row(given.full, NAMES, given.groups, given.read_w)),
        wrong={"most_shaded": _name_of(given.groups, 2), "in_full_sun": _name_of(given.groups, 0)},
        steps={"name": low[0], "its_w": given.read_w[place], "should_w": expected[place],
               "two_thirds_w": given.lit_w * 2.0 / 3.0, "third_w": given.lit_w / 3.0},
    )  # fmt: skip


def _name_of(groups: Sequence[int], count: int) -> str:
    return NAMES[tuple(groups).index(count)]
