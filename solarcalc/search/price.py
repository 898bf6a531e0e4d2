"""What a system of a search costs: by [costs], and what real offers have beside that.

[costs] counts modules, rows, controllers, battery units and a generator. Cables, protection,
earthing, power room and their work are in no rule of it: they are taken from offers of the site
with one thing changed, strings, controllers, battery strings, a kind or a roof plane, and added up.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from solarcalc.basis.errors import InputError
from solarcalc.basis.no_answer import NoAnswer, or_why
from solarcalc.design import Changes, Design
from solarcalc.quote.costs import controller_cost
from solarcalc.quote.economics import Money
from solarcalc.roof.rows import Rows
from solarcalc.search.axes import Axes, OnPlanes, as_designed, owns_generator
from solarcalc.search.beside import rows_on, with_one, with_planes
from solarcalc.stages.array import standing

MOST_TRIED = 6
"""Counts of battery strings whose offers are made."""


@dataclass(frozen=True, kw_only=True)
class Pricing:
    """From what a system costs to what the customer would be asked for it.

    Parameters
    ----------
    rest : float
        The site's own offer at cost less its own system by [costs].
    factor : float
        Asked for one of cost: margin and tax.
    """

    rest: Money
    factor: float

    def asked(self, costs: np.ndarray) -> np.ndarray:
        """The customer's price.

        In the currency of the offer; shape of `costs`, (n,).
        """
        asked: np.ndarray = (costs + self.rest) * self.factor
        return asked


def pricing_of(design: Design) -> Pricing:
    """How the site prices; of one without an offer [costs] alone."""
    offer = or_why(lambda: design.offer)()
    if isinstance(offer, NoAnswer) or offer.cost <= 0.0:
        return Pricing(rest=0.0, factor=1.0)
    return Pricing(rest=offer.cost - _counted(design), factor=offer.total / offer.cost)


def beyond(design: Design, changes: Changes) -> Money | None:
    """What a changed site's offer costs more than its own beside what [costs] says of both.

    None where one has no offer.
    """
    try:
        other = design.changed(changes)
        more = _more(design, other)
        return None if more is None else more - (_counted(other) - _counted(design))
    except InputError:
        return None


def _more(design: Design, other: Design) -> Money | None:
    """What the other's offer costs more; None where one has none."""
    try:
        return other.offer.cost - design.offer.cost
    except InputError:
        return None


def _counted(design: Design) -> Money:
    """The system of a design by [costs]; controllers by the price list."""
    site, costs = design.site, design.site.costs
    units = site.battery.units_in_series * site.battery.units_in_parallel
    generator = 0.0 if owns_generator(site) else costs.per_generator
    return (costs.fixed + costs.per_battery_unit * units + generator
            + sum(map(_counted_plane, design.planes)))  # fmt: skip


def _counted_plane(plane: Design) -> Money:
    """Modules, their rows and controllers of one plane."""
    site = plane.site
    metres = float(metres_of(standing(plane).rows, np.array(site.array.module_count)))
    each = controller_cost(site, plane.prices, plane.sitefile.path.name)
    return (site.costs.per_module * site.array.module_count + site.costs.per_metre_of_row * metres
            + each * site.controller.count)  # fmt: skip


def metres_of(rows: Rows, count: np.ndarray) -> np.ndarray:
    """Length of the rows of so many modules, shape of `count` [m]."""
    metres: np.ndarray = count / rows.modules_high * (rows.along_m + rows.gap_m)
    return metres


def costs_beside(design: Design, several: Sequence[OnPlanes]) -> Mapping[OnPlanes, Money]:
    """What the planes beside the first cost, as designed or as each of `several` has them."""
    own = as_designed(design)
    as_is = sum(map(_counted_plane, design.planes[1:])) if own else 0.0
    more: dict[tuple[int, object], Money] = dict.fromkeys(enumerate(own), 0.0)
    for number, one in dict.fromkeys(at for on in several for at in enumerate(on)):
        if (number, one) not in more:
            other = design.changed(with_planes(design, {}, with_one(own, number, one)))
            found = _more(design, other)
            more[number, one] = _counted(other) - _counted(design) if found is None else found
    return {on: as_is + sum(more[at] for at in enumerate(on)) for on in several}


Known = tuple[np.ndarray, np.ndarray]
"""Counts in rising order, and what each costs beside [costs] more than the site's own."""


@dataclass(frozen=True, kw_only=True)
class Steps:
    """What strings, controllers and battery strings cost beside [costs], between counts tried.

    Parameters
    ----------
    strings, controllers : Known
    units_in_parallel : mapping of kind of battery to Known
    """

    strings: Known
    controllers: Known
    units_in_parallel: Mapping[str, Known]

    def of(
        self, strings: np.ndarray, controllers: np.ndarray, units: np.ndarray, battery: np.ndarray
    ) -> np.ndarray:
        """Of systems with so many of each and a kind of battery, (s,)."""
        costs: np.ndarray = np.interp(strings, *self.strings)
        costs = costs + np.interp(controllers, *self.controllers)
        for kind, known in self.units_in_parallel.items():
            costs = costs + np.where(battery == kind, np.interp(units, *known), 0.0)
        return costs


def steps_of(design: Design, axes: Axes, batteries: Mapping[str, Mapping[str, Any]]) -> Steps:
    """The steps between the counts of the axes, from some of each with all else as designed.

    Of strings the fewest and the most that the roof holds; of controllers every count, with a
    string for each; of strings of each battery `MOST_TRIED`, as cables and fuses grow by leaps.

    Parameters
    ----------
    design : Design
    axes : Axes
    batteries : mapping of kind to the keys of [battery] that make it
    """
    site = design.site
    own, controllers = site.array.string_count, site.controller.count

    def more(changes: Changes) -> Money | None:
        return beyond(design, with_planes(design, changes))

    held = [one for one in axes.strings if one >= controllers and _rows(design, one)]
    strings = _known({one: more(_with_strings(design, one)) for one in _some(held, 2)}
                     | {own: 0.0})  # fmt: skip
    each: dict[int, Money | None] = {}
    for count in axes.controllers:
        least = max(count, own)
        if _rows(design, least):
            both = more({**_with_strings(design, least), "controller": {"count": count}})
            each[count] = None if both is None else both - float(np.interp(least, *strings))
    return Steps(strings=strings, controllers=_known(each | {controllers: 0.0}), units_in_parallel={
        kind: _known({one: more({"battery": {**keys, "units_in_parallel": one}})
                      for one in _some(axes.units_in_parallel, MOST_TRIED)})
        for kind, keys in batteries.items()
    })  # fmt: skip


def _some(counts: Sequence[int], most: int) -> list[int]:
    """At most so many of the counts, the fewest and the most among them."""
    rising = sorted(set(counts))
    places = np.linspace(0, len(rising) - 1, min(most, len(rising))).round().astype(int)
    return [rising[place] for place in places]


def _known(tried: Mapping[int, Money | None]) -> Known:
    """Those with an offer; nothing more where none has one."""
    found = {count: cost for count, cost in tried.items() if cost is not None} or {1: 0.0}
    counts = sorted(found)
    return np.array(counts, float), np.array([found[count] for count in counts])


def _rows(design: Design, strings: int) -> int:
    return rows_on(design.planes[0], strings * design.site.array.modules_in_series)


def _with_strings(design: Design, strings: int) -> Changes:
    """As many strings on the first plane; nothing where it has them."""
    array = design.site.array
    if strings == array.string_count:
        return {}
    return {"array": {"module_count": strings * array.modules_in_series,
                      "rows": _rows(design, strings)}}  # fmt: skip
