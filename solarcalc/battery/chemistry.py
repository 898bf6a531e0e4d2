"""What each kind of battery is: cells, wells, charge voltages, pace of the charge; each sourced.

Figures of a kind, not of a make: the maker's sheet decides wherever it says something else. The
cautions on acid, hydrogen, short circuits and burning cells stand in every report.
"""

from __future__ import annotations

from dataclasses import dataclass

from solarcalc.basis.sourced import FROM_MEMORY, NO_SOURCE, Sourced
from solarcalc.sitefile.battery_records import Battery

REFERENCE_C = 25.0
"""Temperature that capacities, set points and self-discharge are stated at [degC]."""


@dataclass(frozen=True, kw_only=True)
class Chemistry:
    """One kind of battery.

    Parameters
    ----------
    words : str
        As it is called in the trade.
    lead_acid : bool
    cell_v : float
        Nominal, of one cell [V].
    rated_hours : float
        Discharge time of the rated capacity where the site file gives none [h].
    available_frac, exchange_per_h : float
        The two wells where the site file has no table of capacities; [0 to 1] and [1/h].
    wells_source : str
    acceptance_per_h : float
        Largest charge current over the charge still missing [1/h]; infinite for no taper.
    absorption_v, float_v : float
        Of one cell at 25 degC [V].
    equalise_v : float or None
        The same for an equalising charge; None: never done.
    compensation_v_per_k : float
        What to take off all three for each kelvin above 25 degC [V/K].
    voltage_source : str
    """

    words: str
    lead_acid: bool
    cell_v: float
    rated_hours: float
    available_frac: float
    exchange_per_h: float
    wells_source: str
    acceptance_per_h: float
    absorption_v: float
    float_v: float
    equalise_v: float | None
    compensation_v_per_k: float
    voltage_source: str


ACCEPTANCE_SOURCE = (
    "charge at constant voltage measured on a 12 V 17 Ah sealed battery (0.4 to 0.7 a hour);"
    " below the ampere-hour law of 1 a hour, Woodbridge 1935"
)
"""Where the pace of the last part of a lead-acid charge comes from: 0.5 a hour."""

_PASTED = (
    "fitted to 40, 37, 33 and 24 Ah in 20, 10, 5 and 1 h of one maker's sheet of a 12 V 40 Ah mat"
    " battery"
)
_TUBULAR = f"fitted to 100, 86, 76 and 53 % in 10, 5, 3 and 1 h, usual for tubular plates;" \
    f" {FROM_MEMORY}"
_SHEETS = f"inside the ranges usual on makers' sheets; {NO_SOURCE}"

CHEMISTRIES: dict[str, Chemistry] = {
    "flooded": Chemistry(
        words="flooded lead-acid",
        lead_acid=True,
        cell_v=2.0,
        rated_hours=20.0,
        available_frac=0.324,
        exchange_per_h=1.268,
        wells_source=_TUBULAR,
        acceptance_per_h=0.5,
        absorption_v=2.43,
        float_v=2.24,
        equalise_v=2.55,
        compensation_v_per_k=0.005,
        voltage_source=_SHEETS,
    ),
    "agm": Chemistry(
        words="sealed lead-acid, glass mat",
        lead_acid=True,
        cell_v=2.0,
        rated_hours=20.0,
        available_frac=0.476,
        exchange_per_h=0.692,
        wells_source=_PASTED,
        acceptance_per_h=0.5,
        absorption_v=2.42,
        float_v=2.27,
        equalise_v=None,
        compensation_v_per_k=0.004,
        voltage_source=_SHEETS,
    ),
    "gel": Chemistry(
        words="sealed lead-acid, gel",
        lead_acid=True,
        cell_v=2.0,
        rated_hours=20.0,
        available_frac=0.476,
        exchange_per_h=0.692,
        wells_source=f"taken as for a mat battery ({_PASTED}); {NO_SOURCE}",
        acceptance_per_h=0.5,
        absorption_v=2.37,
        float_v=2.27,
        equalise_v=None,
        compensation_v_per_k=0.004,
        voltage_source=_SHEETS,
    ),
    "lifepo4": Chemistry(
        words="lithium iron phosphate",
        lead_acid=False,
        cell_v=3.2,
        rated_hours=5.0,
        available_frac=1.0,
        exchange_per_h=0.0,
        wells_source=f"one well: exponents of 1.02 to 1.05 in practice; {NO_SOURCE}",
        acceptance_per_h=float("inf"),
        absorption_v=3.55,
        float_v=3.375,
        equalise_v=None,
        compensation_v_per_k=0.0,
        voltage_source=_SHEETS,
    ),
}
"""By the words of the site file."""


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


def chemistry_of(battery: Battery) -> Chemistry:
    """The kind of a battery."""
    return CHEMISTRIES[battery.chemistry]


def cells_in_series(battery: Battery) -> int:
    """Cells one after another from the bank's plus to its minus."""
    per_unit = round(battery.unit_voltage_v / chemistry_of(battery).cell_v)
    return max(per_unit, 1) * battery.units_in_series


def set_points(battery: Battery, *, battery_c: float = REFERENCE_C) -> SetPoints:
    """Charge voltages of the bank at the temperature of the battery: advice to print.

    The maker's sheet goes before it. A lead-acid charge needs a sensor on the battery itself: a
    hot one charged at its cold voltage gases, dries out and can run away.

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
    kind, cells = chemistry_of(battery), cells_in_series(battery)
    less_v = kind.compensation_v_per_k * (battery_c - REFERENCE_C)
    return SetPoints(
        absorption_v=cells * (kind.absorption_v - less_v),
        float_v=cells * (kind.float_v - less_v),
        equalise_v=None if kind.equalise_v is None else cells * (kind.equalise_v - less_v),
        compensation_v_per_k=cells * kind.compensation_v_per_k,
    )


def bank_assumptions(battery: Battery) -> list[Sourced]:
    """What the model of the bank takes for granted, each with its source."""
    kind = chemistry_of(battery)
    own = bool(battery.discharge_hours)
    wells = "fitted to the table of capacities in the site file" if own else (
        f"{kind.available_frac:g} at once, {kind.exchange_per_h:g} a hour between the wells"
    )
    entries = [
        Sourced(
            label="Battery model", value="two wells, with its temperature" if kind.lead_acid
            else "one well, with its temperature", unit="",
            source="Manwell and McGowan 1993" if kind.lead_acid else kind.wells_source,
        ),
    ]  # fmt: skip
    if kind.lead_acid:
        entries += [
            Sourced(label="Charge drawn in a hurry", value=wells, unit="",
                    source="the site file" if own else kind.wells_source),
            Sourced(label="Last part of the charge: current over what is missing",
                    value=kind.acceptance_per_h, unit="1/h", source=ACCEPTANCE_SOURCE),
        ]  # fmt: skip
    return entries
