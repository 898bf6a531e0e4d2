"""The battery: what a bank holds, gives and takes, and how long it lasts."""

from solarcalc.battery.bank import Bank
from solarcalc.battery.chemistry import (
    CHEMISTRIES,
    SetPoints,
    bank_assumptions,
    chemistry_of,
    set_points,
)
from solarcalc.battery.from_site import bank_of, wells_of
from solarcalc.battery.kinetic import (
    TwoWells,
    after_step,
    capacity_at_ah,
    capacity_in_ah,
    fit_wells,
)
from solarcalc.battery.warmth import WARMTH_ASSUMPTIONS, room_temp_c
from solarcalc.battery.wiring import (
    Wiring,
    bank_verdicts,
    voltage_verdict,
    wiring_advice,
    wiring_of,
)

__all__ = [
    "CHEMISTRIES",
    "WARMTH_ASSUMPTIONS",
    "Bank",
    "SetPoints",
    "TwoWells",
    "Wiring",
    "after_step",
    "bank_assumptions",
    "bank_of",
    "bank_verdicts",
    "capacity_at_ah",
    "capacity_in_ah",
    "chemistry_of",
    "fit_wells",
    "room_temp_c",
    "set_points",
    "voltage_verdict",
    "wells_of",
    "wiring_advice",
    "wiring_of",
]
