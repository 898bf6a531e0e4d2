"""Short circuit: what a bank gives, and how soon a breaker or a fuse clears it.

A shorted battery cannot be switched off. It burns tools, blinds, sprays acid. Nobody measures this
current by making the short circuit: take it from the maker's sheet.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.published import Published, published
from solarcalc.basis.sourced import constant
from solarcalc.sitefile.battery import Battery
from solarcalc.wiring.conductors import LONGEST_S, OHM_MM2_PER_KM
from solarcalc.wiring.runs import SizedRun

LEAST_VOLTAGE_FRAC = constant("protection.least_voltage_frac")


def curve_band(curve: str) -> tuple[float, float]:
    """Band in which a breaker trips at once, in rated currents.

    Lowest and highest factor.

    Raises
    ------
    InputError
        For a curve that the table does not have.

    Examples
    --------
    >>> curve_band("C")
    (5.0, 10.0)
    """
    table = published("breaker_curves")
    for row in table.rows:
        if row["curve"] == curve:
            return float(row["low"]), float(row["high"])
    raise InputError(
        Fault(
            where="protection.breaker_curve", given=curve,
            allowed=", ".join(row["curve"] for row in table.rows), why=table.clause,
            remedy="take one of these",
        )
    )  # fmt: skip


def trip_a(curve: str, rated_a: float) -> float:
    """Current that trips a breaker at once in any case: the upper end of its band [A].

    Parameters
    ----------
    curve : {"B", "C", "D"}
    rated_a : float
        [A].
    """
    return curve_band(curve)[1] * rated_a


def most_loop_ohm(line_v: float, curve: str, rated_a: float) -> float:
    """Largest loop impedance with which an earth fault trips a breaker at once [ohm].

    Parameters
    ----------
    line_v : float
        Line to earth, U_0 [V].
    curve : {"B", "C", "D"}
    rated_a : float
        [A].

    Notes
    -----
    Z_s = 0.95 U_0 / (m I_n), m the upper end of the curve's band.

    Examples
    --------
    >>> round(most_loop_ohm(230.0, "B", 32.0), 2)
    1.37
    """
    return float(LEAST_VOLTAGE_FRAC) * line_v / trip_a(curve, rated_a)


def disconnection_s(line_v: float, system: str) -> float | None:
    """Longest disconnection time of a final circuit up to 32 A [s]; None for IT, up to 50 V.

    Parameters
    ----------
    line_v : float
        Line to earth [V].
    system : {"TT", "TN-S", "IT"}

    Examples
    --------
    >>> disconnection_s(230.0, "TT")
    0.2
    """
    if line_v <= 50.0 or system == "IT":
        return None
    table = published("disconnection_times")
    row = next(row for row in table.rows if line_v <= float(row["up_to_v"]))
    return float(row["tt_s" if system == "TT" else "tn_s"])


def times_table() -> Published:
    """The table of disconnection times."""
    return published("disconnection_times")


def next_breaking_ka(fault_a: float) -> float | None:
    """Smallest standard breaking capacity of a small breaker for that fault [kA].

    Parameters
    ----------
    fault_a : float
        Prospective [A].

    Examples
    --------
    >>> next_breaking_ka(3200.0)
    4.5
    """
    made = [each for each in published("breaking_capacities").numbers("breaking_ka") if each]
    return next((each for each in sorted(made) if each * 1000.0 >= fault_a), None)


SUDDEN_S = constant("protection.sudden_s")
BAND_S = constant("protection.band_s")
DC_BAND_FACTOR = constant("protection.dc_band_factor")


def breaker_clear_s(trip_at_a: float, fault_a: float) -> float | None:
    """How long a breaker lets a fault flow at the most [s]; None where it does not trip at once.

    Parameters
    ----------
    trip_at_a : float
        Upper end of its band [A].
    fault_a : float
        [A].
    """
    if fault_a < trip_at_a:
        return None
    return float(SUDDEN_S) if fault_a >= 2.0 * trip_at_a else float(BAND_S)


def let_through_a2_s(curve: str, rated_a: float, fault_a: float) -> float | None:
    """Heat that a breaker of energy limiting class 3 lets through at the most [A2 s].

    None where no class is defined: curve D, above 32 A, above 10 kA.

    Parameters
    ----------
    curve : {"B", "C", "D"}
    rated_a, fault_a : float
        [A].

    References
    ----------
    EN 60898-1 (data/tables/breaker_let_through.csv).

    Examples
    --------
    >>> let_through_a2_s("C", 10.0, 3000.0)
    18000.0
    """
    if curve not in ("B", "C"):
        return None
    for row in published("breaker_let_through").rows:
        if fault_a <= 1000.0 * float(row["breaking_ka"]) and rated_a <= float(row["up_to_a"]):
            return float(row[f"{curve.lower()}_a2_s"])
    return None


FUSE_SELECTIVE = constant("protection.fuse_selective")
SHORT_S = float(constant("protection.short_s"))


@dataclass(frozen=True, kw_only=True)
class FuseClass:
    """One class of fuse for direct current.

    Parameters
    ----------
    name : str
    largest_a, rated_v, breaking_ka : float
        [A], [V], [kA].
    """

    name: str
    largest_a: float
    rated_v: float
    breaking_ka: float


@cache
def fuse_classes() -> tuple[FuseClass, ...]:
    """All classes of the table, weakest first."""
    made = [
        FuseClass(
            name=row["class"], largest_a=float(row["largest_a"]), rated_v=float(row["rated_v"]),
            breaking_ka=float(row["breaking_ka"]),
        )
        for row in published("battery_fuse_classes").rows
    ]  # fmt: skip
    return tuple(sorted(made, key=lambda each: each.breaking_ka))


def class_for(rated_a: float, bank_v: float, fault_a: float) -> FuseClass | None:
    """Weakest class of fuse that still breaks the fault; None where none of the table does.

    Parameters
    ----------
    rated_a : float
        Of the fuse [A].
    bank_v : float
        Highest voltage of the bank [V].
    fault_a : float
        Prospective short-circuit current where it stands [A].

    Examples
    --------
    >>> class_for(200.0, 58.4, 8000.0).name
    'class T'
    """
    return next(
        (
            each for each in fuse_classes()
            if each.largest_a >= rated_a and each.rated_v >= bank_v
            and each.breaking_ka * 1000.0 >= fault_a
        ),
        None,
    )  # fmt: skip


def fuse_clear_s(rated_a: float, fault_a: float) -> float | None:
    """How long a gG fuse of that rating lets a fault flow at the most [s]; None: over 5 s.

    A class T fuse is faster. Between the gates of 5 and 0.1 s a straight line on logarithmic axes
    is taken; a fault above the gate of 0.1 s is let through with the heat (I^2 t) of that gate,
    so that ``fault_a**2 * fuse_clear_s`` never falls below what the cable must stand.

    Parameters
    ----------
    rated_a : float
        [A]; ratings between those of the table are taken as the next larger one.
    fault_a : float
        [A].

    References
    ----------
    IEC 60269-1, gates of gG fuses (data/tables/fuse_gates.csv).
    """
    most_5_s_a, most_0_1_s_a = _gates(rated_a)
    if fault_a < most_5_s_a:
        return None
    if fault_a >= most_0_1_s_a:
        return SHORT_S * (most_0_1_s_a / fault_a) ** 2
    share = math.log(fault_a / most_5_s_a) / math.log(most_0_1_s_a / most_5_s_a)
    return float(LONGEST_S * (SHORT_S / LONGEST_S) ** share)


def _gates(rated_a: float) -> tuple[float, float]:
    rows = published("fuse_gates").rows
    for row in rows:
        if float(row["rated_a"]) >= rated_a:
            return float(row["most_5_s_a"]), float(row["most_0_1_s_a"])
    scale = rated_a / float(rows[-1]["rated_a"])
    return float(rows[-1]["most_5_s_a"]) * scale, float(rows[-1]["most_0_1_s_a"]) * scale


def melting_a(rated_a: float) -> float:
    """Current that melts a gG fuse within 5 s in any case [A]."""
    return _gates(rated_a)[0]


@dataclass(frozen=True, kw_only=True)
class BankFault:
    """The short circuit of a bank: a band, of no width where the maker's sheet is known.

    What must be broken is the largest current of the band, what must still melt a fuse the
    smallest.

    Parameters
    ----------
    voltage_v : float
        At rest, full [V].
    string_ohm, most_string_ohm : float
        Of one string of units, at the least and at the most [ohm].
    strings : int
        In parallel.
    known : bool
        Whether the site file gives the current; else it is by the kind of battery.
    source : str
        Where the resistance comes from.
    """

    voltage_v: float
    string_ohm: float
    most_string_ohm: float
    strings: int
    known: bool
    source: str

    @property
    def string_a(self) -> float:
        """One string shorted at its terminals, at the most [A]."""
        return self.voltage_v / self.string_ohm

    @property
    def least_string_a(self) -> float:
        """One string shorted at its terminals, at the least [A]."""
        return self.voltage_v / self.most_string_ohm

    @property
    def bars_a(self) -> float:
        """All strings, shorted at the bars, at the most [A]; leads to the bars left out."""
        return self.strings * self.string_a

    def least_far_a(self, lead_ohm: float) -> float:
        """All strings through leads of that resistance, both ways, at the least [A]."""
        return self.voltage_v / (self.most_string_ohm / self.strings + lead_ohm)

    def ends_a(self, lead_ohm: float) -> tuple[float, ...]:
        """Faults at the start and at the end of a run, by both ends of the band [A]."""
        return tuple(
            self.voltage_v / (string_ohm / self.strings + leads)
            for leads in (0.0, lead_ohm) for string_ohm in (self.string_ohm, self.most_string_ohm)
        )


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
    kind, cells = battery.traits.fault, battery.cells_in_series
    voltage_v = cells * battery.traits.rest.full_v
    ohm = battery.traits.string_ohm(cells, battery.unit_capacity_ah)
    if known_a is not None:
        ohm = (voltage_v / known_a, voltage_v / known_a)
    return BankFault(
        voltage_v=voltage_v, string_ohm=ohm[0], most_string_ohm=ohm[1], strings=strings,
        known=known_a is not None,
        source="protection.battery_fault_a of the site file, from the maker's sheet"
        if known_a is not None else f"V / R of the kind: {kind.clause}",
    )  # fmt: skip


def lead_ohm(sized: SizedRun) -> float:
    """Resistance of a run, both ways, at 20 degC, where a fault is largest [ohm]."""
    per_km = float(OHM_MM2_PER_KM[sized.run.material]) / (sized.size_mm2 * sized.in_parallel)
    return 2.0 * sized.run.length_m / 1000.0 * per_km
