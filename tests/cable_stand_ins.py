"""Runs of cable for tests, with invented figures."""

from __future__ import annotations

from typing import Any

import numpy as np

from solarcalc.wiring.runs import Run, SizedRun


def sized_run(size_mm2: float = 16.0, in_parallel: int = 1, **changes: Any) -> SizedRun:
    """An invented main run with its cable; `changes` are fields of the run."""
    asked = {
        "key": "dc_main", "name": "Main", "start": "combiner", "end": "power room", "current": "dc",
        "count": 1, "loaded": 2, "voltage_v": 70.0, "highest_v": 108.6, "design_a": 52.2,
        "device": "none", "hourly_a": np.zeros(3), "power_factor": 1.0, "length_m": 15.0,
        "length_given": True, "method": "D1", "insulation": "xlpe", "material": "copper",
        "ambient_c": 30.0, "soil_k_m_per_w": 2.5, "grouped_circuits": 1, "size_mm2": None,
        "in_parallel": in_parallel, "drop_limit_frac": 0.02,
    }  # fmt: skip
    return SizedRun(
        run=Run(**{**asked, **changes}), size_mm2=size_mm2, size_name=f"{size_mm2:g} mm²",
        in_parallel=in_parallel, table_a=80.0, capacity_a=70.0, factors={}, device_a=None,
        drop_v=1.0, drop_frac=0.014, loss_w=50.0, loss_kwh_per_year=60.0, cost=1.0,
        lifetime_cost=2.0, decided_by="capacity",
    )  # fmt: skip
