"""Guesses that decide: values nobody gave, within whose usual range a check or a purchase flips.

Each guess is tried at both ends of its range with all else as it is; where an outcome differs, the
value at which it flips is found by halving. What hangs on two guesses at once is not looked for.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import partial, reduce
from itertools import pairwise
from operator import or_
from typing import Any

from solarcalc.basis.check import Check
from solarcalc.basis.errors import InputError
from solarcalc.basis.no_answer import NoAnswer, or_why
from solarcalc.basis.published import published
from solarcalc.design import Design
from solarcalc.energy.diode import efficiency_200_frac, weak_light_bounds
from solarcalc.installation.schedules import route_checks
from solarcalc.protection.case import Device
from solarcalc.sitefile.guessed import Guess, guess_of, guesses, is_given
from solarcalc.sitefile.wiring import USUAL_RUNS
from solarcalc.stages.array import module_bus_w
from solarcalc.stages.boards import board_checks, supply_of_sun
from solarcalc.stages.electrical import Electrical, electrical_of
from solarcalc.stages.kept import of_design
from solarcalc.supply.energy import energy_kwh
from solarcalc.supply.run import SupplyRun
from solarcalc.wiring.ducts import sets_of_run

STEPS = 6
"""Halvings: the flip is found to a sixty-fourth of the way between two values tried."""
PIN_SPACING_M = 2.0
"""Of the test that stands for a resistivity [m]."""
BOUGHT, NOT_BOUGHT = "fitted", "not fitted"
UNBUILT = "cannot be built"
WEAK_LIGHT = "module.efficiency_200_w_m2_frac"
"""The one guess that the year hangs on, and nothing that is built."""
SOIL = "soil.resistance_ohm"
"""A guess that is tried as a measured value, where the design takes a guessed one."""
TAKEN_SAFELY = frozenset({
    SOIL, "protection.battery_fault_a", "protection.thunderstorm_days", "runs.string.length_m",
    "runs.dc_main.length_m",
})  # fmt: skip
"""Guesses for which a design is made for the worse of their range, so not as if measured."""
Value = float
"""In the unit of the guess."""


@dataclass(frozen=True, kw_only=True)
class State:
    """How one thing stands: a check by its outcome, a device by whether it is bought."""

    words: str
    state: str
    safety: bool


@dataclass(frozen=True, kw_only=True)
class Flip:
    """One thing that changes within the usual range of a guess.

    Parameters
    ----------
    what : str
        Check or device.
    at : float
        Value of the guess at which it flips, in its unit.
    just_below, just_above : float
        Values tried either side of it.
    below, above : str
        How it stands on either side.
    as_built : str
        How it stands in the design as it is.
    safety : bool
    """

    what: str
    at: Value
    just_below: Value
    just_above: Value
    below: str
    above: str
    as_built: str
    safety: bool


@dataclass(frozen=True, kw_only=True)
class DecidingGuess:
    """A value that nobody gave, and what hangs on it.

    Parameters
    ----------
    key, label, unit, source : str
        Of the site file; in words; source of the range.
    used, low, high : float
        What is taken, and its usual range, in its unit.
    flips : tuple of Flip
        Of safety first, then the nearest to what is taken.
    price_frac, not_supplied_frac, yield_frac : float
        What the wider end of its range changes, of the price, of the energy demand (energy not
        supplied), of the yield [frac]; 0 where `with_shares` has not looked.
    """

    key: str
    label: str
    unit: str
    source: str
    used: Value
    low: Value
    high: Value
    flips: tuple[Flip, ...]
    price_frac: float = 0.0
    not_supplied_frac: float = 0.0
    yield_frac: float = 0.0

    @property
    def safety(self) -> bool:
        """Whether safety hangs on it."""
        return any(flip.safety for flip in self.flips)


States = dict[str, State]
Part = Callable[[], States]
"""How a part of a design stands, by key; of a design the parts, the soonest told first."""


@dataclass(frozen=True, kw_only=True, eq=False)
class _Tried:
    """A guess being tried: each part of a design once a value.

    A value between two that were tried is asked about one thing; then only the part that it
    belongs to is worked out, unless something there cannot be built.
    """

    parts: Callable[[Value], Sequence[Part]]
    made: dict[Value, Sequence[Part]] = field(default_factory=dict)
    known: dict[tuple[Value, int], States | None] = field(default_factory=dict)
    belongs: dict[str, int] = field(default_factory=dict)

    def at(self, value: Value) -> States | None:
        """How all stands with that value; None where it cannot be built."""
        found: States = {}
        for number in range(len(self._parts(value))):
            part = self._part(value, number)
            if part is None:
                return None
            self.belongs.update(dict.fromkeys(part, number))
            found |= part
        return found if self._parts(value) else None

    def one(self, key: str, value: Value) -> str:
        """How one thing stands with that value."""
        part = self._part(value, self.belongs[key]) if key in self.belongs else self.at(value)
        if part is None or key == UNBUILT:
            return UNBUILT if part is None else "is built"
        return part[key].state if key in part else NOT_BOUGHT

    def _parts(self, value: Value) -> Sequence[Part]:
        """The parts of the design with that value; none where its file is refused."""
        if value not in self.made:
            try:
                self.made[value] = self.parts(value)
            except InputError:
                self.made[value] = ()
        return self.made[value]

    def _part(self, value: Value, number: int) -> States | None:
        if (value, number) not in self.known:
            parts = self._parts(value)
            try:
                self.known[value, number] = parts[number]() if parts else None
            except InputError:
                self.known[value, number] = None
        return self.known[value, number]


def states_of(design: Design) -> dict[str, State]:
    """Checks of boards, strings, cables, protection, earthing, wind, and devices, by their key.

    Parameters
    ----------
    design : Design

    Raises
    ------
    InputError
        Where it cannot be built.
    """
    return _year_states(design, design.supply) | _built_states(design)


def _states(checks: Iterable[Check]) -> dict[str, State]:
    return {
        check.key: State(words=check.item, state=check.outcome, safety=check.kind == "safety")
        for check in checks
    }  # fmt: skip


def _year_states(design: Design, year: SupplyRun) -> dict[str, State]:
    """Of the boards through a year."""
    return _states(board_checks(design, year))


def _weak_light_year(design: Design, frac: Value) -> SupplyRun:
    """The year where the modules have that efficiency at 200 W/m2: the light stays."""
    if frac == efficiency_200_frac(design.site.module):
        return design.supply
    least, _ = weak_light_bounds(design.site.module)
    if frac == efficiency_200_frac(least) and design.weak_supply is not None:
        return design.weak_supply
    module = design.site.module.model_copy(update={"efficiency_200_w_m2_frac": frac})
    bus_w = [module_bus_w(one, one.light, module) for one in design.planes]
    return supply_of_sun(design, sum(bus_w[1:], bus_w[0]))


def _weak_light_states(design: Design, frac: Value) -> dict[str, State]:
    """Of the boards through that year."""
    return _year_states(design, _weak_light_year(design, frac))


def _built_states(design: Design) -> dict[str, State]:
    """Of what is built, which is rated for full sun."""
    return reduce(or_, (part() for part in _built_parts(design)))


def _built_parts(design: Design, own: Design | None = None) -> tuple[Part, ...]:
    """The parts of a design, which may be another with one guess at another value.

    No guess moves a way or what it lies in: where the cables are those of the other, so is what
    conduits hold of them.
    """
    return (
        lambda: _states(design.wiring_checks),
        lambda: _states(design.earth.checks),
        lambda: {
            f"device/{device.key}": State(words=device.name, state=BOUGHT, safety=True)
            for device in design.electrical.plan.devices
        },
        lambda: _states(route_checks(
            own.installation if own is not None and _drawn_alike(design, own)
            else design.installation)),
        lambda: _states(one for one in design.roof_checks if one.rule.startswith("structure/")),
    )  # fmt: skip


def _drawn_alike(design: Design, own: Design) -> bool:
    """Whether the same is drawn into conduits; not where the table has no cable so large."""
    built, other = design.electrical, own.electrical
    try:
        return _earth_drawn_in(design) == _earth_drawn_in(own) and (
            built.plan is other.plan or _drawn_in(built) == _drawn_in(other))
    except InputError:
        return False


def _earth_drawn_in(design: Design) -> list[object]:
    return [(one.part, one.start, one.end, one.count, one.size_mm2) for one in design.earth.lines]


def _drawn_in(built: Electrical) -> tuple[object, ...]:
    return ([sets_of_run(one) for one in built.sized],
            [(one.key, one.name, one.poles) for one in built.plan.devices])  # fmt: skip


def deciding_guesses(design: Design) -> tuple[DecidingGuess, ...]:
    """Every guess of the design, those that safety hangs on first, then those that flip anything.

    Parameters
    ----------
    design : Design

    Raises
    ------
    InputError
        Where the design as it is cannot be built.
    """
    now = states_of(design)
    found = [_tried(design, guess, now) for guess in _open_guesses(design)]
    return tuple(sorted(found, key=lambda one: (not one.safety, not one.flips)))


def ranked(found: Iterable[DecidingGuess]) -> tuple[DecidingGuess, ...]:
    """Guesses by what hangs on them, in the order in which they are printed.

    First those within whose range an outcome or a purchase changes, of safety before others; then
    by share of the price, of energy not supplied, of yield.
    """
    return tuple(sorted(found, key=lambda one: (
        not one.flips, not one.safety, -one.price_frac, -one.not_supplied_frac, -one.yield_frac,
    )))  # fmt: skip


@of_design
def ranked_guesses(design: Design) -> tuple[DecidingGuess, ...]:
    """Every guess of a design with what its range moves, the deciding ones first.

    It takes dozens of changed designs, and several documents of a site tell it.

    Raises
    ------
    InputError
        Where the design as it is cannot be built.
    """
    return ranked(with_shares(design, guess) for guess in deciding_guesses(design))


def ranked_deciding(design: Design) -> tuple[DecidingGuess, ...]:
    """The guesses of `ranked_guesses` that decide, in the same order.

    What their ranges move of price and energy is worked out only where the order hangs on it.

    Raises
    ------
    InputError
        Where the design as it is cannot be built.
    """
    found: list[DecidingGuess] = []
    deciding = [one for one in deciding_guesses(design) if one.flips]
    for safety in (True, False):
        alike = [one for one in deciding if one.safety is safety]
        found += alike if len(alike) < 2 else ranked(with_shares(design, one) for one in alike)
    return tuple(found)


def with_shares(design: Design, guess: DecidingGuess) -> DecidingGuess:
    """A guess with what the ends of its range change of price, energy not supplied and yield."""
    ends = guess.low, guess.high
    if guess.key != WEAK_LIGHT:
        own = _total(design)
        tried = [_total_with(design, guess.key, end) for end in ends]
        return replace(guess, price_frac=_largest_share(own, tried, own))
    years = [_weak_light_year(design, end) for end in (guess.used, *ends)]
    missed = [energy_kwh(year, "not_supplied") for year in years]
    sun = [energy_kwh(year, "available") for year in years]
    return replace(
        guess, yield_frac=_largest_share(sun[0], sun[1:], sun[0]),
        not_supplied_frac=_largest_share(missed[0], missed[1:], energy_kwh(years[0], "demand")),
    )  # fmt: skip


def _largest_share(own: float, tried: Iterable[float], whole: float) -> float:
    """Largest change of a value over a whole [frac]; 0 where there is no whole."""
    return max((abs(one - own) / whole for one in tried), default=0.0) if whole > 0.0 else 0.0


def _total(design: Design) -> float:
    """Price of an offer; 0 where there is none."""
    offer = or_why(lambda: design.offer)()
    return 0.0 if isinstance(offer, NoAnswer) else offer.total


def _total_with(design: Design, key: str, value: Value) -> float:
    """Price with a guess at a value; the design's own where it cannot be built so."""
    try:
        return _total(design.changed(changes_for(key, value))) or _total(design)
    except InputError:
        return _total(design)


