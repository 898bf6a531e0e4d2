"""Starts that nobody gave: by the kind of the appliance, told, and never below what was known."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as some

from solarcalc.basis.files import demo_sites
from solarcalc.design import open_design
from solarcalc.loads.peaks import board_peaks, rating_checks, start_checks, starting_va
from solarcalc.sitefile.equipment import appliance_catalogue
from solarcalc.sitefile.loads import Appliance
from solarcalc.sitefile.starting import appliance_kinds, kind_of


def _item(name, power_w, **more):
    return Appliance(name=name, power_w=power_w, use=["10:00-12:00"], **more)


def test_pump_and_air_conditioner_by_hand():
    """hand: 6 x 1400 / 0.85 as the compressor starts, 1500 beside it; running they are 2.9 kVA.

    Six times is the upper end of what compressors take (3 to 6 times their running current,
    the hvac locked-rotor page of tests/published/loads/ratings.toml: from memory).
    """
    items = [_item("Water pump", 1500.0), _item("Air conditioner", 1400.0)]
    peaks = board_peaks(items)
    assert peaks.surge_va == pytest.approx(6.0 * 1400.0 / 0.85 + 1500.0)
    assert 11000.0 < peaks.surge_va < 12500.0
    assert (peaks.starting, peaks.surge_evidence) == ("Air conditioner", "assumed")
    surge = rating_checks("nonessential", peaks, 4300.0, 8800.0)[2]
    assert (surge.outcome, surge.evidence) == ("failed", "assumed")


def test_each_assumed_start_is_told_with_its_value():
    items = [_item("Box", 100.0, kind="pump"), _item("Congélateur", 100.0), _item("Lamps", 20.0)]
    (check,) = start_checks("essential", items)
    assert (check.outcome, check.kind, check.evidence) == ("review", "supply", "assumed")
    assert "Box 4 times as pump" in check.found
    assert "Congélateur 5 times as freezer" in check.found
    assert "Lamps" not in check.found
    given = [one.model_copy(update={"surge_factor": 3.0}) for one in items]
    assert start_checks("essential", given) == []


def test_what_is_not_known_is_not_assessed_and_named():
    (check,) = start_checks("essential", [_item("Secret box", 500.0), _item("Iron", 900.0)])
    assert check.outcome == "not assessed"
    assert "Secret box" in check.found
    assert "Iron" not in check.found


def test_kinds_stand_on_the_catalogue():
    for kind in appliance_kinds().values():
        assert kind.surge_factor == appliance_catalogue()[kind.entry]["surge_factor"]
        assert all(kind_of(word).surge_factor >= kind.surge_factor for word in kind.words)
    assert kind_of("Heating pump with its iron").kind == "pump"  # the hardest of two
    assert kind_of("Pumpkin stall") is None
    assert kind_of("Well pumps").kind == "pump"
    with pytest.raises(ValueError, match="one of pump, air-conditioner"):
        _item("x", 1.0, kind="rocket")


NAMES = some.sampled_from([word for kind in appliance_kinds().values() for word in kind.words])
POWER = some.floats(1.0, 5000.0)
FACTOR = some.floats(0.3, 1.0)


@settings(deadline=None, max_examples=100)
@given(name=NAMES, power_w=POWER, power_factor=FACTOR, surge_factor=some.floats(1.0, 8.0))
def test_a_motor_never_lowers_the_start_and_a_given_one_stands(
    name, power_w, power_factor, surge_factor
):
    box = _item("Secret box", power_w, power_factor=power_factor)
    named = box.model_copy(update={"name": name})
    assert starting_va(named) >= starting_va(box)
    assert board_peaks([box, named]).surge_va >= board_peaks([box, box]).surge_va - 1e-6
    own = named.model_copy(update={"surge_factor": surge_factor})
    assert starting_va(own) == pytest.approx(power_w / power_factor * surge_factor)


@pytest.mark.parametrize("stem", demo_sites())
def test_demo_sites_bear_their_starts_and_motors_are_told(stem):
    design = open_design(stem)
    for board in design.site.boards:
        peaks = board_peaks(board.appliances)
        assert peaks.surge_va <= board.inverter.count * board.inverter.surge_power_va
        assert all(c.outcome == "review" for c in start_checks(board.key, board.appliances))


def test_one_inverter_bears_both_boards_together():
    design = open_design("ridge-clinic", {"supply": {"layout": "one-inverter"}})
    found = {check.item: check for check in design.supply_checks}
    both = found["Hardest start on the essential and nonessential board"]
    items = [item for board in design.site.boards for item in board.appliances]
    assert both.found.startswith(f"{board_peaks(items).surge_va:.0f}")
    alone = found["Hardest start on the nonessential board"]
    assert int(both.found.split()[0]) > int(alone.found.split()[0])
