"""Feet and ballast of the site's own modules, row by row and zone by zone, and what they carry.

Preliminary until a named qualified person has assessed it. Left out: snow, earthquakes, the roof's
own strength, dynamic effects, hills and taller buildings, sheltering of one row by another,
fatigue, and the frames and clamps themselves.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from solarcalc.basis.physics import GRAVITY_M_PER_S2
from solarcalc.basis.sourced import constant
from solarcalc.roof.hardware import (
    RAILS_A_TIER,
    feet_of,
    foot_count,
    foot_inset_m,
    modules_of_runs,
    runs_m,
)
from solarcalc.roof.packing import ModulePlaces
from solarcalc.roof.rows import Rows
from solarcalc.roof.strings import Spot, parts_of, spots_of
from solarcalc.sitefile.array import Module
from solarcalc.sitefile.roof import Rails, Roof
from solarcalc.sitefile.structure import Structure
from solarcalc.structure.weight import (
    Held,
    factors_of,
    foot_uplift_kn,
    friction_of,
    held_down,
    rail_share,
)
from solarcalc.structure.wind import peak_pressure_kpa
from solarcalc.structure.zones import ZONES, Zone, net_uplift, zone_sizes

LEAST_BLOCKS = constant("structure.least_blocks")
ROUNDING = 1e-9


@dataclass(frozen=True, kw_only=True)
class ZoneShare:
    """Modules of one part of a row that stand in one zone, and what holds them.

    Parameters
    ----------
    row, tier, part : int
        As modules are counted on the roof, from 1.
    zone : {"interior", "edge", "corner"}
    module_count, foot_count, block_count : int
    uplift_kpa : float
        Characteristic net uplift on the modules that act together [kPa].
    foot_kn : float
        Design uplift on the worst foot [kN]; 0 where weight is enough, or without feet here.
    held : Held
        Mass that one module needs in all.
    dead_kg : float
        Of one module with its share of rails and feet [kg].
    """

    row: int
    tier: int
    part: int
    zone: Zone
    module_count: int
    foot_count: int
    block_count: int
    uplift_kpa: float
    foot_kn: float
    held: Held
    dead_kg: float


@dataclass(frozen=True, kw_only=True)
class ZoneTotal:
    """Everything in one zone: counts, ballast [kg], the worst uplift [kPa] and foot [kN]."""

    zone: Zone
    module_count: int
    foot_count: int
    block_count: int
    ballast_kg: float
    uplift_kpa: float
    foot_kn: float


@dataclass(frozen=True, kw_only=True)
class StructurePlan:
    """What the wind asks of feet and ballast.

    Parameters
    ----------
    structure : Structure
    pressure_kpa : float
        Velocity pressure of a gust at the top of the roof [kPa].
    rows : Rows
    friction : float
        Coefficient under ballasted feet, without unit.
    friction_source : str
    shares : tuple of ZoneShare
        In the order of rows.
    """

    structure: Structure
    pressure_kpa: float
    rows: Rows
    friction: float
    friction_source: str
    shares: tuple[ZoneShare, ...]

    @property
    def ballasted(self) -> bool:
        """Whether weight alone holds the modules."""
        return self.structure.held_by == "ballast"

    @cached_property
    def zones(self) -> tuple[ZoneTotal, ...]:
        """Sums by zone, of zones in which modules stand."""
        found = ((zone, [one for one in self.shares if one.zone == zone]) for zone in ZONES)
        return tuple(self._total(zone, shares) for zone, shares in found if shares)

    def _total(self, zone: Zone, shares: Sequence[ZoneShare]) -> ZoneTotal:
        blocks = sum(one.block_count for one in shares)
        return ZoneTotal(
            zone=zone, module_count=sum(one.module_count for one in shares),
            foot_count=sum(one.foot_count for one in shares), block_count=blocks,
            ballast_kg=blocks * self.structure.block_mass_kg,
            uplift_kpa=max(one.uplift_kpa for one in shares),
            foot_kn=max(one.foot_kn for one in shares),
        )  # fmt: skip

    @property
    def blocks_by_row(self) -> dict[int, int]:
        """Ballast blocks of each row."""
        found: dict[int, int] = defaultdict(int)
        for one in self.shares:
            found[one.row] += one.block_count
        return dict(found)

    @property
    def block_count(self) -> int:
        """Ballast blocks of the whole roof."""
        return sum(one.block_count for one in self.shares)

    @property
    def ballast_kg(self) -> float:
        """Mass of all ballast [kg]."""
        return self.block_count * self.structure.block_mass_kg

    @property
    def worst_foot_kn(self) -> float:
        """Design uplift on the worst foot [kN]."""
        return max((one.foot_kn for one in self.shares), default=0.0)

    @property
    def holds_by_weight(self) -> bool:
        """Whether any mass holds: false where the pads slide on the slope by themselves."""
        return all(math.isfinite(one.held.sliding_kg) for one in self.shares)

    @property
    def governs(self) -> str:
        """What asks for the most ballast where that is the most."""
        return max(self.shares, key=lambda one: one.held.needed_kg).held.governs


def structure_plan(
    structure: Structure, *, places: ModulePlaces, roof: Roof, module: Module, rails: Rails
) -> StructurePlan | None:
    """Feet and ballast of modules that stand on their roof.

    Parameters
    ----------
    structure : Structure
    places : ModulePlaces
        The site's own modules.
    roof : Roof
    module : Module
        For its mass and size.
    rails : Rails
        For feet and masses.

    Returns
    -------
    StructurePlan or None
        None where nobody gave a basic wind velocity.
    """
    pressure_kpa = peak_pressure_kpa(structure)
    if pressure_kpa is None:
        return None
    friction, source = friction_of(structure)
    loads = _Loads(structure=structure, pressure_kpa=pressure_kpa, rows=places.rows,
                   friction=friction, module=module, rails=rails)  # fmt: skip
    sizes = zone_sizes(structure, places.rows)
    zones = [sizes.of(corners, roof) for corners in places.plan_corners_m]
    return StructurePlan(
        structure=structure, pressure_kpa=pressure_kpa, rows=places.rows, friction=friction,
        friction_source=source,
        shares=tuple(share for part in parts_of(spots_of(places))
                     for share in loads.shares(part, [zones[spot.place] for spot in part])),
    )  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class _Loads:
    structure: Structure
    pressure_kpa: float
    rows: Rows
    friction: float
    module: Module
    rails: Rails

    def shares(self, part: Sequence[Spot], zones: Sequence[Zone]) -> Iterator[ZoneShare]:
        """What holds the modules of a part, zone by zone."""
        counts = modules_of_runs(len(part), rows=self.rows, rails=self.rails)
        runs = runs_m(counts, rows=self.rows, rails=self.rails)
        feet = self._feet_by_zone(runs, zones)
        dead_kg = self._dead_kg(len(part), runs)
        for zone in ZONES:
            count = zones.count(zone)
            if not count:
                continue
            uplift_kpa = self._uplift_kpa(zone, min(counts) * self._face_m2)
            held = self._held(uplift_kpa)
            yield ZoneShare(
                row=part[0].row, tier=part[0].tier, part=part[0].part, zone=zone,
                module_count=count, foot_count=feet[zone], uplift_kpa=uplift_kpa, held=held,
                block_count=self._blocks(count, held, dead_kg), dead_kg=dead_kg,
                foot_kn=max(self._foot_kn(zone, run, dead_kg) for run in runs)
                if feet[zone] else 0.0,
            )  # fmt: skip

    @property
    def _face_m2(self) -> float:
        return self.rows.along_m * self.rows.module_up_m

    def _uplift_kpa(self, zone: Zone, area_m2: float) -> float:
        return self.pressure_kpa * net_uplift(self.structure, self.rows, zone, area_m2)

    def _held(self, uplift_kpa: float) -> Held:
        return held_down(
            uplift_kpa * self._face_m2, lift_deg=self.rows.lift_deg, friction=self.friction,
            slope_deg=self.rows.roof_slope_deg, factors=factors_of(self.structure.wind_code),
        )  # fmt: skip

    def _dead_kg(self, modules: int, runs: Iterable[float]) -> float:
        """Of one module with its share of rails and feet [kg]."""
        rails = self.rails
        a_rail = sum(run_m * rails.mass_kg_per_m
                     + foot_count(run_m, rails.foot_spacing_m) * rails.foot_mass_kg
                     for run_m in runs)  # fmt: skip
        return self.module.mass_kg + float(RAILS_A_TIER) * a_rail / modules

    def _blocks(self, modules: int, held: Held, dead_kg: float) -> int:
        """Blocks of so many modules alike, together; none where fixings hold them."""
        if self.structure.held_by != "ballast":
            return 0
        lacking_kg = modules * (held.needed_kg - dead_kg)
        blocks = math.ceil(lacking_kg / self.structure.block_mass_kg - ROUNDING)
        return max(blocks, modules * int(LEAST_BLOCKS))

    def _foot_kn(self, zone: Zone, run_m: float, dead_kg: float) -> float:
        """Design uplift on the worst foot of a run [kN]."""
        if self.structure.held_by == "ballast":
            return 0.0
        feet = foot_count(run_m, self.rails.foot_spacing_m)
        inset_m = foot_inset_m(run_m)
        apart_m = (run_m - 2.0 * inset_m) / (feet - 1)
        along_m = max(rail_share(feet) * apart_m, 0.5 * apart_m + inset_m)
        area_m2 = along_m * self.rows.module_up_m / float(RAILS_A_TIER)
        dead_kpa = dead_kg * GRAVITY_M_PER_S2 / self._face_m2 / 1000.0
        square = math.cos(math.radians(self.rows.tilt_deg))
        return foot_uplift_kn(
            self._uplift_kpa(zone, area_m2), dead_kpa * square, area_m2,
            factors=factors_of(self.structure.wind_code),
        )  # fmt: skip

    def _feet_by_zone(self, runs: Sequence[float], zones: Sequence[Zone]) -> dict[Zone, int]:
        """Feet on all rails of a part, each in the zone of the module over it."""
        step_m = self.rows.along_m + self.rows.gap_m
        begins_m = self.rails.overhang_m - self.rows.gap_m / 2.0
        found: dict[Zone, int] = dict.fromkeys(ZONES, 0)
        for foot_m in feet_of(runs, self.rails.foot_spacing_m):
            under = int(np.clip((foot_m - begins_m) // step_m, 0, len(zones) - 1))
            found[zones[under]] += int(float(RAILS_A_TIER))
        return found
