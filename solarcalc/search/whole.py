"""The best whole system under a price, the cheapest for a promise, and the front between.

Systems come with their best planes from `solarcalc.search.searched`; the best of them are built as
changed designs and put through all of their checks. One that fails a check of safety, or cannot be
built, is no answer: the next takes its place, and it is told.
"""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from solarcalc.basis.check import Check
from solarcalc.basis.errors import InputError
from solarcalc.basis.no_answer import NoAnswer, or_why
from solarcalc.basis.worded import worded
from solarcalc.design import Changes, Design
from solarcalc.quote.economics import Money
from solarcalc.quote.offer import Offer
from solarcalc.search.bounds import DIGITS, Criterion, Wish
from solarcalc.search.points import Point, changes_of, kit_at, neighbours, rows_of_point
from solarcalc.search.run import plane_figures
from solarcalc.search.searched import Searched, point_at, price_of
from solarcalc.supply.energy import energy_kwh
from solarcalc.supply.engine import running_of

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
        generator alike, one of the bank's room with any array on that bank, one of its fault
        current with more strings of its battery too.
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
    running : float or None
        Fuel and services of its design's generator over the lifetime of [costs].
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
    running: float | None = None
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
        Fuel and services of its design's generator over the lifetime of [costs].
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
    searched: Searched, *, budget: Money, criterion: Criterion = "hours"
) -> tuple[Winner | None, tuple[Refused, ...]]:
    """The system that serves best of those that cost no more to buy.

    Parameters
    ----------
    searched : Searched
        With a wish of no hour and of the criterion.
    budget : Money
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
    waiting: list[tuple[tuple[float, ...], int, _Line, Iterator[_Line] | None]] = [
        (rank(one), next(number), one, None) for one in _lines(searched) if may(one)]
    heapq.heapify(waiting)
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
        self._seen: dict[object, int | None] = {}
        self._fewest: dict[str, tuple[int, int | None]] = {}

    def add(self, refused: Refused, number: int) -> None:
        """Note a refusal and its place in the list that is told."""
        rules, one = {check.rule for check in refused.checks}, refused.point
        for known, key in zip(_FOLLOWS, _keys(one), strict=True):
            if rules & known:
                self._seen[key] = number
        for check in refused.checks:
            beside = [on for on in one.planes if on.name == check.plane and _on_roof(check)]
            self._seen |= dict.fromkeys(beside, number)
        fewest, _ = self._fewest.get(one.battery, (one.units_in_parallel + 1, None))
        if _BREAKING in rules and one.units_in_parallel < fewest:
            self._fewest[one.battery] = one.units_in_parallel, number

    def over(self, line: _Line, refused: list[Refused]) -> bool:
        """Whether a candidate is one of them; it is counted with the one that was told."""
        if not self._seen and not self._fewest:
            return False
        one = point_at(self._searched.found[line.field].systems, line.system, line.plane)
        known = [self._seen[key] for key in (*_keys(one), *one.planes) if key in self._seen]
        fewest, first = self._fewest.get(one.battery, (one.units_in_parallel + 1, None))
        known += [first] if one.units_in_parallel >= fewest else []
        if known and (number := known[0]) is not None:
            refused[number] = replace(refused[number], alike=refused[number].alike + 1)
        return bool(known)

    def told(self) -> None:
        """The list so far stands with its winner: what follows is counted no more."""
        self._seen = dict.fromkeys(self._seen)
        self._fewest = {battery: (units, None) for battery, (units, _) in self._fewest.items()}


def _keys(one: Point) -> tuple[tuple[object, ...], ...]:
    """What the rules of `_FOLLOWS` follow from."""
    bank = one.battery, one.units_in_parallel
    hung = (*bank, one.generator_w > 0.0, one.controllers,
            tuple(on.controllers for on in one.planes), one.inverter, one.inverter_nonessential)
    return (one.generator_w > 0.0,), bank, hung, (*hung, one.controller, one.generator_w)


_FOLLOWS = (
    frozenset({"protection/changeover-between", "protection/bonds"}),
    frozenset({"powerroom/floor-under-racks", "protection/breaking-capacity"}),
    frozenset({"powerroom/room-racks-equipment"}),
    frozenset({"battery/charge-current-controllers"}),
)  # fmt: skip
"""Rules of checks that follow from the sources, from the battery, from what hangs in its room, and
from what charges it."""
_BREAKING = "protection/breaking-capacity"
"""More strings of a battery feed a short circuit more: a fuse that fails at few fails at many."""


def _of_roof(refused: Refused) -> bool:
    """Whether only checks of the array on its roof stand against a candidate.

    Those of a plane beside the first are not among them: it lies as it does.
    """
    beside = {on.name for on in refused.point.planes}
    return not refused.fault and all(
        _on_roof(one) and one.plane not in beside for one in refused.checks)


def _on_roof(check: Check) -> bool:
    return check.rule.partition("/")[0] in _ROOF_RULES


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
    return searched.design.changed(changes_of(searched.design, point, searched.kits))


def _tried(
    searched: Searched, line: _Line, most_hours: float = np.inf, budget: float = np.inf
) -> Winner | Refused:
    """A candidate's design with all of its checks."""
    point = point_at(searched.found[line.field].systems, line.system, line.plane)
    try:
        changes = changes_of(searched.design, point, searched.kits)
        design = searched.design.changed(changes)
        checks, hours = _unsafe(design.all_checks), design.supply.hours_without_supply("essential")
        offer = or_why(lambda: design.offer)()
    except InputError as error:
        return Refused(point=point, price=line.price, fault=error.sentence)
    if checks:
        return Refused(point=point, price=line.price, checks=checks)
    if hours > most_hours:
        return Refused(point=point, price=line.price, fault=worded(
            "search", "more-hours", hours=hours, searched=line.hours)["found"])  # fmt: skip
    if not isinstance(offer, NoAnswer) and offer.total > budget:
        return Refused(point=point, price=line.price, fault=worded(
            "search", "dearer-offer", total=offer.total, price=line.price)["found"])  # fmt: skip
    return Winner(
        point=point, changes=changes, design=design, price=line.price,
        running=_running(searched, point, design), searched_hours=line.hours, hours=hours,
        not_supplied_kwh=energy_kwh(design.supply, "not_supplied"),
        fuel_l=design.supply.fuel_l, offer=None if isinstance(offer, NoAnswer) else offer,
    )  # fmt: skip


