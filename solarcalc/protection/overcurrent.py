"""Overload and short circuit: a device, its cable, and whether it trips in time."""

from __future__ import annotations

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.published import Published, published
from solarcalc.basis.sourced import FROM_MEMORY, NO_SOURCE, Sourced
from solarcalc.basis.verdict import Verdict, judged
from solarcalc.wiring.runs import DeviceKind, SizedRun

LEAST_VOLTAGE_FRAC = Sourced(
    label="Least voltage of a supply over its nominal one (Cmin)", value=0.95, unit="",
    source="BS 7671:2018 table 41.3, read in a list of published values",
)  # fmt: skip
CABLE_LIMIT = Sourced(
    label="Current that surely trips a device, over the cable's capacity: at most", value=1.45,
    unit="", source="IEC 60364-4-43 cl. 433.1, read in a list of published values",
)  # fmt: skip
HOT_FACTOR = Sourced(
    label="Resistance of a conductor at 70 degC over that at 20 degC", value=1.20, unit="",
    source="1 + 0.00393 (70 - 20), IEC 60028, from memory",
)  # fmt: skip
BREAKER_FACTOR = 1.45
"""I_2 of a breaker in rated currents: IEC 60898-1 cl. 8.6.1, read in a list of published values."""
_FUSE_FACTORS = ((4.0, 2.1), (15.999, 1.9), (float("inf"), 1.6))
"""I_2 of a gG fuse up to that rated current: IEC 60269-1; below 16 A from memory."""

_COORDINATION = "IEC 60364-4-43 cl. 433.1: I_b <= I_n <= I_z, I_2 <= 1.45 I_z"


def trips_factor(device: DeviceKind, rated_a: float) -> float:
    """Current that surely trips a device in the conventional time, over its rated current.

    Parameters
    ----------
    device : {"dc-fuse", "dc-breaker", "ac-breaker"}
    rated_a : float
        [A].

    Examples
    --------
    >>> trips_factor("dc-fuse", 32.0), trips_factor("ac-breaker", 32.0)
    (1.6, 1.45)
    """
    if device != "dc-fuse":
        return BREAKER_FACTOR
    return next(factor for up_to_a, factor in _FUSE_FACTORS if rated_a <= up_to_a)


def coordination_verdict(
    name: str, *, design_a: float, device_a: float, capacity_a: float, device: DeviceKind
) -> Verdict:
    """Whether load, device and cable agree: I_b <= I_n <= I_z and I_2 <= 1.45 I_z.

    Parameters
    ----------
    name : str
        Of the run, in words.
    design_a, device_a, capacity_a : float
        I_b, I_n, I_z [A].
    device : {"dc-fuse", "dc-breaker", "ac-breaker"}
    """
    surely_a = trips_factor(device, device_a) * device_a
    limit_a = float(CABLE_LIMIT) * capacity_a
    faults = []
    if device_a < design_a:
        faults.append("take a larger device: this one trips under its load")
    if device_a > capacity_a:
        faults.append("take a larger cable, or a smaller device: the cable is not protected")
    elif surely_a > limit_a:
        faults.append("take the next larger cable: the device trips too late for this one")
    return judged(
        not faults, "failed",
        item=f"Device and cable: {name}",
        found=f"I_b {design_a:.1f}, I_n {device_a:g}, I_z {capacity_a:.1f}; I_2 {surely_a:.1f}",
        limit=f"I_b <= I_n <= I_z; I_2 at most {limit_a:.1f}",
        unit="A", clause=_COORDINATION, remedy="; ".join(faults),
    )  # fmt: skip


def run_coordination(sized: SizedRun) -> Verdict | None:
    """The same for a sized run; None where it has no device, and for strings, whose fuse has a
    window of its own."""
    if sized.device_a is None or sized.run.device == "none" or sized.run.key == "string":
        return None
    return coordination_verdict(
        sized.run.name, design_a=sized.run.design_a, device_a=sized.device_a,
        capacity_a=sized.capacity_a, device=sized.run.device,
    )  # fmt: skip


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


SUDDEN_S = Sourced(
    label="A breaker opens a fault of twice its sudden trip within", value=0.01, unit="s",
    source=f"half a wave of 50 Hz; {NO_SOURCE}",
)  # fmt: skip
BAND_S = Sourced(
    label="A breaker opens at the upper end of its band within", value=0.1, unit="s",
    source=f"IEC 60898-1, instantaneous tripping, {FROM_MEMORY}",
)  # fmt: skip
DC_BAND_FACTOR = Sourced(
    label="Sudden trip with direct current over that with alternating current", value=1.5,
    unit="", source=f"makers state 1.4 to 1.5; {FROM_MEMORY}",
)  # fmt: skip


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


OVERCURRENT_ASSUMPTIONS = (
    LEAST_VOLTAGE_FRAC, CABLE_LIMIT, HOT_FACTOR, SUDDEN_S, BAND_S, DC_BAND_FACTOR,
)  # fmt: skip
