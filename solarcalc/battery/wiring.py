"""How the units of a bank are joined, and whether that suits what is joined to it.

Units in series make a string, strings lie in parallel between two bars. Current takes the path of
least resistance: with leads of unequal length, or with both take-offs at the same end, the near
string works most and dies first. A string is fused on its own, as its neighbours feed a fault in
it. Joining is licensed work on a live source: insulated tools, the last link last.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from solarcalc.basis.check import Check, checked
from solarcalc.basis.worded import worded
from solarcalc.sitefile.battery import VOLTAGE_CLASS_FRAC, Battery
from solarcalc.sitefile.supply import Controller

NOMINAL_V = (12.0, 24.0, 48.0)
"""Bank voltages that small inverters and charge controllers are made for [V]; common practice."""


@dataclass(frozen=True, kw_only=True)
class Wiring:
    """What joins the units of a bank.

    Parameters
    ----------
    series_links : int
        From the minus of a unit to the plus of the next, all strings together.
    parallel_links : int
        From one string to the next, on both bars together.
    string_fuses : int
        One in the plus of each string where there is more than one; the fuse of the whole bank
        comes on top.
    """

    series_links: int
    parallel_links: int
    string_fuses: int


def wiring_of(battery: Battery) -> Wiring:
    """Links and fuses of a bank: counting."""
    series, strings = battery.units_in_series, battery.units_in_parallel
    return Wiring(series_links=(series - 1) * strings, parallel_links=2 * (strings - 1),
                  string_fuses=strings if strings > 1 else 0)


def wiring_advice(battery: Battery, poles: str) -> tuple[str, ...]:
    """How to join the bank, in the order of the work; `poles` says which ones are fused."""
    wiring = wiring_of(battery)
    advice = ["monoblocs or modules of one make, type and age, each fully charged before"
              " connection"]
    if wiring.series_links:
        advice.append(
            f"{wiring.series_links} inter-unit connectors in series, negative (−) to positive"
            " (+) of the next, all of one length and size"
        )
    if wiring.string_fuses:
        advice += [
            f"a DC fuse {poles} of each of the {wiring.string_fuses} strings",
            "connecting cables of equal length from each string to the two busbars",
            "main connection at diagonally opposite ends: positive (+) at one, negative (−) at"
            " the other",
        ]
    advice.append("a fuse or circuit-breaker for the whole battery, close to it")
    return tuple(advice)


def nominal_v(battery: Battery) -> float | None:
    """The common voltage that the bank is used as [V]; None where it is none of them."""
    for nominal in NOMINAL_V:
        if _suits(battery.nominal_voltage_v, nominal):
            return nominal
    return None


def _suits(bank_v: float, wanted_v: float) -> bool:
    return abs(bank_v / wanted_v - 1.0) <= float(VOLTAGE_CLASS_FRAC)


def voltage_check(battery: Battery, expected_v: float | None = None) -> Check:
    """Whether the bank has the voltage that what it feeds is made for.

    Parameters
    ----------
    battery : Battery
    expected_v : float, optional
        Nominal direct voltage on the plate of the inverter or controller [V]: another one fails.
        Without it, a bank of no common voltage is a caution.
    """
    bank_v = battery.nominal_voltage_v
    if expected_v is None:
        good, limit = nominal_v(battery) is not None, " or ".join(f"{v:g}" for v in NOMINAL_V)
    else:
        good, limit = _suits(bank_v, expected_v), f"{expected_v:g}"
    return checked(good, "review" if expected_v is None else "failed", **worded(
        "battery", "bank-voltage", bank_v=bank_v, limit=limit,
        voltage_class_frac=float(VOLTAGE_CLASS_FRAC), units_in_series=battery.units_in_series,
        unit_voltage_v=battery.unit_voltage_v,
    ))  # fmt: skip


def strings_checks(battery: Battery) -> list[Check]:
    """Whether the strings are few enough to share the current, and units that may be in series."""
    rule = battery.traits.bank
    checks = []
    if rule.most_strings is not None:
        checks.append(checked(
            battery.units_in_parallel <= rule.most_strings,
            rule="battery/strings-parallel", kind="cost",
            item="Battery strings in parallel",
            found=f"{battery.units_in_parallel}", limit=f"at most {rule.most_strings}",
            clause=rule.clause,
            remedy="larger monoblocs or cells in fewer strings: single cells make one string of"
                   " any size",
        ))  # fmt: skip
    if rule.most_in_series is not None:
        checks.append(checked(
            battery.units_in_series <= rule.most_in_series,
            rule="battery/units-series", kind="safety",
            item="Monoblocs or modules in series",
            found=f"{battery.units_in_series}",
            limit=f"{rule.most_in_series}, or as the manufacturer permits", clause=rule.clause,
            remedy="units of the full voltage, or the manufacturer's permission for series"
                   " connection",
        ))  # fmt: skip
    return checks


def charge_limit_a(battery: Battery) -> float:
    """Largest charge current of the bank, as its sheet allows [A]."""
    return battery.max_charge_c_rate * battery.rated_ah


def _charging_a(controllers: Sequence[Controller], charger_a: float) -> float:
    return sum(one.count * one.max_charge_current_a for one in controllers) + charger_a


def _charge_share(
    battery: Battery, controllers: Sequence[Controller], charger_a: float = 0.0
) -> float:
    """Share of their currents that controllers and charger are set to, to keep the limit."""
    return min(1.0, charge_limit_a(battery) / _charging_a(controllers, charger_a))


def charge_settings_a(
    battery: Battery, controllers: Sequence[Controller], charger_a: float = 0.0
) -> tuple[float, ...]:
    """Charge current to set on each controller, so that all that charges keeps the limit [A].

    Parameters
    ----------
    battery : Battery
    controllers : sequence of Controller
        One a roof plane, each with its count; all charge the same bank.
    charger_a : float
        Of the charger that grid or generator feed [A]; set lower by the same share.
    """
    share = _charge_share(battery, controllers, charger_a)
    return tuple(_set_a(one.max_charge_current_a * share) for one in controllers)


def charger_setting_a(
    battery: Battery, controllers: Sequence[Controller], charger_a: float, count: int = 1
) -> float:
    """Charge current to set on each charger beside the controllers, as `charge_settings_a` [A].

    Parameters
    ----------
    battery : Battery
    controllers : sequence of Controller
    charger_a : float
        Of all chargers together [A].
    count : int
        Of the chargers.
    """
    return _set_a(_charge_share(battery, controllers, charger_a) * charger_a / count)


def _set_a(current_a: float) -> float:
    """Down to what is entered: whole amperes, tenths below ten; up would pass the limit [A]."""
    steps = 1 if current_a >= 10.0 else 10
    return math.floor(current_a * steps + 1e-6) / steps


def charge_current_check(
    battery: Battery, controllers: Sequence[Controller], charger_a: float = 0.0
) -> Check:
    """Whether controllers and charger, all at full current, charge faster than the bank may be.

    Each regulates by itself: none knows of the others. For review, as they are programmed to less
    on site; failed where a management system then parts the bank from its load.

    Parameters
    ----------
    battery : Battery
    controllers : sequence of Controller
        One a roof plane, each with its count.
    charger_a : float
        Of the charger that grid or generator feed [A].
    """
    most_a, limit_a = _charging_a(controllers, charger_a), charge_limit_a(battery)
    count = sum(one.count for one in controllers)
    charger_set_a = charger_setting_a(battery, controllers, charger_a)
    settings = {f"{each_a:g}": None
                for each_a in charge_settings_a(battery, controllers, charger_a)}  # fmt: skip
    parts = battery.traits.management_system
    return checked(most_a <= limit_a * (1.0 + 1e-9), "failed" if parts else "review", **worded(
        "battery", "charge-current-controllers", most_a=most_a, limit_a=limit_a,
        max_charge_c_rate=battery.max_charge_c_rate, rated_ah=battery.rated_ah,
        controllers="the controller" if count == 1 else f"each of the {count} controllers",
        each_a=" or ".join(settings),
        charger=f" and the charger to {charger_set_a:g} A" if charger_a else "",
        beside=f", and of the charger, {charger_a:.0f} A" if charger_a else "",
    ))  # fmt: skip


def bank_checks(
    battery: Battery, controllers: Sequence[Controller], charger_a: float = 0.0
) -> list[Check]:
    """All checks of a bank by itself and with what charges it."""
    return [voltage_check(battery), *strings_checks(battery),
            charge_current_check(battery, controllers, charger_a)]
