"""Portrait or landscape for the modules on order: both at that count, what decides, where it turns.

The filled roof is a second answer. A year of each way is that of a design laid so, all else as the
site file says: pitch, dirt band, obstacles and snow count in both.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import islice
from typing import Any, Literal, NamedTuple, Protocol, Self, get_args

from solarcalc.basis.errors import InputError
from solarcalc.basis.present_value import annuity_years
from solarcalc.basis.quantity import grouped, in_unit
from solarcalc.basis.sourced import constant
from solarcalc.basis.text import small
from solarcalc.energy.year import DIRT_BAND, Harvest, half_known_frac
from solarcalc.installation.array import fixing_parts
from solarcalc.programme.tasks import tasks_of, with_changes
from solarcalc.quote.bill import bought_line
from solarcalc.quote.costs import listed_trade
from solarcalc.quote.economics import Money
from solarcalc.quote.prices import PriceList, priced, rate_of
from solarcalc.roof.hardware import Hardware
from solarcalc.roof.rows import Orientation, rows_of
from solarcalc.roof.strings import strings_on_roof
from solarcalc.sitefile.array import Array, holds, rows_that_hold
from solarcalc.sitefile.site import Site
from solarcalc.siteyear import SiteYear
from solarcalc.stages.array import (
    Standing,
    own_hardware,
    own_places,
    standing,
    standing_with,
)

ORIENTATIONS: tuple[Orientation, ...] = get_args(Orientation)
LEAST_SIGMA_FRAC = float(constant("energy.orientation_sigma_frac"))
FLAT_DEG = 3.0
"""Laid nearly flat, to try what it does to the choice [deg]."""
FITTING = ("rails", "modules")
"""Tasks of the programme whose hours depend on how the modules lie."""
Tables = Mapping[str, Mapping[str, Any]]
Criterion = Literal["fit", "energy", "whole strings", "fixings", "price", "dead load"]


class Laid(SiteYear, Protocol):
    """What is asked of a design that lays its modules one way."""

    @property
    def energy(self) -> Harvest:
        """A year of the array."""

    @property
    def prices(self) -> PriceList:
        """The firm's price list."""

    def changed(self, changes: Tables) -> Self:
        """The same site with values changed."""


@dataclass(frozen=True, kw_only=True)
class Way:
    """The modules of the design laid one way.

    Parameters
    ----------
    orientation : {"portrait", "landscape"}
    fits : bool
        Whether the roof has room for all of them in even rows.
    most_count : int
        Modules in whole strings that the roof has room for in even rows.
    filled_count : int
        Modules on the filled roof, rows uneven and strings broken as they come.
    rows, modules_high : int
        Rows used, and modules one above another in each.
    as_written : bool
        Whether these are the rows and tiers of the site file; another number of them where its
        own do not fit. The file's own stand too where none fit.
    pitch_m : float
        Of the rows [m].
    energy_kwh : float
        Potential AC energy of the array in a year, counted as `Design.energy` counts it
        [kWh/year].
    losses_frac : mapping of str to float
        Losses whose size is a guess by half, each as a share of what was left [0 to 1].
    hardware : Hardware
        Rails, offcuts, feet, clamps and weight.
    string_count, split_count : int
        Strings, and those of them that lie in more than one row; 0 where they are meant to.
    clamped_side : {"long", "short"}
        Side of the module that its clamps hold, rails along the row. Whether the maker allows it,
        and where on it, stands on no key of the site file: ask for it.
    mounting_price : float or None
        Rails, clamps, feet and joints with the wages of `fitting_h`, by the price list, before
        margin and tax; None where the list lacks one of them.
    fitting_h : float
        Work to set rails and modules [person-hours]; fixings against corrosion left out.
    """

    orientation: Orientation
    fits: bool
    most_count: int
    filled_count: int
    rows: int
    modules_high: int
    as_written: bool
    pitch_m: float
    energy_kwh: float
    losses_frac: Mapping[str, float]
    hardware: Hardware
    string_count: int
    split_count: int
    clamped_side: Literal["long", "short"]
    mounting_price: Money | None
    fitting_h: float


@dataclass(frozen=True, kw_only=True)
class Turn:
    """One thing changed, and which way would then be chosen.

    Parameters
    ----------
    what : str
        The change in words.
    recommended : {"portrait", "landscape"} or None
    lead_frac, sigma_frac : float or None
        As in `OrientationChoice`; None where energy plays no part.
    """

    what: str
    recommended: Orientation | None
    lead_frac: float | None = None
    sigma_frac: float | None = None


