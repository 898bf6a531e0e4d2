"""Cables on one way: sizes settle in the company of those chosen, whatever was tried before."""

from __future__ import annotations

import pytest

from solarcalc.design import open_design
from solarcalc.stages.progress import progress_of

ROOM = ("controller_battery", "battery_inverter")


@pytest.mark.parametrize("stem", ["orchard-shop", "ridge-clinic"])
def test_a_longer_run_in_the_room_never_gets_a_smaller_conductor(stem: str) -> None:
    """A longer run drops and costs more per size; nothing that it needs becomes less."""
    before: dict[str, float] = {}
    for length_m in (1.0, 2.0, 3.5, 3.9, 6.0):
        design = open_design(stem, {"runs": {key: {"length_m": length_m} for key in ROOM}})
        found = {one.run.key: one.size_mm2 * one.in_parallel for one in design.electrical.sized
                 if one.run.key.startswith(ROOM)}  # fmt: skip
        assert found
        assert all(found[key] >= before.get(key, 0.0) for key in found), (length_m, before, found)
        before = found


def test_example_prices_stay_open_at_build() -> None:
    """As at stage offer: nobody builds on invented prices."""
    for stage in ("offer", "build"):
        design = open_design("orchard-shop", {"status": {"stage": stage, "issued": []}})
        said = [step.what for step in progress_of(design).blocks]
        assert {"example prices", "no validity date, the quote was not issued"} <= set(said)
