"""Which modules share a string: shares and fronts by hand, and what that does to the year."""

from __future__ import annotations

import numpy as np
import pytest

from solarcalc.circuit.strings import kept_by_circuit_frac, spread
from solarcalc.circuit.table import power_kept_frac
from solarcalc.design import open_design
from solarcalc.energy.light import string_classes
from solarcalc.energy.year import array_power
from solarcalc.shading.rows import shaded_fraction
from solarcalc.stages.array import light_of, standing


@pytest.fixture(scope="module")
def school():
    return open_design("plateau-school")


def _classes(this, *, series, path, rows, up=1):
    array = this.site.array.model_copy(
        update={"modules_in_series": series, "string_layout": path, "modules_high": up}
    )
    return string_classes(this.site.module, array, standing(this).rows, rows)


@pytest.mark.parametrize(
    ("series", "rows", "expected"),
    [  # (share of modules, share of theirs in front, modules in front) by counting on paper
        (6, 3, [(1.0, 1 / 3, 2)]),
        (4, 3, [(2 / 3, 1 / 2, 2), (1 / 3, 0.0, 0)]),
        (2, 5, [(2 / 5, 1 / 2, 1), (3 / 5, 0.0, 0)]),
        (1, 4, [(1 / 4, 1.0, None), (3 / 4, 0.0, 0)]),
    ],
)
def test_strings_across_rows_by_hand(school, series, rows, expected):
    classes = _classes(school, series=series, path="across-rows", rows=rows)
    for one, (share, front, unshaded) in zip(classes, expected, strict=True):
        assert one.share == pytest.approx(share)
        assert one.front_frac == pytest.approx(front)
        if unshaded is None:
            assert one.strung is None
        else:
            assert {item.unshaded for item in one.strung.wiring} == {unshaded}
            assert {item.in_series for item in one.strung.wiring} == {series}


@pytest.mark.parametrize("path", ["along-row", "tier-by-tier", "across-rows"])
@pytest.mark.parametrize(("series", "rows"), [(1, 1), (3, 2), (5, 4), (7, 3), (2, 9)])
def test_every_module_is_counted_once(school, path, series, rows):
    classes = _classes(school, series=series, path=path, rows=rows)
    assert sum(one.share for one in classes) == pytest.approx(1.0)
    assert sum(one.share * one.front_frac for one in classes) == pytest.approx(1.0 / rows)


def test_a_string_that_does_not_divide_into_its_tiers():
    wiring = spread(8, modules_high=3)
    assert [item.by_tier for item in wiring] == [(3, 3, 2), (3, 2, 3), (2, 3, 3)]
    assert [item.by_tier for item in spread(8, modules_high=2, unshaded=2)] == [(3, 3)]


def test_the_year_of_the_harvest_is_that_of_the_circuit(school):
    # Every shaded hour solved by the circuit itself, not by the table.
    tight = school.changed({"array": {"row_pitch_m": 1.15}})
    stands = standing(tight)
    rows = light_of(tight, stands.rows, pitch_m=stands.pitch_m, row_count=3)
    behind = rows[1]
    met = np.flatnonzero((behind.clean_frac < 1.0).to_numpy())[::5]
    assert len(met) > 60
    (strung,) = {one.strung for one in string_classes(
        tight.site.module, tight.site.array, stands.rows, 3)} - {None}  # fmt: skip
    light = behind.light.iloc[met]
    whole = light["open"]
    # direct light by the share of the area that is out of the sun, from the light itself

    fraction = shaded_fraction(stands.rows, tight.sun, pitch_m=stands.pitch_m).iloc[met]
    lost = 1.0 - light["after_dust"] / whole
    left = 1.0 - (lost / fraction)
    circuit, _ = kept_by_circuit_frac(
        fraction, left.clip(0.0, 1.0), whole, behind.cell_c.iloc[met], strung=strung
    )
    assert np.abs(circuit - behind.clean_frac.iloc[met].to_numpy()).max() < 0.01
    table = power_kept_frac(
        fraction, left.clip(0.0, 1.0), whole, behind.cell_c.iloc[met], strung=strung
    )
    assert table == pytest.approx(behind.clean_frac.iloc[met].to_numpy(), abs=1e-9)


def test_cells_out_of_the_shade_have_no_less_light_than_the_mean(school):
    tight = school.changed({"array": {"row_pitch_m": 1.15}})
    stands = standing(tight)
    for row in light_of(tight, stands.rows, pitch_m=stands.pitch_m, row_count=3):
        assert (row.light["open"] >= row.light["after_dust"] - 1e-9).all()


def _energy(this, path, orientation):
    changed = this.changed({"array": {"string_layout": path, "row_pitch_m": 1.2,
                                       "orientation": orientation}})  # fmt: skip
    stands = standing(changed)
    light = light_of(changed, stands.rows, pitch_m=stands.pitch_m, row_count=3)
    return float(array_power(changed.site.module, light)["p_w"].sum())


def test_what_shares_a_string_changes_the_year(school):
    # A string across rows drags its front modules down, as its current is that of the shaded.
    wide = {path: _energy(school, path, "landscape") for path in ("along-row", "across-rows")}
    assert wide["across-rows"] < wide["along-row"]
    assert wide["across-rows"] > 0.9 * wide["along-row"]