@dataclass(frozen=True, kw_only=True)
class OrientationChoice:
    """Both ways for the module count of the design, and which of them its numbers ask for.

    Parameters
    ----------
    module_count : int
        Of the design.
    written : {"portrait", "landscape"}
        Orientation of the site file.
    currency : str
        Of prices.
    feet : str
        What the rails stand on, in the plural.
    portrait, landscape : Way
    lead_frac : float
        Energy in portrait over that in landscape, less one; 0 where neither gives any.
    sigma_frac : float
        Standard uncertainty of that difference, as a share; what is the same both ways has none.
    worth_per_kwh : float
        What a kWh more in each year is worth at most, were all of it used [money].
    recommended : {"portrait", "landscape"} or None
        None where neither fits, or nothing tells the two apart.
    decided_by : str
        The first criterion that tells the two apart; "" where none does.
    tried : tuple of Turn
        At most three changes, whether they turn the choice or not; none where not both fit.
    """

    module_count: int
    written: Orientation
    currency: str
    feet: str
    portrait: Way
    landscape: Way
    lead_frac: float
    sigma_frac: float
    worth_per_kwh: float
    recommended: Orientation | None
    decided_by: Criterion | Literal[""]
    tried: tuple[Turn, ...]

    @property
    def ways(self) -> dict[Orientation, Way]:
        """Both ways by name."""
        return {"portrait": self.portrait, "landscape": self.landscape}

    @property
    def losses(self) -> tuple[str, ...]:
        """Names of the losses whose size is a guess by half, of either way."""
        return tuple(dict.fromkeys((*self.portrait.losses_frac, *self.landscape.losses_frac)))

    @property
    def turns(self) -> tuple[Turn, ...]:
        """The changes tried that turn the choice."""
        return tuple(one for one in self.tried if one.recommended != self.recommended)

    @property
    def chief_loss(self) -> str:
        """Name of the loss that speaks most for the way with more energy; "" where none does."""
        ahead, behind = (self.portrait, self.landscape) if self.lead_frac > 0.0 else (
            self.landscape, self.portrait)  # fmt: skip
        less = {name: lost - ahead.losses_frac.get(name, 0.0)
                for name, lost in behind.losses_frac.items()}  # fmt: skip
        return max((name for name in less if less[name] > 0.0), key=less.__getitem__, default="")

    @property
    def reason(self) -> str:
        """Which way and why, in one sentence; a second one where the design is laid otherwise."""
        return _reason(self)

    @property
    def reason_unpriced(self) -> str:
        """The same for a reader who is not told what mounting costs the firm."""
        return _reason(self, priced=False)

    @property
    def turning(self) -> str:
        """Where the choice would turn, in one sentence; "" where nothing was tried."""
        return _turning(self)

    @property
    def clamping(self) -> str:
        """What to ask the maker about the clamps of the way chosen; "" where there is none."""
        if self.recommended is None:
            return ""
        side = self.ways[self.recommended].clamped_side
        return (f"In {self.recommended} the clamps hold the {side} side: the manufacturer's"
                " instructions must allow it and give its clamp zone.")  # fmt: skip

    @property
    def extended(self) -> str:
        """What the filled roof has room for, in one sentence."""
        one, other = (self.ways[name].filled_count for name in ORIENTATIONS)
        return ("If extended, uneven rows allowed: the roof has room for at most"
                f" {one} modules in portrait and {other} in landscape.")  # fmt: skip


def orientation_of(own: Laid) -> OrientationChoice:
    """Both ways to lay the modules of a design, and the choice between them."""
    array = own.site.array
    layouts = {name: _layout(own.site, name) for name in ORIENTATIONS}
    designs = {name: _laid(own, name, layout) for name, layout in layouts.items()}
    one, other = (_way(designs[name], layouts[name], name) for name in ORIENTATIONS)
    lead_frac, sigma_frac = lead_of(one, other)
    worth_per_kwh = worth_of_a_kwh(own.site)
    recommended, decided_by = decide(one, other, lead_frac, sigma_frac, worth_per_kwh)
    return OrientationChoice(
        module_count=array.module_count, written=array.orientation, currency=own.prices.currency,
        feet=own.site.structure.feet, portrait=one, landscape=other,
        lead_frac=lead_frac, sigma_frac=sigma_frac, worth_per_kwh=worth_per_kwh,
        recommended=recommended, decided_by=decided_by,
        tried=(*_count_turn(one, other), *_energy_turns(designs, one, other, worth_per_kwh))
        if one.fits and other.fits else (),
    )  # fmt: skip


