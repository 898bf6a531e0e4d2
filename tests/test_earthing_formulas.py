"""Formulas of electrodes: printed figures, the potential of a line of current, limits, refusals."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from solarcalc.basis.errors import InputError
from solarcalc.earthing.electrode import (
    line_factor,
    pair_sum,
    ring_ohm,
    rod_ohm,
    rods_needed,
    rods_ohm,
    strip_ohm,
)

FORMULAS = {
    "rods": rods_ohm, "strip": strip_ohm, "ring": ring_ohm,
}  # fmt: skip


@pytest.mark.published("earthing/rods.toml", "earthing/wires.toml")
def test_printed_figures(case):
    if case["quantity"] in FORMULAS:
        found = FORMULAS[case["quantity"]](**case["inputs"])
        assert found == pytest.approx(case["result"], abs=case["last_digit"] / 2.0)
    elif case["quantity"] == "line-factors":
        assert [line_factor(count) for count in case["counts"]] == case["result"]
        sums = [pair_sum(count) for count in case["counts"]]
        assert sums == pytest.approx(case["pair_sums"], abs=0.0005)
        assert sums == pytest.approx(case["result"], abs=0.05)
    elif case["quantity"] == "multiplier":
        size = {"resistivity_ohm_m": 100.0, "length_m": 3.0, "diameter_m": 0.015875}
        for count, factor in zip(case["counts"], case["result"], strict=True):
            ours = rods_ohm(**size, count=count, spacing_m=3.0) * count / rod_ohm(**size)
            assert factor * (1.0 - case["within_frac"]) <= ours <= factor
    else:
        assert case["quantity"] == "needed"
        assert rods_needed(**case["inputs"]) == case["result"]
        kept = {"resistivity_ohm_m", "length_m", "diameter_m"}
        size = {name: value for name, value in case["inputs"].items() if name in kept}
        assert rod_ohm(**size) == pytest.approx(case["one_ohm"], abs=0.0005)


def mean_potential(along_m, lengths_m, radius_m, mirror_m):
    """Mean over a straight wire of the potential of a parallel one and its image, per ohm m."""
    places = (np.arange(4000) + 0.5) / 4000 * along_m
    low, high = mirror_m
    over = np.arcsinh((high - places) / radius_m) - np.arcsinh((low - places) / radius_m)
    return float(np.mean(over)) / (4.0 * math.pi * lengths_m)


def rods_by_potential(length_m, radius_m, count, spacing_m):
    """Rods in line at one potential, each a line of even current with its image: ohm per ohm m."""
    mutual = [
        [
            mean_potential(
                length_m, length_m, abs(i - j) * spacing_m or radius_m, (-length_m, length_m)
            )
            for j in range(count)
        ]
        for i in range(count)
    ]
    return 1.0 / float(np.linalg.solve(np.array(mutual), np.ones(count)).sum())


@pytest.mark.parametrize(("length_m", "diameter_m"), [(1.2, 0.0127), (2.4, 0.016), (6.0, 0.02)])
def test_a_rod_has_the_mean_potential_of_its_current(length_m, diameter_m):
    numeric = rods_by_potential(length_m, diameter_m / 2.0, 1, 1.0)
    formula = rod_ohm(resistivity_ohm_m=1.0, length_m=length_m, diameter_m=diameter_m)
    assert formula == pytest.approx(numeric, rel=1e-3)


@pytest.mark.parametrize("count", [2, 3, 4, 8, 10])
@pytest.mark.parametrize(("spacing_m", "within_frac"), [(10.0, 0.002), (4.8, 0.01), (2.4, 0.042)])
def test_rods_in_line_are_those_of_one_potential(count, spacing_m, within_frac):
    numeric = rods_by_potential(2.4, 0.008, count, spacing_m)
    formula = rods_ohm(
        resistivity_ohm_m=1.0, length_m=2.4, diameter_m=0.016, count=count, spacing_m=spacing_m
    )
    assert formula == pytest.approx(numeric, rel=within_frac)


@pytest.mark.parametrize("count", [11, 16, 24])
def test_beyond_the_table_the_pair_sum_is_on_the_safe_side(count):
    # the sum over pairs gives every rod the same current, which only costs a little
    numeric = rods_by_potential(2.4, 0.008, count, 2.4)
    formula = rods_ohm(
        resistivity_ohm_m=1.0, length_m=2.4, diameter_m=0.016, count=count, spacing_m=2.4
    )
    assert numeric < formula < 1.06 * numeric


@pytest.mark.parametrize("spacing_m", [0.3, 0.6, 1.2])
@pytest.mark.parametrize("count", [2, 4, 8])
def test_rods_too_close_are_reckoned_on_the_safe_side(count, spacing_m):
    numeric = rods_by_potential(2.4, 0.008, count, spacing_m)
    size = {"resistivity_ohm_m": 1.0, "length_m": 2.4, "diameter_m": 0.016}
    formula = rods_ohm(**size, count=count, spacing_m=spacing_m)
    assert numeric < formula <= rod_ohm(**size)


def test_two_half_balls_in_the_ground():
    # hand: two half balls of radius r, s apart: R = rho / (2 pi r) and V at s is rho I / (2 pi s),
    # so the pair has R (1 + r / s) / 2: the rule for rods with lambda 1 and a = r / s
    size = {"resistivity_ohm_m": 100.0, "length_m": 2.4, "diameter_m": 0.016}
    one = rod_ohm(**size)
    radius_m = 100.0 / (2.0 * math.pi * one)
    pair = rods_ohm(**size, count=2, spacing_m=5.0)
    assert pair == pytest.approx(one * (1.0 + radius_m / 5.0) / 2.0, rel=1e-12)


@pytest.mark.parametrize(
    ("length_m", "depth_m"), [(20.0, 0.5), (10.0, 0.5), (5.0, 1.25), (2.0, 0.5), (40.0, 1.0)]
)
def test_a_strip_is_a_wire_and_its_image(length_m, depth_m):
    numeric = sum(
        mean_potential(length_m, length_m, off, (0.0, length_m)) for off in (0.004, 2.0 * depth_m)
    )
    formula = strip_ohm(
        resistivity_ohm_m=1.0, length_m=length_m, diameter_m=0.008, depth_m=depth_m
    )
    assert formula == pytest.approx(numeric, rel=0.01)


@pytest.mark.parametrize(("length_m", "depth_m"), [(20.0, 0.5), (10.0, 2.5), (4.0, 1.0), (60.0, 1)])
def test_a_ring_is_a_loop_and_its_image(length_m, depth_m):
    radius_m = length_m / math.pi / 2.0
    turn = (np.arange(400_000) + 0.5) / 400_000 * 2.0 * math.pi
    numeric = sum(
        float(np.mean(1.0 / np.hypot(2.0 * radius_m * np.sin(turn / 2.0), off)))
        for off in (0.004, 2.0 * depth_m)
    ) / (4.0 * math.pi)
    formula = ring_ohm(
        resistivity_ohm_m=1.0, length_m=length_m, diameter_m=0.008, depth_m=depth_m
    )
    assert formula == pytest.approx(numeric, rel=0.01)


@given(
    rho=st.floats(5.0, 5000.0), length=st.floats(1.0, 10.0), count=st.integers(1, 23),
    spacing=st.floats(0.2, 20.0),
)  # fmt: skip
def test_more_longer_and_wider_never_worse(rho, length, count, spacing):
    size = {"resistivity_ohm_m": rho, "diameter_m": 0.016}
    found = rods_ohm(**size, length_m=length, count=count, spacing_m=spacing)
    assert rods_ohm(**size, length_m=length, count=count, spacing_m=spacing * 1.2) <= found
    assert rods_ohm(**size, length_m=length * 1.2, count=1, spacing_m=spacing) < rods_ohm(
        **size, length_m=length, count=1, spacing_m=spacing
    )
    if spacing >= length:
        assert rods_ohm(**size, length_m=length, count=count + 1, spacing_m=spacing) < found


def test_none_is_enough_in_rock():
    assert rods_needed(
        target_ohm=10.0, resistivity_ohm_m=3000.0, length_m=2.4, diameter_m=0.016, spacing_m=2.4
    ) is None


ROD = {"resistivity_ohm_m": 100.0, "length_m": 2.4, "diameter_m": 0.016}
WIRE = {"resistivity_ohm_m": 100.0, "length_m": 20.0, "diameter_m": 0.008, "depth_m": 0.5}


@pytest.mark.parametrize(
    ("formula", "args", "named"),
    [
        (rod_ohm, ROD | {"resistivity_ohm_m": 0.0}, "soil resistivity"),
        (rod_ohm, ROD | {"length_m": -1.0}, "length of the electrode"),
        (rod_ohm, ROD | {"diameter_m": math.nan}, "diameter of the earth electrode"),
        (rod_ohm, ROD | {"diameter_m": 16.0}, "lengths in m"),
        (rods_ohm, ROD | {"count": 0, "spacing_m": 2.0}, "rod_count"),
        (rods_ohm, ROD | {"count": 2, "spacing_m": 0.0}, "rod_spacing_m"),
        (strip_ohm, WIRE | {"depth_m": 6.0}, "at most a quarter of the length, 5 m"),
        (ring_ohm, WIRE | {"depth_m": math.inf}, "conductor_depth_m"),
        (rods_needed, ROD | {"target_ohm": 0.0, "spacing_m": 2.0}, "target_ohm"),
    ],
)
def test_what_has_no_meaning_is_refused(formula, args, named):
    with pytest.raises(InputError, match=named):
        formula(**args)
