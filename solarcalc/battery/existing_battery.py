"""An existing battery by its tests: capacity, resistance, voltage at rest."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Literal

from solarcalc.basis.check import Check, Outcome, checked
from solarcalc.basis.quantity import in_percent
from solarcalc.basis.sourced import Sourced, constant
from solarcalc.basis.worded import worded
from solarcalc.battery.worksheet import capacity_at_hours_ah
from solarcalc.sitefile.battery import VOLTAGE_CLASS_FRAC, Battery
from solarcalc.sitefile.chemistry import Chemistry, chemistries
from solarcalc.sitefile.existing import Existing

Choice = Literal["keep", "use on the other board", "replace", "test first"]
CHOICES: tuple[Choice, ...] = ("keep", "use on the other board", "replace")
"""From the best to the worst; a thing without the test that decides is to be tested first."""

OUTCOMES: dict[str, Outcome] = {
    "keep": "passed", "use on the other board": "review", "replace": "failed",
    "test first": "review",
}  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class BoardNeed:
    """What a board asks of its supply.

    Parameters
    ----------
    peak_w : float
        Highest load for minutes and more [W].
    surge_va : float
        Highest start of a motor or charger [VA].
    daily_wh : float
        Energy of a mean day [Wh].
    """

    peak_w: float
    surge_va: float
    daily_wh: float


@dataclass(frozen=True, kw_only=True)
class Place:
    """Where a existing thing would work.

    Parameters
    ----------
    bank_voltage_v : float
        Nominal, of the bank to be [V].
    essential, nonessential : BoardNeed
        The board that must not lose supply, and the other one, which may wait.
    yield_kwh_per_kw_per_year : float or None
        What a kilowatt of modules brings here, where it is known [kWh/kW].
    """

    bank_voltage_v: float
    essential: BoardNeed
    nonessential: BoardNeed
    yield_kwh_per_kw_per_year: float | None = None


@dataclass(frozen=True, kw_only=True)
class Judgement:
    """Keep, use on the other board, or replace: with what follows from each.

    Parameters
    ----------
    label, kind : str
        Of the thing.
    choice : {"keep", "use on the other board", "replace", "test first"}
    why : tuple of str
        What was found, one sentence each.
    consequences : mapping
        What follows from each of the three choices, in words and figures.
    values : mapping
        Named figures, unit last in the name.
    checks : tuple of Check
        The choice first, then each test.
    """

    label: str
    kind: str
    choice: Choice
    why: tuple[str, ...]
    consequences: Mapping[str, str]
    values: Mapping[str, float]
    checks: tuple[Check, ...]


def same_class(one_v: float, other_v: float) -> bool:
    """Whether two nominal voltages [V] are of one class: 48 and 51.2, 24 and 25.6, 12 and 12.8."""
    return abs(one_v - other_v) <= float(VOLTAGE_CLASS_FRAC) * other_v


def worst(ranks: list[int], *, tested: bool) -> Choice:
    """The choice that the worst of the ranks (0 keep, 1 other board, 2 replace) leaves.

    Without the test that decides it is to be tested first, unless it is to be replaced anyway.
    """
    rank = max(ranks, default=0)
    return CHOICES[rank] if tested or rank == len(CHOICES) - 1 else "test first"


def choice_check(label: str, choice: Choice, *, clause: str, remedy: str) -> Check:
    """The check that tells the choice itself."""
    return Check(
        rule="battery/owned", kind="cost",
        item=f"Existing: {label}", found=choice, limit="keep", unit="", outcome=OUTCOMES[choice],
        clause=clause, remedy="" if choice == "keep" else remedy,
    )  # fmt: skip


REPLACE_BELOW_FRAC = constant("battery.replace_below_frac")
SOUND_FRAC = constant("battery.sound_frac")
WEAK_RESISTANCE = constant("battery.weak_resistance")
BAD_RESISTANCE = constant("battery.bad_resistance")


def kind_assumptions(kind: Chemistry) -> list[Sourced]:
    """What the judgement of an existing battery of this kind takes for granted."""
    return [
        kind.rate.sourced("exponent"), kind.capacity_test.sourced("per_k_frac", "1/K"),
        kind.rest.sourced("sound_v", "V"), kind.rest.sourced("spent_v", "V"),
        kind.existing.sourced("usable_frac"),
    ]  # fmt: skip


def capacity_left_frac(existing: Existing) -> float | None:
    """Capacity found over the rating, at the same rate and at 25 degC; None without a test.

    Notes
    -----
    The rating is brought to the hours of the test by Peukert's law, the result to 25 degC by
    C / (1 + a (T - 25)), for lead-acid stated for 15 to 35 degC; no temperature given is 25.
    """
    if existing.measured_capacity_ah is None:
        return None
    kind = kind_of(existing)
    temp_c = 25.0 if existing.measured_temp_c is None else existing.measured_temp_c
    rated_ah = capacity_at_hours_ah(
        _known(existing.unit_capacity_ah), _known(existing.rated_discharge_h),
        _known(existing.measured_discharge_h), rate=kind.rate,
    )  # fmt: skip
    warmth = 1.0 + kind.capacity_test.per_k_frac * (temp_c - 25.0)
    return existing.measured_capacity_ah / warmth / rated_ah


def plate_ah(existing: Existing, discharge_h: float) -> float:
    """Rated capacity of a unit, brought to another duration of discharge [Ah]."""
    rated_h = _known(existing.rated_discharge_h)
    if rated_h == discharge_h:
        return _known(existing.unit_capacity_ah)
    return capacity_at_hours_ah(_known(existing.unit_capacity_ah), rated_h, discharge_h,
                                rate=kind_of(existing).rate)  # fmt: skip


def bank_left_frac(battery: Battery, existing: Iterable[Existing]) -> float:
    """Share of its capacity that a bank has with units that are used again, by their tests.

    Units used again come first, in the order of the site file, then new ones; the weakest unit
    of a string limits it. A unit without a test counts as rated, of which a check tells.

    Parameters
    ----------
    battery : Battery
    existing : iterable of Existing

    Returns
    -------
    float
        Above 0 up to 1; exactly 1 where nothing is used again.
    """
    units = [min(_tested_frac(one), 1.0) for one in existing
             if one.kind == "battery" for _ in range(one.used)][: battery.unit_count]
    if not units:
        return 1.0
    units += [1.0] * (battery.unit_count - len(units))
    series = battery.units_in_series
    strings = [min(units[first : first + series]) for first in range(0, len(units), series)]
    return max(sum(strings) / len(strings), LEAST_LEFT_FRAC)


LEAST_LEFT_FRAC = 0.01
"""A bank of units that hold nothing: the year goes on, and the checks of its units fail [frac]."""


def _tested_frac(one: Existing) -> float:
    found = capacity_left_frac(one)
    return 1.0 if found is None else found


def years_left(capacity_frac: float, age_years: float) -> float:
    """Years until 80 % if it goes on falling as it fell so far [years]; at most that long.

    Parameters
    ----------
    capacity_frac : float
        Found over rated.
    age_years : float
        [years].

    Notes
    -----
    A straight line from 1 at the first day. Lead-acid falls faster at the end; a battery that
    has lost nothing yet gives no line, and infinity; one that has on its first day, 0.
    """
    lost = 1.0 - capacity_frac
    if lost <= 0.0 or age_years <= 0.0:
        return float("inf") if lost <= 0.0 else 0.0
    return max(0.0, (capacity_frac - float(REPLACE_BELOW_FRAC)) * age_years / lost)


def judged_battery(existing: Existing, place: Place) -> Judgement:
    """An existing battery: what its tests say and what follows from each choice."""
    left = capacity_left_frac(existing)
    tests = [
        found
        for found in (_capacity(left), _resistance(existing), _rest(existing),
                      _voltage(existing, place))
        if found is not None
    ]  # fmt: skip
    choice = worst([rank for rank, _ in tests], tested=left is not None)
    series = _series(existing, place)
    whole = existing.count // series * series
    rating = _known(existing.unit_voltage_v) * _known(existing.unit_capacity_ah) * whole
    kept = rating * (1.0 if left is None else min(left, 1.0))
    usable = kept * kind_of(existing).existing.usable_frac
    values = {"rated_energy_kwh": rating / 1000.0, "usable_as_tested_kwh": usable / 1000.0}
    if left is not None:
        values["capacity_left_frac"] = left
        values["years_left_years"] = years_left(left, existing.age_years)
    checks = [check for _, check in tests]
    return Judgement(
        label=existing.label, kind=existing.kind, choice=choice,
        why=tuple(f"{check.item}: {check.found_words}"
                  for check in checks) or ("no test was given",),
        consequences=_consequences(existing, place, usable, left),
        values=values,
        checks=(
            choice_check(
                existing.label, choice, clause=f"{REPLACE_BELOW_FRAC.label}: 80 %;"
                f" {REPLACE_BELOW_FRAC.source}",
                remedy=_remedy(choice, kind_of(existing)),
            ),
            *checks,
        ),
    )  # fmt: skip


def _remedy(choice: Choice, kind: Chemistry) -> str:
    if choice == "replace":
        return f"take it to a recycler that takes batteries; {kind.words.discard}"
    if choice == "use on the other board":
        return "a separate bank for the non-essential board, which may be shed; test it every year"
    return ("discharge it at constant current from full to its end-of-discharge voltage, by"
            " trained people")


def _capacity(left: float | None) -> tuple[int, Check] | None:
    if left is None:
        return None
    rank = 0 if left >= float(SOUND_FRAC) else 1 if left >= float(REPLACE_BELOW_FRAC) else 2
    check = checked(
        rank == 0, "failed" if rank == 2 else "review",
        rule="battery/owned-capacity", kind="cost",
        item="Capacity, share of the rating", found=f"{left * 100.0:.0f}",
        limit=f"{float(SOUND_FRAC) * 100.0:.0f}, and {float(REPLACE_BELOW_FRAC) * 100.0:.0f}"
        " to stay in use",
        unit="%", clause=REPLACE_BELOW_FRAC.source,
        remedy="not on the essential board" if rank == 1 else "replace it",
    )  # fmt: skip
    return rank, check


def _resistance(existing: Existing) -> tuple[int, Check] | None:
    if existing.measured_resistance_ohm is None:
        return None
    times = existing.measured_resistance_ohm / _known(existing.new_resistance_ohm)
    rank = 0 if times < float(WEAK_RESISTANCE) else 1 if times < float(BAD_RESISTANCE) else 2
    check = checked(rank == 0, "failed" if rank == 2 else "review", **worded(
        "battery", "inner-resistance-against", times=times, weak_resistance=float(WEAK_RESISTANCE),
        weak_resistance_source=WEAK_RESISTANCE.source, bad_resistance=float(BAD_RESISTANCE),
        bad_resistance_source=BAD_RESISTANCE.source,
    ))  # fmt: skip
    return rank, check


def _rest(existing: Existing) -> tuple[int, Check] | None:
    if existing.rest_voltage_v is None:
        return None
    kind = kind_of(existing)
    cell_v = existing.rest_voltage_v / kind.cells(_known(existing.unit_voltage_v))
    sound, spent = kind.rest.sound_v, kind.rest.spent_v
    rank = 0 if cell_v >= sound else 1 if cell_v >= spent else 2
    check = checked(rank == 0, "failed" if rank == 2 else "review", **worded(
        "battery", "voltage-rest-cell", cell_v=cell_v, sound=sound, clause=kind.rest.clause,
    ))  # fmt: skip
    return rank, check


def _series(existing: Existing, place: Place) -> int:
    return max(1, round(place.bank_voltage_v / _known(existing.unit_voltage_v)))


def _voltage(existing: Existing, place: Place) -> tuple[int, Check]:
    """Whether whole strings of the units make the bank's voltage."""
    series, unit_v = _series(existing, place), _known(existing.unit_voltage_v)
    enough = same_class(series * unit_v, place.bank_voltage_v) and existing.count >= series
    check = checked(enough, "failed", clause=VOLTAGE_CLASS_FRAC.source, **worded(
        "battery", "whole-strings-bank", count=existing.count, unit_v=unit_v, series=series,
        bank_voltage_v=place.bank_voltage_v,
    ))  # fmt: skip
    return 0 if enough else 2, check


