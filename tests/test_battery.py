"""The bank as the site file states it, worked by hand."""

from __future__ import annotations

import numpy as np
import pytest

from solarcalc.battery.bank import bank_of
from solarcalc.sitefile.battery import Battery


def _battery(**more):
    figures = {
        "label": "Invented 12 V 100 Ah", "chemistry": "gel", "unit_voltage_v": 12.0,
        "unit_capacity_ah": 100.0, "units_in_series": 4, "units_in_parallel": 3,
        "charge_efficiency_frac": 0.9, "discharge_efficiency_frac": 0.95,
        "max_charge_c_rate": 0.2, "max_discharge_c_rate": 0.5,
        "self_discharge_frac_per_month": 0.03, "min_soc_frac": 0.5, "nonessential_shed_frac": 0.6,
        "nonessential_return_frac": 0.75, **more,
    }  # fmt: skip
    return Battery(**figures)


def _bank(**more):
    return bank_of(_battery(**more), np.full(24, 25.0))


def test_limits_by_hand():
    bank = _bank()
    assert bank.voltage_v == 48.0
    # C-rates are of the rated 48 V x 300 Ah, whatever the wells hold when drawn without hurry.
    # 60 A store 2880 W at 48 V; the charger gives them at more, 2880 W / 0.9.
    assert bank.max_charge_w == pytest.approx(3200.0)
    assert bank.max_discharge_w == pytest.approx(7200.0)
    assert bank.min_soc_frac == 0.5


def test_self_discharge_of_a_month_is_what_the_sheet_says():
    lithium = {"chemistry": "lifepo4", "unit_voltage_v": 12.8}
    rate = _bank(**lithium).self_discharge_frac_per_h
    assert (1.0 - rate) ** (8760.0 / 12.0) == pytest.approx(0.97)
    assert _bank(**lithium, self_discharge_frac_per_month=0.0).self_discharge_frac_per_h == 0.0


def test_energy_is_the_same_in_series_and_in_parallel():
    series, parallel = _bank(units_in_series=8), _bank(units_in_parallel=6)
    assert series.capacity_wh == pytest.approx(parallel.capacity_wh)
    assert series.voltage_v == 2.0 * parallel.voltage_v
