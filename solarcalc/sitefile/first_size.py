"""A first size of array, controllers, battery and inverters, by rules of thumb, to begin from.

Who has been on site for an hour knows loads and roof and wishes no sizes. These are wide enough to
try; the year then shows what they are worth. They are named as what they are wherever they stand.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property, partial
from typing import Any, NamedTuple

from solarcalc.basis.hours import HOURS_IN_DAY, HOURS_IN_YEAR
from solarcalc.basis.sourced import constant
from solarcalc.sitefile.array import Array, rows_that_hold
from solarcalc.sitefile.chemistry import chemistries, most_strings
from solarcalc.sitefile.equipment import Catalogue, bundled_equipment
from solarcalc.sitefile.first_loads import day_energy_wh, demand_of, most_energy_wh
from solarcalc.sitefile.loads import BOARDS
from solarcalc.sitefile.roof import WALKWAY_M, Roof
from solarcalc.sitefile.room import Room
from solarcalc.sitefile.supply import WHOLE_UNITS, Grid, Supply
from solarcalc.sitefile.weather import above_air_kwh_m2_day, beam_on_plane
from solarcalc.sitefile.wiring import TO_BATTERY

CLEAR_FRAC = float(constant("sitefile.first_clear_frac"))
DIRECT_FRAC = float(constant("sitefile.first_direct_frac"))
KEPT_FRAC = float(constant("sitefile.first_kept_frac"))
DAYS_ALONE = float(constant("sitefile.first_days_alone"))
DAYS_GRID = float(constant("sitefile.first_days_grid"))
STEADY_FRAC = float(constant("sitefile.first_steady_frac"))
STEADY_DEG = (float(constant("sitefile.first_steady_deg")),
              float(constant("sitefile.first_fronts_deg")))
LEAST_FRAC = float(constant("sitefile.first_least_frac"))
MORE_OUTAGES = float(constant("sitefile.first_more_outages"))
ALLOWED_H = float(constant("sitefile.first_allowed_h"))
BANK_V = float(constant("sitefile.first_bank_v"))
SPARE_FRAC = float(constant("sitefile.first_spare_frac"))
COLD_FRAC = float(constant("sitefile.first_cold_frac"))
HOT_FRAC = float(constant("sitefile.first_hot_frac"))
CHARGE_FRAC = float(constant("sitefile.first_charge_frac"))
CHARGER_FRAC = float(constant("sitefile.first_charger_frac"))
SEEN_FRAC = float(constant("sitefile.first_seen_frac"))
MOST_STRINGS = MOST_CONTROLLERS = MOST_IN_PARALLEL = 20
"""Circuits that lie together are at most so many in the tables of IEC 60364-5-52."""
MOST_ROWS = 500
FEW_CONTROLLERS = 3
"""Beside more of them a board has one inverter: their cables fill the way to the battery."""
FEW_TOGETHER = 2
"""So many controllers' cables, at most, share one trunking with those of the inverters."""
APART = "C-apart"
"""How the cables to the battery lie where controllers are many: no circuit warms another."""
LEAST_SHARE_FRAC = 0.25
"""Of the energy, of a board that gets half of a divided battery (common practice, no source)."""
ONE_DAY = 1.0
"""Days that a first battery carries where more strings have no fuse [days]; no source."""
LEAST_CHARGER_FRAC = 0.1
"""Of a generator's power, left to the charger where the boards alone are more than it gives
(common practice, no source)."""
LEAST_SUN_H = 0.5
"""Where the sun hardly rises the array is no larger than for so many hours a day."""
_MOST_TURNED = 5.0
"""Direct light on a plane over that on the flat, at most: the sun of a polar winter is not seen."""
_MID_MONTH, _MONTH = 16, 30
_EDGE_M = float(Roof.model_fields["edge_setback_m"].default)
_FIRST_BANK_FRAC = float(Supply.model_fields["essential_bank_frac"].default)
_GAP_M, _CLEAR_FROM_H = (float(Array.model_fields[key].default)
                         for key in ("module_gap_m", "clear_from_solar_h"))  # fmt: skip

Rows = Sequence[Mapping[str, Any]]
Table = dict[str, Any]


