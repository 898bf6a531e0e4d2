"""What current a cable carries as it lies, the overload device before it, the volts it drops.

IEC 60364-5-52 for the methods A1 to D2, EN 50618 for cable made for modules. Cables that carry
little beside loaded ones, sun on a cable and harmonics in a neutral are not looked at.

Rules of IEC 60364-4-43 433.1: I_b <= I_n <= I_z and I_2 <= 1.45 I_z.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import Literal

import numpy as np

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.hours import HOURS_IN_YEAR
from solarcalc.basis.published import published
from solarcalc.basis.sourced import constant
from solarcalc.basis.worded import worded
from solarcalc.sitefile.wiring import cable_methods
from solarcalc.wiring.conductors import (
    REACTANCE_OHM_PER_KM,
    SMALLEST_ALUMINIUM_MM2,
    Material,
    field_of,
    hot_ohm_per_km,
    hottest_c,
    resistances,
    rise_per_k,
    sizes_mm2,
    working_c,
)
from solarcalc.wiring.flows import Squares
from solarcalc.wiring.runs import DeviceKind, Run

AIR_REFERENCE_C = float(constant("wiring.air_reference_c"))
GROUND_REFERENCE_C = float(constant("wiring.ground_reference_c"))


@dataclass(frozen=True, kw_only=True)
class Capacity:
    """What a conductor, or some in parallel, carries.

    Parameters
    ----------
    table_a : float
        By the table, all in parallel together [A].
    factors : dict of str to float
        By name, in the order they are multiplied.
    hottest_c : float
        Conductor temperature at `capacity_a` [degC].
    largest_device_a : float or None
        Largest device that may protect it, where a rule of its own says so [A].
    """

    table_a: float
    factors: dict[str, float]
    hottest_c: float
    largest_device_a: float | None = None

    @property
    def capacity_a(self) -> float:
        """Capacity as it lies, I_z [A]."""
        return self.table_a * math.prod(self.factors.values())


def capacity(run: Run, size_mm2: float, in_parallel: int = 1) -> Capacity:
    """What the run carries with conductors of that size.

    Parameters
    ----------
    run : Run
    size_mm2 : float
        Of one conductor, a metric size [mm2].
    in_parallel : int
        Conductors for each pole; each set counts as a circuit more in the group.

    Raises
    ------
    InputError
        A size not in the table; aluminium that is too small or not made; ambient at or above
        what the insulation stands; soil outside its table.
    """
    size = checked_size_mm2(run, size_mm2)
    table = _table_a(run.method, run.insulation, run.loaded)[size]
    if run.material == "aluminium":
        table *= math.sqrt(resistances("copper_class_2_plain")[size]
                           / resistances("aluminium")[size])  # fmt: skip
    return Capacity(
        table_a=table * in_parallel, factors=factors(run, in_parallel, size_mm2=size),
        hottest_c=hottest_c(run),
    )


MOST_SIZES_ALIKE = constant("wiring.most_sizes_alike")


def sizes_of(run: Run) -> tuple[float, ...]:
    """Sizes of its metal that the tables of its method hold, rising [mm2].

    Raises
    ------
    InputError
        Where they hold none for its insulation and as many loaded conductors.
    """
    made = _made_mm2(run.method, run.insulation, run.loaded, run.material)
    if not made:
        raise InputError(Fault(
            where=field_of(run, "insulation"), given=run.insulation,
            allowed=f'another one with method = "{run.method}", or another method',
            why=f"{', '.join(run.lies.capacity)}: no figure for {run.loaded} loaded conductors",
        ))  # fmt: skip
    return made


@cache
def _made_mm2(
    method: str, insulation: str, loaded: int, material: Material
) -> tuple[float, ...]:
    """Sizes of a metal that the tables of a method hold, rising [mm2]."""
    held = _table_a(method, insulation, loaded)
    return tuple(size for size in sizes_mm2(material) if size in held)


def checked_size_mm2(run: Run, size_mm2: float) -> float:
    """The size, if such a conductor is made and allowed [mm2].

    Raises
    ------
    InputError
        A size that the method's tables have not; aluminium below its smallest size; aluminium in
        cable that is made for modules, which is of copper.
    """
    made = sizes_of(run)
    where = field_of(run, "size_mm2")
    if run.lies.for_modules and run.material == "aluminium":
        raise InputError(Fault(
            where=field_of(run, "material"), given="aluminium", allowed="copper",
            why=f"cable made for modules ({run.method}) is of tinned copper: {run.lies.standard}",
            remedy="take copper, or another method",
        ))  # fmt: skip
    for size in made:
        if math.isclose(size, size_mm2, rel_tol=1e-6):
            return size
    sizes = ", ".join(f"{size:g}" for size in made)
    if run.material == "aluminium" and size_mm2 < float(SMALLEST_ALUMINIUM_MM2):
        raise InputError(Fault(where=where, **worded(
            "wiring", "checked-size-mm2", size_mm2=size_mm2, sizes=sizes, made_0=made[0],
            smallest_aluminium_mm2_source=SMALLEST_ALUMINIUM_MM2.source,
        )))  # fmt: skip
    near = min(made, key=lambda size: abs(math.log(size / max(size_mm2, 1e-3))))
    raise InputError(Fault(
        where=where, given=f"{size_mm2:g} mm²", allowed=f"one of {sizes} mm²",
        why="sizes of IEC 60228 that the tables of the method hold",
        remedy=f"the nearest is {near:g} mm²",
    ))  # fmt: skip


def factors(
    run: Run, in_parallel: int = 1, *, size_mm2: float | None = None
) -> dict[str, float]:
    """The factors of the run by name, in the order they are multiplied.

    Each a factor of the current-carrying capacity of the table.

    The table of groups holds for circuits alike: with sizes further apart it is 1/sqrt(n), so
    that the small ones among large ones are not too warm. IEC 60364-5-52 cl. B.52.5.2 gives that
    for conduits and trunkings; cables that touch in one layer take it on the safe side (cl.
    B.52.5.3). More than two diameters apart they take no factor (table B.52.17, note 2). All from
    memory.

    Raises
    ------
    InputError
        As `capacity`.
    """
    found = {}
    if run.lies.for_modules:
        found[f"air at {run.ambient_c:.0f} °C"] = _solar_air_factor(run)
    elif run.lies.in_ground:
        found[f"ground at {run.ambient_c:.0f} °C"] = _heat_factor(run, GROUND_REFERENCE_C)
        found[f"soil of {run.soil_k_m_per_w:g} K m/W"] = _soil_factor(run)
    else:
        found[f"air at {run.ambient_c:.0f} °C"] = _heat_factor(run, AIR_REFERENCE_C)
    circuits = run.circuits_with(in_parallel)
    words, factor = f"{circuits} circuit{'s' if circuits > 1 else ''} together", 1.0
    if size_mm2 is not None and unlike(run, size_mm2):
        words, factor = f"{circuits} unlike circuits together", 1.0 / math.sqrt(circuits)
    found[words] = min(factor, _group_factor(run, circuits))
    return found


def unlike(run: Run, size_mm2: float) -> bool:
    """Whether the sizes on the way of a run are too far apart for the table of groups.

    Notes
    -----
    More than three sizes made one after another: IEC 60364-5-52 cl. B.52.5.1.
    """
    made = sizes_mm2("copper")
    here = [made.index(each) for each in (size_mm2, *run.company_mm2) if each in made]
    return max(here) - min(here) >= int(MOST_SIZES_ALIKE)


@cache
def _table_a(method: str, insulation: str, loaded: int) -> dict[float, float]:
    lies = cable_methods()[method]
    kind = {"insulation": insulation, "loaded": str(loaded)}  # columns that not every table has
    return {
        float(row["size_mm2"]): float(row[lies.column])
        for name in lies.capacity
        for row in published(name).rows
        if all(row.get(column, text) == text for column, text in kind.items())
    }  # fmt: skip


@cache
def _rows(name: str, across: str, head: str) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Two columns of a table, rows without a figure left out."""
    table = published(name)
    pairs = zip(table.numbers(across), table.numbers(head), strict=True)
    kept = [(x, y) for x, y in pairs if x is not None and y is not None]
    return tuple(x for x, _ in kept), tuple(y for _, y in kept)


