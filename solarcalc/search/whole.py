"""The best whole system under a price, the cheapest for a promise, and the front between.

Every candidate is run hour by hour; the best are then built as changed designs and put through
all of their checks. One that fails a check of safety, or cannot be built, is no answer: the next
takes its place, and it is told.
"""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
import pandas as pd

from solarcalc.basis.check import Check
from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.no_answer import NoAnswer, or_why
from solarcalc.basis.worded import worded
from solarcalc.design import Changes, Design
from solarcalc.quote.offer import Offer
from solarcalc.search.axes import MOST_CANDIDATES, Axes, axes_of
from solarcalc.search.kits import Kit, LeftOut, kits_of
from solarcalc.search.points import Point, changes_of, neighbours, rows_of_point
from solarcalc.search.run import DIGITS, Criterion, Found, Wish, plane_figures, search_systems
from solarcalc.search.systems import Pricing, Systems, pricing_of, systems_of
from solarcalc.sitefile.loads import BOARDS

Weigh = Literal["lifetime", "price"]
MOST_BUILT, MOST_PLANES, A_TILT = 80, 60, 2
"""Designs that are built for one answer; planes of one system whose roof is looked at, of one tilt
no more once so many have failed."""


@dataclass(frozen=True, kw_only=True)
class Refused:
    """A candidate that would have been the answer but for what its design fails.

    Parameters
    ----------
    point : Point
    price : float
        The customer's, by `Pricing`.
    checks : tuple of Check
        Failed ones of safety.
    fault : str
        Why it cannot be built, or what it does not keep; empty where checks say it.
    alike : int
        Other candidates that were passed over with it: a check of the sources fails with any
        generator alike, one of the bank's room or fault current with any array on that bank.
    """

    point: Point
    price: float
    checks: tuple[Check, ...] = ()
    fault: str = ""
    alike: int = 0


@dataclass(frozen=True, kw_only=True, eq=False)
class Neighbour:
    """A candidate one step away from a winner.

    Parameters
    ----------
    axis : str
    point : Point
    price : float or None
        The customer's, by `Pricing`; None where it is no candidate.
    hours : float or None
        Without supply of the essential board, of its design [h/year].
    not_supplied_kwh : float or None
        Of both boards [kWh/year].
    checks : tuple of Check
        Failed ones of safety.
    fault : str
        Why there is no such system.
    """

    axis: str
    point: Point
    price: float | None = None
    hours: float | None = None
    not_supplied_kwh: float | None = None
    checks: tuple[Check, ...] = ()
    fault: str = ""


