"""Rails, clamps, feet and weight: figures by counting, cuts by hand, sums that must close."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as some

from solarcalc.roof.hardware import (
    LEAST_PIECE_M,
    cut_pieces_m,
    end_clamp_count,
    foot_count,
    hardware_of,
    mid_clamp_count,
    modules_of_runs,
    rail_growth_mm,
    rail_m,
    runs_m,
    stock_count,
)
from solarcalc.roof.packing import fit_on_roof
from solarcalc.roof.rows import Rows
from solarcalc.sitefile.array import Module
from solarcalc.sitefile.equipment import bundled_equipment
from solarcalc.sitefile.roof import Obstacle, Rails, Roof

MODULE = Module(
    label="Invented, 2.0 x 1.0 m", pmax_w=400.0, voc_v=49.0, isc_a=10.5, vmp_v=41.0, imp_a=9.756,
    alpha_isc_pct_per_k=0.05, beta_voc_pct_per_k=-0.28, gamma_pmax_pct_per_k=-0.35,
    cells_in_series=72, cell_build="half-cut", length_m=2.0, width_m=1.0, mass_kg=22.0,
)  # fmt: skip


def _rows(slant_m=1.0, modules_high=1, tilt=0.0, along_m=2.0, gap_m=0.0):
    return Rows(
        orientation="landscape", slant_m=slant_m, along_m=along_m, gap_m=gap_m,
        modules_high=modules_high, tilt_deg=tilt, azimuth_deg=180.0, roof_slope_deg=0.0,
        roof_azimuth_deg=180.0,
    )  # fmt: skip


@pytest.mark.published("roof/mounting.toml")
def test_published_figure(case):
    if case["quantity"] == "clamps":
        given_ = dict(case["inputs"])
        counts = given_.pop("modules_along")
        assert [mid_clamp_count(n) for n in counts] == case["mid"]
        assert [end_clamp_count(n) for n in counts] == case["end"]
        lengths = [rail_m(n, **given_) for n in counts]
        assert lengths == pytest.approx(case["rail_each_m"], rel=0.0, abs=case["tolerance"])
    elif case["quantity"] == "growth":
        growth = rail_growth_mm(**case["inputs"])
        assert growth == pytest.approx(case["growth_mm"], abs=case["tolerance"])
    else:
        low = case["low_kg_per_m2"] * (1.0 - case["within"])
        high = case["high_kg_per_m2"] * (1.0 + case["within"])
        for key, entry in bundled_equipment()["modules"].items():
            module = Module.model_validate(dict(entry.values))
            rows = _rows(module.width_m, along_m=module.length_m)
            roof = Roof(length_m=12.0, depth_m=6.0, azimuth_deg=180.0)
            parts = hardware_of(fit_on_roof(rows, roof, pitch_m=module.width_m), module, Rails())
            assert low <= parts.load_on_modules_kg_per_m2 <= high, key


# --- cutting, by hand


@pytest.mark.parametrize(
    ("run_m", "pieces"),
    [
        (3.0, [3.0]),
        (4.2, [4.2]),
        (6.0, [4.2, 1.8]),
        (8.4, [4.2, 4.2]),
        (4.5, [4.0, 0.5]),  # 0.3 m is too short to join: 0.2 m is taken from the piece before
        (8.5, [4.2, 3.8, 0.5]),
        (0.3, [0.3]),
    ],
)
def test_pieces_of_a_run_by_hand(run_m, pieces):
    assert cut_pieces_m(run_m, 4.2) == pytest.approx(pieces)


@pytest.mark.parametrize(
    ("pieces", "count"),
    [
        ([], 0),
        ([4.2], 1),
        ([2.1, 2.1], 1),
        ([2.2, 2.2], 2),
        ([1.8, 1.8, 1.8, 1.8], 2),  # two from each length
        ([3.0, 2.0, 1.2, 1.0, 1.0], 2),  # 3.0 + 1.2 and 2.0 + 1.0 + 1.0: 0.2 m over
        ([4.2, 4.2, 1.4, 1.4, 1.4], 3),
    ],
)
def test_stock_lengths_by_hand(pieces, count):
    assert stock_count(pieces, 4.2) == count


@settings(deadline=None)
@given(runs=some.lists(some.floats(0.6, 30.0), max_size=12), stock=some.floats(1.0, 7.0))
def test_pieces_add_up_and_stock_is_enough_but_not_twice_as_much(runs, stock):
    pieces = [piece for run in runs for piece in cut_pieces_m(run, stock)]
    assert sum(pieces) == pytest.approx(sum(runs))
    assert all(0.0 < piece <= stock + 1e-9 for piece in pieces)
    if stock >= 2.0 * float(LEAST_PIECE_M):
        assert all(piece >= float(LEAST_PIECE_M) - 1e-9 for piece in pieces)
    bars = stock_count(pieces, stock)
    assert bars >= sum(pieces) / stock - 1e-6
    assert bars <= 2.0 * sum(pieces) / stock + 1.0  # no two lengths are half empty


@pytest.mark.parametrize(
    ("run_m", "feet"),
    [(1.0, 2), (1.8, 2), (1.9, 3), (3.0, 3), (3.1, 4), (0.3, 2)],  # 1.2 m apart, 0.3 m from ends
)
def test_feet_by_hand(run_m, feet):
    assert foot_count(run_m, 1.2) == feet


# --- one layout, by hand


def test_hardware_of_a_small_roof_by_hand():
    # Roof 8.2 x 2.5 m, no setback: two rows of four modules 2.0 x 1.0 m, pitch 1.5 m. Each row:
    # rail 4 x 2.0 + 3 x 0.02 + 2 x 0.05 = 8.16 m, two runs of 4.08 m, so a stock length each and
    # an expansion joint, no splice. Feet: (4.08 - 0.6) / 1.2 = 2.9 -> 3 + 1 = 4 a run.
    roof = Roof(length_m=8.2, depth_m=2.5, azimuth_deg=180.0, edge_setback_m=0.0)
    fit = fit_on_roof(_rows(gap_m=0.02), roof, pitch_m=1.5)
    assert fit.row_sizes == (4, 4)
    parts = hardware_of(fit, MODULE, Rails())
    assert parts.rail_m == pytest.approx(4 * 8.16)
    assert (parts.stock_count, parts.splice_count, parts.expansion_joint_count) == (8, 0, 4)
    assert parts.waste_m == pytest.approx(8 * 4.2 - 32.64)
    assert parts.expansion_gap_mm == pytest.approx(23e-6 * 4080.0 * 50.0)
    # Two modules a run: 2 mid clamps and 4 end clamps on each of four runs a tier's rails.
    assert (parts.mid_clamp_count, parts.end_clamp_count, parts.foot_count) == (8, 16, 32)
    assert parts.mass_kg == pytest.approx(8 * 22.0 + 32.64 * 0.9 + 32 * 0.5)
    assert parts.module_area_m2 == pytest.approx(16.0)
    assert parts.area_used_m2 == pytest.approx(8.06 * 1.5 + 8.06 * 1.0)
    assert parts.load_on_modules_kg_per_m2 == pytest.approx(221.376 / 16.0)
    assert parts.load_on_roof_kg_per_m2 == pytest.approx(221.376 / 20.15)


def test_longer_runs_are_spliced_and_a_broken_row_has_more_ends():
    roof = Roof(length_m=8.2, depth_m=1.2, azimuth_deg=180.0, edge_setback_m=0.0)
    whole = fit_on_roof(_rows(gap_m=0.02), roof, pitch_m=1.5)
    spliced = hardware_of(whole, MODULE, Rails(longest_run_m=10.0))
    # 8.16 m: 4.2 + 3.96 m on each of two rails.
    assert (spliced.splice_count, spliced.expansion_joint_count) == (2, 0)
    assert spliced.expansion_gap_mm == 0.0
    tank = Obstacle(name="Tank", along_m=3.9, up_m=0.2, length_m=0.5, depth_m=0.5, height_m=1.0,
                    clearance_m=0.0)  # fmt: skip
    broken = fit_on_roof(_rows(gap_m=0.02), roof.model_copy(update={"obstacles": [tank]}),
                         pitch_m=1.5)  # fmt: skip
    # 3.9 m and 3.8 m free: one module either side.
    assert [place.modules_along for place in broken.places] == [1, 1]
    parts = hardware_of(broken, MODULE, Rails())
    assert (parts.mid_clamp_count, parts.end_clamp_count) == (0, 8)
    assert parts.rail_m == pytest.approx(4 * 2.1)
    assert parts.stock_count == 2  # two pieces of 2.1 m from each
    assert parts.waste_frac == 0.0


@pytest.mark.parametrize(
    ("modules", "longest_m", "counts"),
    [(4, 7.0, [2, 2]), (3, 6.2, [3]), (3, 6.1, [2, 1]), (7, 7.0, [3, 2, 2]), (2, 1.0, [1, 1]),
     (0, 7.0, [])],
)
def test_modules_on_each_run_by_hand(modules, longest_m, counts):
    # 2.0 m a module, 0.02 m between, 0.05 m over: three in one run are 6.14 m.
    rows, rails = _rows(gap_m=0.02), Rails(longest_run_m=longest_m)
    assert modules_of_runs(modules, rows=rows, rails=rails) == counts
    if counts:
        assert sum(runs_m(counts, rows=rows, rails=rails)) == pytest.approx(
            rail_m(modules, along_m=2.0, gap_m=0.02, overhang_m=0.05))


def test_tiers_count_each_on_its_own_rails():
    roof = Roof(length_m=6.0, depth_m=3.0, azimuth_deg=180.0, edge_setback_m=0.0)
    fit = fit_on_roof(_rows(3.0, modules_high=3), roof, pitch_m=3.0)
    parts = hardware_of(fit, MODULE, Rails(overhang_m=0.0))
    assert fit.module_count == 9
    assert parts.rail_m == pytest.approx(3 * 2 * 6.0)
    assert (parts.mid_clamp_count, parts.end_clamp_count) == (3 * 4, 3 * 4)
    assert parts.area_used_m2 == pytest.approx(18.0)


def test_nothing_fits_needs_nothing():
    tiny = Roof(length_m=0.8, depth_m=0.8, azimuth_deg=0.0)
    parts = hardware_of(fit_on_roof(_rows(), tiny, pitch_m=1.0), MODULE, Rails())
    assert (parts.rail_m, parts.stock_count, parts.foot_count, parts.mass_kg) == (0.0, 0, 0, 0.0)
    assert (parts.waste_frac, parts.load_on_modules_kg_per_m2) == (0.0, 0.0)
    assert parts.load_on_roof_kg_per_m2 == 0.0


@settings(deadline=None, max_examples=40)
@given(
    length=some.floats(2.5, 30.0),
    depth=some.floats(1.5, 15.0),
    tilt=some.sampled_from([0.0, 15.0]),
    run=some.floats(2.0, 12.0),
)
def test_sums_close_on_any_roof(length, depth, tilt, run):
    roof = Roof(length_m=length, depth_m=depth, azimuth_deg=180.0, edge_setback_m=0.2)
    rows = _rows(tilt=tilt, gap_m=0.02)
    fit = fit_on_roof(rows, roof, pitch_m=rows.footprint_m + 0.3)
    parts = hardware_of(fit, MODULE, Rails(longest_run_m=run))
    assert parts.rail_m + parts.waste_m == pytest.approx(parts.stock_count * 4.2)
    # A module is held at both ends of both rails: 4 holds a module,
    # a mid clamp gives two holds, an end clamp one.
    assert 2 * parts.mid_clamp_count + parts.end_clamp_count == 4 * fit.module_count
    assert parts.area_used_m2 <= length * depth + 1e-9
    assert parts.area_used_m2 >= fit.module_count * 2.0 * rows.footprint_m - 1e-9
    assert parts.foot_count >= 2 * 2 * len(fit.places)
    assert math.isfinite(parts.load_on_roof_kg_per_m2)
