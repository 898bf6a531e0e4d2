"""Charge voltages of a bank and what its model takes for granted, by the traits of its kind.

Figures of a kind, not of a make: the maker's sheet decides wherever it says something else. The
cautions on acid, hydrogen, short circuits and burning cells stand in every report.
"""

from __future__ import annotations

from dataclasses import dataclass

from solarcalc.basis.sourced import Sourced
from solarcalc.sitefile.battery import Battery

REFERENCE_C = 25.0
"""Temperature that capacities, set points and self-discharge are stated at [degC]."""


@dataclass(frozen=True, kw_only=True)
class SetPoints:
    """Voltages to set a charger to, of the whole bank.

    Parameters
    ----------
    absorption_v, float_v : float
        [V].
    equalise_v : float or None
        [V]; None: never equalise this kind.
    compensation_v_per_k : float
        Taken off for each kelvin above 25 degC [V/K].
    """

    absorption_v: float
    float_v: float
    equalise_v: float | None
    compensation_v_per_k: float


def set_points(battery: Battery, *, battery_c: float = REFERENCE_C) -> SetPoints:
    """Charge voltages of the bank at the temperature of the battery: advice to print.

    The maker's sheet goes before it. A charge with compensation needs a sensor on the battery
    itself: a hot one charged at its cold voltage gases, dries out and can run away.

    Parameters
    ----------
    battery : Battery
    battery_c : float
        Temperature of the battery [degC].

    Notes
    -----
    V(T) = n (V25 - a (T - 25)), n the cells in series, a the compensation of one cell; three to
    five millivolts a kelvin and cell for lead-acid, none for lithium iron phosphate.
    """
    charge, cells = battery.traits.charge, battery.cells_in_series
    less_v = charge.compensation_v_per_k * (battery_c - REFERENCE_C)
    return SetPoints(
        absorption_v=cells * (charge.absorption_v - less_v),
        float_v=cells * (charge.float_v - less_v),
        equalise_v=None if charge.equalise_v is None else cells * (charge.equalise_v - less_v),
        compensation_v_per_k=cells * charge.compensation_v_per_k,
    )


def bank_assumptions(battery: Battery) -> list[Sourced]:
    """What the model of the bank takes for granted, each with its source."""
    kind, wells = battery.traits, battery.traits.wells
    if not kind.two_wells:
        return [
            Sourced(label="Battery model", value="one well, with its temperature", unit="",
                    source=wells.clause)
        ]  # fmt: skip
    own = bool(battery.discharge_hours)
    words = "fitted to the table of capacities in the site file" if own else (
        f"{wells.available_frac:g} at once, {wells.exchange_per_h:g} a hour between the wells"
    )
    entries = [
        Sourced(label="Battery model", value="two wells, with its temperature", unit="",
                source="Manwell and McGowan 1993"),
        Sourced(label="Charge drawn in a hurry", value=words, unit="",
                source="the site file" if own else wells.clause),
    ]  # fmt: skip
    if kind.taper.acceptance_per_h is not None:
        entries.append(kind.taper.sourced("acceptance_per_h", "1/h"))
    return entries