def _consequences(
    existing: Existing, place: Place, usable_wh: float, left: float | None
) -> dict[str, str]:
    share = "rated value, not tested" if left is None else f"{in_percent(left, 0)} % of its rating"
    hours = {
        name: "" if need.daily_wh <= 0.0 else f"{usable_wh / need.daily_wh * 24.0:.0f} h"
        for name, need in (("essential", place.essential), ("nonessential", place.nonessential))
    }
    years = "" if left is None else _years_words(years_left(left, existing.age_years))
    return {
        "keep": f"{usable_wh / 1000.0:.1f} kWh usable ({share}): {hours['essential'] or 'all'}"
        f" of the mean demand of the essential board.{years} Never combine with new batteries in"
        " one bank: the"
        " old ones degrade them; any addition is a separate bank.",
        "use on the other board": f"The same {usable_wh / 1000.0:.1f} kWh supply the"
        f" non-essential board for {hours['nonessential'] or 'any time'} at its mean demand, with a"
        " separate bank and inverter; the essential board gets a new bank.",
        "replace": f"A new bank in place of {usable_wh / 1000.0:.1f} kWh; all monoblocs or modules"
        " at once, of one make and age, as the weakest limits the string. Recycle the old ones.",
    }


def _years_words(years: float) -> str:
    if years == float("inf"):
        return " No loss of capacity so far."
    if years <= 0.0:
        return " It is already below 80 %."
    return f" At the present rate it reaches 80 % within {years:.1f} years."


def kind_of(existing: Existing) -> Chemistry:
    """What kind an existing battery is."""
    return chemistries()[str(existing.chemistry)]


def _known(value: float | None) -> float:
    """A figure that the checks of the site file let no [[existing]] through without."""
    if value is None:
        raise ValueError("an existing battery without a figure that its kind must have")
    return value
