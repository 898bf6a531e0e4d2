"""The ground: its resistivity from four pins in a line or from its kind, and the worst season."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.published import published
from solarcalc.basis.sourced import FROM_MEMORY, constant
from solarcalc.basis.worded import worded
from solarcalc.sitefile.earthing import Soil

LAYERED_RATIO = constant("earthing.layered_ratio")
DEEP_FROM_M = constant("earthing.deep_from_m")
Layers = Literal["none", "better-below", "worse-below", "uneven"]
PIN_CLAUSE = f"Wenner 1915; IEEE 81, {FROM_MEMORY}"


@dataclass(frozen=True, kw_only=True)
class SoilReading:
    """One spacing of a four-pin test.

    Parameters
    ----------
    spacing_m : float
        From pin to pin [m].
    resistance_ohm : float
        Read on the instrument [ohm].
    resistivity_ohm_m : float
        Apparent resistivity to about that depth [ohm m].
    """

    spacing_m: float
    resistance_ohm: float
    resistivity_ohm_m: float


@dataclass(frozen=True, kw_only=True)
class Ground:
    """What an electrode is reckoned to stand in.

    Parameters
    ----------
    resistivity_ohm_m : float
        Used for the electrode, in the season of the test [ohm m].
    low_ohm_m, high_ohm_m : float
        Least and largest: of the readings, or of the kind of ground [ohm m].
    readings : tuple of SoilReading
        Empty where there was no test.
    basis : str
        Where the figure comes from, in words.
    layers : {"none", "better-below", "worse-below", "uneven"}
    depth_m : float
        Of the electrode that it is for [m].
    season_factor : float
        Worst season over the season of the test.
    clause : str
        Source.
    """

    resistivity_ohm_m: float
    low_ohm_m: float
    high_ohm_m: float
    readings: tuple[SoilReading, ...]
    basis: str
    layers: Layers
    depth_m: float
    season_factor: float
    clause: str

    @property
    def worst_ohm_m(self) -> float:
        """Resistivity in the worst season [ohm m]."""
        return self.resistivity_ohm_m * self.season_factor

    @property
    def tested(self) -> bool:
        """Whether there was a test with four pins."""
        return bool(self.readings)


def four_pin_ohm_m(
    *, spacing_m: float, resistance_ohm: float, pin_depth_m: float = 0.0
) -> float:
    """Apparent resistivity from one reading with four pins in a line, equally far apart.

    Parameters
    ----------
    spacing_m : float
        From pin to pin, above 0 [m].
    resistance_ohm : float
        Voltage of the inner pins over the current of the outer ones, above 0 [ohm].
    pin_depth_m : float
        How deep the pins stand [m]; 0 for pins no deeper than a twentieth of the spacing.

    Returns
    -------
    float
        Resistivity to about the depth of the spacing [ohm m].

    Raises
    ------
    InputError
        When spacing or resistance is not above 0, or the depth is below 0.

    Notes
    -----
    rho = 4 pi a R / (1 + 2 a / sqrt(a^2 + 4 b^2) - a / sqrt(a^2 + b^2)); with b = 0 that is
    2 pi a R. Wenner 1915; IEEE 81.

    Examples
    --------
    >>> round(four_pin_ohm_m(spacing_m=3.0, resistance_ohm=5.3), 1)
    99.9
    """
    above_zero("soil.spacing_m", spacing_m, "m")
    above_zero("soil.resistance_ohm", resistance_ohm, "ohm")
    if not 0.0 <= pin_depth_m < math.inf:
        raise InputError(
            Fault(where="pin depth", given=f"{pin_depth_m:g} m", allowed="0 m or more",
                  why="a pin stands in the ground", remedy="measure it from the surface")
        )  # fmt: skip
    far = math.hypot(spacing_m, 2.0 * pin_depth_m)
    near = math.hypot(spacing_m, pin_depth_m)
    shape = 1.0 + 2.0 * spacing_m / far - spacing_m / near
    return 4.0 * math.pi * spacing_m * resistance_ohm / shape


def ground_of(soil: Soil, *, depth_m: float, rods: bool) -> Ground:
    """Resistivity that an electrode is reckoned with.

    From a test: the mean of its readings; where they differ twofold or more, the reading whose
    spacing is nearest to the electrode's depth, for a strip or ring the larger of that and the
    mean. Without a test: the usual figure of the kind of ground, and the season taken as mild.

    Parameters
    ----------
    soil : Soil
        Table [soil] of the site file.
    depth_m : float
        Length of a rod, or depth of a strip or ring [m].
    rods : bool
        Whether the electrode is of rods.

    Raises
    ------
    InputError
        When the depth is not above 0.
    """
    above_zero("depth of the electrode", depth_m, "m")
    factor = season_factor(soil.tested_when if soil.spacing_m else "mild", depth_m, rods=rods)
    if not soil.spacing_m:
        return _by_kind(soil.kind, depth_m, factor)
    readings = tuple(
        SoilReading(
            spacing_m=spacing, resistance_ohm=read,
            resistivity_ohm_m=four_pin_ohm_m(spacing_m=spacing, resistance_ohm=read),
        )
        for spacing, read in zip(soil.spacing_m, soil.resistance_ohm, strict=True)
    )  # fmt: skip
    values = [reading.resistivity_ohm_m for reading in readings]
    mean = sum(values) / len(values)
    layers = _layers(values)
    used, basis = mean, f"mean of {len(values)} spacings, four-electrode (Wenner) test"
    if layers != "none":
        row = min(readings, key=lambda each: abs(math.log(each.spacing_m / depth_m)))
        used = row.resistivity_ohm_m if rods else max(row.resistivity_ohm_m, mean)
        basis = f"reading at {row.spacing_m:g} m, nearest to the electrode's depth"
        if used != row.resistivity_ohm_m:
            basis = "mean of the spacings, the soil being better at the earth electrode"
    return Ground(
        resistivity_ohm_m=used, low_ohm_m=min(values), high_ohm_m=max(values),
        readings=readings, basis=basis, layers=layers, depth_m=depth_m,
        season_factor=factor, clause=PIN_CLAUSE,
    )  # fmt: skip


def season_factor(
    tested_when: Literal["wet", "mild", "dry"], depth_m: float, *, rods: bool
) -> float:
    """Worst season over the season of the test, larger near the surface.

    Parameters
    ----------
    tested_when : {"wet", "mild", "dry"}
    depth_m : float
        Length of a rod [m]; of no matter to a strip or ring.
    rods : bool

    Examples
    --------
    >>> season_factor("dry", 2.4, rods=True)
    1.0
    """
    column = "deep" if rods and depth_m >= float(DEEP_FROM_M) else "shallow"
    (row,) = (row for row in published("season_factors").rows if row["tested"] == tested_when)
    return float(row[column])


def above_zero(where: str, value: float, unit: str) -> None:
    """Refuse a length or resistance that is not above 0.

    Raises
    ------
    InputError
        When the value is 0, negative, infinite or not a number.
    """
    if not 0.0 < value < math.inf:
        raise InputError(
            Fault(**worded("earthing", "above-zero", value=value, unit=unit), where=where)
        )  # fmt: skip


def _by_kind(kind: str, depth_m: float, factor: float) -> Ground:
    table = published("soil_kinds")
    (row,) = (row for row in table.rows if row["kind"] == kind)
    return Ground(
        resistivity_ohm_m=float(row["usual"]), low_ohm_m=float(row["low"]),
        high_ohm_m=float(row["high"]), readings=(), layers="none", depth_m=depth_m,
        basis=f"usual figure of {kind.replace('-', ' ')}, no test",
        season_factor=factor, clause=table.clause,
    )  # fmt: skip


def _layers(values: list[float]) -> Layers:
    """Whether the readings spread too far for even ground, and which way they go."""
    if max(values) < float(LAYERED_RATIO) * min(values):
        return "none"
    half = len(values) // 2
    above, below = sum(values[:half]), sum(values[-half:])
    if max(above, below) < math.sqrt(float(LAYERED_RATIO)) * min(above, below):
        return "uneven"
    return "better-below" if below < above else "worse-below"