@dataclass(frozen=True, kw_only=True, eq=False)
class Winner:
    """A system that passes every check of safety.

    Parameters
    ----------
    point : Point
    changes : Changes
        That make its design of the site's.
    design : Design
    price : float
        The customer's, by `Pricing`.
    running : float
        Fuel and services of a generator over the lifetime of [costs].
    searched_hours : float
        Without supply of the essential board, as the search ran it [h/year].
    hours : int
        The same of the design [h/year].
    not_supplied_kwh : float
        Energy of both boards not supplied, of the design [kWh/year].
    fuel_l : float
        Of the design [l/year].
    offer : Offer or None
        The real one; None where there is none.
    refused : tuple of Refused
        What would have come before it.
    """

    point: Point
    changes: Changes
    design: Design
    price: float
    running: float
    searched_hours: float
    hours: int
    not_supplied_kwh: float
    fuel_l: float
    offer: Offer | None
    refused: tuple[Refused, ...] = ()


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
    """

    design: Design
    axes: Axes
    kits: Sequence[Kit]
    left_out: Sequence[LeftOut]
    found: Sequence[Found]
    pricing: Pricing
    table: pd.DataFrame

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
        """Years that were run beside them, of front rows alone."""
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
    several = systems_of(design, axes, kits) if kits else []
    planes = len(axes.tilt_deg) * len(axes.azimuth_deg) * len(axes.row_pitch_m)
    count = planes * sum(map(len, several))
    if not 0 < count <= MOST_CANDIDATES:
        raise InputError(Fault(
            where="search", given=f"{count} systems", allowed=f"1 to {MOST_CANDIDATES}",
            why="; ".join(f"{one.value}: {one.why}" for one in left_out)))  # fmt: skip
    asked = wish or Wish()
    found = [search_systems(one, asked, threads=threads) for one in several]
    pricing = pricing_of(design)
    table = pd.concat([_table(one, number, pricing) for number, one in enumerate(found)],
                      ignore_index=True)  # fmt: skip
    return Searched(design=design, axes=axes, kits=kits, left_out=left_out, found=found,
                    pricing=pricing, table=table)  # fmt: skip


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
        controller=kit.controller, controllers=int(systems.controllers[system]),
        battery=kit.battery, units_in_parallel=int(systems.units[system]),
        generator_w=kit.generator_w,
    )  # fmt: skip


def cheapest_for(
    searched: Searched, *, most_hours: float, weigh: Weigh = "lifetime"
) -> tuple[Winner | None, tuple[Refused, ...]]:
    """The system of the least cost that leaves the essential board without supply no longer.

    Parameters
    ----------
    searched : Searched
        With a wish of these hours.
    most_hours : float
        [h/year].
    weigh : {"lifetime", "price"}
        What a generator costs to run counts, over the lifetime of [costs]; or what is bought alone.

    Returns
    -------
    Winner or None, and what was refused
    """
    def rank(one: _Line) -> tuple[float, ...]:
        cost = one.price + (one.running if weigh == "lifetime" else 0.0)
        return (_cents(cost), one.hours, one.missed, -one.sun)

    return _first(searched, Wish(most_hours=most_hours), rank,
                  lambda one: one.hours <= most_hours, most_hours)  # fmt: skip


def best_under(
    searched: Searched, *, budget: float, criterion: Criterion = "hours"
) -> tuple[Winner | None, tuple[Refused, ...]]:
    """The system that serves best of those that cost no more to buy.

    Parameters
    ----------
    searched : Searched
        With a wish of no hour and of the criterion.
    budget : float
        The customer's price, in the currency of the price list. One whose real offer lies above it
        is refused; one that `Pricing` puts above it is not looked at.
    criterion : {"hours", "supplied"}
        Fewest hours without supply of the essential board, or the most energy supplied.

    Returns
    -------
    Winner or None, and what was refused
    """
    def rank(one: _Line) -> tuple[float, ...]:
        if criterion == "hours":
            return (one.hours, _cents(one.running), one.missed, _cents(one.price), -one.sun)
        return (one.missed, _cents(one.running), one.hours, _cents(one.price), -one.sun)

    return _first(searched, Wish(criterion=criterion), rank, lambda one: one.price <= budget,
                  budget=budget)  # fmt: skip


def front_of(searched: Searched, *, most_built: int = MOST_BUILT) -> tuple[Winner, ...]:
    """The systems that no other beats in both price and hours without supply, cheapest first.

    Each passes every check of safety; what was refused stands with the one that took its place.
    """
    least, built = np.inf, 0
    points: list[Winner] = []
    refused: list[Refused] = []
    lines = sorted(_lines(searched), key=lambda one: (_cents(one.price), one.hours, one.missed))
    passed = _PassedOver(searched)
    for line in lines:
        if line.hours < least and built < most_built and not passed.over(line, refused):
            built += 1
            tried = _tried(searched, line)
            if isinstance(tried, Refused):
                refused.append(tried)
                passed.add(tried, len(refused) - 1)
            elif tried.hours < least:
                points.append(replace(tried, refused=tuple(refused)))
                least, refused = float(tried.hours), []
                passed.told()
    return tuple(points)


@dataclass(frozen=True, kw_only=True)
class _Line:
    """A candidate with its figures, by its places in a search."""

    field: int
    system: int
    plane: int
    price: float
    hours: float
    missed: float
    running: float
    sun: float


def _lines(searched: Searched) -> Iterator[_Line]:
    table = searched.table
    columns = ("field", "system", "plane", "price", "hours", "not_supplied_kwh", "running",
               "sun_kwh")  # fmt: skip
    for row in zip(*(table[name].tolist() for name in columns), strict=True):
        yield _line(*row)


def _line(
    field: int, system: int, plane: int, price: float, hours: float, missed: float,
    running: float, sun: float,
) -> _Line:  # fmt: skip
    return _Line(field=field, system=system, plane=plane, price=price, hours=hours,
                 missed=round(missed, DIGITS), running=running, sun=round(sun, DIGITS))  # fmt: skip


def _cents(money: float) -> float:
    return round(money, 2)


def _first(
    searched: Searched, wish: Wish, rank: Callable[[_Line], tuple[float, ...]],
    may: Callable[[_Line], bool], most_hours: float = np.inf, budget: float = np.inf,
) -> tuple[Winner | None, tuple[Refused, ...]]:  # fmt: skip
    """The first candidate by rank that passes; a system that its roof refuses tries other planes.

    What a design fails beside its roof is taken to be failed on any plane.
    """
    number = itertools.count()
    waiting = [(rank(one), next(number), one, None) for one in _lines(searched) if may(one)]
    heapq.heapify(waiting)  # type: ignore[misc]
    refused: list[Refused] = []
    passed = _PassedOver(searched)
    while waiting and len(refused) < MOST_BUILT:
        _, _, line, others = heapq.heappop(waiting)
        if passed.over(line, refused):
            continue
        tried = _tried(searched, line, most_hours, budget)
        if not isinstance(tried, Refused):
            return replace(tried, refused=tuple(refused)), tuple(refused)
        refused.append(tried)
        passed.add(tried, len(refused) - 1)
        if _of_roof(tried):
            others = others or _other_planes(searched, line, wish, rank, may)
            following = next(others, None)
            if following is not None:
                heapq.heappush(waiting, (rank(following), next(number), following, others))
    return None, tuple(refused)


class _PassedOver:
    """Candidates that fail what another one failed, for the same reason: they are not built."""

    def __init__(self, searched: Searched) -> None:
        self._searched = searched
        self._sources: dict[bool, int | None] = {}
        self._banks: dict[tuple[str, int], int | None] = {}

    def add(self, refused: Refused, number: int) -> None:
        """Note a refusal and its place in the list that is told."""
        rules, point = {one.rule for one in refused.checks}, refused.point
        if rules & _OF_SOURCES:
            self._sources[point.generator_w > 0.0] = number
        if rules & _OF_BANK:
            self._banks[point.battery, point.units_in_parallel] = number

    def over(self, line: _Line, refused: list[Refused]) -> bool:
        """Whether a candidate is one of them; it is counted with the one that was told."""
        many = self._searched.found[line.field].systems
        kit, units = many.kits[many.kit[line.system]], int(many.units[line.system])
        for seen, key in ((self._sources, kit.generator_w > 0.0),
                          (self._banks, (kit.battery, units))):  # fmt: skip
            if key in seen:
                number = seen[key]  # type: ignore[index]
                if number is not None:
                    refused[number] = replace(refused[number], alike=refused[number].alike + 1)
                return True
        return False

    def told(self) -> None:
        """The list so far stands with its winner: what follows is counted no more."""
        self._sources = dict.fromkeys(self._sources)
        self._banks = dict.fromkeys(self._banks)


_OF_SOURCES = frozenset({"protection/changeover-between", "protection/bonds"})
_OF_BANK = frozenset({"powerroom/floor-under-racks", "powerroom/room-racks-equipment",
                      "protection/breaking-capacity"})  # fmt: skip
"""Rules of checks that follow from the sources alone, and from the battery alone."""


def _of_roof(refused: Refused) -> bool:
    """Whether only checks of the array on its roof stand against a candidate."""
    return not refused.fault and all(
        one.rule.partition("/")[0] in _ROOF_RULES for one in refused.checks)


_ROOF_RULES = ("structure", "roof")
"""Packages of the checks that depend on tilt, azimuth and pitch themselves."""


def _other_planes(
    searched: Searched, line: _Line, wish: Wish, rank: Callable[[_Line], tuple[float, ...]],
    may: Callable[[_Line], bool],
) -> Iterator[_Line]:  # fmt: skip
    """Other planes of a system in order, those whose roof checks pass; few of each tilt are tried.
    """
    systems = searched.found[line.field].systems
    planes, figures = plane_figures(systems, line.system)
    several = sorted((
        _line(line.field, line.system, plane, line.price, one[0], one[1], one[2], one[3])
        for plane, one in zip(planes.tolist(), figures.tolist(), strict=True)
    ), key=rank)  # fmt: skip
    failed: dict[float, int] = {point_at(systems, line.system, line.plane).tilt_deg: 1}
    looked = 0
    for one in several:
        point = point_at(systems, one.system, one.plane)
        if one.plane == line.plane or not may(one) or failed.get(point.tilt_deg, 0) >= A_TILT:
            continue
        looked += 1
        if looked > MOST_PLANES:
            return
        if _unsafe(_design_at(searched, point).roof_checks):
            failed[point.tilt_deg] = failed.get(point.tilt_deg, 0) + 1
        else:
            yield one


def _unsafe(checks: Iterable[Check]) -> tuple[Check, ...]:
    return tuple(one for one in checks if one.outcome == "failed" and one.kind == "safety")


def _design_at(searched: Searched, point: Point) -> Design:
    rows = rows_of_point(searched.design, point)
    return searched.design.changed(changes_of(point, rows, searched.kits))


def _tried(
    searched: Searched, line: _Line, most_hours: float = np.inf, budget: float = np.inf
) -> Winner | Refused:
    """A candidate's design with all of its checks."""
    point = point_at(searched.found[line.field].systems, line.system, line.plane)
    try:
        rows = rows_of_point(searched.design, point)
        changes = changes_of(point, rows, searched.kits)
        design = searched.design.changed(changes)
        checks, hours = _unsafe(design.all_checks), design.supply.hours_without_supply("essential")
        offer = or_why(lambda: design.offer)()
    except InputError as error:
        return Refused(point=point, price=line.price, fault=_in_words(error))
    if checks:
        return Refused(point=point, price=line.price, checks=checks)
    if hours > most_hours:
        return Refused(point=point, price=line.price, fault=worded(
            "search", "more-hours", hours=hours, searched=line.hours)["found"])  # fmt: skip
    if not isinstance(offer, NoAnswer) and offer.total > budget:
        return Refused(point=point, price=line.price, fault=worded(
            "search", "dearer-offer", total=offer.total, price=line.price)["found"])  # fmt: skip
    return Winner(
        point=point, changes=changes, design=design, price=line.price, running=line.running,
        searched_hours=line.hours, hours=hours, not_supplied_kwh=_missed_kwh(design),
        fuel_l=design.supply.fuel_l, offer=None if isinstance(offer, NoAnswer) else offer,
    )  # fmt: skip


