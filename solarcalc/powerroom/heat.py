"""The room's walls and roof as heat sees them, and its temperature through the year, hour by hour.

One mass (walls, roof, floor, batteries) behind its inner surface, air without mass before it, and
the draught of the two openings, which grows with the heat that drives it. The sun comes in by
walls and roof only; the heat of the batteries goes to the air in its own hour; wind, damp, people
and an open door are left out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.physics import GRAVITY_M_PER_S2, KELVIN_AT_0_C
from solarcalc.basis.published import published
from solarcalc.basis.sourced import constant
from solarcalc.basis.worded import worded
from solarcalc.sitefile.derating import air_kpa
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


STEP_S = 3600.0
AIR_J_PER_M3_K = constant("powerroom.air_j_per_m3_k")
DISCHARGE_FRAC = constant("powerroom.discharge_frac")
LEAK_PER_H = constant("powerroom.leak_per_h")
BATTERY_J_PER_KG_K = constant("powerroom.battery_j_per_kg_k")
COP = constant("powerroom.cop")

_MOST_ROUNDS = 60
_SETTLED_K = 1e-6
_TAKEN_FRAC = 0.8
"""Share of the way to the wanted flow taken in a round. More air cools what drives it, and draught
goes with the root of the difference: a change comes back by 0 to half, turned round. So 0.8 leaves
a fifth at most."""


@dataclass(frozen=True, kw_only=True)
class Openings:
    """What lets air through a room.

    Parameters
    ----------
    low_m2, high_m2 : float
        Free area [m2].
    apart_m : float
        Height of the high one above the low one [m].
    fan_m3_per_h, leak_m3_per_h : float
        All the time [m3/h].
    """

    low_m2: float
    high_m2: float
    apart_m: float
    fan_m3_per_h: float = 0.0
    leak_m3_per_h: float = 0.0


@dataclass(frozen=True, kw_only=True, eq=False)
class RoomYear:
    """A year of the room; every series has one mean an hour, and the year closes on itself.

    Parameters
    ----------
    temp_c : array (n,)
        Air of the room [degC].
    battery_c : array (n,)
        Of the batteries, which follow the air slowly and warm themselves [degC].
    fabric_c, outside_c : array (n,)
        Mass of the room; what acts from outside, sun and ground in it [degC].
    vent_m3_per_h : array (n,)
        Fresh air [m3/h].
    heat_w : array (n,)
        Of the equipment [W].
    vent_w, fabric_w : array (n,)
        Gained by fresh air, and through walls, roof and floor; below 0 where lost [W].
    cooling_w, heating_w : array (n,)
        That keep a room at one temperature [W]; 0 where it is left to itself.
    envelope : Envelope
    """

    temp_c: Floats
    battery_c: Floats
    fabric_c: Floats
    outside_c: Floats
    vent_m3_per_h: Floats
    heat_w: Floats
    vent_w: Floats
    fabric_w: Floats
    cooling_w: Floats
    heating_w: Floats
    envelope: Envelope

    @property
    def balance_error_frac(self) -> float:
        """Heat in less heat out over the year, of all heat moved, [0 to 1]; 0: it closes."""
        flows = (self.heat_w, self.vent_w, self.fabric_w, self.heating_w, -self.cooling_w)
        moved = sum(float(np.abs(flow).sum()) for flow in flows)
        return abs(sum(float(flow.sum()) for flow in flows)) / moved if moved else 0.0

    @property
    def cooling_kwh_per_year(self) -> float:
        """Heat to take out in the year [kWh]."""
        return float(self.cooling_w.sum()) / 1000.0

    @property
    def cooling_kw(self) -> float:
        """Most heat to take out in an hour [kW]."""
        return float(self.cooling_w.max()) / 1000.0


def stack_flow_m3_per_h(
    inside_c: npt.ArrayLike, air_c: npt.ArrayLike, openings: Openings
) -> Floats:
    """Air that the draught of two openings moves [m3/h], up when warm inside, down when cold.

    Parameters
    ----------
    inside_c, air_c : array (n,)
        Of the room and outdoors [degC].
    openings : Openings

    Notes
    -----
    Q = C_d A sqrt(2 g h dT / T), A = A_1 A_2 / sqrt(A_1^2 + A_2^2) for two openings one after the
    other, T the warmer of the two [K]; ASHRAE Handbook Fundamentals, ch. on ventilation.
    """
    inside, air = np.asarray(inside_c, dtype=float), np.asarray(air_c, dtype=float)
    warmer = np.maximum(inside, air) + KELVIN_AT_0_C
    root = np.sqrt(2.0 * GRAVITY_M_PER_S2 * openings.apart_m * np.abs(inside - air) / warmer)
    both = float(np.hypot(openings.low_m2, openings.high_m2))
    area = openings.low_m2 * openings.high_m2 / both if both > 0.0 else 0.0
    flow: Floats = float(DISCHARGE_FRAC) * area * root * 3600.0
    return flow


def air_flow_through_m3_per_h(
    inside_c: npt.ArrayLike, air_c: npt.ArrayLike, openings: Openings
) -> Floats:
    """Fresh air of the room [m3/h]: cracks, and draught and fan together.

    Shape of the temperatures, (n,) or a number.

    Parameters
    ----------
    inside_c, air_c, openings
        As for `stack_flow_m3_per_h`.

    Notes
    -----
    Draught and fan add as squares, ASHRAE Handbook Fundamentals, from memory.
    """
    stack = stack_flow_m3_per_h(inside_c, air_c, openings)
    flow: Floats = np.hypot(stack, openings.fan_m3_per_h) + openings.leak_m3_per_h
    return flow


def air_j_per_m3_k(elevation_m: float) -> float:
    """Heat of a cubic metre of air at a height above the sea [m], for each kelvin [J/(m3 K)].

    Thinner by the pressure of the standard atmosphere, ISO 2533.
    """
    return float(AIR_J_PER_M3_K) * air_kpa(elevation_m) / air_kpa(0.0)


def closed_recurrence(keep: Floats, gain: Floats) -> Floats:
    """Values T of a series that follows itself: T[k+1] = keep[k] T[k] + gain[k], T[n] = T[0].

    Parameters
    ----------
    keep, gain : array (n,)
        `keep` from 0 to 1, below 1 somewhere.

    Notes
    -----
    Pairs (a, b) are joined by doubling, in log2(n) passes over the whole series, so nothing is
    divided by what has become nothing.

    Examples
    --------
    >>> closed_recurrence(np.array([0.5, 0.5]), np.array([1.0, 1.0])).tolist()
    [2.0, 2.0]
    """
    a, b = keep.copy(), gain.copy()
    step = 1
    while step < len(a):
        b[step:] = a[step:] * b[:-step] + b[step:]
        a[step:] = a[step:] * a[:-step]
        step *= 2
    first = b[-1] / (1.0 - a[-1])
    after = a * first + b
    return np.concatenate([[first], after[:-1]])


def followed_c(target_c: npt.ArrayLike, constant_h: float) -> Floats:
    """Hourly means of what follows a temperature with a time constant [h], over a closed year.

    Parameters
    ----------
    target_c : array (n,)
        That it follows, constant in each hour [degC].
    constant_h : float
        Time in which 63 % of a step is followed; 0: at once [h].
    """
    target = np.asarray(target_c, dtype=float)
    if constant_h <= 0.0:
        return target.copy()
    mean, _ = _hourly(np.full(len(target), 1.0 / constant_h), target)
    return mean


def _hourly(pace_per_h: Floats, target_c: Floats) -> tuple[Floats, Floats]:
    """Mean over each hour, and value at its start, of dT/dt = pace (target - T), exact."""
    keep = np.exp(-pace_per_h)
    start = closed_recurrence(keep, (1.0 - keep) * target_c)
    share = -np.expm1(-pace_per_h) / pace_per_h
    return target_c + (start - target_c) * share, start


def room_year(
    envelope: Envelope,
    openings: Openings,
    *,
    air_c: npt.ArrayLike,
    ghi_w_m2: npt.ArrayLike,
    heat_w: npt.ArrayLike,
    kept_c: float | None = None,
    elevation_m: float = 0.0,
) -> RoomYear:
    """Temperature of a room through a year that closes on itself; batteries as warm as its air.

    Parameters
    ----------
    envelope : Envelope
    openings : Openings
    air_c, ghi_w_m2, heat_w : array (n,)
        Outdoors [degC]; light on level ground [W/m2]; heat of the equipment inside [W].
    kept_c : float, optional
        Temperature a cooler and a heater hold [degC]; left out: the room is left to itself.
    elevation_m : float
        Above the sea [m].

    Returns
    -------
    RoomYear
        See `battery_follows` for batteries slower than the air.

    Raises
    ------
    InputError
        Series of other lengths, or with a value that is no number.

    Notes
    -----
    Air: H_i (T_m - T) + H_v (T_o - T) + P = 0. Mass: C dT_m/dt = H_o (T_e - T_m) + H_i (T - T_m).
    Exact over each hour with its means. H_v follows the draught: the year is worked again until
    no hour moves by more than a millionth of a kelvin. The ground under the slab has the mean
    of the year.
    """
    air, sun, heat = _checked(air_c=air_c, ghi_w_m2=ghi_w_m2, heat_w=heat_w)
    outside = envelope.outside_c(air, sun, float(air.mean()))
    per_m3 = air_j_per_m3_k(elevation_m) / 3600.0
    if kept_c is None:
        room, fabric, flow = _left_alone(envelope, openings, per_m3, outside, air, heat)
    else:
        room = np.full(len(air), float(kept_c))
        flow = air_flow_through_m3_per_h(room, air, openings)
        fabric = _fabric_beside(envelope, outside, room)
    vent_w = per_m3 * flow * (air - room)
    fabric_w = envelope.inside_w_per_k * (fabric - room)
    surplus = heat + vent_w + fabric_w if kept_c is not None else np.zeros(len(air))
    return RoomYear(
        temp_c=room,
        battery_c=room,
        fabric_c=fabric,
        outside_c=outside,
        vent_m3_per_h=flow,
        heat_w=heat,
        vent_w=vent_w,
        fabric_w=envelope.outside_w_per_k * (outside - fabric),
        cooling_w=np.maximum(surplus, 0.0),
        heating_w=np.maximum(-surplus, 0.0),
        envelope=envelope,
    )


def _left_alone(
    envelope: Envelope,
    openings: Openings,
    per_m3: float,
    outside_c: Floats,
    air_c: Floats,
    heat_w: Floats,
) -> tuple[Floats, Floats, Floats]:
    """Air, mass and fresh air of a room left to itself, draught and heat agreeing."""
    flow = np.full(len(air_c), openings.fan_m3_per_h + openings.leak_m3_per_h)
    room, fabric = _free(envelope, per_m3 * flow, outside_c, air_c, heat_w)
    for _ in range(_MOST_ROUNDS):
        before = room
        wanted = air_flow_through_m3_per_h(room, air_c, openings)
        flow = flow + _TAKEN_FRAC * (wanted - flow)
        room, fabric = _free(envelope, per_m3 * flow, outside_c, air_c, heat_w)
        if float(np.abs(room - before).max()) < _SETTLED_K:
            break
    return room, fabric, flow


def _fabric_beside(envelope: Envelope, outside_c: Floats, room_c: Floats) -> Floats:
    """Mass beside air of a given temperature, mean of each hour [degC]."""
    into, out = envelope.inside_w_per_k, envelope.outside_w_per_k
    pace = np.full(len(room_c), (out + into) * STEP_S / envelope.capacity_j_per_k)
    fabric, _ = _hourly(pace, (out * outside_c + into * room_c) / (out + into))
    return fabric


def _free(
    envelope: Envelope, vent_w_per_k: Floats, outside_c: Floats, air_c: Floats, heat_w: Floats
) -> tuple[Floats, Floats]:
    """Air and mass of a room left to itself, means of each hour, for given fresh air."""
    into, out = envelope.inside_w_per_k, envelope.outside_w_per_k
    share = into / (into + vent_w_per_k)
    pull = out + share * vent_w_per_k
    target = (out * outside_c + share * (vent_w_per_k * air_c + heat_w)) / pull
    fabric, _ = _hourly(pull * STEP_S / envelope.capacity_j_per_k, target)
    room: Floats = share * fabric + (vent_w_per_k * air_c + heat_w) / (into + vent_w_per_k)
    return room, fabric


def _checked(**series: npt.ArrayLike) -> tuple[Floats, ...]:
    arrays = {name: np.asarray(values, dtype=float) for name, values in series.items()}
    count = max(array.size for array in arrays.values())
    faults = [
        Fault(**worded("powerroom", "power-room", name=name, size=array.size, count=count))
        for name, array in arrays.items()
        if array.ndim != 1 or array.size != count or not np.isfinite(array).all() or count < 24
    ]  # fmt: skip
    if faults:
        raise InputError(faults)
    return tuple(arrays.values())