def _open_guesses(design: Design) -> Iterator[Guess]:
    """The guess of each key that nobody gave and that the system has."""
    site = design.site
    runs = {one.run.key for one in design.electrical.sized}
    for key in dict.fromkeys(guess.key for guess in guesses()):
        head, _, name = key.partition(".")
        table = name.partition(".")[0]
        there = (design.structure is not None if head == "structure"
                 else head != "runs" or any(run.startswith(table) for run in runs))
        if there and not is_given(site, key):
            yield guess_of(site, key)


def _tried(design: Design, guess: Guess, now: dict[str, State]) -> DecidingGuess:
    used, (low, high) = _used_and_range(design, guess)
    tried = _Tried(parts=lambda value: (
        (partial(_weak_light_states, design, value),) if guess.key == WEAK_LIGHT
        else _built_parts(_design_at(design, guess.key, value, used), design)
    ))  # fmt: skip
    points = sorted({low, min(max(used, low), high), high})
    flips = [
        flip for first, second in pairwise(points) for flip in _flips(tried, first, second, now)
    ]
    flips.sort(key=lambda flip: (not flip.safety, abs(flip.at - used)))
    return DecidingGuess(
        key=guess.key, label=guess.label, unit=guess.unit, source=guess.source, used=used,
        low=low, high=high, flips=tuple(flips),
    )  # fmt: skip


