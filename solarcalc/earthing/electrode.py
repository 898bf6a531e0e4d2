"""Resistance of rods, strips and rings, and the electrode of a site, by design and as measured."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.published import published
from solarcalc.basis.worded import worded
from solarcalc.earthing.soil import Ground, above_zero, ground_of
from solarcalc.sitefile.earthing import Earthing, Soil

MOST_RODS = 24
"""Most rods in one line, as the site file allows."""

ROD_CLAUSE = "BS 7430:2011 cl. 9.5.1 and IEEE 142 (Dwight)"
LINE_CLAUSE = "BS 7430:2011 cl. 9.5.3 and table 3"
WIRE_CLAUSE = "IEEE 142 table 4 (Dwight)"
_DEEPEST_SHARE = 0.25
"""Depth over length up to which the formulas of strip and ring hold within 2 %, as worked out
against the potential of a line of current and its image (tests/test_earthing_formulas.py)."""


def rod_ohm(*, resistivity_ohm_m: float, length_m: float, diameter_m: float) -> float:
    """Resistance of one rod driven from the surface.

    Parameters
    ----------
    resistivity_ohm_m : float
        Of even ground [ohm m].
    length_m : float
        In the ground [m].
    diameter_m : float
        Below half the length [m].

    Raises
    ------
    InputError
        When a value is not above 0 or the rod is thicker than half its length.

    Notes
    -----
    R = rho / (2 pi L) (ln(8 L / d) - 1). BS 7430:2011 cl. 9.5.1, IEEE 142.

    Examples
    --------
    >>> round(rod_ohm(resistivity_ohm_m=100.0, length_m=3.0, diameter_m=0.015875), 2)
    33.53
    """
    _all_above_zero(resistivity_ohm_m, length_m, diameter_m)
    _slender(length_m, diameter_m)
    share = math.log(8.0 * length_m / diameter_m) - 1.0
    return resistivity_ohm_m / (2.0 * math.pi * length_m) * share


def line_factor(count: int) -> float:
    """Factor by which rods in one line hinder one another.

    The table as printed up to 10 rods; beyond, the sum over all pairs it is made from,
    2/n x sum of 1/|i - j|.

    Examples
    --------
    >>> line_factor(3)
    1.66
    """
    if count < 1:
        raise InputError(
            Fault(where="earthing.rod_count", given=str(count), allowed="1 or more",
                  why="an electrode has a rod", remedy="give the number of rods in the line")
        )  # fmt: skip
    if count == 1:
        return 0.0
    known = {int(row["rods"]): float(row["factor"]) for row in published("rod_lambda").rows}
    return known.get(count) or pair_sum(count)


def pair_sum(count: int) -> float:
    """Sum over all pairs of rods in a line that the printed factors come from."""
    return 2.0 / count * sum((count - gap) / gap for gap in range(1, count))


def rods_ohm(
    *, resistivity_ohm_m: float, length_m: float, diameter_m: float, count: int, spacing_m: float
) -> float:
    """Resistance of rods in one line, joined; the conductor between them left out.

    Parameters
    ----------
    resistivity_ohm_m : float
        [ohm m]
    length_m, diameter_m : float
        Of each rod [m].
    count : int
        1 or more.
    spacing_m : float
        From rod to rod [m]. Closer than a rod's length the formula gives too much, so errs on
        the safe side; more rods are never reckoned worse than one.

    Raises
    ------
    InputError
        When a value is not above 0 or the rod is thicker than half its length.

    Notes
    -----
    R_n = R (1 + lambda a) / n with a = rho / (2 pi R s). BS 7430:2011 cl. 9.5.3, table 3.

    Examples
    --------
    Two rods of 2.4 m, 3 m apart:

    >>> args = {"resistivity_ohm_m": 100.0, "length_m": 2.4, "diameter_m": 0.015875}
    >>> round(rods_ohm(**args, count=2, spacing_m=3.0), 2)
    22.87
    """
    one = rod_ohm(
        resistivity_ohm_m=resistivity_ohm_m, length_m=length_m, diameter_m=diameter_m
    )
    above_zero("earthing.rod_spacing_m", spacing_m, "m")
    nearness = resistivity_ohm_m / (2.0 * math.pi * one * spacing_m)
    return min(one, one * (1.0 + line_factor(count) * nearness) / count)


def rods_needed(
    *, target_ohm: float, resistivity_ohm_m: float, length_m: float, diameter_m: float,
    spacing_m: float, most: int = MOST_RODS,
) -> int | None:  # fmt: skip
    """Smallest number of rods in line for a resistance; None where `most` are not enough.

    Examples
    --------
    >>> rods_needed(target_ohm=50.0, resistivity_ohm_m=200.0, length_m=2.4, diameter_m=0.016,
    ...             spacing_m=2.4)
    2
    """
    above_zero("earthing.target_ohm", target_ohm, "ohm")
    for count in range(1, most + 1):
        found = rods_ohm(
            resistivity_ohm_m=resistivity_ohm_m, length_m=length_m, diameter_m=diameter_m,
            count=count, spacing_m=spacing_m,
        )  # fmt: skip
        if found <= target_ohm:
            return count
    return None


def strip_ohm(
    *, resistivity_ohm_m: float, length_m: float, diameter_m: float, depth_m: float
) -> float:
    """Resistance of a straight conductor laid in a trench.

    Parameters
    ----------
    resistivity_ohm_m : float
        [ohm m]
    length_m : float
        Whole length [m].
    diameter_m : float
        Of a round conductor; of a flat strip half its width [m].
    depth_m : float
        At most a quarter of the length [m].

    Raises
    ------
    InputError
        When a value is not above 0 or the conductor lies too deep for its length.

    Notes
    -----
    With 2 L the length, s / 2 the depth and r the radius of the conductor:
    R = rho / (4 pi L) (ln(4 L / r) + ln(4 L / s) - 2 + s / (2 L)). IEEE 142 table 4.
    """
    _all_above_zero(resistivity_ohm_m, length_m, diameter_m, depth_m)
    _slender(length_m, diameter_m)
    _not_too_deep(length_m, depth_m)
    half, twice = length_m / 2.0, 2.0 * depth_m
    shape = math.log(8.0 * half / diameter_m) + math.log(4.0 * half / twice) - 2.0
    return resistivity_ohm_m / (4.0 * math.pi * half) * (shape + twice / (2.0 * half))


def ring_ohm(
    *, resistivity_ohm_m: float, length_m: float, diameter_m: float, depth_m: float
) -> float:
    """Resistance of a conductor laid in a ring around the house.

    Parameters
    ----------
    resistivity_ohm_m : float
        [ohm m]
    length_m : float
        Around the ring [m].
    diameter_m : float
        Of the conductor; of a flat strip half its width [m].
    depth_m : float
        At most a quarter of the length [m].

    Raises
    ------
    InputError
        When a value is not above 0 or the conductor lies too deep for its length.

    Notes
    -----
    With D the diameter of the ring, d that of the conductor and s / 2 the depth:
    R = rho / (2 pi^2 D) (ln(8 D / d) + ln(4 D / s)). IEEE 142 table 4.
    """
    _all_above_zero(resistivity_ohm_m, length_m, diameter_m, depth_m)
    _slender(length_m, diameter_m)
    _not_too_deep(length_m, depth_m)
    across = length_m / math.pi
    shape = math.log(8.0 * across / diameter_m) + math.log(2.0 * across / depth_m)
    return resistivity_ohm_m / (2.0 * math.pi**2 * across) * shape


def _all_above_zero(
    resistivity_ohm_m: float, length_m: float, diameter_m: float, depth_m: float = 1.0
) -> None:
    above_zero("soil resistivity", resistivity_ohm_m, "ohm m")
    above_zero("length of the electrode", length_m, "m")
    above_zero("diameter of the earth electrode", diameter_m, "m")
    above_zero("earthing.conductor_depth_m", depth_m, "m")


def _slender(length_m: float, diameter_m: float) -> None:
    if diameter_m >= length_m / 2.0:
        raise InputError(
            Fault(**worded(
                "earthing", "diameter-electrode", diameter_m=diameter_m, length_m=length_m,
                half_m=length_m / 2.0,
            ))
        )


def _not_too_deep(length_m: float, depth_m: float) -> None:
    if depth_m > _DEEPEST_SHARE * length_m:
        raise InputError(
            Fault(**worded(
                "earthing", "earthing-conductor-depth", depth_m=depth_m, length_m=length_m,
                deepest_share=_DEEPEST_SHARE * length_m,
            ))
        )


Row = dict[str, str | int | float]

ROD_LENGTHS_M = (1.2, 1.5, 1.8, 2.4, 3.0, 6.0)
"""Lengths that rods are sold in, joined where longer [m]; common practice, no source."""
ROD_COUNTS = tuple(range(1, 9))


@dataclass(frozen=True, kw_only=True)
class Electrode:
    """An electrode and its resistances.

    Parameters
    ----------
    kind : {"rods", "strip", "ring"}
    words : str
        What it is, with its sizes.
    ground : Ground
    computed_ohm : float
        In the season of the soil test [ohm].
    measured_ohm : float or None
        As built, taken to be measured in that season too [ohm].
    low_ohm, high_ohm : float
        Computed with the least and the largest resistivity of the ground, that season [ohm].
    clause : str
        Formula's source.
    """

    kind: Literal["rods", "strip", "ring"]
    words: str
    ground: Ground
    computed_ohm: float
    measured_ohm: float | None
    low_ohm: float
    high_ohm: float
    clause: str

    @property
    def test_ohm(self) -> float:
        """Measured where it was, else computed, in the season of the test [ohm]."""
        return self.computed_ohm if self.measured_ohm is None else self.measured_ohm

    @property
    def worst_ohm(self) -> float:
        """What every check uses: the same in the worst season [ohm]."""
        return self.test_ohm * self.ground.season_factor


def ground_for(earthing: Earthing, soil: Soil) -> Ground:
    """The ground at the depth of this electrode."""
    rods = earthing.electrode == "rods"
    depth_m = earthing.rod_length_m if rods else earthing.conductor_depth_m
    return ground_of(soil, depth_m=depth_m, rods=rods)


def electrode_ohm(earthing: Earthing, resistivity_ohm_m: float) -> float:
    """Resistance of a site's electrode in even ground.

    Parameters
    ----------
    earthing : Earthing
        Table [earthing] of the site file.
    resistivity_ohm_m : float
        [ohm m]

    Returns
    -------
    float
        [ohm]

    Raises
    ------
    InputError
        When the sizes leave the range of the formulas.
    """
    if earthing.electrode == "rods":
        return rods_ohm(
            resistivity_ohm_m=resistivity_ohm_m, length_m=earthing.rod_length_m,
            diameter_m=earthing.rod_diameter_mm / 1000.0, count=earthing.rod_count,
            spacing_m=earthing.rod_spacing_m,
        )  # fmt: skip
    formula = strip_ohm if earthing.electrode == "strip" else ring_ohm
    return formula(
        resistivity_ohm_m=resistivity_ohm_m, length_m=earthing.conductor_m,
        diameter_m=earthing.conductor_mm / 1000.0, depth_m=earthing.conductor_depth_m,
    )  # fmt: skip


def electrode_of(earthing: Earthing, ground: Ground) -> Electrode:
    """The electrode of a site in its ground.

    Raises
    ------
    InputError
        When the sizes leave the range of the formulas.
    """
    return Electrode(
        kind=earthing.electrode, words=electrode_words(earthing), ground=ground,
        computed_ohm=electrode_ohm(earthing, ground.resistivity_ohm_m),
        measured_ohm=earthing.measured_ohm,
        low_ohm=electrode_ohm(earthing, ground.low_ohm_m),
        high_ohm=electrode_ohm(earthing, ground.high_ohm_m),
        clause=_clause(earthing),
    )  # fmt: skip


def electrode_words(earthing: Earthing) -> str:
    """What the electrode is, with its sizes."""
    if earthing.electrode == "rods":
        rod = f"{earthing.rod_length_m:g} m long, {earthing.rod_diameter_mm:g} mm thick"
        if earthing.rod_count == 1:
            return f"one rod {rod}"
        return f"{earthing.rod_count} rods {rod}, {earthing.rod_spacing_m:g} m apart in a line"
    how = "laid straight" if earthing.electrode == "strip" else "laid in a ring"
    return (
        f"{earthing.conductor_m:g} m of conductor, {earthing.conductor_mm:g} mm thick,"
        f" {how} {earthing.conductor_depth_m:g} m deep"
    )


def rod_table(
    earthing: Earthing, soil: Soil, *, allowed_ohm: float,
    lengths_m: Sequence[float] = ROD_LENGTHS_M, counts: Sequence[int] = ROD_COUNTS,
) -> list[Row]:  # fmt: skip
    """What more or longer rods would give in the worst season, each line a length.

    Rods as far apart as they are long; each length with the ground and season of its depth.

    Parameters
    ----------
    earthing : Earthing
        For the diameter of the rods.
    soil : Soil
    allowed_ohm : float
        That the last column asks for [ohm].
    """
    rows: list[Row] = []
    for length in lengths_m:
        row: Row = {"rod length [m]": length}
        worst_ohm_m = ground_of(soil, depth_m=length, rods=True).worst_ohm_m
        for count in counts:
            found = rods_ohm(
                resistivity_ohm_m=worst_ohm_m, length_m=length,
                diameter_m=earthing.rod_diameter_mm / 1000.0, count=count, spacing_m=length,
            )  # fmt: skip
            row[f"{count} rod{'s' if count > 1 else ''} [ohm]"] = found
        needed = rods_needed(
            target_ohm=allowed_ohm, resistivity_ohm_m=worst_ohm_m, length_m=length,
            diameter_m=earthing.rod_diameter_mm / 1000.0, spacing_m=length,
        )  # fmt: skip
        row[f"needed for {allowed_ohm:.0f} Ω"] = "more than 24" if needed is None else needed
        rows.append(row)
    return rows


def _clause(earthing: Earthing) -> str:
    if earthing.electrode != "rods":
        return WIRE_CLAUSE
    return ROD_CLAUSE if earthing.rod_count == 1 else LINE_CLAUSE
