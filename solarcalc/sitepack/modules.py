"""Where every module and rail goes, counted from one corner of the roof, and in which string."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from solarcalc.roof.hardware import (
    RAIL_WARMING_K,
    RAILS_A_TIER,
    ROUNDING_M,
    cut_pieces_m,
    feet_of,
    modules_of_runs,
    rail_growth_mm,
    runs_m,
)
from solarcalc.roof.packing import ModulePlaces
from solarcalc.roof.strings import Spot, parts_of, spots_of, strings_on_roof
from solarcalc.sitefile.site import Site
from solarcalc.siteyear import SiteYear
from solarcalc.stages.array import own_places
from solarcalc.wiring.runs import strings_by_controller
from solarcalc.wiring.string_checks import string_names

Row = dict[str, object]
MODULE_COLUMNS = (
    "module", "row", "tier", "column", "along the eaves [m]", "up the roof [m]", "end",
    "its minus goes to",
)  # fmt: skip
"""Of the module plan, that fit a page; the file holds the rest."""
RAIL_COLUMNS = (
    "rail", "row", "tier", "part", "begins along the eaves [m]", "length [m]", "cut to [m]",
    "splices", "expansion joints", "feet",
)  # fmt: skip
ROW_COLUMNS = (
    "row", "tier", "part", "modules", "from the left edge [m]", "length [m]",
    "to the right edge [m]", "front edge up the roof [m]", "pitch to the row before [m]",
)  # fmt: skip


@dataclass(frozen=True, kw_only=True, eq=False)
class ModulePlan:
    """The site's own modules on its roof.

    Parameters
    ----------
    site : Site
    places : ModulePlaces
        About the roof's middle.
    turn_deg : float
        Of the rows against the eaves [deg].
    plane : int
        Number of the roof plane, counted from 1.
    strings_before, controllers_before : int
        Of the roof planes before it: names and numbers go on from there.
    """

    site: Site
    places: ModulePlaces
    turn_deg: float
    plane: int = 1
    strings_before: int = 0
    controllers_before: int = 0

    @cached_property
    def spots(self) -> tuple[Spot, ...]:
        """Every module by counting."""
        return spots_of(self.places)

    @cached_property
    def strings(self) -> dict[str, tuple[Spot, ...]]:
        """Modules of each string by its name, from the plus end to the minus end."""
        array = self.site.array
        found = strings_on_roof(self.places, modules_in_series=array.modules_in_series,
                                layout=array.string_layout)  # fmt: skip
        names = string_names(self.strings_before + len(found))[self.strings_before:]
        return dict(zip(names, found, strict=True))

    @cached_property
    def names(self) -> dict[int, str]:
        """Number of each module, such as S1/1, by its place."""
        return {
            spot.place: f"{string}/{number}" for string, spots in self.strings.items()
            for number, spot in enumerate(spots, start=1)
        }  # fmt: skip

    @cached_property
    def corners_m(self) -> np.ndarray:
        """Corners of each module seen from above, from the datum [m], shape (m, 4, 2).

        The first is that on the roof where its row begins; then along the row, and up.
        """
        roof = self.site.roof
        return self.places.plan_corners_m + np.array([roof.length_m, roof.depth_m]) / 2.0

    @property
    def along_eaves(self) -> bool:
        """Whether rows run along the eaves, so that edges and pitches can be chained."""
        return self.turn_deg == 0.0

    @property
    def module_size_m(self) -> tuple[float, float]:
        """Of a module along its row and up its own slope [m]."""
        return self.places.rows.along_m, self.places.rows.module_up_m


def module_plans(planes: Sequence[SiteYear]) -> tuple[ModulePlan | None, ...]:
    """The plan of the modules of each roof plane; None where the roof does not hold them all."""
    found: list[ModulePlan | None] = []
    strings = controllers = 0
    for number, one in enumerate(planes, start=1):
        places = own_places(one)
        found.append(None if places is None else ModulePlan(
            site=one.site, places=places, turn_deg=places.rows.turn_deg, plane=number,
            strings_before=strings, controllers_before=controllers,
        ))  # fmt: skip
        strings += one.site.array.string_count
        controllers += one.site.controller.count
    return tuple(found)


def module_plan(own: SiteYear) -> ModulePlan | None:
    """The plan of a site's modules; None where the roof does not hold them all."""
    return module_plans([own])[0]


