"""What a bank drives into a short circuit: by its sheet, or by its kind and size.

A shorted battery cannot be switched off. It burns tools, blinds, sprays acid. Nobody measures this
current by making the short circuit: take it from the maker's sheet.
"""

from __future__ import annotations

from dataclasses import dataclass

from solarcalc.sitefile.battery_records import Battery
from solarcalc.wiring.conductors import OHM_MM2_PER_KM
from solarcalc.wiring.runs import SizedRun


@dataclass(frozen=True, kw_only=True)
class BankFault:
    """The short circuit of a bank.

    Parameters
    ----------
    voltage_v : float
        At rest, full [V].
    string_ohm : float
        Of one string of units [ohm].
    strings : int
        In parallel.
    known : bool
        Whether the site file gives the current; else it is by the kind of battery.
    source : str
        Where the resistance comes from.
    """

    voltage_v: float
    string_ohm: float
    strings: int
    known: bool
    source: str

    @property
    def string_a(self) -> float:
        """One string shorted at its terminals [A]."""
        return self.voltage_v / self.string_ohm

    @property
    def bars_a(self) -> float:
        """All strings, shorted at the bars [A]; leads to the bars left out."""
        return self.strings * self.string_a

    def far_a(self, lead_ohm: float) -> float:
        """All strings through leads of that resistance, both ways [A]."""
        return self.voltage_v / (self.string_ohm / self.strings + lead_ohm)


def short_circuit_a(
    voltage_v: float, *, cell_mohm: float, cells: int, strings: int, lead_mohm: float
) -> float:
    """Battery short-circuit current by the voltage and what resistance lies in its way [A].

    Parameters
    ----------
    voltage_v : float
        Of the bank [V].
    cell_mohm : float
        Of one cell [mohm].
    cells, strings : int
        Cells in series, strings in parallel.
    lead_mohm : float
        Of all leads, both ways [mohm].

    Notes
    -----
    I = V / (R n / p + R_lead). Inductance, heat and the state of charge are left out: a real
    fault is smaller.

    Examples
    --------
    >>> round(short_circuit_a(51.2, cell_mohm=0.3, cells=16, strings=1, lead_mohm=1.0))
    8828
    """
    return voltage_v / ((cell_mohm * cells / strings + lead_mohm) / 1000.0)


def bank_fault(battery: Battery, *, strings: int, known_a: float | None) -> BankFault:
    """The short circuit of a bank of so many strings of the site's units.

    Parameters
    ----------
    battery : Battery
    strings : int
        In parallel.
    known_a : float or None
        One string of units shorted, by the maker's sheet [A]; None: by the kind of battery.
    """
    kind, cells = battery.traits, battery.cells_in_series
    voltage_v = cells * kind.rest.full_v
    by_kind_ohm = cells * kind.fault.cell_ohm_ah / battery.unit_capacity_ah
    return BankFault(
        voltage_v=voltage_v,
        string_ohm=by_kind_ohm if known_a is None else voltage_v / known_a,
        strings=strings,
        known=known_a is not None,
        source="protection.battery_fault_a of the site file, from the maker's sheet"
        if known_a is not None else f"V / R of the kind: {kind.fault.clause}",
    )


def lead_ohm(sized: SizedRun) -> float:
    """Resistance of a run, both ways, at 20 degC, where a fault is largest [ohm]."""
    per_km = float(OHM_MM2_PER_KM[sized.run.material]) / (sized.size_mm2 * sized.in_parallel)
    return 2.0 * sized.run.length_m / 1000.0 * per_km
