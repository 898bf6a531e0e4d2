"""Sizes of earthing, protective and bonding conductors: by table, and by the heat of a fault."""

from __future__ import annotations

import math
from typing import Literal

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.published import published
from solarcalc.basis.sourced import FROM_MEMORY, constant
from solarcalc.earthing.soil import above_zero

Laid = Literal["separate-pvc", "separate-xlpe", "in-cable-pvc", "in-cable-xlpe"]

COPPER_SIZES_MM2 = (
    1.5, 2.5, 4.0, 6.0, 10.0, 16.0, 25.0, 35.0, 50.0, 70.0, 95.0, 120.0, 150.0, 185.0, 240.0,
    300.0, 400.0,
)  # fmt: skip
"""Sizes that conductors are made in [mm2]: IEC 60228, from memory."""

TABLE_CLAUSE = f"IEC 60364-5-54 table 54.2, {FROM_MEMORY}"
HEAT_CLAUSE = "IEC 60364-5-54 cl. 543.1.2, S = sqrt(I^2 t) / k"
BURIED_CLAUSE = "IEC 60364-5-54 table 54.1, copper as BS 7671 table 54.1 prints it"
BONDING_CLAUSE = "IEC 60364-5-54 cl. 544.1, as guides to BS 7671 cl. 544.1.1 give it"
FRAME_CLAUSE = "IEC 60364-7-712:2017, as a note on bonding in photovoltaic systems quotes it"
SURGE_CLAUSE = f"IEC 60364-5-53 cl. 534: class I 16 mm2, class II 6 mm2, {FROM_MEMORY}"

LEAST_LOOSE_MM2 = {
    True: float(constant("earthing.least_guarded_mm2")),
    False: float(constant("earthing.least_bare_mm2")),
}
"""Smallest protective conductor outside a cable, guarded or not [mm2]."""
LEAST_BONDING_MM2 = float(constant("earthing.least_bonding_mm2"))
MOST_BONDING_MM2 = float(constant("earthing.most_bonding_mm2"))
FRAME_MM2 = float(constant("earthing.frame_mm2"))
FRAME_LIGHTNING_MM2 = float(constant("earthing.frame_lightning_mm2"))
SURGE_MM2 = float(constant("earthing.surge_mm2"))
SURGE_LIGHTNING_MM2 = float(constant("earthing.surge_lightning_mm2"))


def next_size_mm2(least_mm2: float) -> float:
    """The smallest size made that is not below a computed one.

    Parameters
    ----------
    least_mm2 : float
        Above 0 up to 400 [mm2].

    Raises
    ------
    InputError
        When it is not above 0 or no size is large enough.

    Examples
    --------
    >>> next_size_mm2(47.5)
    50.0
    """
    above_zero("size of a conductor", least_mm2, "mm2")
    for size in COPPER_SIZES_MM2:
        if size >= least_mm2 * (1.0 - 1e-9):
            return size
    raise InputError(
        Fault(
            where="size of an earth conductor", given=f"{least_mm2:.0f} mm2 needed",
            allowed=f"at most {COPPER_SIZES_MM2[-1]:g} mm2",
            why="no single conductor is made larger here (IEC 60228)",
            remedy="clear the fault faster, or split the circuit",
        )
    )  # fmt: skip


def protective_mm2(line_mm2: float) -> float:
    """Least protective conductor of the same metal as the line conductor, by the table.

    Up to 16 mm2 the same, up to 35 mm2 it is 16, beyond half; not yet a size that is made.

    Parameters
    ----------
    line_mm2 : float
        Of the largest line conductor [mm2].

    Raises
    ------
    InputError
        When it is not above 0.

    References
    ----------
    IEC 60364-5-54:2011 table 54.2.

    Examples
    --------
    >>> protective_mm2(25.0), protective_mm2(70.0)
    (16.0, 35.0)
    """
    above_zero("size of the line conductor", line_mm2, "mm2")
    if line_mm2 <= 16.0:
        return line_mm2
    return 16.0 if line_mm2 <= 35.0 else line_mm2 / 2.0