def module_rows(plan: ModulePlan) -> list[Row]:
    """Every module in the order of the strings: where its corner lies and what it is joined to."""
    along_m, up_m = plan.module_size_m
    controllers = _controllers(plan)
    return [
        {
            "module": plan.names[spot.place],
            "string": string,
            "in the string": number,
            "controller": controllers[string],
            "row": spot.row,
            "tier": spot.tier,
            "column": spot.column,
            "along the eaves [m]": f"{plan.corners_m[spot.place, 0, 0]:.2f}",
            "up the roof [m]": f"{plan.corners_m[spot.place, 0, 1]:.2f}",
            "along the row by up the slope [m]": f"{along_m:.3f} × {up_m:.3f}",
            "end": _end(string, number, len(spots)),
            "its minus goes to": f"plus of {plan.names[spots[number].place]}"
            if number < len(spots) else f"{string}− of the combiner",
            "serial number": "",
        }
        for string, spots in plan.strings.items() for number, spot in enumerate(spots, start=1)
    ]  # fmt: skip


def _end(string: str, number: int, count: int) -> str:
    ends = [f"{string}+"] * (number == 1) + [f"{string}−"] * (number == count)
    return " and ".join(ends)


def _controllers(plan: ModulePlan) -> dict[str, int]:
    """The controller that each string ends at, from 1."""
    shares = strings_by_controller(plan.site)
    each = [number for number, share in enumerate(shares, start=plan.controllers_before + 1)
            for _ in range(share)]  # fmt: skip
    return dict(zip(plan.strings, each, strict=True))


def row_rows(plan: ModulePlan) -> list[Row]:
    """Chain dimensions of each part of a row, from edge to edge, and from front edge to front edge.

    From left to right: the edge distance, then module and gap in turn, then the edge distance;
    they add up to the length of the roof. For rows at an angle to the eaves corners alone.
    """
    rows, roof, before = plan.places.rows, plan.site.roof, dict[int, float]()
    found: list[Row] = []
    for part in parts_of(plan.spots):
        first, last = part[0], part[-1]
        left_m, front_m = plan.corners_m[first.place, 0].tolist()
        right_m, last_up_m = plan.corners_m[last.place, 1].tolist()
        before.setdefault(first.row, front_m)
        pitch_m = before[first.row] - before.get(first.row - 1, np.nan)
        chained = plan.along_eaves
        found.append({
            "row": first.row, "tier": first.tier, "part": first.part, "modules": len(part),
            "from the left edge [m]": f"{left_m:.3f}" if chained else "",
            "module [m]": f"{rows.along_m:.3f}", "gap [m]": f"{rows.gap_m:.3f}",
            "length [m]": f"{len(part) * (rows.along_m + rows.gap_m) - rows.gap_m:.3f}",
            "to the right edge [m]": f"{roof.length_m - right_m:.3f}" if chained else "",
            "front edge up the roof [m]": f"{front_m:.3f}" if chained else "",
            "pitch to the row before [m]": f"{pitch_m:.3f}"
            if chained and first.tier == first.part == 1 and first.row > 1 else "",
            "covers up the roof [m]": f"{_covers_m(plan, first):.3f}",
            "first corner, along and up [m]": f"{left_m:.2f}, {front_m:.2f}",
            "last corner, along and up [m]": f"{right_m:.2f}, {last_up_m:.2f}",
        })  # fmt: skip
    return found


def _covers_m(plan: ModulePlan, spot: Spot) -> float:
    """Depth of roof under a module, square to its row [m]."""
    corners = plan.corners_m[spot.place]
    return float(np.linalg.norm(corners[3] - corners[0]))


