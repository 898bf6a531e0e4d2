"""Checks accepted by name stay accepted where the words of a run are mended."""

from __future__ import annotations

import pytest

from solarcalc.basis.check import Check


@pytest.mark.parametrize(("item", "key"), [
    ("PV string cable: voltage drop at the design current",
     "x/y:string-voltage-drop-at-the-design-current"),
    ("Breaking capacity: Distribution circuit to the nonessential board",
     "x/y:breaking-capacity-house-nonessential-board"),
    ("Battery to its busbars, essential board: current-carrying capacity (I_z)",
     "x/y:battery-to-its-bars-essential-board-current-carrying-capacity-i-z"),
])
def test_a_new_name_of_a_run_leaves_the_identity(item: str, key: str) -> None:
    """By hand from the names before: "String", "House, ... board", "Battery to its bars"."""
    check = Check(rule="x/y", kind="safety", item=item, found="1", limit="2", outcome="review",
                  clause="none")
    assert check.key == key