@dataclass(frozen=True, kw_only=True, eq=False)
class Asked:
    """What a first size is made for.

    Parameters
    ----------
    loads : mapping of board to rows
        Rows as in the site file, by name of the catalogue or with their power.
    roof : mapping
        ``length_m``, ``depth_m``, ``obstacles``.
    module, battery : mapping
        Entries of the equipment lists, with what the file gives of them itself.
    latitude_deg, tilt_deg, azimuth_deg : float
        Of the place and of the modules.
    ghi_kwh_m2_day : sequence of float, optional
        Monthly means of the place, where the file has them.
    framed : bool
        Whether the modules stand on frames, in rows that shade each other.
    grid : bool
        Whether there is one.
    generator_w : float
        What a generator gives at the site's height on the hottest day [W]; 0 for none.
    outage_h_per_day, mean_outage_h : float, optional
        Mean hours of a day without the grid and usual length of an outage [h]; None where the
        hours are not known by their number.
    phases : int
        Of the boards.
    planes : rows, optional
        Roof planes beside the first: one that says no count of its own is given as many modules
        and controllers as the first.
    room : mapping, optional
        What is known of the battery's room: its length, its floor, the units.
    own : mapping, optional
        Tables that the file gives itself: what is sized follows its counts in ``array`` and
        ``battery``, its ``controller``, its ``inverter`` of a board.
    lists : Catalogue, optional
        Equipment that these tables may name.
    """

    loads: Mapping[str, Rows]
    roof: Mapping[str, Any]
    module: Mapping[str, Any]
    battery: Mapping[str, Any]
    latitude_deg: float
    tilt_deg: float
    azimuth_deg: float
    framed: bool
    grid: bool
    generator_w: float = 0.0
    outage_h_per_day: float | None = None
    mean_outage_h: float = float(Grid.model_fields["mean_outage_h"].default)
    phases: int = 1
    ghi_kwh_m2_day: Sequence[float] = ()
    planes: Rows = ()
    room: Mapping[str, Any] = field(default_factory=dict)
    own: Mapping[str, Any] = field(default_factory=dict)
    lists: Catalogue = field(default_factory=bundled_equipment)

    @property
    def array(self) -> Mapping[str, Any]:
        """What the file gives of the array."""
        found: Mapping[str, Any] = self.own.get("array", {})
        return found

    def beside(self, table: str, key: str) -> list[int]:
        """Counts that roof planes beside the first give themselves."""
        return [int(plane[table][key]) for plane in self.planes
                if isinstance(plane.get(table), Mapping) and key in plane[table]]  # fmt: skip

    @property
    def bank_shares(self) -> tuple[float, ...]:
        """Shares of the battery strings on each bank [0 to 1]; one bank but where the file has two.
        """
        supply = self.own.get("supply", {})
        if supply.get("layout") != "separate-banks":
            return (1.0,)
        first = supply.get("essential_bank_frac", _FIRST_BANK_FRAC)
        return first, 1.0 - first

    def lying(self, orientation: str) -> Asked:
        """The same with its modules in that orientation."""
        own = {**self.own, "array": {**self.array, "orientation": orientation}}
        return replace(self, own=own)

    @cached_property
    def laid(self) -> Laid:
        """The orientation given, or of which more fit."""
        ways = [_laid(self, name) for name in ("portrait", "landscape")
                if self.array.get("orientation", name) == name]  # fmt: skip
        return max(ways, key=lambda way: sum(way.row_sizes))

    @property
    def alone_frac(self) -> float:
        """Share of a day's energy that the array is sized for, [0 to 1].

        Beside a grid that of the hours without it in a day of some outages more than the mean, or
        that of a long outage (`spell_h`), and no less than a part that an array is bought for.
        """
        if self.spell_h is None or self.outage_h_per_day is None:
            return 1.0
        alone_h = max(self.outage_h_per_day + MORE_OUTAGES * self.mean_outage_h, self.spell_h)
        return min(max(alone_h / HOURS_IN_DAY, LEAST_FRAC), 1.0)

    @property
    def spell_h(self) -> float | None:
        """Outage that the battery carries [h]; None without a grid or known hours.

        Notes
        -----
        Lengths of outages with a mean L are exponential (as `solarcalc.supply.site` takes them);
        of the outage hours H of a year H exp(-T / L) lie beyond the first T hours of an outage:
        as many as are allowed at T = L ln(H / allowed).
        """
        if not self.grid or self.outage_h_per_day is None:
            return None
        over = self.outage_h_per_day * HOURS_IN_YEAR / HOURS_IN_DAY / ALLOWED_H
        return self.mean_outage_h * math.log(over) if over > 1.0 else 0.0

    @property
    def generator(self) -> bool:
        """Whether there is a generator."""
        return self.generator_w > 0.0

    @property
    def charger(self) -> bool:
        """Whether grid or generator charge the battery."""
        return self.grid or self.generator


