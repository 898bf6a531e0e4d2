"""Whole valid site files, drawn: layouts, sources, phases, batteries, ways, earth, room.

All of them are invented; each is checked like a file on the disk.
"""

from __future__ import annotations

import tomllib
from functools import cache
from typing import Any

from hypothesis import strategies as some

from solarcalc.basis.files import data_folder, demo_sites
from solarcalc.sitefile.read import read_site, with_changes
from solarcalc.sitefile.site import Site

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
    return read_site(demo_sites()["ridge-clinic"])


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
        "generator": {
            "power_w": draw(some.sampled_from([0.0, 3000.0, 6000.0])),
            "place": draw(some.sampled_from(["outside", "own room", "battery room"])),
            **draw(some.sampled_from([{}, {"from_openings_m": 3.0}, {"from_openings_m": 6.0}])),
        },
        "loads": {"phases": draw(some.integers(1, 3))},
    }  # fmt: skip


@some.composite
def site_changes(draw: some.DrawFn) -> dict[str, dict[str, Any]]:
    """Changes of the ridge clinic that make another valid site."""
    return {
        **_supply(draw), "runs": _runs(draw),
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
        "quote": {"alternatives": []},
        "programme": {"power_room": draw(some.sampled_from(["new", "existing"]))},
    }  # fmt: skip


def sites() -> some.SearchStrategy[Site]:
    """A valid site."""
    return site_changes().map(lambda changes: with_changes(_base(), changes).site)
