"""Figures of the bundled equipment hang together as physics asks; none is a real product's.

Where a range has no word beside it, it is common practice, no source.
"""

from __future__ import annotations

from typing import Any

import pytest

from solarcalc.design import open_design
from solarcalc.sitefile.equipment import _changed_label, bundled_equipment

LISTS = {
    name: {key: dict(entry.values) for key, entry in entries.items()}
    for name, entries in bundled_equipment().items()
}
MODULES, CONTROLLERS, INVERTERS, BATTERIES = (
    LISTS[name] for name in ("modules", "controllers", "inverters", "batteries")
)
GAP_M, FRAME_M = 0.0005, 0.008
"""Least way between cells, and from the outermost cell over glass and frame to the edge [m]."""


def _cell_m2(module: dict[str, Any]) -> tuple[float, float]:
    """Least and greatest area of a whole cell for its current, at 38 to 42 mA/cm2 [m2]."""
    return module["isc_a"] / 420.0, module["isc_a"] / 380.0


@pytest.mark.parametrize("key", MODULES)
def test_a_module_is_one_that_could_be(key: str) -> None:
    module = MODULES[key]
    sheet_w = module["voc_v"] * module["isc_a"]
    assert module["vmp_v"] * module["imp_a"] == pytest.approx(module["pmax_w"], rel=5e-4)
    assert 0.76 <= module["pmax_w"] / sheet_w <= 0.82
    assert 0.64 <= module["voc_v"] / module["cells_in_series"] <= 0.72
    assert 0.80 <= module["vmp_v"] / module["voc_v"] <= 0.86
    assert 0.92 <= module["imp_a"] / module["isc_a"] <= 0.96
    # Crystalline silicon: a few hundredths of a per cent up, a quarter to a third down.
    assert 0.03 <= module["alpha_isc_pct_per_k"] <= 0.06
    assert -0.33 <= module["beta_voc_pct_per_k"] <= -0.24
    assert -0.42 <= module["gamma_pmax_pct_per_k"] < module["beta_voc_pct_per_k"]


@pytest.mark.parametrize("key", MODULES)
def test_a_modules_glass_holds_its_cells_and_little_more(key: str) -> None:
    module = MODULES[key]
    area_m2 = module["length_m"] * module["width_m"]
    least_m2, most_m2 = (module["cells_in_series"] * cell_m2 for cell_m2 in _cell_m2(module))
    assert least_m2 < area_m2 < 1.2 * most_m2
    assert 10.5 <= module["mass_kg"] / area_m2 <= 11.5
    assert module["cells_in_series"] % module["bypass_diodes"] == 0
    # Cells in as many columns as two a bypass diode: they fit beside one another both ways.
    halves = module["cell_build"] == "half-cut"
    columns = 2 * module["bypass_diodes"]
    a_column = module["cells_in_series"] * (2 if halves else 1) / columns
    side_m = _cell_m2(module)[0] ** 0.5
    along_m = side_m / (2 if halves else 1)
    assert columns * side_m + (columns - 1) * GAP_M + 2 * FRAME_M <= module["width_m"]
    assert a_column * along_m + (a_column - 1) * GAP_M + 2 * FRAME_M <= module["length_m"]


@pytest.mark.parametrize("key", MODULES)
def test_a_modules_key_and_label_say_its_figures(key: str) -> None:
    module = MODULES[key]
    cells = module["cells_in_series"] * (2 if module["cell_build"] == "half-cut" else 1)
    build = "half" if module["cell_build"] == "half-cut" else "full"
    assert key == f"{build}{cells}-{module['pmax_w']:.0f}"
    assert module["label"] == (
        f"Invented module, {cells} {module['cell_build']} cells, {module['pmax_w']:.0f} W"
    )


