"""Ducts and cables as they are made: fill, jamming, pull, and how a duct is laid."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import Literal

from solarcalc.basis.check import Check, checked
from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.physics import GRAVITY_M_PER_S2
from solarcalc.basis.published import published
from solarcalc.basis.record import but
from solarcalc.basis.sourced import NO_SOURCE, constant
from solarcalc.basis.text import nearest
from solarcalc.basis.worded import worded
from solarcalc.sitefile.site import Site
from solarcalc.wiring.runs import SizedRun

PLASTIC_KG_PER_M3 = constant("wiring.plastic_kg_per_m3")
METAL_KG_PER_M3 = {
    "copper": float(constant("wiring.copper_kg_per_m3")),
    "aluminium": float(constant("wiring.aluminium_kg_per_m3")),
}


@dataclass(frozen=True, kw_only=True)
class DuctSize:
    """A duct as it is bought: its key in the site file, its words, its diameters [mm]."""

    key: str
    kind: str
    words: str
    outer_mm: float
    inner_mm: float
    source: str


@cache
def duct_sizes(kind: str | None = None) -> tuple[DuctSize, ...]:
    """Every duct of ``data/tables/ducts.csv``, or those of one kind: duct, conduit, waste, emt."""
    return tuple(
        DuctSize(
            key=row["key"], kind=row["kind"], words=row["words"],
            outer_mm=float(row["outer_mm"]), inner_mm=float(row["inner_mm"]), source=row["source"],
        )
        for row in published("ducts").rows
        if kind in (None, row["kind"])
    )  # fmt: skip


def duct_size(key: str) -> DuctSize:
    """The duct of that key.

    Raises
    ------
    InputError
        When there is none; says the keys and the nearest.
    """
    known = {each.key: each for each in duct_sizes()}
    if key not in known:
        near = nearest(key, known)
        raise InputError(
            Fault(where="duct.size", given=f'"{key}"', allowed="one of " + ", ".join(known),
                  why="its diameter inside is looked up by this key",
                  remedy=f'did you mean "{near}"?' if near else "take the next smaller one, and"
                  " give duct.inner_mm as measured")
        )  # fmt: skip
    return known[key]


@cache
def _cable_sizes(kind: str, cores: int) -> dict[float, float]:
    """Outer diameter [mm] by size [mm2]."""
    return {
        float(row["size_mm2"]): float(row["outer_mm"])
        for row in published("conduit_cables").rows
        if row["kind"] == kind and int(row["cores"]) == cores
    }


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
    sizes = _cable_sizes(kind, cores)
    large = [size for size in sizes if size >= size_mm2 * (1.0 - 1e-9)]
    if not large or not size_mm2 > 0.0:
        made = ", ".join(f"{size:g}" for size in sorted(sizes)) or "none of that kind"
        raise InputError(
            Fault(where="size of a cable in the duct",
                  given=f"{size_mm2:g} mm2, {kind}, {cores} cores",
                  allowed=f"above 0 up to the largest of: {made} mm2",
                  remedy="give its outer diameter in duct.other_cables_mm, from its sheet")
        )  # fmt: skip
    return sizes[min(large)]


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


FRICTION = constant("wiring.friction")
PULL_N_PER_MM2 = {
    "copper": constant("wiring.copper_pull_n_per_mm2"),
    "aluminium": constant("wiring.aluminium_pull_n_per_mm2"),
}
MOST_BENDS_DEG = constant("wiring.most_bends_deg")
JAM_LOW, JAM_HIGH = float(constant("wiring.jam_low")), float(constant("wiring.jam_high"))
"""Duct inside over cable outside between which three cables jam."""
COVER_M = constant("wiring.cover_m")
ROUND_UP_FRAC = constant("wiring.round_up_frac")
FIVE_OF_FOUR = math.sqrt(5.0 / 4.0)
"""Diameter of a cable of five cores over one of four; of three, that of four is taken."""
"""ISO 80000-3 [m/s2]."""


@dataclass(frozen=True, kw_only=True)
class DuctCable:
    """Equal cables in a duct.

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


Cables = Sequence[DuctCable | tuple[float, int]]
"""Cables in a duct: records, or (outer diameter [mm], count)."""


@dataclass(frozen=True, kw_only=True)
class DuctFill:
    """A duct with its cables.

    Parameters
    ----------
    words, kind : str
        The duct as it is bought: ``"duct"``, ``"conduit"``, ``"emt"``, or ``"waste"``.
    inner_mm : float
        Diameter inside [mm].
    cables : tuple of DuctCable
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
    cables: tuple[DuctCable, ...]
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
    """Share of a duct that so many cables may fill, [0 to 1]: one 53 %, two 31 %, more 40 %."""
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
    """Pull along a straight level duct [kN]: friction x mass x g x length.

    Examples
    --------
    >>> round(straight_pull_kn(2.5, 500.0, 0.4), 1)
    4.9
    """
    return friction_frac * mass_kg_per_m * GRAVITY_M_PER_S2 * length_m / 1000.0


def cables_of_run(sized: SizedRun) -> tuple[DuctCable, ...]:
    """Cables of a run as they lie in one duct: single cores for direct current, else one cable.

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
        DuctCable(outer_mm=outer, count=count, conductor_mm2=cores * size, material=run.material,
                  words=f"{run.name}, {sized.size_name}"),
    )  # fmt: skip


