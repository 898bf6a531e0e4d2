"""The electrode of a site: what it gives as designed, as measured and in the worst season."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from solarcalc.earthing.formulas import (
    LINE_CLAUSE,
    ROD_CLAUSE,
    WIRE_CLAUSE,
    ring_ohm,
    rods_needed,
    rods_ohm,
    strip_ohm,
)
from solarcalc.earthing.soil import Ground, ground_of
from solarcalc.sitefile.earthing import Earthing, Soil

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
        row[f"needed for {allowed_ohm:.0f} ohm"] = "more than 24" if needed is None else needed
        rows.append(row)
    return rows


def _clause(earthing: Earthing) -> str:
    if earthing.electrode != "rods":
        return WIRE_CLAUSE
    return ROD_CLAUSE if earthing.rod_count == 1 else LINE_CLAUSE