class Laid(NamedTuple):
    """Rows of modules on a roof: what a row without a break holds, and each with its breaks."""

    orientation: str
    per_row: int
    row_sizes: tuple[int, ...]


def first_size(asked: Asked) -> dict[str, Table]:
    """Tables of array, controller, inverters and battery for a site file.

    Returns
    -------
    dict
        ``array`` (counts and orientation), ``controller``, ``inverter``, ``battery`` (counts);
        ``supply`` (power of the charger) where there is one; ``loads``, boards that one inverter
        feeds on one phase of several; ``room``, with fewer tiers of battery units where its floor
        bears no more; ``runs``, where the cables of many controllers lie apart on the wall, as a
        trunking holds too few of them; of ``supply`` the layout, where only a divided battery
        has fuses that break its fault.

    Notes
    -----
    Orientation: portrait, whose rails are the shorter, but where the roof then holds fewer of the
    modules asked for. Array: day's energy, beside a grid that of the hours without it
    (`Asked.alone_frac`), over the reference yield of a day (`sun_h`) and the share that arrives in
    a low-irradiance week, at most
    what the roof holds; roof planes share it. Battery: the day's energy for some days, beside a
    grid at most that of a long outage (`Asked.spell_h`), over its depth, and enough for the charge
    current of controllers and charger. More hours of grid give neither more modules nor more
    battery. Inverters: the smallest listed whose power is above the demand of its board with some
    spare, several where none is.
    All common practice, no source (``data/constants/sitefile.csv``).
    """
    day_wh = sum(day_energy_wh(rows) for rows in asked.loads.values())
    in_series = asked.battery.get(
        "units_in_series", max(round(BANK_V / asked.battery["unit_voltage_v"]), 1))
    bank_v = in_series * asked.battery["unit_voltage_v"]
    each_wh = sun_h(asked) * KEPT_FRAC * asked.module["pmax_w"]
    others = asked.beside("array", "module_count")
    alike = 1 + len(asked.planes) - len(others)
    whole, wanted = (max(math.ceil((frac * day_wh / each_wh - sum(others)) / alike), 1)
                     for frac in (1.0, asked.alone_frac))  # fmt: skip
    given = asked.array.get("module_count")
    asked = _laid_cheapest(asked, given or whole, bank_v)
    size = partial(_strings, asked, bank_v=bank_v)
    controller, charge_a, series, strings = size(wanted=given or whole)
    if wanted < whole and not given:
        controller, charge_a, series, strings = size(
            wanted=wanted, within=(controller["count"], charge_a, series * strings))
    several = max(asked.phases, 2) if controller["count"] <= FEW_CONTROLLERS else 1
    inverter: Table = {board: _inverter(asked, board, several) for board in BOARDS}
    count = series * strings
    orientation, per_row, sizes = asked.laid
    counted = asked.beside("controller", "count")
    chargers_frac = 1.0 + len(asked.planes) - len(counted) + sum(counted) / controller["count"]
    strings_for = partial(_in_parallel, asked, day_wh, bank_v, charge_a * chargers_frac,
                          controllers=controller["count"])
    parallel: int = asked.battery.get("units_in_parallel") or strings_for(
        days=days_carried(asked))
    if _divides(asked, parallel):
        return _divided(asked)
    if "units_in_parallel" not in asked.battery:
        parallel = _broken_by_fuses(
            asked, parallel, fewest=strings_for(days=min(ONE_DAY, days_carried(asked))))
    supply: Table = {}
    if asked.charger:
        most_w = parallel * bank_v * asked.battery["max_charge_c_rate"] * \
            asked.battery["unit_capacity_ah"]
        supply["charger_power_w"] = _charger_w(asked, inverter, most_w)
    if len(asked.bank_shares) > 1 and "essential_array_frac" not in asked.own["supply"]:
        supply["essential_array_frac"] = round(_first_bank(controller["count"]), 4)
    return {
        "array": {"module_count": count, "modules_in_series": series, "orientation": orientation,
                  "rows": rows_that_hold(sizes, given or count)
                  or min(math.ceil((given or count) / per_row), MOST_ROWS)},
        "controller": controller,
        "inverter": inverter,
        "loads": {f"{board}_phases": 1 for board in BOARDS
                  if asked.phases > 1 and "count" not in inverter[board]
                  and not any("phase" in row for row in asked.loads.get(board, []))},
        "battery": {"units_in_series": in_series, "units_in_parallel": parallel},
        **_tiers(asked, in_series * parallel),
        **({"runs": {key: {"method": APART} for key in TO_BATTERY}}
           if controller["count"] > FEW_TOGETHER else {}),
        **({"supply": supply} if supply else {}),
    }  # fmt: skip


