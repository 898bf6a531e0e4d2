"""What the room is made of, as heat sees it: conductance, mass, sun on walls and roof."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from solarcalc.basis.published import published
from solarcalc.basis.sourced import constant
from solarcalc.sitefile.room import Room

Floats = npt.NDArray[np.float64]

_INSIDE = {
    "wall": float(constant("powerroom.inside_wall_m2_k_per_w")),
    "roof": float(constant("powerroom.inside_roof_m2_k_per_w")),
    "floor": float(constant("powerroom.inside_floor_m2_k_per_w")),
}
OUTSIDE_M2_K_PER_W = constant("powerroom.outside_m2_k_per_w")
SUN_FILM_W_PER_M2_K = constant("powerroom.sun_film_w_per_m2_k")
SKY_K = constant("powerroom.sky_k")
WALL_LIGHT_FRAC = constant("powerroom.wall_light_frac")
FLOOR_W_PER_M2_K = constant("powerroom.floor_w_per_m2_k")
FLOOR_J_PER_M2_K = constant("powerroom.floor_j_per_m2_k")
MOST_DEEP_MM = float(constant("powerroom.most_deep_mm"))
_INSULATES_W_PER_M_K = float(constant("powerroom.insulates_w_per_m_k"))
_GAP_KG_PER_M3 = 10.0
"""A layer lighter than this is an air gap, which parts the masses as insulation does."""


@dataclass(frozen=True, kw_only=True)
class Envelope:
    """The room as two conductances and one mass between them.

    Parameters
    ----------
    wall_w_per_k, roof_w_per_k, floor_w_per_k : float
        Inside air to outside, each part whole [W/K].
    inside_w_per_k : float
        Air of the room to the mass of walls, roof and floor [W/K].
    capacity_j_per_k : float
        Of that mass, batteries counted in [J/K].
    volume_m3 : float
        Of the empty room [m3].
    wall_k_per_w_m2, roof_k_per_w_m2 : float
        Warmer than the air, for each W/m2 on level ground, mean over the part [K m2/W].
    sky_k : float
        Roof colder by its view of the sky [K].
    """

    wall_w_per_k: float
    roof_w_per_k: float
    floor_w_per_k: float
    inside_w_per_k: float
    capacity_j_per_k: float
    volume_m3: float
    wall_k_per_w_m2: float
    roof_k_per_w_m2: float
    sky_k: float

    @property
    def through_w_per_k(self) -> float:
        """Air of the room to outside through all parts [W/K]."""
        return self.wall_w_per_k + self.roof_w_per_k + self.floor_w_per_k

    @property
    def outside_w_per_k(self) -> float:
        """Mass to outside [W/K]: what is left of the whole beyond the inner surfaces."""
        return 1.0 / (1.0 / self.through_w_per_k - 1.0 / self.inside_w_per_k)

    @property
    def time_constant_h(self) -> float:
        """Time in which the mass follows 63 % of a change outside, openings shut [h]."""
        return self.capacity_j_per_k / self.outside_w_per_k / 3600.0

    def outside_c(self, air_c: npt.ArrayLike, ghi_w_m2: npt.ArrayLike, ground_c: float) -> Floats:
        """Temperature that the outside acts with: sol-air of walls and roof, and the ground [degC].

        Parameters
        ----------
        air_c : array (n,)
            Outdoors [degC].
        ghi_w_m2 : array (n,)
            Light on level ground [W/m2].
        ground_c : float
            Under the slab [degC].

        Notes
        -----
        T = T_air + a G / h - dT_sky, ASHRAE Handbook Fundamentals; parts by their W/K.
        """
        air, sun = np.asarray(air_c, dtype=float), np.asarray(ghi_w_m2, dtype=float)
        wall = air + self.wall_k_per_w_m2 * sun
        roof = air + self.roof_k_per_w_m2 * sun - self.sky_k
        flow = self.wall_w_per_k * wall + self.roof_w_per_k * roof + self.floor_w_per_k * ground_c
        out: Floats = flow / self.through_w_per_k
        return out


def transmittance_w_per_m2_k(part: str, name: str) -> float:
    """Heat through a wall or roof of the table, air to air [W/(m2 K)].

    Parameters
    ----------
    part : {"wall", "roof"}
    name : str
        Construction, as the site file names it.

    Notes
    -----
    U = 1 / (R_si + sum of d / lambda + R_se), ISO 6946 cl. 6.

    Examples
    --------
    >>> round(transmittance_w_per_m2_k("wall", "brick"), 1)
    2.2
    """
    layers = sum(thick / 1000.0 / conducts for thick, conducts, _, _ in _layers(part, name))
    return 1.0 / (_INSIDE[part] + layers + float(OUTSIDE_M2_K_PER_W))


def heat_held_j_per_m2_k(part: str, name: str) -> float:
    """Heat that the inner part of a wall or roof takes up in a day, for each kelvin [J/(m2 K)].

    Parameters
    ----------
    part, name
        As for `transmittance_w_per_m2_k`.

    Notes
    -----
    Sum of d rho c from the inside, to 100 mm, half of the thickness, insulation or an air gap,
    whichever comes first.
    """
    layers = _layers(part, name)
    left_mm = min(MOST_DEEP_MM, sum(thick for thick, *_ in layers) / 2.0)
    held = 0.0
    for thick, conducts, density, specific in layers:
        if conducts < _INSULATES_W_PER_M_K or density < _GAP_KG_PER_M3:
            break
        used = min(thick, left_mm)
        held += used / 1000.0 * density * specific
        left_mm -= used
    return held


def envelope_of(room: Room, extra_j_per_k: float = 0.0) -> Envelope:
    """The room of the site file as heat sees it.

    Parameters
    ----------
    room : Room
    extra_j_per_k : float
        Heat that the batteries hold, for each kelvin [J/K].
    """
    walls_m2 = 2.0 * (room.length_m + room.depth_m) * room.height_m
    floor_m2 = room.length_m * room.depth_m
    held = (
        walls_m2 * heat_held_j_per_m2_k("wall", room.wall)
        + floor_m2 * (heat_held_j_per_m2_k("roof", room.roof) + float(FLOOR_J_PER_M2_K))
    )  # fmt: skip
    film = float(SUN_FILM_W_PER_M2_K)
    in_sun = float(WALL_LIGHT_FRAC) * room.wall_in_sun_frac
    return Envelope(
        wall_w_per_k=walls_m2 * transmittance_w_per_m2_k("wall", room.wall),
        roof_w_per_k=floor_m2 * transmittance_w_per_m2_k("roof", room.roof),
        floor_w_per_k=floor_m2 * float(FLOOR_W_PER_M2_K),
        inside_w_per_k=walls_m2 / _INSIDE["wall"]
        + floor_m2 * (1.0 / _INSIDE["roof"] + 1.0 / _INSIDE["floor"]),
        capacity_j_per_k=held + extra_j_per_k,
        volume_m3=floor_m2 * room.height_m,
        wall_k_per_w_m2=_absorptance("wall", room.wall) * in_sun / film,
        roof_k_per_w_m2=_absorptance("roof", room.roof) * room.roof_in_sun_frac / film,
        sky_k=float(SKY_K) * room.roof_in_sun_frac,
    )


def _layers(part: str, name: str) -> list[tuple[float, float, float, float]]:
    """Thickness [mm], conductivity, density, specific heat of each layer, from the inside."""
    return [
        (
            float(row["thickness_mm"]), float(row["conductivity_w_per_m_k"]),
            float(row["density_kg_per_m3"]), float(row["specific_heat_j_per_kg_k"]),
        )
        for row in published("room_constructions").rows
        if (row["part"], row["name"]) == (part, name)
    ]  # fmt: skip


def _absorptance(part: str, name: str) -> float:
    (row,) = (
        row for row in published("room_absorptance").rows
        if (row["part"], row["name"]) == (part, name)
    )  # fmt: skip
    return float(row["absorptance"])