@dataclass(frozen=True, kw_only=True, eq=False)
class PlacedRail:
    """A rail under a part of a tier.

    Parameters
    ----------
    number, which : int
        Of all, and from the lower frame of its modules, from 1.
    part : tuple of Spot
        Modules on it.
    start_m : array (2,)
        Where it begins, at the height of the lower frame, along the eaves and up the roof [m].
    ahead : array (2,)
        Its direction seen from above; its length in the plane of the roof is its own.
    runs_m : tuple of float
        Lengths between expansion joints [m].
    pieces_m : tuple of tuple of float
        That each run is cut to [m].
    feet_m : tuple of float
        Roof fixings from its beginning [m].
    """

    number: int
    which: int
    part: tuple[Spot, ...]
    start_m: np.ndarray
    ahead: np.ndarray
    runs_m: tuple[float, ...]
    pieces_m: tuple[tuple[float, ...], ...]
    feet_m: tuple[float, ...]

    @property
    def name(self) -> str:
        """Such as rail 3."""
        return f"rail {self.number}"

    @property
    def length_m(self) -> float:
        """Of the whole rail [m]."""
        return sum(self.runs_m)

    @property
    def joints_m(self) -> tuple[float, ...]:
        """Expansion joints from its beginning [m]."""
        return tuple(np.cumsum(self.runs_m)[:-1].tolist())

    @property
    def splices_m(self) -> tuple[float, ...]:
        """Splices from its beginning [m]."""
        begins_m = (0.0, *self.joints_m)
        return tuple(
            begin_m + reached_m for begin_m, run in zip(begins_m, self.pieces_m, strict=True)
            for reached_m in np.cumsum(run)[:-1].tolist()
        )  # fmt: skip

    @property
    def cut_words(self) -> str:
        """Pieces of each run [m], such as ``"4.188; 4.188"``."""
        return "; ".join(" + ".join(f"{piece:.3f}" for piece in run) for run in self.pieces_m)


def placed_rails(plan: ModulePlan) -> tuple[PlacedRail, ...]:
    """Every rail of the plan, part by part, the lower one first."""
    found: list[PlacedRail] = []
    for part in parts_of(plan.spots):
        for which in range(1, int(float(RAILS_A_TIER)) + 1):
            found.append(_placed_rail(plan, part, len(found) + 1, which))
    return tuple(found)


def _placed_rail(
    plan: ModulePlan, part: tuple[Spot, ...], number: int, which: int
) -> PlacedRail:
    rows, rails = plan.places.rows, plan.site.rails
    runs = runs_m(modules_of_runs(len(part), rows=rows, rails=rails), rows=rows, rails=rails)
    ahead = plan.places.right[:2]
    return PlacedRail(
        number=number, which=which, part=part, ahead=ahead, runs_m=tuple(runs),
        start_m=plan.corners_m[part[0].place, 0] - ahead * rails.overhang_m,
        pieces_m=tuple(tuple(cut_pieces_m(run_m, rails.stock_length_m)) for run_m in runs),
        feet_m=tuple(feet_of(runs, rails.foot_spacing_m)),
    )  # fmt: skip


def rail_rows(plan: ModulePlan) -> list[Row]:
    """Every rail with where it begins, its runs, the pieces it is cut to and its feet.

    How far a rail lies from the lower frame is for the maker's clamping zone: a box to fill in.
    """
    return [_rail_row(rail) for rail in placed_rails(plan)]


def _rail_row(rail: PlacedRail) -> Row:
    first, joints = rail.part[0], len(rail.joints_m)
    grows_mm = rail_growth_mm(max(rail.runs_m), float(RAIL_WARMING_K))
    return {
        "rail": rail.name, "row": first.row, "tier": first.tier, "part": first.part,
        "from the lower frame": f"{rail.which} of {int(float(RAILS_A_TIER))}",
        "begins along the eaves [m]": f"{rail.start_m[0]:.2f}",
        "length [m]": f"{rail.length_m:.3f}",
        "cut to [m]": rail.cut_words,
        "splices": len(rail.splices_m), "expansion joints": joints,
        "gap at each joint [mm]": f"{grows_mm:.0f}" if joints else "",
        "feet": len(rail.feet_m),
        "feet from its beginning [m]": " ".join(f"{foot:.2f}" for foot in rail.feet_m),
        "from the lower frame, by the maker's clamping zone [m]": "",
    }  # fmt: skip


def cut_list(plan: ModulePlan) -> list[Row]:
    """How many pieces of rail of each length, the longest first: what is sawn on the ground."""
    lengths: dict[str, int] = {}
    for row in rail_rows(plan):
        for piece in str(row["cut to [m]"]).replace(";", " +").split(" + "):
            lengths[piece.strip()] = lengths.get(piece.strip(), 0) + 1
    ordered = sorted(lengths, key=float, reverse=True)
    whole = plan.site.rails.stock_length_m
    return [
        {"piece [m]": piece, "pieces": lengths[piece],
         "sawn": "no, a stock length" if float(piece) >= whole - ROUNDING_M else "yes"}
        for piece in ordered
    ]  # fmt: skip
