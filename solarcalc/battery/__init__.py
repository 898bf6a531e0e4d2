"""The battery: what a bank holds, gives and takes, and how long it lasts."""

from solarcalc.battery.bank import Bank
from solarcalc.battery.chemistry import SetPoints, bank_assumptions, set_points
from solarcalc.battery.from_site import bank_of, wells_of
from solarcalc.battery.kinetic import (
    TwoWells,
    after_step,
    capacity_at_ah,
    capacity_in_ah,
    fit_wells,
)
from solarcalc.battery.warmth import room_temp_c, warmth_assumptions
from solarcalc.battery.wiring import (
    Wiring,
    bank_verdicts,
    voltage_verdict,
    wiring_advice,
    wiring_of,
)

__all__ = [
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
    "fit_wells",
    "room_temp_c",
    "set_points",
    "voltage_verdict",
    "warmth_assumptions",
    "wells_of",
    "wiring_advice",
    "wiring_of",
]