def _first_bank(controllers: int) -> float:
    """Share of so many controllers that charges the first of two banks, [0 to 1]."""
    return (controllers + 1) // 2 / controllers


def _most_strings(asked: Asked) -> int:
    return most_strings(asked.battery["chemistry"], asked.battery["unit_capacity_ah"],
                        known_a=asked.own.get("protection", {}).get("battery_fault_a"))


def _divides(asked: Asked, strings: int) -> bool:
    """Whether each board gets a battery: no fuse breaks the fault of all strings together.

    Where the file leaves it open, on one roof plane, for boards that both have loads to speak of.
    """
    energy_wh = [day_energy_wh(asked.loads.get(board, [])) for board in BOARDS]
    left_open = ("layout" not in asked.own.get("supply", {})
                 and "units_in_parallel" not in asked.own.get("battery", {})
                 and asked.own.get("controller", {}).get("count", 2) > 1)  # fmt: skip
    return (left_open and not asked.planes and strings > _most_strings(asked)
            and min(energy_wh) >= LEAST_SHARE_FRAC * math.fsum(energy_wh))


def _divided(asked: Asked) -> dict[str, Table]:
    """A first size with half of the battery for each board."""
    layout = {"layout": "separate-banks"}
    own = {**asked.own, "supply": {**asked.own.get("supply", {}), **layout}}
    tables = first_size(replace(asked, own=own))
    return {**tables, "supply": {**layout, **tables["supply"]}}


def _charger_w(asked: Asked, inverter: Mapping[str, Table], most_w: float) -> int:
    """Power of each inverter's charger [W]: a share of what the battery takes.

    With a generator no more than it has left beside what the inverters pass on to their boards;
    where that is nothing, beside the highest demand, and a little of it at least.
    """
    shares, given = asked.bank_shares, asked.own.get("inverter", {})
    counts = [inverter[board].get("count", 1) for board in BOARDS]
    limit_w = CHARGER_FRAC * most_w * min(shares) / counts[0]
    if asked.generator:
        passed_w = math.fsum(
            count * dict(_kinds(asked, "inverters", {**given.get(board, {}), **inverter[board]}))[
                inverter[board]["use"]]["continuous_power_w"]
            for count, board in zip(counts, BOARDS, strict=True))  # fmt: skip
        demand_w, _ = demand_of([*itertools.chain.from_iterable(asked.loads.values())])
        left_w = next((left for taken in (passed_w, demand_w)
                       if (left := asked.generator_w - taken) > 0.0), 0.0)
        chargers = counts[0] if len(shares) == 1 else sum(counts)
        limit_w = min(limit_w, max(left_w, LEAST_CHARGER_FRAC * asked.generator_w) / chargers)
    return max(int(limit_w), 1)