@lru_cache(maxsize=1024)
def _between(name: str, across: str, head: str, value: float) -> float:
    """Straight line between two rows; the end row outside of them."""
    return float(np.interp(value, *_rows(name, across, head)))


def _heat_factor(run: Run, reference_c: float) -> float:
    """By the table; above its last row by the rule it is made with, sqrt((t - a) / (t - ref))."""
    limit_c = hottest_c(run)
    if not run.ambient_c < limit_c:
        raise _too_hot(run, f"below {limit_c:.0f} °C", f"what {run.insulation} insulation stands")
    name = run.lies.heat_factor
    temperatures_c, _ = _rows(name, "ambient_c", run.insulation)
    if run.ambient_c > temperatures_c[-1]:
        return math.sqrt((limit_c - run.ambient_c) / (limit_c - reference_c))
    return _between(name, "ambient_c", run.insulation, run.ambient_c)


def _solar_air_factor(run: Run) -> float:
    name = run.lies.heat_factor
    hottest = _rows(name, "ambient_c", "factor")[0][-1]
    if not run.ambient_c <= hottest:
        raise _too_hot(run, f"at most {hottest:.0f} °C", f"the largest of {run.lies.standard}")
    return _between(name, "ambient_c", "factor", run.ambient_c)


def _too_hot(run: Run, allowed: str, why: str) -> InputError:
    return InputError(Fault(
        **worded("wiring", "too-hot", ambient_c=run.ambient_c, run_name=run.name),
        where=field_of(run, "ambient_c"), allowed=allowed, why=why,
    ))  # fmt: skip


