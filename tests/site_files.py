"""Whole valid site files, drawn: layouts, sources, phases, batteries, ways, earth, room.

All of them are invented; each is checked like a file on the disk.
"""

from __future__ import annotations

import tomllib
from dataclasses import replace
from functools import cache
from typing import Any, get_args

from hypothesis import strategies as some

from solarcalc.basis.files import data_folder, demo_sites
from solarcalc.sitefile.generator import engines
from solarcalc.sitefile.read import read_site, with_changes
from solarcalc.sitefile.site import Site
from solarcalc.sitefile.weather import WeatherChoice

METHODS = {
    "string": ["solar-free", "solar-surface", "solar-touching"],
    "dc_main": ["D1", "D2", "B1", "C"], "controller_battery": ["B1", "C"],
    "battery_inverter": ["B1", "C"], "inverter_board": ["B1", "B2", "C"],
    "board_house": ["D1", "D2", "B1", "C"], "grid_in": ["B1", "D1", "C"],
    "generator_in": ["B1", "D1", "C"],
}  # fmt: skip
"""How each run may lie."""
FARTHEST_M = {"string": 20.0, "dc_main": 30.0, "board_house": 30.0, "grid_in": 30.0,
              "generator_in": 30.0}  # fmt: skip
BATTERIES = {
    "flooded-2v-455ah": 24, "agm-12v-183ah": 4, "gel-12v-137ah": 4, "lithium-26v-142ah": 2,
    "lithium-51v-93ah": 1,
}  # fmt: skip
"""Units in series of a bank of about 48 V."""


@cache
def _equipment(kind: str, key: str) -> dict[str, Any]:
    with (data_folder() / "equipment" / f"{kind}.toml").open("rb") as file:
        found: dict[str, Any] = tomllib.load(file)[key]
    return found


@cache
def _base():
    """A demo site of which nobody gave snow or wind."""
    demo = read_site(demo_sites()["ridge-clinic"])
    return replace(demo, written={
        table: keys for table, keys in demo.written.items() if table not in ("snow", "structure")
    })  # fmt: skip


def _length(draw: some.DrawFn, most_m: float) -> float:
    return float(draw(some.integers(2, int(2.0 * most_m)))) / 2.0


def _runs(draw: some.DrawFn) -> dict[str, Any]:
    """Ways, given or left to their usual ones."""
    found: dict[str, Any] = {}
    for key, methods in METHODS.items():
        given = {}
        if draw(some.booleans()):
            given["length_m"] = _length(draw, FARTHEST_M.get(key, 3.0))
        if draw(some.booleans()):
            given["method"] = draw(some.sampled_from(methods))
        if draw(some.integers(0, 3)) == 0:
            given["grouped_circuits"] = draw(some.integers(1, 3))
        if draw(some.integers(0, 7)) == 0 and key != "string":
            given["in_parallel"] = 2
        found[key] = given
    return found


def _supply(draw: some.DrawFn) -> dict[str, dict[str, Any]]:
    """Layout, bank, controllers, strings and sources that go together."""
    layout = draw(some.sampled_from(["shared-bank", "one-inverter", "separate-banks"]))
    separate = layout == "separate-banks"
    battery, series = draw(some.sampled_from(sorted(BATTERIES.items())))
    parallel = draw(some.integers(2 if separate else 1, 5))
    own = draw(some.integers(1, max(parallel - 1, 1)))
    controllers = draw(some.integers(2 if separate else 1, 3))
    half = {"charge_below_frac": 0.8}
    strings, modules = draw(some.integers(controllers, 8)), draw(some.integers(1, 3))
    return {
        "supply": {"layout": layout, "essential_bank_frac": own / parallel if separate else 0.5,
                   "essential_array_frac": draw(some.sampled_from([0.3, 0.5, 0.7]))},
        "battery": {**_equipment("batteries", battery), "units_in_series": series,
                    "units_in_parallel": parallel},
        "controller": {"count": controllers},
        "array": {"module_count": strings * modules, "modules_in_series": modules, "rows": 1},
        "grid": draw(some.sampled_from([
            {"kind": "none"}, {"kind": "always", **half}, {"kind": "random", **half},
            {"kind": "timetable", **half,
             "timetable": [{"days": "all", "present": ["06:00-09:00"]}]},
        ])),
        "generator": _generator(draw),
        **_phases(draw, layout),
    }  # fmt: skip