def _design_at(design: Design, key: str, value: Value, used: Value) -> Design:
    """The design with a guess at a value: itself where it takes that value as if measured."""
    if value == used and key not in TAKEN_SAFELY:
        return design
    return design.changed(changes_for(key, value))


def _used_and_range(design: Design, guess: Guess) -> tuple[Value, tuple[Value, Value]]:
    """What the design takes for a value, and what it usually lies between."""
    site, built = design.site, design.electrical
    head, _, name = guess.key.partition(".")
    if guess.key == SOIL:
        (row,) = (row for row in published("soil_kinds").rows if row["kind"] == site.soil.kind)
        return float(row["usual"]), (float(row["low"]), float(row["high"]))
    if guess.key == WEAK_LIGHT:
        module = site.module
        low, high = (efficiency_200_frac(one) for one in weak_light_bounds(module))
        return efficiency_200_frac(module), (low, high)
    if guess.key == "protection.battery_fault_a":
        fault = built.plan.banks[0].fault
        return fault.string_a, (fault.least_string_a, fault.string_a)
    used = built.case.coldest_c if guess.key == "cables.coldest_c" else None
    if used is None:
        used = (USUAL_RUNS[name.partition(".")[0]][0] if head == "runs"
                else float(getattr(getattr(site, head), name)))  # fmt: skip
    return used, guess.bounds(used)