@pytest.mark.parametrize("key", CONTROLLERS)
def test_a_controllers_window_stands_over_its_bank_and_under_its_limit(key: str) -> None:
    one = CONTROLLERS[key]
    bank_v = float(one["label"].rpartition(", ")[2].removesuffix(" V battery"))
    # Charged to 2.4 V a lead cell of 2 V nominal: the array has to stand above that.
    assert 1.2 * bank_v < one["min_tracking_voltage_v"]
    assert one["min_tracking_voltage_v"] < 0.5 * one["max_tracking_voltage_v"]
    assert 0.88 <= one["max_tracking_voltage_v"] / one["max_pv_voltage_v"] <= 0.95
    assert 0.95 <= one["efficiency_frac"] <= 0.98
    assert key == f"tracker-{one['max_pv_voltage_v']:.0f}v-{one['max_charge_current_a']:.0f}a"
    assert f"{one['max_pv_voltage_v']:.0f} V {one['max_charge_current_a']:.0f} A" in one["label"]


@pytest.mark.parametrize("key", INVERTERS)
def test_an_inverters_surge_and_idle_power_go_with_its_size(key: str) -> None:
    one = INVERTERS[key]
    assert 1.9 <= one["surge_power_va"] / one["continuous_power_w"] <= 2.1
    assert 0.005 <= one["no_load_power_w"] / one["continuous_power_w"] <= 0.01
    assert 0.90 <= one["efficiency_frac"] <= 0.95
    assert key == f"inverter-{one['continuous_power_w']:.0f}w"
    assert f"{one['continuous_power_w'] / 1000.0:g} kW" in one["label"]


def test_larger_inverters_lose_less_of_their_power() -> None:
    by_size = sorted(INVERTERS.values(), key=lambda one: float(one["continuous_power_w"]))
    for name in ("efficiency_frac", "no_load_power_w"):
        assert [one[name] for one in by_size] == sorted(one[name] for one in by_size)


@pytest.mark.parametrize("key", BATTERIES)
def test_a_battery_gives_less_the_faster_it_is_drawn(key: str) -> None:
    one = BATTERIES[key]
    hours, given_ah = one.get("discharge_hours", []), one.get("discharge_capacity_ah", [])
    assert hours == sorted(hours)
    assert given_ah == sorted(given_ah)
    if hours:
        assert given_ah[hours.index(one["rated_discharge_h"])] == one["unit_capacity_ah"]
        currents_a = [each / hour for each, hour in zip(given_ah, hours, strict=True)]
        assert currents_a == sorted(currents_a, reverse=True)
    assert one["min_soc_frac"] < one["nonessential_shed_frac"] < one["nonessential_return_frac"]


@pytest.mark.parametrize("key", BATTERIES)
def test_a_batterys_key_and_label_say_its_figures(key: str) -> None:
    one = BATTERIES[key]
    kind = "lithium" if one["chemistry"] == "lifepo4" else one["chemistry"]
    assert key == f"{kind}-{one['unit_voltage_v']:.0f}v-{one['unit_capacity_ah']:.0f}ah"
    assert one["label"].startswith("Invented ")
    assert one["label"].endswith(f"{one['unit_voltage_v']:g} V {one['unit_capacity_ah']:.0f} Ah")


@pytest.mark.parametrize(
    ("name", "figure", "step"),
    [("modules", "pmax_w", 5.0), ("controllers", "max_pv_voltage_v", 50.0),
     ("inverters", "continuous_power_w", 500.0)],
)  # fmt: skip
def test_no_figure_is_of_the_steps_that_goods_are_sold_in(
    name: str, figure: str, step: float
) -> None:
    assert all(one[figure] % step for one in LISTS[name].values())


@pytest.mark.parametrize(
    ("keys", "own"),
    [({"min_soc_frac": 0.3, "nonessential_shed_frac": 0.5, "nonessential_return_frac": 0.7}, ""),
     ({"room_c": 18.0, "nonessential_shed_frac": 0.5}, ""),
     ({"nonessential_shed_frac": 0.5, "unit_capacity_ah": 94.0}, "own unit_capacity_ah")],
)  # fmt: skip
def test_levels_and_room_make_it_no_other_battery(keys: dict[str, float], own: str) -> None:
    key = "lithium-51v-93ah"
    label = _changed_label(("battery",), key, BATTERIES[key], keys)
    assert label == (f"Battery, not as {key}: {own}" if own else "")


def test_a_demo_with_levels_of_its_own_names_its_battery_as_the_list_does() -> None:
    name = BATTERIES["lithium-51v-93ah"]["label"]
    assert open_design("ridge-clinic").site.battery.label == name