def _in_words(error: InputError) -> str:
    return "; ".join(f"{one.where}: {one.given}, allowed: {one.allowed}" for one in error.faults)


def _missed_kwh(design: Design) -> float:
    """Energy of both boards not supplied [kWh]."""
    run = design.supply
    return sum(float(run.not_supplied_w(board).sum()) for board in BOARDS) / 1000.0


def neighbours_of(searched: Searched, winner: Winner) -> tuple[Neighbour, ...]:
    """What one step on each axis would change, each built as a design with all of its checks."""
    return tuple(_neighbour(searched, axis, point)
                 for axis, point in neighbours(winner.point, searched.axes))  # fmt: skip


def _neighbour(searched: Searched, axis: str, point: Point) -> Neighbour:
    price = price_of(searched, point)
    if price is None or not rows_of_point(searched.design, point):
        words = "not-held" if price is not None else "no-system"
        return Neighbour(axis=axis, point=point, fault=worded("search", words)["found"])
    try:
        design = _design_at(searched, point)
        return Neighbour(
            axis=axis, point=point, price=price, checks=_unsafe(design.all_checks),
            hours=design.supply.hours_without_supply("essential"),
            not_supplied_kwh=_missed_kwh(design),
        )  # fmt: skip
    except InputError as error:
        return Neighbour(axis=axis, point=point, price=price, fault=_in_words(error))


def price_of(searched: Searched, point: Point) -> float | None:
    """What a candidate costs to buy, by [costs]; None where it is no system of the search."""
    for one in searched.found:
        many = one.systems
        kit = [number for number, kit in enumerate(many.kits)
               if (kit.controller, kit.battery, kit.generator_w) == point.kinds]
        at = np.flatnonzero(
            (many.series == point.modules_in_series) & (many.strings == point.strings)
            & (many.controllers == point.controllers) & (many.units == point.units_in_parallel)
            & np.isin(many.kit, kit)
        ) if many.field.base_rows.orientation == point.orientation else []  # fmt: skip
        if len(at):
            return float(searched.pricing.asked(many.costs[at[:1]])[0])
    return None
