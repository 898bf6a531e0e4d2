"""Frozen sites with INVENTED runs of cable, for the tests of protection."""

from __future__ import annotations

import runpy
from pathlib import Path
from typing import Any

import numpy as np

from solarcalc.sitefile.site import Site
from solarcalc.wiring.runs import Run, SizedRun

PLAIN = runpy.run_path(str(Path(__file__).with_name("plain_site.py")))


def site(name: str = "ridge-clinic", **tables: dict[str, Any]) -> Site:
    """A frozen site with usual values of protection; each table named may have keys replaced."""
    found: Site = PLAIN["frozen"](name)
    changed = {
        table: getattr(found, table).model_copy(update=keys) for table, keys in tables.items()
    }
    return found.model_copy(update=changed)


def sized(key: str, **changes: Any) -> SizedRun:
    """A run with a cable: figures invented."""
    run: dict[str, Any] = {
        "key": key, "name": key.replace("_", " "), "start": "here", "end": "there",
        "current": "dc", "count": 1, "loaded": 2, "voltage_v": 51.2, "highest_v": 57.6,
        "design_a": 20.0, "device": "none", "hourly_a": np.zeros(24), "power_factor": 1.0,
        "length_m": 2.0, "length_given": True, "method": "B1", "insulation": "xlpe",
        "material": "copper", "ambient_c": 30.0, "soil_k_m_per_w": 2.5, "grouped_circuits": 1,
        "size_mm2": None, "in_parallel": 1, "drop_limit_frac": 0.03,
    }  # fmt: skip
    cable: dict[str, Any] = {
        "size_mm2": 6.0, "size_name": "6 mm²", "in_parallel": 1, "table_a": 60.0,
        "capacity_a": 50.0, "factors": {}, "device_a": None, "drop_v": 0.1, "drop_frac": 0.002,
        "loss_w": 2.0, "loss_kwh_per_year": 1.0, "cost": 1.0, "lifetime_cost": 1.0,
        "decided_by": "capacity",
    }  # fmt: skip
    for name, value in changes.items():
        (cable if name in cable and name not in ("in_parallel",) else run)[name] = value
    return SizedRun(run=Run(**run), **cable)


def runs(of: Site, **changes: dict[str, Any]) -> list[SizedRun]:
    """Every run of a site; `changes` by key replace figures of one."""
    bank: dict[str, Any] = {"capacity_a": 260.0, "size_mm2": 70.0}
    board: dict[str, Any] = {
        "current": "ac", "device": "ac-breaker", "highest_v": 230.0, "voltage_v": 230.0
    }
    made: dict[str, dict[str, Any]] = {
        "string": {"highest_v": 180.0, "length_m": 12.0, "design_a": 17.3},
        "dc_main": {"highest_v": 180.0, "length_m": 15.0, "design_a": 52.0, "capacity_a": 80.0,
                 "size_mm2": 16.0, "count": of.controller.count},
        "controller_battery": {**bank, "device": "dc-breaker", "design_a": 100.0,
                               "device_a": 125.0, "count": of.controller.count},
    }  # fmt: skip
    for name, amps in (("essential", 80.0), ("nonessential", 130.0)):
        made[f"battery_inverter_{name}"] = {
            **bank, "device": "dc-fuse", "design_a": amps, "device_a": amps + 30.0
        }
        made[f"inverter_board_{name}"] = {**board, "device_a": 25.0, "length_m": 3.0}
        made[f"board_house_{name}"] = {**board, "device_a": 25.0, "length_m": 15.0}
    if of.grid.kind != "none":
        made["grid_in"] = {**board, "device_a": 32.0, "design_a": 26.0}
    if of.generator.power_w > 0.0:
        made["generator_in"] = {**board, "device_a": 25.0, "design_a": 22.0}
    for key, figures in changes.items():
        made[key] = {**made.get(key, {}), **figures}
    return [sized(key, **figures) for key, figures in made.items()]