def _soil_factor(run: Run) -> float:
    rows, _ = _rows("cable_soil_factor", "soil_k_m_per_w", run.lies.column)
    if not rows[0] <= run.soil_k_m_per_w <= rows[-1]:
        raise InputError(Fault(why=published("cable_soil_factor").clause, **worded(
            "wiring", "cables-soil-k", soil_k_m_per_w=run.soil_k_m_per_w, rows_0=rows[0],
            rows=rows[-1],
        )))  # fmt: skip
    return _between("cable_soil_factor", "soil_k_m_per_w", run.lies.column, run.soil_k_m_per_w)


def _group_factor(run: Run, circuits: int) -> float:
    """By the next number of circuits in the table that is not smaller.

    In one layer on a wall more than nine circuits warm one another no more: IEC 60364-5-52 table
    B.52.17 item 2, no further reduction, from memory; its last rows are alike.
    """
    numbers, values = _rows("cable_group_factor", "circuits", run.lies.group)
    for number, value in zip(numbers, values, strict=True):
        if number >= circuits:
            return value
    if run.lies.group == "layer":
        return values[-1]
    raise InputError(Fault(
        where=field_of(run, "grouped_circuits"), given=f"{circuits} circuits together",
        allowed=f"at most {numbers[-1]:.0f}", why=published("cable_group_factor").clause,
        remedy="part them into several ducts or bunches: cables of another method of [runs] lie"
        ' apart, such as method = "C-apart" of both controller_battery and battery_inverter, on the'
        " wall with more than two diameters between them",
    ))  # fmt: skip


OVERLOAD_SHARE = constant("wiring.overload_share")
BREAKER_OPENS = constant("wiring.breaker_opens")
FUSE_OPENS = constant("wiring.fuse_opens")
SMALL_FUSE_OPENS = constant("wiring.small_fuse_opens")
SMALLEST_FUSE_OPENS = constant("wiring.smallest_fuse_opens")


@cache
def ratings_a(device: DeviceKind) -> tuple[float, ...]:
    """Rated currents that the device is made in, rising [A]; none without a device."""
    kind = {"dc-fuse": "fuse", "dc-breaker": "breaker", "ac-breaker": "breaker"}.get(device)
    rows = published("device_ratings").rows
    return tuple(sorted(float(row["rating_a"]) for row in rows if row["kind"] == kind))


def device_rating_a(run: Run) -> float | None:
    """Next rating at or above the least of its rules, I_n [A]; None where there is no device.

    Raises
    ------
    InputError
        Above the largest rating of the table.
    """
    if run.device == "none":
        return None
    made = ratings_a(run.device)
    for rating in made:
        if rating >= run.least_device_a - 1e-9:
            return rating
    raise InputError(Fault(where=field_of(run, "in_parallel"), **worded(
        "wiring", "device-rating-a", design_a=run.least_device_a, made=made[-1],
        replace=run.device.replace("-", " "),
    )))  # fmt: skip


def surely_opens_a(device: DeviceKind, rated_a: float) -> float:
    """Current at which the device surely opens within its conventional time, I_2 [A].

    Parameters
    ----------
    device : {"dc-fuse", "dc-breaker", "ac-breaker"}
    rated_a : float
        I_n [A].

    Examples
    --------
    >>> surely_opens_a("ac-breaker", 32.0), surely_opens_a("dc-fuse", 32.0)
    (46.4, 51.2)
    """
    if device != "dc-fuse":
        return rated_a * float(BREAKER_OPENS)
    if rated_a >= 16.0:  # bounds of IEC 60269-1 table 2
        return rated_a * float(FUSE_OPENS)
    return rated_a * float(SMALL_FUSE_OPENS if rated_a > 4.0 else SMALLEST_FUSE_OPENS)


