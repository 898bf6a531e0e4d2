"""Zones of a roof near its edges and corners, and the net uplift of modules in each.

Modules tilted over a flat roof: net coefficients of ASCE 7-16 figure 29.4-7. Modules parallel to
their roof: the suction on that roof by EN 1991-1-4 as if it met the modules alone, without the
pressure below them that would lessen it (common practice, no source). Both are of a gust, so they
hold with the pressure of either code.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from solarcalc.basis.published import published
from solarcalc.basis.sourced import constant
from solarcalc.roof.rows import Rows
from solarcalc.sitefile.roof import Roof
from solarcalc.sitefile.structure import Structure

Zone = Literal["interior", "edge", "corner"]
ZONES: tuple[Zone, ...] = ("interior", "edge", "corner")
EXPOSED_FACTOR = constant("structure.exposed_factor")
PARAPET_FACTOR = constant("structure.parapet_factor")
CHORD_FROM, CHORD_PER_M = constant("structure.chord_from"), constant("structure.chord_per_m")
CHORD_LEAST = constant("structure.chord_least")
ZONE_HEIGHTS = constant("structure.zone_heights")
LEAST_BUILDING_M = constant("structure.least_building_m")
NORMAL_AREA = 1000.0
"""Area of the figure's building of unit size, in the unit of its size squared."""
EDGE_SHARE, CORNER_SHARE = 0.1, 0.25
"""Of e = min(b, 2 h): width of edge zones, reach of corner zones; EN 1991-1-4 figure 7.7."""


@dataclass(frozen=True, kw_only=True)
class ZoneSizes:
    """How far zones reach in from the edges of a roof.

    Parameters
    ----------
    edge_m : float
        Width of the strips along all four edges [m].
    corner_m : float
        How far a corner zone reaches along a strip [m].
    """

    edge_m: float
    corner_m: float

    def of(self, corners_m: np.ndarray, roof: Roof) -> Zone:
        """The worst zone that a module stands in, if only with a corner.

        Parameters
        ----------
        corners_m : array (n, 2)
            Along the eaves and up the roof, about the roof's middle [m].
        roof : Roof
        """
        sides = np.array([roof.length_m, roof.depth_m]) / 2.0
        from_edge = np.sort(sides - np.abs(corners_m), axis=1)
        in_strip = from_edge[:, 0] < self.edge_m
        if np.any(in_strip & (from_edge[:, 1] < self.corner_m)):
            return "corner"
        return "edge" if np.any(in_strip) else "interior"


def tilted_over_roof(rows: Rows) -> bool:
    """Whether modules are tilted over their roof, not parallel to it."""
    return rows.lift_deg > 0.0


def zone_sizes(structure: Structure, rows: Rows) -> ZoneSizes:
    """Zones of the coefficients that hold for the array.

    Notes
    -----
    Tilted: strips of 2 h, corners where two of them cross (ASCE 7-16 fig. 29.4-7). Parallel:
    strips of e / 10, corners e / 4 long, e the lesser of the longest side and 2 h (EN 1991-1-4).
    """
    if tilted_over_roof(rows):
        edge_m = float(ZONE_HEIGHTS) * structure.height_m
        return ZoneSizes(edge_m=edge_m, corner_m=edge_m)
    e_m = min(2.0 * structure.height_m, structure.building_long_m or math.inf)
    return ZoneSizes(edge_m=EDGE_SHARE * e_m, corner_m=CORNER_SHARE * e_m)


def net_uplift(structure: Structure, rows: Rows, zone: Zone, area_m2: float) -> float:
    """Net uplift coefficient square to the modules, 0 or more.

    Parameters
    ----------
    structure : Structure
    rows : Rows
    zone : {"interior", "edge", "corner"}
    area_m2 : float
        Area whose load one thing carries [m2]: the modules of a rail that weight holds together,
        or the share of one foot. The smaller, the larger the coefficient.
    """
    if not tilted_over_roof(rows):
        return suction(rows.roof_slope_deg, zone, area_m2)
    chord = max(float(CHORD_FROM) + float(CHORD_PER_M) * rows.slant_m, float(CHORD_LEAST))
    nominal = nominal_uplift(rows.lift_deg, zone, normal_area(structure, area_m2))
    return nominal * chord * float(EXPOSED_FACTOR) * float(PARAPET_FACTOR)


def normal_area(structure: Structure, area_m2: float) -> float:
    """Area over that of a building of unit size: 1000 A / L_b2, ASCE 7-16 fig. 29.4-7.

    L_b is the least of 0.4 (h W_L)^0.5, h and the shortest side, at least 15 ft; sides that
    nobody gave do not limit it.

    Parameters
    ----------
    structure : Structure
    area_m2 : float
        [m2].
    """
    height_m, long_m = structure.height_m, structure.building_long_m
    sizes = [height_m, structure.building_short_m or math.inf,
             0.4 * math.sqrt(height_m * long_m) if long_m else math.inf]  # fmt: skip
    return NORMAL_AREA * area_m2 / max(min(sizes), float(LEAST_BUILDING_M)) ** 2


def nominal_uplift(lift_deg: float, zone: Zone, normalised_area: float) -> float:
    """(GC_rn)_nom of ASCE 7-16 fig. 29.4-7.

    Parameters
    ----------
    lift_deg : float
        Angle between modules and roof [deg]; from 5 to 15 a straight line.
    zone : {"interior", "edge", "corner"}
    normalised_area : float
        Without unit: `normal_area`.
    """
    rows, ends = published("array_uplift").rows, []
    for tilt in ("5", "15"):
        curve = [row for row in rows if row["tilt_deg"] == tilt]
        areas = [math.log(float(row["area"])) for row in curve]
        found = [float(row[zone]) for row in curve]
        ends.append(float(np.interp(math.log(max(normalised_area, 1e-9)), areas, found)))
    return float(np.interp(lift_deg, (5.0, 15.0), ends))


def suction(slope_deg: float, zone: Zone, area_m2: float) -> float:
    """External suction on a roof, EN 1991-1-4 cl. 7.2: c_1 - (c_1 - c_10) log10 A.

    Parameters
    ----------
    slope_deg : float
        Of the roof [deg], 0 to 60.
    zone : {"interior", "edge", "corner"}
    area_m2 : float
        Loaded area A [m2]; below 1 as 1, above 10 as 10.
    """
    table = published("roof_suction")
    slopes = _plain(table.numbers("slope_deg"))
    small, large = (float(np.interp(slope_deg, slopes, _plain(table.numbers(f"{zone}_{size}"))))
                    for size in (1, 10))  # fmt: skip
    return small - (small - large) * math.log10(min(max(area_m2, 1.0), 10.0))


def _plain(numbers: Sequence[float | None]) -> list[float]:
    return [one for one in numbers if one is not None]