def _phases(draw: some.DrawFn, layout: str) -> dict[str, dict[str, Any]]:
    """Phases of supply and boards; inverters that are one or several, side by side or one each."""
    supply = draw(some.integers(1, 3))
    boards = {board: supply if layout == "one-inverter" else draw(some.sampled_from([1, supply]))
              for board in ("essential", "nonessential")}  # fmt: skip
    inverters = {}
    for board, phases in boards.items():
        kind = draw(some.sampled_from(["one", "one", "parallel", "one-a-phase"]))
        count = {"one": 1, "parallel": draw(some.integers(2, 4))}.get(
            kind, phases * draw(some.integers(1, 2)))
        alone = kind == "one-a-phase" and phases > 1
        inverters[board] = {"count": count if kind != "one-a-phase" or alone else 1,
                            "arrangement": "one-a-phase" if alone else "parallel"}  # fmt: skip
    own = {f"{board}_phases": phases for board, phases in boards.items() if phases != supply}
    return {"loads": {"phases": supply, **own}, "inverter": inverters}


def _generator(draw: some.DrawFn) -> dict[str, Any]:
    """None, or a set on its plate, with or without the figures of its sheet."""
    if draw(some.integers(0, 2)) == 0:
        return {"power_w": 0.0}
    found: dict[str, Any] = {
        "power_w": draw(some.sampled_from([3000.0, 6000.0])),
        "place": draw(some.sampled_from(["outside", "own room", "battery room"])),
        "rating": draw(some.sampled_from(["continuous", "prime", "limited-time", "standby"])),
        "engine": draw(some.sampled_from(sorted(engines()))),
        "power_factor": draw(some.sampled_from([0.8, 1.0])),
        "hottest_air_c": draw(some.sampled_from([25.0, 40.0, 55.0])),
        **draw(some.sampled_from([{}, {"from_openings_m": 3.0}, {"from_openings_m": 6.0}])),
    }
    sheet = {
        "derate_per_km_frac": 0.1, "derate_from_m": 150.0, "derate_per_k_frac": 0.02,
        "derate_from_c": 25.0, "start_frac": 0.7, "stop_frac": 0.95, "least_load_frac": 0.2,
        "warm_up_min": 0.0, "no_load_fuel_l_per_h_per_kw": 0.1, "fuel_l_per_kwh": 0.3,
        "service_h": 100.0, "life_h": 5000.0, "run_h": 400.0,
    }  # fmt: skip
    given = draw(some.sets(some.sampled_from(sorted(sheet)), max_size=5))
    found |= {key: sheet[key] for key in given}
    if draw(some.integers(0, 3)) == 0:
        found |= {"sheet_load_frac": [0.25, 0.5, 1.0], "sheet_fuel_l_per_h": [0.7, 1.1, 2.0]}
    return found


def _snow(draw: some.DrawFn) -> dict[str, Any]:
    """Snow that nobody gave, that never falls, or of a winter in the north."""
    found: dict[str, Any] = {
        "lower_edge_m": draw(some.sampled_from([0.0, 0.1, 1.0])),
        "albedo_frac": draw(some.sampled_from([0.4, 0.65, 0.8])),
    }  # fmt: skip
    days = draw(some.lists(some.integers(0, 8), min_size=4, max_size=4))
    winter = [*days[:2], *[0] * 8, *days[2:]]
    if draw(some.booleans()):
        found["snowfall_cm"] = [float(draw(some.integers(3, 12)) * one) for one in winter]
        if draw(some.booleans()):
            found["events"] = [float(one) for one in winter]
    if draw(some.booleans()):
        found["ground_days"] = [float(3 * one) for one in winter]
    if draw(some.booleans()):
        found["humidity_pct"] = [float(draw(some.integers(30, 100)))] * 12
    return found


def _light(draw: some.DrawFn) -> dict[str, dict[str, Any]]:
    """What a module gives in weak light, from which voltage a controller works, unit of rain."""
    return {
        "module": draw(some.sampled_from([
            {}, {"efficiency_200_w_m2_frac": 0.93}, {"efficiency_200_w_m2_frac": 0.96}])),
        "controller": draw(some.sampled_from([
            {}, {"start_voltage_v": 125.0}, {"start_voltage_v": 150.0}])),
        "weather": {"rain_unit": draw(some.sampled_from(list(get_args(
            WeatherChoice.model_fields["rain_unit"].annotation))))},
    }  # fmt: skip


