"""What holds the modules of a layout: rails cut from stock, clamps, feet, and what it all weighs.

For modules on two rails a tier, the rails along the row. Wind and ballast: `solarcalc.structure`;
frames that lift the modules and the strength of the roof are not looked at.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from solarcalc.basis.sourced import constant
from solarcalc.roof.packing import RoofFit, RowPlace
from solarcalc.roof.rows import Rows
from solarcalc.sitefile.array import Module
from solarcalc.sitefile.roof import Rails

RAILS_A_TIER = constant("roof.rails_a_tier")
FOOT_FROM_END_M = constant("roof.foot_from_end_m")
LEAST_PIECE_M = constant("roof.least_piece_m")
ALUMINIUM_GROWTH_PER_K = constant("roof.aluminium_growth_per_k")
RAIL_WARMING_K = constant("roof.rail_warming_k")
ROUNDING_M = 1e-9


@dataclass(frozen=True, kw_only=True)
class Hardware:
    """Rails, clamps, feet and weight of one layout.

    Parameters
    ----------
    rail_m : float
        Rail laid, all together [m].
    stock_count : int
        Stock lengths to buy.
    waste_m : float
        Left over from them [m]; the width of saw cuts is not counted.
    splice_count : int
        Joints that hold two pieces of a rail as one.
    expansion_joint_count : int
        Joints that let a rail grow, in place of a splice.
    expansion_gap_mm : float
        Gap to leave at each of them [mm]; 0 without any.
    mid_clamp_count, end_clamp_count, foot_count : int
    mass_kg : float
        Modules, rails and feet [kg].
    module_area_m2 : float
        Faces of the modules [m2].
    area_used_m2 : float
        Roof the rows take: each part's length times the pitch, times the footprint in the
        last row [m2].
    """

    rail_m: float
    stock_count: int
    waste_m: float
    splice_count: int
    expansion_joint_count: int
    expansion_gap_mm: float
    mid_clamp_count: int
    end_clamp_count: int
    foot_count: int
    mass_kg: float
    module_area_m2: float
    area_used_m2: float

    @property
    def waste_frac(self) -> float:
        """Share of the rail bought that is left over, [0 to 1]."""
        bought_m = self.rail_m + self.waste_m
        return self.waste_m / bought_m if bought_m > 0.0 else 0.0

    @property
    def load_on_modules_kg_per_m2(self) -> float:
        """Weight over the faces of the modules [kg/m2]; 0 with no module."""
        return self.mass_kg / self.module_area_m2 if self.module_area_m2 > 0.0 else 0.0

    @property
    def load_on_roof_kg_per_m2(self) -> float:
        """Weight over the roof the rows take, free strips among it [kg/m2]; 0 with no module."""
        return self.mass_kg / self.area_used_m2 if self.area_used_m2 > 0.0 else 0.0


def hardware_of(fit: RoofFit, module: Module, rails: Rails) -> Hardware:
    """Rails, clamps, feet and weight of the modules that fit.

    Parameters
    ----------
    fit : RoofFit
    module : Module
        For its mass and size.
    rails : Rails
        The site's rails: stock length, overhang, joints, spacing of feet, masses.
    """
    rows = fit.rows
    parts = [modules_of_runs(p.modules_along, rows=rows, rails=rails) for p in fit.places]
    tiers = [counts for counts, p in zip(parts, fit.places, strict=True)
             for _ in range(p.modules_high)]  # fmt: skip
    all_rails = [runs_m(counts, rows=rows, rails=rails) for counts in tiers
                 for _ in range(int(float(RAILS_A_TIER)))]  # fmt: skip
    laid = [run for runs in all_rails for run in runs]
    pieces_m = [cut_pieces_m(run, rails.stock_length_m) for run in laid]
    laid_m = sum(laid)
    bars = stock_count([p for run in pieces_m for p in run], rails.stock_length_m)
    feet = sum(foot_count(run, rails.foot_spacing_m) for run in laid)
    joints = len(laid) - len(all_rails)
    longest_m = max((max(runs) for runs in all_rails if len(runs) > 1), default=0.0)
    area_m2 = fit.module_count * module.length_m * module.width_m
    return Hardware(
        rail_m=laid_m,
        stock_count=bars,
        waste_m=bars * rails.stock_length_m - laid_m,
        splice_count=sum(len(run) - 1 for run in pieces_m),
        expansion_joint_count=joints,
        expansion_gap_mm=rail_growth_mm(longest_m, float(RAIL_WARMING_K)),
        mid_clamp_count=sum(mid_clamp_count(count) for counts in tiers for count in counts),
        end_clamp_count=sum(end_clamp_count(count) for counts in tiers for count in counts),
        foot_count=feet,
        mass_kg=fit.module_count * module.mass_kg
        + laid_m * rails.mass_kg_per_m
        + feet * rails.foot_mass_kg,
        module_area_m2=area_m2,
        area_used_m2=sum(_area_used_m2(fit, place) for place in fit.places),
    )


def rail_m(modules_along: int, *, along_m: float, gap_m: float, overhang_m: float) -> float:
    """Length of one rail under modules side by side [m]: n w + (n - 1) gap + 2 overhang.

    Examples
    --------
    >>> round(rail_m(4, along_m=1.134, gap_m=0.02, overhang_m=0.05), 3)
    4.696
    """
    return modules_along * along_m + (modules_along - 1) * gap_m + 2.0 * overhang_m


def mid_clamp_count(modules_along: int) -> int:
    """Clamps between modules on their two rails: 2 (n - 1)."""
    return int(float(RAILS_A_TIER)) * (modules_along - 1)


def end_clamp_count(modules_along: int) -> int:
    """Clamps at both ends of a tier, on its two rails: 4."""
    return 2 * int(float(RAILS_A_TIER)) if modules_along > 0 else 0


def foot_count(run_m: float, spacing_m: float) -> int:
    """Feet under one run of rail [m]: evenly spread, at most the spacing apart, two at least."""
    between_m = run_m - 2.0 * float(FOOT_FROM_END_M)
    return max(2, math.ceil(between_m / spacing_m - ROUNDING_M) + 1)


def feet_of(runs: Sequence[float], spacing_m: float) -> Iterator[float]:
    """Where the feet of a rail stand, from its beginning [m]: evenly spread under each run.

    Parameters
    ----------
    runs : sequence of float
        Lengths of the runs between expansion joints [m].
    spacing_m : float
        At most from foot to foot [m].
    """
    begins_m = 0.0
    for run_m in runs:
        inset_m = foot_inset_m(run_m)
        count = foot_count(run_m, spacing_m)
        yield from (begins_m + np.linspace(inset_m, run_m - inset_m, count)).tolist()
        begins_m += run_m


def foot_inset_m(run_m: float) -> float:
    """From the end of a run of rail to its last foot [m]."""
    return min(float(FOOT_FROM_END_M), run_m / 4.0)


def rail_growth_mm(length_m: float, warming_k: float) -> float:
    """How much a rail grows when it warms [mm]: growth per kelvin x length x warming.

    Examples
    --------
    >>> round(rail_growth_mm(10.0, 50.0), 2)
    11.5
    """
    return 1000.0 * float(ALUMINIUM_GROWTH_PER_K) * length_m * warming_k


def cut_pieces_m(run_m: float, stock_m: float) -> list[float]:
    """Pieces that make one run of rail [m]: whole stock lengths and a rest.

    A rest too short to join is made up from the piece before it.

    Examples
    --------
    >>> [round(piece, 2) for piece in cut_pieces_m(4.5, 4.2)]
    [4.0, 0.5]
    """
    whole = math.floor(run_m / stock_m + ROUNDING_M)
    rest = run_m - whole * stock_m
    if rest <= ROUNDING_M:
        return [stock_m] * whole
    short = float(LEAST_PIECE_M) - rest
    if whole == 0 or short <= 0.0:
        return [stock_m] * whole + [rest]
    return [stock_m] * (whole - 1) + [stock_m - short, float(LEAST_PIECE_M)]


def stock_count(pieces_m: Sequence[float], stock_m: float) -> int:
    """Stock lengths to buy for the pieces [m], longest first, each from the first rest it fits.

    A plain rule a crew can follow on the roof. It never asks for more than 11/9 of the least
    possible number and 6/9 of a length (Dosa 2007, first fit decreasing; from memory).
    """
    rests: list[float] = []
    whole = 0
    for piece in sorted(pieces_m, reverse=True):
        if piece >= stock_m - ROUNDING_M:
            whole += 1
            continue
        place = next((n for n, rest in enumerate(rests) if piece <= rest + ROUNDING_M), None)
        if place is None:
            rests.append(stock_m - piece)
        else:
            rests[place] -= piece
    return whole + len(rests)


def modules_of_runs(modules_along: int, *, rows: Rows, rails: Rails) -> list[int]:
    """Modules on each run of a rail: an expansion joint lies between two modules, under none.

    A module clamped to both sides of a gap would be pulled as the rail grows. Runs have as even a
    share as can be, and are no longer than the longest run, but for one of a single module.
    """
    counts = [modules_along] if modules_along else []
    for count in range(1, modules_along + 1):
        whole, over = divmod(modules_along, count)
        counts = [whole + 1] * over + [whole] * (count - over)
        longest_m = max(runs_m(counts, rows=rows, rails=rails))
        if longest_m <= rails.longest_run_m + ROUNDING_M:
            break
    return counts


def runs_m(counts: Sequence[int], *, rows: Rows, rails: Rails) -> list[float]:
    """Runs of a rail under so many modules each, from the middle of a joint to that of the next.

    The first and the last reach over the last module [m].
    """
    at_end_m = rails.overhang_m - rows.gap_m / 2.0
    last = len(counts) - 1
    return [count * (rows.along_m + rows.gap_m) + at_end_m * ((number == 0) + (number == last))
            for number, count in enumerate(counts)]  # fmt: skip


def _area_used_m2(fit: RoofFit, place: RowPlace) -> float:
    rows = fit.rows
    last = place.row == fit.row_count - 1
    depth_m = rows.footprint_m if last else fit.pitch_m
    length_m = place.modules_along * (rows.along_m + rows.gap_m) - rows.gap_m
    return length_m * depth_m * place.modules_high / rows.modules_high