def poles_on_trial(design: Design) -> Iterator[tuple[str, list[str]]]:
    """What other devices and conductors each way to earth the battery asks for, if none is given.

    Yields
    ------
    tuple of str and list of str
        The pole that is earthed, and devices whose poles change; none where the site file says.
    """
    if is_given(design.site, "battery.pole_earthed"):
        return
    own = {device.key: device for device in design.electrical.plan.devices}
    for pole in ("negative", "positive"):
        site = design.changed({"battery": {"pole_earthed": pole}}).site
        other = electrical_of(site, design.flows).plan  # no flow hangs on the earthed pole
        yield pole, [
            f"{device.name}: {_poles_in_all(own[device.key])} to {_poles_in_all(device)} poles"
            for device in other.devices
            if device.key in own and _poles_in_all(device) != _poles_in_all(own[device.key])
        ]


def _poles_in_all(device: Device) -> int:
    """Of one circuit."""
    return device.poles * (2 if device.pole_by_pole else 1)


def changes_for(key: str, value: Value) -> dict[str, dict[str, Any]]:
    """The changes of a site file that give a guess a value, as if it had been measured."""
    if key == SOIL:
        ohm = value / (2.0 * math.pi * PIN_SPACING_M)  # rho = 2 pi a R, four pins in a line
        return {"soil": {"spacing_m": [PIN_SPACING_M], "resistance_ohm": [ohm]}}
    table, *names = key.split(".")
    found: Any = value
    for name in reversed(names):
        found = {name: found}
    return {table: found}


def _flips(
    tried: _Tried, first: Value, second: Value, now: dict[str, State]
) -> Iterator[Flip]:
    """Each thing that stands otherwise at two values, with the value where it flips."""
    low, high = tried.at(first), tried.at(second)
    if low is None or high is None:
        states = {UNBUILT: State(words="The design", state="is built", safety=False)}
    else:
        states = low | high
    for key, state in states.items():
        below, above = tried.one(key, first), tried.one(key, second)
        if below == above or not (key.startswith("device/") or key == UNBUILT or (
                low and high and key in low and key in high)):  # fmt: skip
            continue
        left, right = _halved(tried, key, first, second)
        as_built = now[key].state if key in now else NOT_BOUGHT
        yield Flip(
            what=state.words, at=0.5 * (left + right), just_below=left, just_above=right,
            below=tried.one(key, left), above=tried.one(key, right),
            as_built="is built" if key == UNBUILT else as_built, safety=state.safety,
        )  # fmt: skip


def _halved(tried: _Tried, key: str, first: Value, second: Value) -> tuple[Value, Value]:
    """Two values close together between which a thing flips."""
    below = tried.one(key, first)
    for _ in range(STEPS):
        middle = 0.5 * (first + second)
        if tried.one(key, middle) == below:
            first = middle
        else:
            second = middle
    return first, second