class _Layout(NamedTuple):
    """Rows and tiers that hold the modules, or the site file's own where none do."""

    rows: int
    modules_high: int
    fits: bool
    as_written: bool
    most_count: int
    filled_count: int


def _laid(own: Laid, orientation: Orientation, layout: _Layout) -> Laid:
    """The design laid one way; itself where that is its own."""
    array = own.site.array
    laid = _array_with(own.site, orientation=orientation, rows=layout.rows,
                       modules_high=layout.modules_high)  # fmt: skip
    change = {key: value for key in ("orientation", "rows", "modules_high", "row_pitch_m")
              if (value := getattr(laid, key)) != getattr(array, key)}  # fmt: skip
    return own.changed({"array": change}) if change else own


def _array_with(site: Site, **values: Any) -> Array:
    """The site's array changed; a pitch too small for its rows grows to the least they allow."""
    array = site.array.model_copy(update=values)
    stands = rows_of(array, site.module, site.roof)
    if array.row_pitch_m is not None and array.row_pitch_m < stands.footprint_m:
        return array.model_copy(update={"row_pitch_m": stands.least_pitch_m})
    return array


def _layout(site: Site, orientation: Orientation) -> _Layout:
    """The site file's rows and tiers where they hold the modules; else the fewest rows that do.

    Where rows shade one another, rows that hold whole strings go before fewer ones.
    """
    array = site.array
    stood = {high: standing_with(site, _array_with(site, orientation=orientation,
                                                   modules_high=high))
             for high in range(array.modules_high, 0, -1)}  # fmt: skip
    sizes = {high: one.roof_fit.row_sizes for high, one in stood.items()}
    as_written = holds(sizes[array.modules_high], array.rows, array.module_count)
    found = [] if as_written else [
        (_splits(array, one, rows), rows, -high)
        for high, one in stood.items() for rows in range(1, len(sizes[high]) + 1)
        if holds(sizes[high], rows, array.module_count)
    ]  # fmt: skip
    _, rows, down = min(found, default=(False, array.rows, -array.modules_high))
    return _Layout(
        rows=rows, modules_high=-down, fits=as_written or bool(found),
        as_written=as_written or not found,
        most_count=max(_most(of, array.modules_in_series) for of in sizes.values()),
        filled_count=max(sum(of) for of in sizes.values()),
    )  # fmt: skip


