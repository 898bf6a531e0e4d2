"""The module's curve from its cells: against the library, a second solution, and sums by hand."""

from __future__ import annotations

import runpy
from pathlib import Path

import numpy as np
import pvlib
import pytest

from solarcalc.basis.errors import InputError
from solarcalc.circuit import module as cells_module
from solarcalc.circuit.module import (
    Cells,
    Weather,
    cell_voltages_v,
    module_voltages_v,
    photocurrent_a,
    strip_of,
)
from solarcalc.circuit.strings import (
    StringWiring,
    Strung,
    across_rows,
    along_row,
    best_points,
    kept_by_circuit_frac,
)

CASES = runpy.run_path(str(Path(__file__).with_name("circuit_cases.py")))
cell_light, cells_of, five_parameters, plain_module_w, second_way_w = (
    CASES[name]
    for name in ("cell_light", "cells_of", "five_parameters", "plain_module_w", "second_way_w")
)
WAYS = [("full", "portrait"), ("full", "landscape"), ("half-cut", "portrait"),
        ("half-cut", "landscape")]  # fmt: skip
BRIGHT = Weather(light_w_m2=1000.0, cell_c=25.0)


def _strung(build, way, wiring=None, edge="lower"):
    return Strung(
        cells=cells_of(build), wiring=wiring or along_row(1), orientation=way, edge=edge
    )


@pytest.mark.parametrize(("build", "way"), WAYS)
@pytest.mark.parametrize(("light", "cell_c"), [(1000.0, 25.0), (1000.0, 70.0), (250.0, 5.0)])
def test_even_light_is_the_plain_module_of_the_library(build, way, light, cell_c):
    strung = _strung(build, way, along_row(12))
    dim = 0.3
    best = best_points(
        strung, fraction=np.array([0.0, 0.4, 1.0]), diffuse_share=np.array([0.1, 1.0, dim]),
        weather=Weather(light_w_m2=light, cell_c=cell_c),
    )  # fmt: skip
    plain = 12.0 * plain_module_w(strung.cells, light, cell_c)
    all_in_shade = 12.0 * plain_module_w(strung.cells, dim * light, cell_c)
    assert best.global_w == pytest.approx([plain, plain, plain, all_in_shade], rel=1e-3)
    assert best.local_w == pytest.approx(best.global_w, rel=1e-9)  # one hump only


@pytest.mark.parametrize(("build", "way"), WAYS)
@pytest.mark.parametrize(
    ("fraction", "diffuse", "light", "cell_c"),
    [(0.03, 0.1, 800.0, 40.0), (0.3, 0.25, 300.0, 10.0), (0.45, 0.5, 600.0, 25.0),
     (0.62, 0.1, 900.0, 60.0)],
)  # fmt: skip
def test_the_circuit_against_every_cell_by_root_finding(
    build, way, fraction, diffuse, light, cell_c
):
    cells = cells_of(build)
    lights = cell_light(cells, "long" if way == "portrait" else "short", fraction, diffuse)
    second = second_way_w(cells, lights, light, cell_c) / plain_module_w(cells, light, cell_c)
    kept, _ = kept_by_circuit_frac(fraction, diffuse, light, cell_c, strung=_strung(build, way))
    assert float(kept[0]) == pytest.approx(second, abs=1e-3)


def test_one_of_three_substrings_dark_by_hand():
    # Two thirds of the voltage less the 0.5 V of one diode (as in pvlib's example), at the same
    # current: 20.9 V, not 32.6.
    strung, cells = _strung("full", "landscape"), cells_of("full")
    five = five_parameters(cells, 1000.0, 25.0)
    plain = pvlib.pvsystem.singlediode(*five)
    best = best_points(
        strung, fraction=np.array([1.0 / 3.0]), diffuse_share=np.array([0.0]), weather=BRIGHT
    )
    by_hand_v = 2.0 / 3.0 * float(plain["v_mp"]) - 0.5
    by_hand_w = by_hand_v * float(plain["i_mp"])
    assert best.global_v[1] == pytest.approx(by_hand_v, rel=0.01)
    assert best.global_w[1] == pytest.approx(by_hand_w, rel=0.002)
    volts = module_voltages_v(
        cells, "up-short-side", fraction=np.array([1.0 / 3.0]), diffuse_share=np.array([0.0]),
        weather=BRIGHT, shares=np.array([float(plain["i_mp"]) / photocurrent_a(cells, BRIGHT)]),
    )  # fmt: skip
    assert volts[0, 0] == pytest.approx(by_hand_v, abs=0.01)