def sun_h(asked: Asked) -> float:
    """Reference yield of a day that the array is sized for, in its plane [h].

    That of the month with the least; with a generator, which carries the months with less, the
    mean of the year.

    Notes
    -----
    Means of the place, else a share of the light above the air (Duffie and Beckman 2013); a share
    of that is direct and turned onto the plane, the rest comes evenly from the sky.
    """
    tilt, azimuth, north = asked.tilt_deg, asked.azimuth_deg, asked.latitude_deg
    flat = asked.ghi_kwh_m2_day or [CLEAR_FRAC * one for one in above_air_kwh_m2_day(north)]
    sky = (1.0 - DIRECT_FRAC) * (1.0 + math.cos(math.radians(tilt))) / 2.0
    months = [
        light * (sky + DIRECT_FRAC * min(_MOST_TURNED, beam_on_plane(
            north, _MID_MONTH + _MONTH * number, tilt_deg=tilt, azimuth_deg=azimuth)))
        for number, light in enumerate(flat)
    ]  # fmt: skip
    return max(math.fsum(months) / len(months) if asked.generator else min(months), LEAST_SUN_H)


def _kinds(asked: Asked, listed: str, own: Mapping[str, Any]) -> list[tuple[str, Table]]:
    """Equipment to choose from, with the file's own figures: what it names, else what is bundled.
    """
    entries, named = asked.lists[listed], own.get("use")
    keys = [named] if named in entries else [*bundled_equipment()[listed]]
    return [(key, {**entries[key].values, **own}) for key in keys]


def _inverter(asked: Asked, board: str, several: int) -> Table:
    """The smallest listed inverter for a board; where none is enough several alike that are.

    One on each phase, or side by side; where they are not enough either, the largest alone. As
    many as the file gives; one that it names is one, but where the board has several phases.
    """
    own: Mapping[str, Any] = asked.own.get("inverter", {}).get(board, {})
    power_w, start_va = demand_of(asked.loads.get(board, []))
    listed = sorted(_kinds(asked, "inverters", own), key=lambda one: one[1]["continuous_power_w"])
    named = "use" in own and asked.phases == 1
    counts = [own.get("count", 1)] if named or "count" in own else sorted({1, several})
    for count in counts:
        for key, one in listed:
            if (count * one["continuous_power_w"] >= (1.0 + SPARE_FRAC) * power_w
                    and count * one["surge_power_va"] >= start_va):
                return {"use": key} | _alike(count, asked.phases)
    return {"use": listed[-1][0]} | _alike(counts[0], asked.phases)


def _alike(count: int, phases: int) -> Table:
    if count == 1:
        return {}
    even = phases > 1 and count % phases == 0
    return {"count": count} | ({"arrangement": "one-a-phase"} if even else {})


def days_carried(asked: Asked) -> float:
    """Days for which a first battery carries the loads [days].

    Fewer near the equator, where a dull day is seldom followed by others, and with a generator;
    between the two latitudes in a straight line.
    """
    days = DAYS_GRID if asked.grid else DAYS_ALONE
    near, far = STEADY_DEG
    steady = min(max((far - abs(asked.latitude_deg)) / (far - near), 0.0), 1.0)
    return days * (1.0 - (1.0 - STEADY_FRAC) * (1.0 if asked.generator else steady))


def _in_parallel(
    asked: Asked, day_wh: float, bank_v: float, charge_a: float, *, controllers: int, days: float
) -> int:
    """Battery strings: for the energy of some days, and for the current of the controllers."""
    battery = asked.battery
    energy_wh, spell_h = days * day_wh, asked.spell_h
    if spell_h is not None:
        energy_wh = min(energy_wh, most_energy_wh(asked.loads, spell_h))
    used = (1.0 - battery["min_soc_frac"]) * battery["discharge_efficiency_frac"]
    for_energy: float = energy_wh / (bank_v * battery["unit_capacity_ah"] * used)
    left_frac = 1.0 - CHARGER_FRAC if asked.charger else 1.0
    if len(asked.bank_shares) > 1:  # the bank with more of the controllers for its strings
        first = _first_bank(controllers)
        charge_a *= max(own / share for own, share in zip(
            (first, 1.0 - first), asked.bank_shares, strict=True))
    for_current: float = charge_a / (
        left_frac * battery["max_charge_c_rate"] * battery["unit_capacity_ah"])
    strings = max(math.ceil(max(for_energy, for_current)), 1)
    counts = (*range(strings, MOST_IN_PARALLEL), *range(MOST_IN_PARALLEL, 0, -1))
    return next((count for count in counts if _shared_whole(asked, count)),
                min(strings, MOST_IN_PARALLEL))


