"""Short circuit: whether a breaker trips in time; overload is judged where cables are sized."""

from __future__ import annotations

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.published import Published, published
from solarcalc.basis.sourced import constant

LEAST_VOLTAGE_FRAC = constant("protection.least_voltage_frac")


def curve_band(curve: str) -> tuple[float, float]:
    """Band in which a breaker trips at once, in rated currents.

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