def _running(searched: Searched, point: Point, design: Design) -> float:
    """Fuel and services of a candidate's design over the lifetime."""
    ran = running_of(design.supply)
    return float(kit_at(searched.kits, point).running(ran.fuel_l, ran.run_h))


def neighbours_of(searched: Searched, winner: Winner) -> tuple[Neighbour, ...]:
    """What one step on each axis would change, each built as a design with all of its checks.

    Equipment that was left out, which `Searched.left_out` says with why, is no neighbour.
    """
    tried = {kit.kinds for kit in searched.kits}
    return tuple(_neighbour(searched, axis, point)
                 for axis, point in neighbours(winner.point, searched.axes)
                 if point.kinds in tried)  # fmt: skip


def _neighbour(searched: Searched, axis: str, point: Point) -> Neighbour:
    price = price_of(searched, point)
    if price is None:
        return Neighbour(axis=axis, point=point, fault=worded("search", "no-system")["found"])
    if not rows_of_point(searched.design, point):
        return Neighbour(axis=axis, point=point, fault=worded("search", "not-held")["found"])
    try:
        design = _design_at(searched, point)
        return Neighbour(
            axis=axis, point=point, price=price, checks=_unsafe(design.all_checks),
            hours=design.supply.hours_without_supply("essential"),
            not_supplied_kwh=energy_kwh(design.supply, "not_supplied"),
            running=_running(searched, point, design),
        )  # fmt: skip
    except InputError as error:
        return Neighbour(axis=axis, point=point, price=price, fault=error.sentence)
