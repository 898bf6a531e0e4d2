"""Cables on one way: sizes settle in the company of those chosen, whatever was tried before."""

from __future__ import annotations

from pathlib import Path

import pytest

from solarcalc.design import open_design
from solarcalc.stages.electrical import electrical_of
from solarcalc.stages.progress import progress_of

FROZEN = Path(__file__).with_name("frozen")

ROOM = ("controller_battery", "battery_inverter")


@pytest.mark.parametrize("stem", ["orchard-shop", "ridge-clinic"])
def test_no_cable_is_sized_beside_a_size_that_nobody_lays(stem: str) -> None:
    for length_m in (2.0, 3.5, 6.0):
        design = open_design(stem, {"runs": {key: {"length_m": length_m} for key in ROOM}})
        laid = {one.size_mm2 for one in design.electrical.sized}
        for one in design.electrical.sized:
            assert set(one.run.company_mm2) <= laid, (length_m, one.run.key)


@pytest.mark.parametrize("stem", ["cove-cannery", "ridge-clinic"])
def test_a_longer_run_never_gets_a_smaller_conductor_beside_unlike_ones(stem: str) -> None:
    """At 2.0 m its neighbour was of 10 mm² and it of 50; at 2.5 m of 25 mm², alike, and it too."""
    design = open_design(FROZEN / f"{stem}.toml")
    runs = design.site.runs
    for table in ("battery_inverter", "controller_battery", "dc_main"):
        before: dict[str, tuple[int, float]] = {}
        for length_m in (2.0, 2.5, 3.9, 4.5, 6.0):
            longer = getattr(runs, table).model_copy(update={"length_m": length_m})
            there = runs.model_copy(update={table: longer})
            site = design.site.model_copy(update={"runs": there})
            for one in electrical_of(site, design.flows).sized:
                laid = one.in_parallel, one.size_mm2
                if one.run.key.startswith(table):
                    assert laid >= before.get(one.run.key, laid), (one.run.key, length_m)
                    before[one.run.key] = laid


def test_example_prices_stay_open_at_build() -> None:
    """As at stage offer: nobody builds on invented prices."""
    for stage in ("offer", "build"):
        design = open_design("orchard-shop", {"status": {"stage": stage, "issued": []}})
        said = [step.what for step in progress_of(design).blocks]
        assert {"example prices", "no validity date, the quote was not issued"} <= set(said)