def _shared_whole(asked: Asked, strings: int) -> bool:
    """Whether each bank gets whole strings of so many, and one at least."""
    return all(round(share * strings) and
               abs(share * strings - round(share * strings)) < WHOLE_UNITS
               for share in asked.bank_shares)  # fmt: skip


def _broken_by_fuses(asked: Asked, strings: int, *, fewest: int) -> int:
    """As many of the battery strings as listed fuses break, and no fewer than carry a day.

    All of them where that many are too few: checks then say what is not made.
    """
    most = _most_strings(asked)
    return next((count for count in range(strings, fewest - 1, -1)
                 if max(asked.bank_shares) * count <= most and _shared_whole(asked, count)),
                strings)  # fmt: skip


def _tiers(asked: Asked, units: int) -> dict[str, Table]:
    """As many tiers of battery units as the floor bears, where the wall is long enough for them."""
    room, battery = Room.model_construct(**asked.room), asked.battery
    unit_kg = room.unit_mass_kg or (
        battery["unit_voltage_v"] * battery["unit_capacity_ah"]
        / chemistries()[battery["chemistry"]].mass.energy_wh_per_kg)
    tiers = max(math.floor(room.floor_kg_per_m2 / room.tier_kg_per_m2(unit_kg)), 1)
    fits = tiers < room.rack_tiers and units <= tiers * room.units_on_wall
    return {"room": {"rack_tiers": tiers}} if fits and "rack_tiers" not in asked.room else {}


def _laid(asked: Asked, orientation: str) -> Laid:
    """Rows from the eaves up, one pitch apart, broken by obstacles with their clearance."""
    roof, gap_m = asked.roof, asked.array.get("module_gap_m", _GAP_M)
    edge_m = roof.get("edge_setback_m", _EDGE_M)
    sides = asked.module["width_m"], asked.module["length_m"]
    wide_m, slant_m = sides if orientation == "portrait" else sides[::-1]
    flat_m, pitch_m = _row_m(asked, slant_m)
    high_m = roof["depth_m"] - edge_m - flat_m
    count = math.floor((high_m - edge_m) / pitch_m) + 1 if high_m >= edge_m else 0
    starts = [edge_m + row * pitch_m for row in range(count)]
    boxes = [(box["along_m"] - box["clearance_m"], box["up_m"] - box["clearance_m"],
              box["along_m"] + box["length_m"] + box["clearance_m"],
              box["up_m"] + box["depth_m"] + box["clearance_m"])
             for box in roof.get("obstacles", [])]  # fmt: skip

    def held(low_m: float) -> int:
        met = sorted((left, right) for left, low, right, high in boxes
                     if low < low_m + flat_m and high > low_m)
        count, begin_m = 0, edge_m
        for left_m, right_m in (*met, (roof["length_m"] - edge_m, 0.0)):
            count += max(math.floor((left_m - begin_m + gap_m) / (wide_m + gap_m)), 0)
            begin_m = max(begin_m, right_m)
        return count

    sizes = (held(low_m) for low_m in starts)
    clear = math.floor((roof["length_m"] - 2.0 * edge_m + gap_m) / (wide_m + gap_m))
    return Laid(orientation, max(clear, 1), tuple(size for size in sizes if size))


def _row_m(asked: Asked, slant_m: float) -> tuple[float, float]:
    """Depth of a row on the roof and from one row to the next [m]."""
    if not asked.framed:
        return slant_m, slant_m + _GAP_M
    tilt = math.radians(asked.tilt_deg)
    flat_m, high_m = slant_m * math.cos(tilt), slant_m * math.sin(tilt)
    return flat_m, flat_m + max(float(WALKWAY_M), high_m * shadow_frac(asked.latitude_deg))