def test_two_of_three_dark_and_all_dark_by_hand():
    best = best_points(
        _strung("full", "landscape"), fraction=np.array([2.0 / 3.0, 1.0]),
        diffuse_share=np.array([0.0, 0.0]), weather=BRIGHT,
    )  # fmt: skip
    plain = pvlib.pvsystem.singlediode(*five_parameters(cells_of("full"), 1000.0, 25.0))
    by_hand = (float(plain["v_mp"]) / 3.0 - 2.0 * 0.5) * float(plain["i_mp"])
    assert best.global_w[1] == pytest.approx(by_hand, rel=0.01)
    assert best.global_w[2] < 0.001 * best.global_w[0]


def test_lower_half_of_a_half_cut_module_dark_by_hand():
    # The upper half alone: half the current at nearly the same voltage. The dark half's cells
    # draw a little of it as diodes, so the power is somewhat under one half.
    cells = cells_of("half-cut")
    best = best_points(
        _strung("half-cut", "portrait"), fraction=np.array([0.5]), diffuse_share=np.array([0.0]),
        weather=BRIGHT,
    )  # fmt: skip
    photo, saturation, series, shunt, ideality = (
        float(value) for value in five_parameters(cells, 1000.0, 25.0)
    )
    volts = np.linspace(0.6, 0.9, 601) * float(ideality * np.log(photo / saturation))
    upper = pvlib.pvsystem.i_from_v(volts, photo / 2, saturation / 2, 2 * series, 2 * shunt,
                                    ideality)  # fmt: skip
    dark = pvlib.pvsystem.i_from_v(volts, 1e-4 * photo / 2, saturation / 2, 2 * series,
                                   1e4 * 2 * shunt, ideality)  # fmt: skip
    by_hand = float((volts * (upper + dark)).max())
    assert best.global_w[1] == pytest.approx(by_hand, rel=2e-3)
    assert 0.46 < best.global_w[1] / best.global_w[0] < 0.5
    assert best.global_v[1] == pytest.approx(best.global_v[0], rel=0.05)
    one_stage = best_points(
        _strung("full", "portrait"), fraction=np.array([0.5]), diffuse_share=np.array([0.0]),
        weather=BRIGHT,
    )  # fmt: skip
    assert one_stage.global_w[1] < 0.001 * one_stage.global_w[0]  # full cells: nothing left


def test_half_a_row_of_cells_covered_by_hand():
    # Portrait, full cells, 10 rows; a strip over half of the lowest row without diffuse light:
    # every substring carries half the current, the lit cells at a slightly higher voltage.
    best = best_points(
        _strung("full", "portrait"), fraction=np.array([0.05]), diffuse_share=np.array([0.0]),
        weather=BRIGHT,
    )  # fmt: skip
    assert best.global_w[1] / best.global_w[0] == pytest.approx(0.55, abs=0.06)
    assert best.global_v[1] > best.global_v[0]


@pytest.mark.parametrize(("build", "way"), WAYS)
@pytest.mark.parametrize("wiring", [along_row(6), across_rows(6, shaded=2),
                                    along_row(6, modules_high=2)])  # fmt: skip
def test_limits_and_order(build, way, wiring):
    depth, share = np.linspace(0.0, 1.0, 61), np.linspace(0.0, 1.0, 11)
    grid = [axis.ravel() for axis in np.meshgrid(depth, share, indexing="ij")]
    strung = _strung(build, way, wiring)
    best = best_points(strung, fraction=grid[0], diffuse_share=grid[1], weather=BRIGHT, points=700)
    kept = (best.global_w[1:] / best.global_w[0]).reshape(61, 11)
    assert (np.diff(kept, axis=0) < 2e-4).all()  # more shade is never better
    assert (np.diff(kept, axis=1) > -2e-4).all()  # more diffuse light is never worse
    assert (best.local_w <= best.global_w + 1e-9).all()
    assert kept[0] == pytest.approx(np.ones(11))
    assert kept[:, -1] == pytest.approx(np.ones(61))
    # never more than every cell at its own best: lit and shaded cells alone
    dim = plain_module_w(strung.cells, 1000.0 * np.maximum(share, 1e-4)[3], 25.0)
    dim /= plain_module_w(strung.cells, 1000.0, 25.0)
    reached = sum(wiring[0].by_tier) / wiring[0].in_series
    assert (kept[:, 3] <= 1.0 - reached * depth * (1.0 - dim) + 0.01).all()


