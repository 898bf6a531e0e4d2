"""How full the pipe is, whether cables jam in it, and how hard they must be pulled."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.physics import GRAVITY_M_PER_S2
from solarcalc.basis.published import published
from solarcalc.basis.sourced import constant
from solarcalc.sitefile.site import Site
from solarcalc.wiring.pipe_sizes import (
    PipeSize,
    cable_outer_mm,
    mass_kg_per_m,
    pipe_size,
    pipe_sizes,
)
from solarcalc.wiring.runs import SizedRun

FRICTION = constant("wiring.friction")
PULL_N_PER_MM2 = {
    "copper": constant("wiring.copper_pull_n_per_mm2"),
    "aluminium": constant("wiring.aluminium_pull_n_per_mm2"),
}
MOST_BENDS_DEG = constant("wiring.most_bends_deg")
JAM_LOW, JAM_HIGH = float(constant("wiring.jam_low")), float(constant("wiring.jam_high"))
"""Pipe inside over cable outside between which three cables jam."""
COVER_M = constant("wiring.cover_m")
ROUND_UP_FRAC = constant("wiring.round_up_frac")
FIVE_OF_FOUR = math.sqrt(5.0 / 4.0)
"""Diameter of a cable of five cores over one of four; of three, that of four is taken."""
FILL_RULE = "NEC chapter 9 table 1"
"""ISO 80000-3 [m/s2]."""


@dataclass(frozen=True, kw_only=True)
class PipeCable:
    """Equal cables in a pipe.

    Parameters
    ----------
    outer_mm : float
        Outer diameter [mm].
    count : int
    conductor_mm2 : float
        Metal of one cable, all its cores [mm2]; 0 where it is not known: such a cable counts for
        fill and mass, not for what may be pulled on.
    material : {"copper", "aluminium"}
    words : str
    """

    outer_mm: float
    count: int
    conductor_mm2: float = 0.0
    material: Literal["copper", "aluminium"] = "copper"
    words: str = "cable"


Cables = Sequence[PipeCable | tuple[float, int]]
"""Cables in a pipe: records, or (outer diameter [mm], count)."""


@dataclass(frozen=True, kw_only=True)
class PipeFill:
    """A pipe with its cables.

    Parameters
    ----------
    words, kind : str
        The pipe as it is bought: ``"duct"``, ``"conduit"``, ``"emt"``, or ``"waste"``.
    inner_mm : float
        Diameter inside [mm].
    cables : tuple of PipeCable
    cable_count : int
    fill_frac, limit_frac : float
        Share of the inside that is filled, and allowed for that count, [0 to 1].
    jam_ratio : float or None
        Inside over outer diameter for just three cables, of their mean; else None.
    bends_deg : float
        All bends between the two ends [deg].
    length_m, depth_m : float
        Length, and cover above it [m].
    pull_kn : float
        To draw all cables in at once, dry, all bends at the pulling end [kN].
    pull_limit_kn : float or None
        What their conductors bear [kN]; None where none is known.
    """

    words: str
    kind: str
    inner_mm: float
    cables: tuple[PipeCable, ...]
    cable_count: int
    fill_frac: float
    limit_frac: float
    jam_ratio: float | None
    bends_deg: float
    length_m: float
    depth_m: float
    pull_kn: float
    pull_limit_kn: float | None


def fill_limit_frac(cable_count: int) -> float:
    """Share of a pipe that so many cables may fill, [0 to 1]: one 53 %, two 31 %, more 40 %."""
    table = published("conduit_fill")
    allowed = [
        float(row["fill_pct"]) for row in table.rows if cable_count >= int(row["least_cables"])
    ]
    return allowed[-1] / 100.0 if allowed else 1.0


def fill_frac(inner_mm: float, cables: Sequence[tuple[float, int]]) -> float:
    """Areas of the cables over that of the inside, [0 to 1].

    Parameters
    ----------
    inner_mm : float
        Diameter inside [mm].
    cables : sequence of (outer_mm, count)

    Examples
    --------
    >>> round(100.0 * fill_frac(21.0, [(5.6, 4)]), 2)
    28.44
    """
    return sum(count * outer_mm**2 for outer_mm, count in cables) / inner_mm**2


def bend_factor(bends_deg: float, friction_frac: float = float(FRICTION)) -> float:
    """What bends multiply the pull by: e to the friction times the angle [rad].

    Handbooks of cable laying (capstan formula); good where the pull is far above the weight in the
    bend.
    """
    return math.exp(friction_frac * math.radians(bends_deg))


def straight_pull_kn(
    mass_kg_per_m: float, length_m: float, friction_frac: float = float(FRICTION)
) -> float:
    """Pull along a straight level pipe [kN]: friction x mass x g x length.

    Examples
    --------
    >>> round(straight_pull_kn(2.5, 500.0, 0.4), 1)
    4.9
    """
    return friction_frac * mass_kg_per_m * GRAVITY_M_PER_S2 * length_m / 1000.0


def cables_of_run(sized: SizedRun) -> tuple[PipeCable, ...]:
    """Cables of a run as they lie in one pipe: single cores for direct current, else one cable.

    Direct current over xlpe is single-core solar cable, over pvc single-core with a sheath;
    alternating current a sheathed cable for each circuit, its protective conductor in it.
    """
    run, size = sized.run, sized.size_mm2
    together = run.count * sized.in_parallel
    if run.current == "dc":
        modules = not run.key.startswith(("controller_battery", "battery_"))
        solar = modules and run.insulation == "xlpe" and run.material == "copper"
        kind = "solar" if solar else "sheathed"
        outer, cores, count = cable_outer_mm(kind, size), 1, 2 * together
    else:
        cores, count = (3 if run.loaded == 2 else 4) + run.split + (run.loaded == 3), together
        outer = cable_outer_mm("sheathed", size, 4) * (FIVE_OF_FOUR if cores > 4 else 1.0)
    return (
        PipeCable(outer_mm=outer, count=count, conductor_mm2=cores * size, material=run.material,
                  words=f"{run.name}, {sized.size_name}"),
    )  # fmt: skip


def _records(cables: Cables) -> tuple[PipeCable, ...]:
    """All of them as records, sound ones."""
    laid = tuple(
        each if isinstance(each, PipeCable) else PipeCable(outer_mm=each[0], count=each[1])
        for each in cables
    )
    _sound_cables(laid)
    return laid


def pipe_fill(
    site: Site, cables: Cables, *, length_m: float = 0.0
) -> PipeFill:
    """The site's pipe with these cables and those of pipe.other_cables_mm.

    Parameters
    ----------
    site : Site
    cables : sequence of PipeCable, or of (outer_mm, count)
    length_m : float
        Of the pipe where the site file gives none: that of the main run [m].

    Raises
    ------
    InputError
        When the pipe is not known, there is no cable, or a cable has no size.
    """
    pipe = site.pipe
    size = pipe_size(pipe.size)
    others = [
        PipeCable(outer_mm=each, count=1, words="what else lies in it")
        for each in pipe.other_cables_mm
    ]
    if pipe.inner_mm is not None:
        size = replace(size, inner_mm=pipe.inner_mm, words=f"{size.words}, measured inside")
    return filled(size, [*cables, *others], pipe.length_m or length_m,
                  bends_deg=90.0 * pipe.bends, depth_m=pipe.depth_m)  # fmt: skip


def filled(
    size: PipeSize, cables: Cables, length_m: float, *, bends_deg: float = 0.0,
    depth_m: float = 0.0,
) -> PipeFill:  # fmt: skip
    """A pipe with these cables and no others.

    Parameters
    ----------
    size : PipeSize
    cables : sequence of PipeCable, or of (outer_mm, count)
    length_m : float
        [m].
    bends_deg : float
        All bends between its ends [deg].
    depth_m : float
        Of cover above it [m].

    Raises
    ------
    InputError
        When there is no cable, or a cable has no size.
    """
    laid = _records(cables)
    count = sum(cable.count for cable in laid)
    limits = {"copper": 0.0, "aluminium": 0.0}
    for cable in laid:
        limits[cable.material] += cable.count * cable.conductor_mm2
    bears_kn = sum(float(PULL_N_PER_MM2[metal]) * area for metal, area in limits.items()) / 1000.0
    mass = sum(
        cable.count * mass_kg_per_m(cable.outer_mm, cable.conductor_mm2, cable.material)
        for cable in laid
    )
    mean_mm = sum(cable.count * cable.outer_mm for cable in laid) / count
    return PipeFill(
        words=size.words, kind=size.kind, inner_mm=size.inner_mm, cables=laid, cable_count=count,
        fill_frac=fill_frac(size.inner_mm, [(cable.outer_mm, cable.count) for cable in laid]),
        limit_frac=fill_limit_frac(count),
        jam_ratio=size.inner_mm / mean_mm if count == 3 else None,
        bends_deg=bends_deg, length_m=length_m, depth_m=depth_m,
        pull_kn=straight_pull_kn(mass, length_m) * bend_factor(bends_deg),
        pull_limit_kn=bears_kn or None,
    )  # fmt: skip


def _sound_cables(cables: Sequence[PipeCable]) -> None:
    if not cables:
        raise InputError(
            Fault(where="cables in the pipe", given="none", allowed="one or more",
                  remedy="give the runs that lie in it, or pipe.other_cables_mm")
        )  # fmt: skip
    faults = [
        Fault(where=f"cables in the pipe, {cable.words}",
              given=f"{cable.count} of {cable.outer_mm:g} mm",
              allowed="1 or more of an outer diameter above 0 mm")
        for cable in cables
        if cable.count < 1 or not cable.outer_mm > 0.0
    ]  # fmt: skip
    if faults:
        raise InputError(faults)


def most_equal_cables(pipe: PipeSize, outer_mm: float) -> int:
    """Most cables of one diameter in a pipe, none beside them.

    NEC chapter 9 note 7: a last part of 0.8 or more counts as a whole cable.
    """
    one = (outer_mm / pipe.inner_mm) ** 2
    exact = fill_limit_frac(3) / one
    whole = math.floor(exact + 1e-9)
    most = whole + (exact - whole >= float(ROUND_UP_FRAC))
    if most >= 3:
        return most
    return max((count for count in (1, 2) if count * one <= fill_limit_frac(count)), default=0)


def smallest_pipe(cables: Cables, kind: str) -> PipeSize | None:
    """The smallest pipe of a kind (duct, conduit, waste, emt) that may hold them; None: none is."""
    laid = _records(cables)
    limit = fill_limit_frac(sum(cable.count for cable in laid))
    sizes = [(cable.outer_mm, cable.count) for cable in laid]
    for pipe in sorted(pipe_sizes(kind), key=lambda each: each.inner_mm):
        if fill_frac(pipe.inner_mm, sizes) <= limit:
            return pipe
    return None
