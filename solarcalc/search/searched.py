"""A search over the whole systems of a site: every system of its axes with its best plane."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from solarcalc.basis.errors import Fault, InputError
from solarcalc.design import Design
from solarcalc.search.axes import MOST_CANDIDATES, Axes, LeftOut, axes_of
from solarcalc.search.beside import besides_of
from solarcalc.search.bounds import Wish
from solarcalc.search.kits import Kit, kits_of
from solarcalc.search.points import Point
from solarcalc.search.price import Pricing, pricing_of
from solarcalc.search.run import Found, held_with_engine, search_systems
from solarcalc.search.systems import Systems, systems_of
from solarcalc.search.years import with_engine
from solarcalc.sitefile.base import plain

MOST_CERTAIN = 130_000
"""Candidates with a generator that are all run: a quarter of a minute of two processors."""
MOST_COUNTED = 10 * MOST_CERTAIN
"""Of so many nobody looks how many the roof holds."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Searched:
    """What a search has found.

    Parameters
    ----------
    design : Design
        The site's own.
    axes : Axes
    kits : sequence of Kit
    left_out : sequence of LeftOut
    found : sequence of Found
        The best plane of each system, by the field of planes.
    pricing : Pricing
        From [costs] to the customer's price.
    table : DataFrame
        One line a system with its best plane: the columns of `Point`; ``price``, by `pricing`;
        ``running`` of a generator over the lifetime; ``hours``, ``not_supplied_kwh``, ``fuel_l``,
        ``sun_kwh``; and where it stands in ``found``.
    certain : bool
        Whether systems with a generator were run on every plane: what is not run of them is by a
        margin that is no proof.
    """

    design: Design
    axes: Axes
    kits: Sequence[Kit]
    left_out: Sequence[LeftOut]
    found: Sequence[Found]
    pricing: Pricing
    table: pd.DataFrame

    certain: bool

    @property
    def has_generator(self) -> bool:
        """Whether a system that was tried has one."""
        return any(kit.generator_w for kit in self.kits)

    @property
    def proven(self) -> bool:
        """Whether no plane that was not run can be better."""
        return self.certain or not self.has_generator

    @property
    def candidates(self) -> int:
        """Whole systems: every system on every plane whose rows can stand."""
        return sum(one.candidates for one in self.found)

    @property
    def held(self) -> int:
        """Of these, those that the roof holds."""
        return sum(one.held for one in self.found)

    @property
    def run(self) -> int:
        """Of these, those that were run through the year."""
        return sum(one.run for one in self.found)

    @property
    def bounds(self) -> int:
        """Years that were run beside them, in light that no plane passes."""
        return sum(one.bounds for one in self.found)

    @property
    def planes(self) -> int:
        """Planes with their pitches, of both orientations."""
        orientations = {one.systems.field.base_rows.orientation: one.planes for one in self.found}
        return sum(orientations.values())


def search(
    design: Design, *, wish: Wish | None = None, limits: Mapping[str, Sequence[Any]] | None = None,
    threads: int | None = None,
) -> Searched:  # fmt: skip
    """The best plane of every system on the axes of a site.

    Parameters
    ----------
    design : Design
    wish : Wish, optional
        Hours that are allowed and the criterion; none and the fewest hours if left out.
    limits : mapping of axis to values, optional
        In place of [search]; names as in that table.
    threads : int, optional
        Processors to use; all that the process may use if left out.

    Raises
    ------
    InputError
        As `axes_of`; for axes without a system, or with too many.
    """
    axes = axes_of(design, limits)
    kits, left_out = kits_of(design, axes)
    on_planes, bare = besides_of(design, axes.planes)
    axes, left_out = replace(axes, planes=tuple(on_planes)), [*left_out, *bare]
    several = systems_of(design, axes, kits) if kits and on_planes else []
    planes = len(axes.tilt_deg) * len(axes.azimuth_deg) * len(axes.row_pitch_m)
    count = planes * sum(map(len, several))
    if not 0 < count <= MOST_CANDIDATES:
        why = "; ".join(f"{one.value}: {one.why}" for one in left_out)
        raise InputError(Fault(
            where=f"{plain(design.sitefile.path.name)}: search", given=f"{count} systems",
            allowed=f"1 to {MOST_CANDIDATES} systems", why="" if count else why,
            remedy="enter fewer values, or wider steps" if count else ""))  # fmt: skip
    asked = wish or Wish()
    certain = (planes * sum(int(with_engine(one).sum()) for one in several) <= MOST_COUNTED
               and sum(map(held_with_engine, several)) <= MOST_CERTAIN)  # fmt: skip
    found = [search_systems(one, asked, certain=certain, threads=threads) for one in several]
    pricing = pricing_of(design)
    table = pd.concat([_table(one, number, pricing) for number, one in enumerate(found)],
                      ignore_index=True)  # fmt: skip
    return Searched(design=design, axes=axes, kits=kits, left_out=left_out, found=found,
                    pricing=pricing, table=table, certain=certain)  # fmt: skip


def _table(found: Found, number: int, pricing: Pricing) -> pd.DataFrame:
    """Systems that some plane holds, each with its best."""
    which = np.flatnonzero(found.plane >= 0)
    points = [point_at(found.systems, int(one), int(found.plane[one])) for one in which]
    table = pd.DataFrame([one.__dict__ for one in points])
    hours, missed, running, sun, fuel = found.figures[which, :5].T
    return table.assign(
        price=pricing.asked(found.systems.costs[which]), running=running, hours=hours,
        not_supplied_kwh=missed, fuel_l=fuel, sun_kwh=sun, plane=found.plane[which], field=number,
        system=which,
    )  # fmt: skip


def point_at(systems: Systems, system: int, plane: int) -> Point:
    """A system on a plane, by their numbers."""
    own = systems.field
    number, pitch = divmod(plane, len(own.pitches_m))
    tilt, azimuth = divmod(number, len(own.azimuths_deg))
    kit = systems.kits[systems.kit[system]]
    return Point(
        tilt_deg=own.tilts_deg[tilt], azimuth_deg=own.azimuths_deg[azimuth],
        row_pitch_m=own.pitches_m[pitch], orientation=own.base_rows.orientation,
        modules_in_series=int(systems.series[system]), strings=int(systems.strings[system]),
        controllers=int(systems.controllers[system]),
        units_in_parallel=int(systems.units[system]), **kit.kinds._asdict(),
        planes=systems.on_planes[systems.planes[system]],
    )  # fmt: skip


def price_of(searched: Searched, point: Point) -> float | None:
    """What a candidate costs to buy, by [costs]; None where it is no system of the search."""
    for one in searched.found:
        many = one.systems
        kit = [number for number, kit in enumerate(many.kits)
               if kit.kinds == point.kinds]
        planes = [number for number, on in enumerate(many.on_planes) if on == point.planes]
        at = np.flatnonzero(
            (many.series == point.modules_in_series) & (many.strings == point.strings)
            & (many.controllers == point.controllers) & (many.units == point.units_in_parallel)
            & np.isin(many.kit, kit) & np.isin(many.planes, planes)
        )  # fmt: skip
        if len(at) and many.field.base_rows.orientation == point.orientation:
            return float(searched.pricing.asked(many.costs[at[:1]])[0])
    return None
