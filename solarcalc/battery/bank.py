"""A battery bank as the hour-by-hour balance needs it: two wells, limits, temperature."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, kw_only=True, eq=False)
class Bank:
    """A bank of any kind.

    Parameters
    ----------
    capacity_wh : float
        Energy between empty and full at 25 degC, drawn without hurry [Wh].
    voltage_v : float
        Nominal [V].
    available_frac : float
        Share of the capacity in the well that current comes from, [0 to 1]; 1: one well.
    exchange_per_h : float
        Rate at which the two wells even out [1/h]; of no matter with one well.
    reserve_frac : float
        State of charge below which nothing is drawn, [0 to 1].
    charge_efficiency_frac, discharge_efficiency_frac : float
    max_charge_w, max_discharge_w : float
        At the terminals [W].
    acceptance_per_h : float
        Charge power at the terminals is at most this times the energy still missing to full
        [1/h]; infinite for no taper.
    self_discharge_frac_per_h : float
        Of what is stored, each hour.
    capacity_factor : array (n,)
        By hour: share of the energy between reserve and full that can be used, [0 to 1]; cold
        takes it from the bottom.
    charge_factor : array (n,)
        By hour: share of `max_charge_w` that may be charged, [0 to 1].
    """

    capacity_wh: float
    voltage_v: float
    available_frac: float
    exchange_per_h: float
    reserve_frac: float
    charge_efficiency_frac: float
    discharge_efficiency_frac: float
    max_charge_w: float
    max_discharge_w: float
    acceptance_per_h: float
    self_discharge_frac_per_h: float
    capacity_factor: np.ndarray
    charge_factor: np.ndarray

    def usable_wh(self, down_to_frac: float | None = None) -> float:
        """Energy that the full bank gives at its terminals down to a state of charge [Wh].

        The one definition of usable energy: behind the loss of discharge, before the inverter,
        drawn without hurry, with the mean over the year of what cold leaves.

        Parameters
        ----------
        down_to_frac : float, optional
            State of charge, [0 to 1]; left out: the reserve.
        """
        left = self.reserve_frac if down_to_frac is None else down_to_frac
        held = self.capacity_wh * max(0.0, 1.0 - left) * self.discharge_efficiency_frac
        return held * float(self.capacity_factor.mean())
