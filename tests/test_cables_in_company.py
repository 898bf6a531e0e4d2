"""Cables on one way: sizes settle in the company of those chosen, whatever was tried before."""

from __future__ import annotations

import pytest

from solarcalc.design import open_design
from solarcalc.stages.progress import progress_of

ROOM = ("controller_battery", "battery_inverter")


@pytest.mark.parametrize("stem", ["orchard-shop", "ridge-clinic"])
def test_no_cable_is_sized_beside_a_size_that_nobody_lays(stem: str) -> None:
    for length_m in (2.0, 3.5, 6.0):
        design = open_design(stem, {"runs": {key: {"length_m": length_m} for key in ROOM}})
        laid = {one.size_mm2 for one in design.electrical.sized}
        for one in design.electrical.sized:
            assert set(one.run.company_mm2) <= laid, (length_m, one.run.key)


def test_example_prices_stay_open_at_build() -> None:
    """As at stage offer: nobody builds on invented prices."""
    for stage in ("offer", "build"):
        design = open_design("orchard-shop", {"status": {"stage": stage, "issued": []}})
        said = [step.what for step in progress_of(design).blocks]
        assert {"example prices", "no validity date, the quote was not issued"} <= set(said)