@some.composite
def site_changes(draw: some.DrawFn) -> dict[str, dict[str, Any]]:
    """Changes of the ridge clinic that make another valid site."""
    supply, light = _supply(draw), _light(draw)
    supply["controller"] |= light.pop("controller")
    return {
        **supply, **light, "runs": _runs(draw), "snow": _snow(draw),
        "cables": {"sizes": draw(some.sampled_from(["metric", "metric", "awg"])),
                   "dc_drop_frac": 0.06, "battery_drop_frac": 0.03, "ac_drop_frac": 0.06,
                   "roof_c": 60.0},
        "duct": {"size": draw(some.sampled_from(["conduit-50", "waste-110", "emt-2"])),
                 "depth_m": draw(some.sampled_from([0.0, 0.6])),
                 "other_cables_mm": draw(some.sampled_from([[], [9.0]]))},
        "protection": {
            "system": draw(some.sampled_from(["TT", "TN-S", "IT"])),
            "neutral_earth_bond": draw(some.sampled_from(
                ["at-inverter", "at-changeover", "at-grid", "nowhere"])),
            "changeover": draw(some.sampled_from(["none", "manual", "automatic", "built-in"])),
            "thunderstorm_days": draw(some.sampled_from([0.0, 20.0, 100.0])),
            "lightning_protection": draw(some.booleans()),
        },
        "earthing": {"electrode": draw(some.sampled_from(["rods", "strip", "ring"])),
                     "rod_count": draw(some.integers(1, 6))},
        "room": {
            "length_m": draw(some.sampled_from([2.4, 4.0, 8.0])),
            "inverters_inside": draw(some.booleans()), "smoke_alarm": draw(some.booleans()),
            "extinguisher": draw(some.sampled_from(["none", "powder", "CO2"])),
            "extinguisher_place": draw(some.sampled_from(["inside", "outside"])),
            "spread_m2": draw(some.sampled_from([0.0, 4.0])),
            "fan_m3_per_h": draw(some.sampled_from([0.0, 80.0])),
            "vent_low_cm2": draw(some.sampled_from([0.0, 500.0])),
        },
        "site": {"exposure": {
            "salt": draw(some.sampled_from(["none", "coastal", "severe"])),
            "hail": draw(some.sampled_from(["none", "some", "severe"])),
            "theft": draw(some.sampled_from(["none", "some", "high"])),
            "animals": draw(some.sampled_from(["none", "rodents", "rodents-and-birds"])),
            "dust": draw(some.sampled_from(["none", "some", "heavy"])),
        }},
        "variants": [],
        "programme": {"power_room": draw(some.sampled_from(["new", "existing"]))},
        "structure": _structure(draw),
    }  # fmt: skip


def _structure(draw: some.DrawFn) -> dict[str, Any]:
    """Wind by the code of the site or by none; fixings or ballast on any covering."""
    return {
        "basic_wind_m_per_s": draw(some.sampled_from([None, 22.0, 35.0])),
        "height_m": draw(some.sampled_from([3.0, 8.0, 20.0])),
        "covering": draw(some.sampled_from([None, "concrete", "sheet", "tile"])),
        "held_by": draw(some.sampled_from(["fixings", "fixings", "ballast"])),
        "fixing_uplift_kn": draw(some.sampled_from([None, 2.0, 20.0])),
    }  # fmt: skip


def sites() -> some.SearchStrategy[Site]:
    """A valid site."""
    return site_changes().map(lambda changes: with_changes(_base(), changes).site)


@some.composite
def two_plane_changes(draw: some.DrawFn) -> dict[str, Any]:
    """Changes of the ridge clinic that give it a second roof plane on its one bank."""
    changes: dict[str, Any] = draw(site_changes())
    if changes["supply"]["layout"] == "separate-banks":
        changes["supply"]["layout"] = "shared-bank"
    controllers = draw(some.sampled_from([1, 1, 2]))  # many on one bank want more than is made
    changes["controller"]["count"] = 1
    strings, series = draw(some.integers(controllers, 4)), draw(some.integers(1, 3))
    facing = float(draw(some.integers(0, 359)))
    array = {"module_count": strings * series, "modules_in_series": series, "rows": 1,
             "azimuth_deg": facing}  # fmt: skip
    plane: dict[str, Any] = {
        "name": "East roof", "array": array,
        "roof": {"azimuth_deg": facing, "slope_deg": draw(some.sampled_from([0.0, 12.0, 30.0]))},
        "controller": draw(some.sampled_from([{}, {"use": "tracker-190v-70a"}])),
        "runs": draw(some.sampled_from([
            {}, {"dc_main": {"length_m": 21.0}}, {"string": {"method": "solar-surface"}},
            {"dc_main": {"method": "B1"}, "controller_battery": {"method": "C"}}])),
    }  # fmt: skip
    plane["controller"]["count"] = controllers
    if draw(some.booleans()):
        plane["structure"] = {"height_m": 4.0}
    return {**changes, "planes": [plane]}


def two_plane_sites() -> some.SearchStrategy[Site]:
    """A valid site of two roof planes."""
    return two_plane_changes().map(lambda changes: with_changes(_base(), changes).site)