def heat_mm2(*, fault_a: float, clear_s: float, laid: Laid = "separate-pvc") -> float:
    """Least copper conductor that a fault does not overheat before it is cleared.

    Parameters
    ----------
    fault_a : float
        Current through the conductor [A].
    clear_s : float
        Until the device has cleared it, at most 5 [s].
    laid : str
        A row of the table of k.

    Returns
    -------
    float
        Not yet a size that is made [mm2].

    Raises
    ------
    InputError
        When a value is not above 0, the time is above 5 s or `laid` is unknown.

    Notes
    -----
    S = sqrt(I^2 t) / k, IEC 60364-5-54 cl. 543.1.2; k of annex A.

    Examples
    --------
    >>> round(heat_mm2(fault_a=1000.0, clear_s=0.4), 2)
    4.42
    """
    above_zero("fault current", fault_a, "A")
    above_zero("clearing time", clear_s, "s")
    if clear_s > 5.0:
        raise InputError(
            Fault(where="clearing time", given=f"{clear_s:g} s", allowed="at most 5 s",
                  why="beyond it heat leaves the conductor (IEC 60364-5-54 cl. 543.1.2)",
                  remedy="choose a device that clears the fault faster")
        )  # fmt: skip
    factors = {row["laid"]: float(row["k"]) for row in published("protective_k").rows}
    if laid not in factors:
        raise InputError(
            Fault(where="how the conductor is laid", given=repr(laid),
                  allowed="one of " + ", ".join(factors), why="k is known for these",
                  remedy="take the nearest, or the smallest k")
        )  # fmt: skip
    return fault_a * math.sqrt(clear_s) / factors[laid]


def equipment_mm2(
    line_mm2: float, *, guarded: bool, fault_a: float | None = None, clear_s: float | None = None
) -> float:
    """Separate protective conductor of a case, as it is bought.

    The table; where fault and clearing time are known the heat of that fault instead, and never
    below what a loose conductor needs against knocks.

    Parameters
    ----------
    line_mm2 : float
        Largest conductor that enters the case [mm2].
    guarded : bool
        Whether a pipe or trunking guards it.
    fault_a, clear_s : float or None
        Current of a fault to the case [A] and its time [s].

    Raises
    ------
    InputError
        When a value is not above 0.
    """
    least = protective_mm2(line_mm2)
    if fault_a is not None and clear_s is not None:
        least = heat_mm2(fault_a=fault_a, clear_s=clear_s)
    return next_size_mm2(max(least, LEAST_LOOSE_MM2[guarded]))


def earthing_mm2(
    line_mm2: float, *, sheathed: bool = False, guarded: bool = False, buried: bool = True
) -> float:
    """Conductor from the bar to the electrode, copper, as it is bought.

    The larger of the table of protective conductors, which need not exceed 25 mm2 where an
    electrode of its own carries the fault (TT), and the least for its cover in the ground.

    Parameters
    ----------
    line_mm2 : float
        Largest line conductor of the supply [mm2].
    sheathed : bool
        Against corrosion.
    guarded : bool
        Against knocks and spades.
    buried : bool
        Whether any of it lies in the ground.

    Raises
    ------
    InputError
        When the size is not above 0.

    Examples
    --------
    >>> earthing_mm2(10.0), earthing_mm2(10.0, sheathed=True), earthing_mm2(10.0, buried=False)
    (25.0, 16.0, 10.0)
    """
    by_line = min(protective_mm2(line_mm2), MOST_BONDING_MM2)
    least = buried_mm2(sheathed=sheathed, guarded=guarded) if buried else LEAST_LOOSE_MM2[guarded]
    return next_size_mm2(max(by_line, least))


def buried_mm2(*, sheathed: bool, guarded: bool, metal: Literal["copper", "steel"] = "copper") -> (
    float
):
    """Least earthing conductor in the ground by its cover [mm2]: IEC 60364-5-54 table 54.1."""
    said = {True: "yes", False: "no"}
    (row,) = (
        row for row in published("buried_earth_sizes").rows
        if (row["sheathed"], row["guarded"]) == (said[sheathed], said[guarded])
    )  # fmt: skip
    return float(row[f"{metal}_mm2"])


def main_bonding_mm2(earthing_mm2: float) -> float:
    """Main bonding conductor, copper, as it is bought.

    Half the earthing conductor, at least 6 mm2; need not exceed 25 mm2.

    Parameters
    ----------
    earthing_mm2 : float
        Of the earthing conductor [mm2].

    Raises
    ------
    InputError
        When it is not above 0.

    Examples
    --------
    >>> [main_bonding_mm2(size) for size in (6.0, 25.0, 70.0)]
    [6.0, 16.0, 25.0]
    """
    above_zero("size of the earthing conductor", earthing_mm2, "mm2")
    half = max(earthing_mm2 / 2.0, LEAST_BONDING_MM2)
    return next_size_mm2(min(half, MOST_BONDING_MM2))


def frame_bonding_mm2(*, lightning: bool) -> float:
    """Bonding of module frames and rails [mm2]: 6, or 16 where it may carry lightning current."""
    return FRAME_LIGHTNING_MM2 if lightning else FRAME_MM2


def surge_earth_mm2(*, lightning: bool) -> float:
    """Earth conductor of a surge device [mm2]: 6, or 16 for class I, where lightning may flow."""
    return SURGE_LIGHTNING_MM2 if lightning else SURGE_MM2