@pytest.mark.parametrize("build", ["full", "half-cut"])
def test_a_strip_from_the_side_is_the_other_way_round(build):
    depth, share = np.array([0.04, 0.3, 0.7]), np.array([0.2, 0.2, 0.2])
    for way, other in (("portrait", "landscape"), ("landscape", "portrait")):
        side = kept_by_circuit_frac(depth, share, strung=_strung(build, way, edge="side"))
        lower = kept_by_circuit_frac(depth, share, strung=_strung(build, other))
        assert side[0] == pytest.approx(lower[0])
    assert strip_of("portrait", "lower") == "up-long-side"


def test_the_cell_in_reverse():
    cells = cells_of("full")
    shares = np.array([0.0, 0.05, 0.5, 0.99])
    volts = cell_voltages_v(cells, np.array([1.0, 0.1]), BRIGHT, shares)
    assert (np.diff(volts, axis=1) < 0.0).all()
    assert volts[0, 0] == pytest.approx(
        float(pvlib.pvsystem.singlediode(*five_parameters(cells, 1000.0, 25.0))["v_oc"]) / 60.0,
        rel=1e-4,
    )
    # 10 % of the light and half the current: in reverse, held by the breakdown
    assert -15.5 < volts[1, 2] < -8.0
    amps = 0.5 * photocurrent_a(cells, BRIGHT)
    photo, saturation, series, shunt, ideality = (
        float(value) for value in five_parameters(cells, 100.0, 25.0)
    )
    diode_v = volts[1, 2] + amps * series / 60.0
    assert pvlib.singlediode.bishop88(
        diode_v, photo, saturation, series / 60.0, shunt / 60.0, ideality / 60.0,
        breakdown_factor=2e-6 * shunt / 60.0, breakdown_voltage=-15.0, breakdown_exp=3.0,
    )[0] == pytest.approx(amps, rel=0.01)  # fmt: skip


@pytest.mark.parametrize(
    ("breakdown_v", "least", "most"), [(-25.0, 0.0, 0.01), (-10.0, 0.0, 0.01), (-5.5, 1.0, 3.0)]
)
def test_how_far_the_breakdown_voltage_matters(monkeypatch, breakdown_v, least, most):
    # A strip shades at least two cells of every substring it reaches, and its diode holds those
    # to some 6 V in reverse: from -10 V on, the best power does not know the breakdown voltage.
    # Cells that break down at the library's default of -5.5 V move it by two points.
    depth = np.array([0.01, 0.03, 0.05, 0.1, 0.3, 0.5, 0.8])

    def kept():
        return np.array(
            [kept_by_circuit_frac(depth, share, strung=_strung(*way))[0]
             for way in WAYS for share in (0.0, 0.15, 0.4)]
        )  # fmt: skip

    usual = kept()
    monkeypatch.setattr(cells_module, "BREAKDOWN_V", breakdown_v)
    assert least <= 100.0 * np.abs(usual - kept()).max() < most


@pytest.mark.parametrize(
    ("change", "match"),
    [
        ({"cells_in_series": 61}, "a multiple of 6"),
        ({"cell_build": "quarter"}, "half-cut"),
        ({"shunt_ohm": 0.0}, "shunt_ohm"),
        ({"bypass_diodes": 0}, "bypass_diodes"),
        ({"series_ohm": float("nan")}, "series_ohm"),
    ],
)
def test_impossible_modules_are_refused(change, match):
    figures = {
        "photocurrent_a": 9.8, "saturation_a": 1e-10, "series_ohm": 0.3, "shunt_ohm": 300.0,
        "ideality_v": 1.5, "cells_in_series": 60, "bypass_diodes": 3, "cell_build": "full",
    }  # fmt: skip
    Cells(**figures)
    with pytest.raises(InputError, match=match):
        Cells(**(figures | change))


@pytest.mark.parametrize(
    "wiring",
    [
        (),
        (StringWiring(by_tier=()),),
        (StringWiring(by_tier=(0,)),),
        (StringWiring(by_tier=(-1,), unshaded=3),),
        (StringWiring(by_tier=(4,)), StringWiring(by_tier=(5,))),
        (StringWiring(by_tier=(4,), strings=0),),
    ],
)
def test_impossible_wiring_is_refused(wiring):
    with pytest.raises(InputError, match="wiring"):
        Strung(cells=cells_of("full"), wiring=wiring, orientation="portrait")


def test_words_and_uneven_tiers_are_refused():
    with pytest.raises(InputError, match="upright"):
        _strung("full", "upright")
    with pytest.raises(InputError, match="top"):
        _strung("full", "portrait", edge="top")
    with pytest.raises(InputError, match="a multiple of the 2 modules high"):
        along_row(7, modules_high=2)
