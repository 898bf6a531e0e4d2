"""The bank as the site file states it, worked by hand."""

from __future__ import annotations

import pytest

from solarcalc.battery import HOURS_IN_MONTH, store_of
from solarcalc.sitefile.records import Battery


def _battery(**more):
    figures = {
        "label": "Invented 12 V 100 Ah", "chemistry": "gel", "unit_voltage_v": 12.0,
        "unit_capacity_ah": 100.0, "units_in_series": 4, "units_in_parallel": 3,
        "charge_efficiency_frac": 0.9, "discharge_efficiency_frac": 0.95,
        "max_charge_c_rate": 0.2, "max_discharge_c_rate": 0.5,
        "self_discharge_frac_per_month": 0.03, "reserve_frac": 0.5, "heavy_shed_frac": 0.6,
        "heavy_return_frac": 0.75, **more,
    }  # fmt: skip
    return Battery(**figures)


def test_bank_by_hand():
    store = store_of(_battery())
    assert store.voltage_v == 48.0
    assert store.capacity_wh == 48.0 * 300.0
    assert store.reserve_wh == 7200.0
    assert store.max_charge_w == pytest.approx(2880.0)  # 60 A at 48 V
    assert store.max_discharge_w == pytest.approx(7200.0)
    assert store.usable_wh == pytest.approx(7200.0 * 0.95)


def test_self_discharge_of_a_month_is_what_the_sheet_says():
    store = store_of(_battery())
    assert (1.0 - store.self_discharge_frac_per_h) ** HOURS_IN_MONTH == pytest.approx(0.97)
    assert store_of(_battery(self_discharge_frac_per_month=0.0)).self_discharge_frac_per_h == 0.0


def test_energy_is_the_same_in_series_and_in_parallel():
    series, parallel = store_of(_battery(units_in_series=8)), store_of(
        _battery(units_in_parallel=6)
    )
    assert series.capacity_wh == parallel.capacity_wh
    assert series.voltage_v == 2.0 * parallel.voltage_v
