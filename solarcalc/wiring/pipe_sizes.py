"""Pipes and cables as they are made: sizes inside and outside, masses."""

from __future__ import annotations

import math
from dataclasses import dataclass

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.published import published
from solarcalc.basis.sourced import constant
from solarcalc.basis.text import nearest

PLASTIC_KG_PER_M3 = constant("wiring.plastic_kg_per_m3")
METAL_KG_PER_M3 = {
    "copper": float(constant("wiring.copper_kg_per_m3")),
    "aluminium": float(constant("wiring.aluminium_kg_per_m3")),
}


@dataclass(frozen=True, kw_only=True)
class PipeSize:
    """A pipe as it is bought: its key in the site file, its words, its diameters [mm]."""

    key: str
    kind: str
    words: str
    outer_mm: float
    inner_mm: float
    source: str


def pipe_sizes(kind: str | None = None) -> tuple[PipeSize, ...]:
    """Every pipe of ``data/tables/pipes.csv``, or those of one kind: duct, conduit, waste, emt."""
    return tuple(
        PipeSize(
            key=row["key"], kind=row["kind"], words=row["words"],
            outer_mm=float(row["outer_mm"]), inner_mm=float(row["inner_mm"]), source=row["source"],
        )
        for row in published("pipes").rows
        if kind in (None, row["kind"])
    )  # fmt: skip


def pipe_size(key: str) -> PipeSize:
    """The pipe of that key.

    Raises
    ------
    InputError
        When there is none; says the keys and the nearest.
    """
    known = {each.key: each for each in pipe_sizes()}
    if key not in known:
        near = nearest(key, known)
        raise InputError(
            Fault(where="pipe.size", given=f'"{key}"', allowed="one of " + ", ".join(known),
                  why="its diameter inside is looked up by this key",
                  remedy=f'did you mean "{near}"?' if near else "take the next smaller one, and"
                  " give pipe.inner_mm as measured")
        )  # fmt: skip
    return known[key]


def cable_outer_mm(kind: str, size_mm2: float, cores: int = 1) -> float:
    """Outer diameter of a cable [mm], the thickest usual; the next larger size between two.

    Parameters
    ----------
    kind : {"solar", "pvc", "sheathed"}
        Single core for modules; bare single core in PVC; cable of 1, 2 or 4 cores with a sheath.
    size_mm2 : float
        Of a conductor [mm2].
    cores : int

    Raises
    ------
    InputError
        When the table has no such cable, or none so large.
    """
    sizes = {
        float(row["size_mm2"]): float(row["outer_mm"])
        for row in published("conduit_cables").rows
        if row["kind"] == kind and int(row["cores"]) == cores
    }
    large = [size for size in sizes if size >= size_mm2 * (1.0 - 1e-9)]
    if not large or not size_mm2 > 0.0:
        made = ", ".join(f"{size:g}" for size in sorted(sizes)) or "none of that kind"
        raise InputError(
            Fault(where="size of a cable in the pipe",
                  given=f"{size_mm2:g} mm2, {kind}, {cores} cores",
                  allowed=f"above 0 up to the largest of: {made} mm2",
                  remedy="give its outer diameter in pipe.other_cables_mm, from its sheet")
        )  # fmt: skip
    return sizes[min(large)]


def thhn_outer_mm(awg: int) -> float:
    """Outer diameter of a THHN single core [mm], from the area of NEC chapter 9 table 5.

    Raises
    ------
    InputError
        When the table has no such gauge.
    """
    areas = {int(row["awg"]): float(row["area_in2"]) for row in published("conduit_thhn").rows}
    if awg not in areas:
        raise InputError(
            Fault(where="gauge of a cable in the pipe", given=f"{awg}",
                  allowed="one of " + ", ".join(map(str, areas)))
        )  # fmt: skip
    return 25.4 * math.sqrt(4.0 * areas[awg] / math.pi)


def mass_kg_per_m(outer_mm: float, conductor_mm2: float, material: str = "copper") -> float:
    """Mass of a metre of cable [kg/m]: its metal, and plastic in all the rest.

    A little too heavy, as there is air between the strands: the sheets opened have 0.056 kg/m for
    solar cable of 4 mm2 and 5.6 mm, where this gives 0.065.

    Parameters
    ----------
    outer_mm : float
        Outer diameter [mm].
    conductor_mm2 : float
        All its conductors together [mm2].
    material : {"copper", "aluminium"}
    """
    rest_mm2 = max(math.pi / 4.0 * outer_mm**2 - conductor_mm2, 0.0)
    metal = METAL_KG_PER_M3[material] * conductor_mm2
    return (metal + float(PLASTIC_KG_PER_M3) * rest_mm2) * 1e-6