def sets_of_run(sized: SizedRun) -> tuple[DuctCable, ...]:
    """Cables of a run by what is never parted: both poles, or all cores, of each conductor set."""
    count = sized.run.count * sized.in_parallel
    return tuple(
        but(each, count=each.count // count)
        for each in cables_of_run(sized) for _ in range(count)
    )


def dealt(sets: Sequence[DuctCable], ducts: int) -> tuple[tuple[DuctCable, ...], ...]:
    """Sets of cables dealt out over so many ducts, the thickest first, each to the emptiest.

    Parameters
    ----------
    sets : sequence of DuctCable
        None of them is parted.
    ducts : int
        Ducts that stay empty are left out.
    """
    shares: list[list[DuctCable]] = [[] for _ in range(ducts)]
    for each in sorted(sets, key=_area, reverse=True):
        min(shares, key=lambda share: sum(map(_area, share))).append(each)
    return tuple(together(share) for share in shares if share)


def _area(cable: DuctCable) -> float:
    return cable.count * cable.outer_mm**2


def together(sets: Sequence[DuctCable]) -> tuple[DuctCable, ...]:
    """Cables in one duct, those alike counted."""
    counts: Counter[DuctCable] = Counter()
    for each in sets:
        counts[but(each, count=1)] += each.count
    return tuple(but(each, count=count) for each, count in counts.items())


def _records(cables: Cables) -> tuple[DuctCable, ...]:
    """All of them as records, sound ones."""
    laid = tuple(
        each if isinstance(each, DuctCable) else DuctCable(outer_mm=each[0], count=each[1])
        for each in cables
    )
    _sound_cables(laid)
    return laid


def as_laid(size: DuctSize, cables: Cables) -> DuctSize:
    """What is laid: the size itself, or a cable duct in place of a pipe not made for cables.

    Parameters
    ----------
    size : DuctSize
        As the site file has it.
    cables : sequence of DuctCable, or of (outer_mm, count)
        That it must hold; the smallest duct that does, and is no thinner outside.
    """
    if size.kind != "waste":
        return size
    made = sorted(duct_sizes("duct"), key=lambda each: each.outer_mm)
    fits = smallest_duct(cables, "duct") if cables else made[0]
    as_thick = next((each for each in made if each.outer_mm >= size.outer_mm), made[-1])
    return max(fits or made[-1], as_thick, key=lambda each: each.outer_mm)


def duct_fill(
    site: Site, cables: Cables, *, length_m: float = 0.0, size: DuctSize | None = None
) -> DuctFill:
    """The site's duct with these cables and those of duct.other_cables_mm.

    Parameters
    ----------
    site : Site
    cables : sequence of DuctCable, or of (outer_mm, count)
    length_m : float
        Of the duct where the site file gives none: that of the main run [m].
    size : DuctSize or None
        As it is laid, where that is not the site file's.

    Raises
    ------
    InputError
        When the duct is not known, there is no cable, or a cable has no size.
    """
    duct = site.duct
    planned = duct_size(duct.size)
    size = size or planned
    others = [
        DuctCable(outer_mm=each, count=1, words="what else lies in it")
        for each in duct.other_cables_mm
    ]
    if duct.inner_mm is not None and size == planned:
        size = replace(size, inner_mm=duct.inner_mm, words=f"{size.words}, measured inside")
    return filled(size, [*cables, *others], duct.length_m or length_m,
                  bends_deg=90.0 * duct.bends, depth_m=duct.depth_m)  # fmt: skip


def filled(
    size: DuctSize, cables: Cables, length_m: float, *, bends_deg: float = 0.0,
    depth_m: float = 0.0,
) -> DuctFill:  # fmt: skip
    """A duct with these cables and no others.

    Parameters
    ----------
    size : DuctSize
    cables : sequence of DuctCable, or of (outer_mm, count)
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
    return DuctFill(
        words=size.words, kind=size.kind, inner_mm=size.inner_mm, cables=laid, cable_count=count,
        fill_frac=fill_frac(size.inner_mm, [(cable.outer_mm, cable.count) for cable in laid]),
        limit_frac=fill_limit_frac(count),
        jam_ratio=size.inner_mm / mean_mm if count == 3 else None,
        bends_deg=bends_deg, length_m=length_m, depth_m=depth_m,
        pull_kn=straight_pull_kn(mass, length_m) * bend_factor(bends_deg),
        pull_limit_kn=bears_kn or None,
    )  # fmt: skip


def _sound_cables(cables: Sequence[DuctCable]) -> None:
    if not cables:
        raise InputError(
            Fault(where="cables in the duct", given="none", allowed="one or more",
                  remedy="give the runs that lie in it, or duct.other_cables_mm")
        )  # fmt: skip
    faults = [
        Fault(where=f"cables in the duct, {cable.words}",
              given=f"{cable.count} of {cable.outer_mm:g} mm",
              allowed="1 or more of an outer diameter above 0 mm")
        for cable in cables
        if cable.count < 1 or not cable.outer_mm > 0.0
    ]  # fmt: skip
    if faults:
        raise InputError(faults)


def smallest_duct(cables: Cables, kind: str) -> DuctSize | None:
    """The smallest duct of a kind (duct, conduit, waste, emt) that may hold them; None: none is."""
    laid = _records(cables)
    made = sorted(duct_sizes(kind), key=lambda each: each.inner_mm)
    return next((duct for duct in made if holds(duct, laid)), None)


def holds(duct: DuctSize, cables: Sequence[DuctCable]) -> bool:
    """Whether a duct may hold these cables and no others."""
    sizes = [(cable.outer_mm, cable.count) for cable in cables]
    return fill_frac(duct.inner_mm, sizes) <= fill_limit_frac(sum(count for _, count in sizes))


def fill_checks(fill: DuctFill) -> list[Check]:
    """Checks of a duct: whether it is made for cables; room, jamming, bends, pull, cover."""
    larger = smallest_duct(fill.cables, "duct" if fill.kind == "waste" else fill.kind)
    take = f"{larger.words}, or larger" if larger else "two ducts"
    checks = [
        checked(fill.kind != "waste", **worded("wiring", "duct-made-cables"), found=fill.words),
        checked(fill.fill_frac <= fill.limit_frac, "failed", **worded(
            "wiring", "fill-cables", fill_words=fill.words, cable_count=fill.cable_count,
            fill_percent=100.0 * fill.fill_frac, limit_percent=100.0 * fill.limit_frac, take=take,
        )),
        checked(
            fill.bends_deg <= float(MOST_BENDS_DEG), "failed",
            rule="wiring/duct-bends", kind="cost",
            item="Bends between the ends of the duct", found=f"{fill.bends_deg:.0f}",
            limit=f"at most {float(MOST_BENDS_DEG):.0f}", unit="deg",
            clause=MOST_BENDS_DEG.source,
            remedy="a box with a lid to pull from, half way",
        ),
        checked(
            fill.depth_m >= float(COVER_M) - 1e-9,
            rule="wiring/duct-cover", kind="safety",
            item="Cover above the duct", found=f"{fill.depth_m:.2f}",
            limit=f"at least {float(COVER_M):.2f}", unit="m", clause=COVER_M.source,
            remedy="dig deeper, or cover it with slabs; local codes ask for more under a drive",
        ),
    ]
    if fill.jam_ratio is not None:
        checks.append(_jam_check(fill.jam_ratio))
    if fill.pull_limit_kn is not None:
        checks.append(_pull_check(fill, fill.pull_limit_kn))
    return checks


def _jam_check(ratio: float) -> Check:
    return checked(
        not JAM_LOW <= ratio <= JAM_HIGH,
        **worded("wiring", "three-cables-one", ratio=ratio, jam_low=JAM_LOW, jam_high=JAM_HIGH),
    )  # fmt: skip


def _pull_check(fill: DuctFill, limit_kn: float) -> Check:
    return checked(fill.pull_kn <= limit_kn, **worded(
        "wiring", "pull-draw-cables", pull_kn=fill.pull_kn, limit_kn=limit_kn,
        friction=float(FRICTION), pull_n_per_mm2_copper_value=PULL_N_PER_MM2["copper"].value,
        pull_n_per_mm2_aluminium_value=PULL_N_PER_MM2["aluminium"].value,
    ))  # fmt: skip


def duct_advice(fill: DuctFill) -> tuple[str, ...]:
    """How the duct is laid and the cables drawn in."""
    most_mm = max(cable.outer_mm for cable in fill.cables)
    drain = (
        "Pipe for waste water is not made for cables: grey or orange, it is taken for a drain."
        " Label it at both ends and use it where the local code allows it.",
    )
    return (
        "Sweep bends, no elbows: a radius at the bend of ten duct diameters where there is room,"
        f" and never under {6.0 * most_mm:.0f} mm, six diameters of the thickest cable"
        f" ({NO_SOURCE}; its sheet decides).",
        "Round off every cut end; bell mouths where cables enter.",
        "Draw all cables in together, with a lubricant made for cables, and leave a new draw rope"
        " in.",
        "Leave room: half the allowed fill now means one more cable later without digging.",
        "Let it fall to one end and drain there; seal both ends against water, gas, ants and rats.",
        f"{fill.depth_m:g} m of cover, sand around it, marker tape half way up; draw its way on"
        " the plan.",
        *(drain if fill.kind == "waste" else ()),
        "Direct and alternating current in ducts of their own; circuits of both in one only where"
        " the local code allows it.",
        "Look for buried water, gas and cables before you dig. Local codes and a licensed"
        " electrician decide.",
    )