@dataclass(frozen=True, kw_only=True)
class Losses:
    """What a run loses, of one of its `count` unless it says otherwise.

    Parameters
    ----------
    working_c : float
        Conductor at the design current [degC].
    drop_v : float
        At the working current of the run, else at the design current [V].
    drop_frac : float
        Of the run's voltage, [0 to 1].
    loss_w : float
        At the design current [W].
    loss_kwh_per_year : float
        By the hourly currents, all of the `count` [kWh/year].
    drop_c, drop_ohm_per_km : float
        Conductor at the current of the drop [degC], and all in parallel at that [ohm/km].
    """

    working_c: float
    drop_v: float
    drop_frac: float
    loss_w: float
    loss_kwh_per_year: float
    drop_c: float
    drop_ohm_per_km: float


def volts_dropped(
    current_a: float,
    length_m: float,
    *,
    r_ohm_per_km: float,
    x_ohm_per_km: float = 0.0,
    power_factor_frac: float = 1.0,
    loaded: Literal[2, 3] = 2,
) -> float:
    """Drop along a run [V]; between lines where three conductors are loaded.

    Parameters
    ----------
    current_a : float
        Of a conductor [A].
    length_m : float
        One way [m].
    r_ohm_per_km, x_ohm_per_km : float
        Of a conductor, at its temperature [ohm/km].
    power_factor_frac : float
        Lagging, [0 to 1]; 1 for direct current.
    loaded : {2, 3}

    Notes
    -----
    b I L (R cos + X sin), b = 2, or sqrt(3) for three phases: IEC 60364-5-52 annex G.

    Examples
    --------
    >>> round(volts_dropped(20.0, 30.0, r_ohm_per_km=8.866), 2)
    10.64
    """
    ways = 2.0 if loaded == 2 else math.sqrt(3.0)
    sine = math.sqrt(max(0.0, 1.0 - power_factor_frac**2))
    ohm_per_km = r_ohm_per_km * power_factor_frac + x_ohm_per_km * sine
    return ways * current_a * length_m / 1000.0 * ohm_per_km


def losses(
    run: Run, r20_ohm_per_km: float, carries: Capacity, *, in_parallel: int, squares: Squares
) -> Losses:
    """What the run loses with that conductor.

    Parameters
    ----------
    run : Run
    r20_ohm_per_km : float
        Of one conductor at 20 degC [ohm/km].
    carries : Capacity
        Of all in parallel.
    in_parallel : int
        Conductors for each pole.
    squares : Squares
        Of `run.hourly_a`.

    Notes
    -----
    Each hour loses n I^2 R(t) with n loaded conductors and t = ambient + (hottest - ambient)
    (I / I_z)^2. R is a straight line in t, so the year's sum needs the means of I^2 and I^4 alone.
    """
    r20 = r20_ohm_per_km / in_parallel
    i_z, rise_k = carries.capacity_a, carries.hottest_c - run.ambient_c
    conductor_c = working_c(run.ambient_c, carries.hottest_c, run.design_a / i_z)
    hot = hot_ohm_per_km(r20, conductor_c, run.material)
    reactance = float(REACTANCE_OHM_PER_KM) / in_parallel if run.current == "ac" else 0.0
    drop_a = run.design_a if run.drop_a is None else run.drop_a
    drop_c = working_c(run.ambient_c, carries.hottest_c, drop_a / i_z)
    at_work = hot_ohm_per_km(r20, drop_c, run.material)
    drop_v = volts_dropped(
        drop_a, run.length_m, r_ohm_per_km=at_work, x_ohm_per_km=reactance,
        power_factor_frac=run.power_factor, loaded=run.loaded,
    )  # fmt: skip
    resting = hot_ohm_per_km(r20, run.ambient_c, run.material)
    warming = r20 * rise_per_k(run.material) * rise_k / i_z**2
    km = run.loaded * run.length_m / 1000.0
    mean_w = km * (squares.second * resting + squares.fourth * warming)
    return Losses(
        working_c=conductor_c,
        drop_v=drop_v,
        drop_frac=drop_v / run.voltage_v,
        loss_w=km * run.design_a**2 * hot,
        loss_kwh_per_year=run.count * mean_w * HOURS_IN_YEAR / 1000.0,
        drop_c=drop_c,
        drop_ohm_per_km=at_work,
    )