def shadow_frac(latitude_deg: float) -> float:
    """Shadow across rows that face the equator over the height of what throws it, on level ground.

    When the shadow rule of the site file begins to hold, on the shortest day; infinite where the
    sun is not up then.

    Examples
    --------
    >>> [round(shadow_frac(one), 2) for one in (0.0, 15.0, -38.0, 50.0, 66.0)]
    [0.61, 1.05, 2.68, 6.71, inf]
    """
    north, declination = math.radians(abs(latitude_deg)), math.radians(-23.45)
    noon = math.cos(declination) * math.cos(math.radians(15.0 * (12.0 - _CLEAR_FROM_H)))
    up = math.sin(north) * math.sin(declination) + math.cos(north) * noon
    to_pole = math.sin(north) * noon - math.cos(north) * math.sin(declination)
    return to_pole / up if up > 0.0 else math.inf


def _laid_cheapest(asked: Asked, wanted: int, bank_v: float) -> Asked:
    """In portrait, with a rail's two lines for the short sides, unless fewer of those wanted fit.

    A file's own orientation stays.
    """
    if "orientation" in asked.array:
        return asked
    ways = [asked.lying(name) for name in ("portrait", "landscape")]
    return max(ways, key=lambda one: min(
        wanted, sum(one.laid.row_sizes),
        math.prod(_strings(one, wanted=wanted, bank_v=bank_v)[2:])))  # fmt: skip


def _strings(
    asked: Asked, *, wanted: int, bank_v: float, within: tuple[int, float, int] | None = None
) -> tuple[Table, float, int, int]:  # fmt: skip
    """Controllers, modules in series and strings: the fewest controllers, then the fewest modules.

    With `within`, which are controllers, their current [A] and modules of a larger array, none of
    these is more, and the least current comes before the fewest modules: so a smaller array never
    asks for more of anything.

    Of these the smallest controllers, which a battery need not take more current of, and the
    fewest strings. Where the file gives the number of modules, strings that come out even with it;
    where it gives those in series or the controllers, these, however they suit.

    Returns
    -------
    table of the controllers, their current together [A], modules in series, strings
    """
    module, own = asked.module, asked.own.get("controller", {})
    given, given_series = (asked.array.get(key) for key in ("module_count", "modules_in_series"))
    sizes, fewest = asked.laid.row_sizes, own.get("count", len(asked.bank_shares))
    most = given or sum(sizes)
    ways = []
    for key, one in _kinds(asked, "controllers", own):
        least = math.ceil(one["min_tracking_voltage_v"] / (HOT_FRAC * module["vmp_v"]))
        longest = math.floor(min(one["max_pv_voltage_v"] / (COLD_FRAC * module["voc_v"]),
                                 one["max_tracking_voltage_v"] / module["vmp_v"]))  # fmt: skip
        charges = one["min_tracking_voltage_v"] >= CHARGE_FRAC * bank_v and longest >= least
        if not charges and "use" not in own:
            continue
        each_a = one["max_charge_current_a"]
        ends = max(least, 1), max(min(longest, wanted, max(most, 1)), least, 1)
        for series in [given_series] if given_series else range(ends[0], ends[1] + 1):
            if given and wanted % series:
                continue
            strings = max(min(math.ceil(wanted / series), most // series, MOST_STRINGS), fewest)
            while not (held := given or rows_that_hold(sizes, series * strings)) and (
                    strings > fewest):
                strings -= 1
            total = series * strings
            count = max(math.ceil(SEEN_FRAC * total * module["pmax_w"] / bank_v / each_a), 1)
            count += -count % len(asked.bank_shares)  # as many for each bank
            off = (max(least - series, series - longest, 0), 0 if held else max(total - most, 1),
                   max(count - min(strings, MOST_CONTROLLERS), 0))
            count = own.get("count", max(min(count, strings, MOST_CONTROLLERS), fewest))
            least_a_first = within or len(asked.bank_shares) > 1
            amount = (count, count * each_a, total) if least_a_first else (
                count, total, count * each_a)
            if within and any(one > limit for one, limit in zip(amount, within, strict=True)):
                continue
            ways.append(((*off, max(wanted - total, 0), *amount, strings),
                         key, count * each_a, series, strings, count))  # fmt: skip
    if not ways:
        key, one = _kinds(asked, "controllers", own)[0]
        return {"use": key, "count": 1}, one["max_charge_current_a"], given_series or 1, 1
    _, key, charge_a, series, strings, count = min(ways)
    return {"use": key, "count": count}, charge_a, series, strings