def _splits(array: Array, stands: Standing, rows: int) -> bool:
    """Whether even rows break strings that are to lie in one row, and it costs energy."""
    meant = array.string_layout == "across-rows" or stands.rows.lift_deg == 0.0
    return not meant and -(-array.module_count // rows) % array.modules_in_series > 0


@lru_cache(maxsize=256)
def _most(row_sizes: tuple[int, ...], series: int) -> int:
    """Most modules in whole strings that some number of even rows holds."""
    counts = range(sum(row_sizes) // series * series, 0, -series)
    return next((count for count in counts if rows_that_hold(row_sizes, count)), 0)


def _way(laid: Laid, layout: _Layout, orientation: Orientation) -> Way:
    site, harvest = laid.site, laid.energy
    hardware = own_hardware(laid)
    fitting_h = _fitting_h(site, hardware)
    return Way(
        orientation=orientation, fits=layout.fits, most_count=layout.most_count,
        filled_count=layout.filled_count, rows=layout.rows, modules_high=layout.modules_high,
        as_written=layout.as_written, pitch_m=standing(laid).pitch_m, energy_kwh=harvest.ac_kwh,
        losses_frac=half_known_frac(harvest.steps), hardware=hardware,
        string_count=site.array.string_count, split_count=_split_count(laid),
        clamped_side="long" if orientation == "portrait" else "short",
        mounting_price=_price(site, hardware, laid.prices, fitting_h), fitting_h=fitting_h,
    )  # fmt: skip


def _split_count(laid: Laid) -> int:
    """Strings that lie in more than one row, where they are to lie in one and it costs energy."""
    array, places = laid.site.array, own_places(laid)
    if places is None or not _splits(array, standing(laid), array.rows):
        return 0
    strings = strings_on_roof(places, modules_in_series=array.modules_in_series,
                              layout=array.string_layout)  # fmt: skip
    return sum(len({spot.row for spot in string}) > 1 for string in strings)


def _fitting_h(site: Site, hardware: Hardware) -> float:
    """Hours of rails and modules, by the list of hours and what the site file changes in it."""
    foot = "ballast_foot" if site.structure.held_by == "ballast" else "foot"
    tasks = tasks_of({"row": site.array.rows, "rail_m": hardware.rail_m,
                      foot: hardware.foot_count, "module": site.array.module_count})  # fmt: skip
    changes = [one.model_copy(update={"after": None}) for one in site.programme.tasks
               if one.key in FITTING]  # fmt: skip
    return sum(one.person_h for one in with_changes(tasks, changes) if one.key in FITTING)


def _price(site: Site, hardware: Hardware, prices: PriceList, fitting_h: float) -> Money | None:
    lines = [bought_line(part.bought, part.count)
             for part in fixing_parts(hardware, site.rails, site.structure)
             if part.bought]  # fmt: skip
    try:
        each, wage = priced(lines, prices), rate_of(listed_trade("roof", prices), prices)
    except InputError:
        return None
    parts = sum(line.quantity * one for line, one in zip(lines, each, strict=True))
    return parts + fitting_h * wage


def lead_of(one: Way, other: Way) -> tuple[float, float]:
    """Energy of one way over that of the other, less one, and its standard uncertainty.

    Notes
    -----
    Weather, module, heat and fixed losses are the same both ways and fall out of the ratio. What
    is left is by how much the losses differ whose size is a guess by half, both ways alike, taken
    as independent; and what the models leave out, which keeps the sum from ever being nothing.
    """
    dead = other.energy_kwh == 0.0
    lead = float(one.energy_kwh > 0.0) if dead else one.energy_kwh / other.energy_kwh - 1.0
    names = one.losses_frac.keys() | other.losses_frac.keys()
    parts = [0.5 * (one.losses_frac.get(name, 0.0) - other.losses_frac.get(name, 0.0))
             for name in sorted(names)]  # fmt: skip
    return lead, math.hypot(LEAST_SIGMA_FRAC, *parts)


def worth_of_a_kwh(site: Site) -> float:
    """What a kWh more in each year of the system's life is worth today, were it used [money]."""
    costs = site.costs
    return costs.per_kwh_lost * annuity_years(costs.interest_frac, costs.lifetime_years)


def not_worth_it(one: Way, other: Way, worth_per_kwh: float) -> bool:
    """Whether the way with more energy costs more to mount than all of that energy is worth."""
    ahead, behind = (one, other) if one.energy_kwh > other.energy_kwh else (other, one)
    if ahead.mounting_price is None or behind.mounting_price is None:
        return False
    more = float(ahead.mounting_price - behind.mounting_price)
    return (ahead.energy_kwh - behind.energy_kwh) * worth_per_kwh < more


def beyond(lead_frac: float, sigma_frac: float) -> bool:
    """Whether a difference is more than its uncertainty, both as they are printed."""
    return round(abs(100.0 * lead_frac), 1) > round(100.0 * sigma_frac, 1)


def decide(
    one: Way, other: Way, lead_frac: float, sigma_frac: float, worth_per_kwh: float
) -> tuple[Orientation | None, Criterion | Literal[""]]:
    """The way that the first criterion asks for that tells the two apart, and the criterion.

    Fit; energy, where it differs by more than its uncertainty and is worth what it costs more to
    mount; strings whole in a row; roof fixings; price; dead load.
    """
    if not (one.fits or other.fits):
        return None, "fit"
    if one.fits != other.fits:
        return (one if one.fits else other).orientation, "fit"
    if beyond(lead_frac, sigma_frac) and not not_worth_it(one, other, worth_per_kwh):
        return (one if lead_frac > 0.0 else other).orientation, "energy"
    for criterion, (least, _) in _LEAST.items():
        here, there = least(one), least(other)
        if here is not None and there is not None and here != there:
            return (one if here < there else other).orientation, criterion
    return None, ""


_LEAST: dict[Criterion, tuple[Callable[[Way], float | None], str]] = {
    "whole strings": (lambda way: way.split_count, "splits {} strings over two rows, not {}"),
    "fixings": (lambda way: way.hardware.foot_count, "needs {} {feet} against {}"),
    "price": (lambda way: None if way.mounting_price is None else round(way.mounting_price),
              "costs {} {currency} to mount against {}"),
    "dead load": (lambda way: round(way.hardware.load_on_modules_kg_per_m2, 1),
                  "weighs {} kg/m² against {}"),
}  # fmt: skip
"""Less is better, after fit and energy, in order: the figure as it is printed, and its words."""


def _count_turn(one: Way, other: Way) -> Iterator[Turn]:
    """Above which count only one way fits."""
    least, most = sorted((one, other), key=lambda way: way.most_count)
    if least.most_count < most.most_count:
        yield Turn(what=f"more than {least.most_count} modules (only {most.orientation} fits in"
                   " even rows)", recommended=most.orientation)  # fmt: skip


TRIED = 2
"""Changes tried by a year of each way, so that the answer costs little."""


def _energy_turns(
    designs: Mapping[Orientation, Laid], one: Way, other: Way, worth_per_kwh: float
) -> Iterator[Turn]:
    """What a change of shade or dirt does to the choice, fixings and price left as they are."""
    for what, change in islice(_changes(designs, one, other), TRIED):
        here, there = (_with_year(way, designs[way.orientation], change) for way in (one, other))
        lead_frac, sigma_frac = lead_of(here, there)
        recommended, _ = decide(here, there, lead_frac, sigma_frac, worth_per_kwh)
        yield Turn(what=what, recommended=recommended, lead_frac=lead_frac, sigma_frac=sigma_frac)


def _with_year(way: Way, laid: Laid, change: Callable[[Laid], Tables]) -> Way:
    """The same with the energy and losses of a changed design."""
    harvest = laid.changed(change(laid)).energy
    losses = half_known_frac(harvest.steps)
    return replace(way, energy_kwh=harvest.ac_kwh, losses_frac=losses)


def _changes(
    designs: Mapping[Orientation, Laid], one: Way, other: Way
) -> Iterator[tuple[str, Callable[[Laid], Tables]]]:
    """Those of the changes that can do something, the likeliest first."""
    stands = [standing(design) for design in designs.values()]
    array = designs[one.orientation].site.array
    if any(way.losses_frac.get(DIRT_BAND, 0.0) > 0.0 for way in (one, other)):
        yield "no dirt band at the lower frames", lambda laid: {"soiling": {"dirt_band_lip_m": 0.0}}
    if stands[0].rows.lift_deg > 0.0 and max(one.rows, other.rows) > 1:
        yield "rows as close as can be", lambda laid: {
            "array": {"row_pitch_m": standing(laid).rows.least_pitch_m}}
    if stands[0].rows.lift_deg > 0.0 and array.tilt_deg > FLAT_DEG:
        yield f"modules nearly flat, {FLAT_DEG:g}°", _flat


def _flat(laid: Laid) -> Tables:
    array = _array_with(laid.site, tilt_deg=FLAT_DEG)
    return {"array": {"tilt_deg": FLAT_DEG, "row_pitch_m": array.row_pitch_m}}


def _reason(choice: OrientationChoice, *, priced: bool = True) -> str:
    """Fit, energy, then what decides, and the way chosen."""
    count, best = _modules(choice.module_count), choice.recommended
    fit = "fits" if choice.module_count == 1 else "fit"
    not_fit, they = ("does not fit", "it fits") if fit == "fits" else ("do not fit", "they fit")
    if best is None and choice.decided_by == "fit":
        room = " and ".join(f"{way.most_count} in {name}" for name, way in choice.ways.items())
        return f"{count} {not_fit} in either orientation: the roof has room for at most {room}."
    if best is None:
        said = f"{count} {fit} in both orientations; {_energy(choice, priced=priced)}"
        return f"{said}, and fixings, price and load are the same: either will do."
    other = choice.landscape if best == "portrait" else choice.portrait
    if choice.decided_by == "fit":
        said = (f"{count} {fit} in {best} only; {other.orientation} has room for at most"
                f" {other.most_count}: {best}.")  # fmt: skip
    else:
        more = _hardware(choice, best, priced=priced)
        energy = _energy(choice, priced=priced)
        said = f"{count} {fit} in both orientations; {energy}{more}: {best}."
    own = choice.ways[choice.written]
    if own.fits and not own.as_written:
        said += f" In {choice.written} {they} in {own.rows} rows, other than the design has."
    return said if best == choice.written else f"{said} {_laid_otherwise(choice, best)}"


def _laid_otherwise(choice: OrientationChoice, best: Orientation) -> str:
    """Who chose the way that the numbers do not ask for, and what it costs in energy."""
    own = choice.ways[choice.written]
    said = f"The design is laid in {choice.written}, as entered in the site file"
    if not own.fits:
        return f"{said}."
    less_kwh = round(choice.ways[best].energy_kwh - own.energy_kwh)
    more = "less" if less_kwh > 0 else "more"
    costs = ("the same energy" if less_kwh == 0 else
             f"{in_unit(float(abs(less_kwh)), 'kWh')} kWh/year {more} than in {best}")  # fmt: skip
    beyond_it = "" if not less_kwh or beyond(choice.lead_frac, choice.sigma_frac) else (
        ", within the uncertainty")
    return f"{said}: {costs}{beyond_it}."


def _modules(count: int) -> str:
    return f"{count} module{'s' * (count != 1)}"


def _energy(choice: OrientationChoice, *, priced: bool) -> str:
    """By how much energy differs, and whether that is more than is known."""
    if choice.portrait.energy_kwh == choice.landscape.energy_kwh == 0.0:
        return "no energy comes out as the strings are wired"
    lead, sure = abs(100.0 * choice.lead_frac), f"± {100.0 * choice.sigma_frac:.1f}"
    if choice.decided_by == "energy":
        loss = choice.chief_loss.rpartition(": ")[2].partition(",")[0]
        chiefly = f", chiefly by less {small(loss)}" if loss else ""
        return f"energy in {choice.recommended} is {lead:.1f} % higher ({sure}){chiefly}"
    if not beyond(choice.lead_frac, choice.sigma_frac):
        return f"energy differs by {lead:.1f} % ({sure}) and does not decide"
    ahead, behind = (choice.portrait, choice.landscape) if choice.lead_frac > 0.0 else (
        choice.landscape, choice.portrait)  # fmt: skip
    worth = (ahead.energy_kwh - behind.energy_kwh) * choice.worth_per_kwh
    most = f" (at most {worth:.0f} {choice.currency} over its life)" if priced else ""
    return (f"energy in {ahead.orientation} is {lead:.1f} % higher ({sure}), worth less{most} than"
            " it costs more to mount")  # fmt: skip


def _hardware(choice: OrientationChoice, best: Orientation, *, priced: bool) -> str:
    """What speaks for the way chosen beside energy, from the criterion that decides on."""
    way = choice.ways[best]
    other = choice.landscape if best == "portrait" else choice.portrait
    said: list[str] = []
    against: list[str] = []
    for criterion, (least, words) in _LEAST.items():
        here, there = least(way), least(other)
        if here is None or there is None or here == there:
            continue
        text = words.format(*(grouped(str(one)) for one in (here, there)),
                            currency=choice.currency, feet=choice.feet)  # fmt: skip
        if criterion == "price" and not priced:
            text = f"costs {'less' if here < there else 'more'} to mount"
        (said if here < there else against).append(text)
    found = f"; {best} {' and '.join(said[:2])}" if said else ""
    return found + (f", though {best} {' and '.join(against[:2])}" if against else "")


def _turning(choice: OrientationChoice) -> str:
    """The changes that turn the choice with the figures of each, then those that do not."""
    if not choice.tried:
        return ""
    turns = [f"{_to(one)} with {one.what}{_by(one)}" for one in choice.turns]
    stays = [f"{one.what}{_by(one)}" for one in choice.tried if one not in choice.turns]
    first = f"The choice turns {'; '.join(turns)}." if turns else ""
    last = f"It stays {choice.recommended or 'open'} with {'; '.join(stays)}." if stays else ""
    return f"{first} {last}".strip()


def _to(turn: Turn) -> str:
    return f"to {turn.recommended}" if turn.recommended else "to either"


def _by(turn: Turn) -> str:
    """Energy of portrait against landscape under a change."""
    if turn.lead_frac is None or turn.sigma_frac is None:
        return ""
    way = "more" if turn.lead_frac >= 0.0 else "less"
    return (f" (portrait yields {abs(100.0 * turn.lead_frac):.1f} % {way},"
            f" ± {100.0 * turn.sigma_frac:.1f} %)")
