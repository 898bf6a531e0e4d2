"""Constants of nature, and the conditions that data sheets of modules are stated for."""

from __future__ import annotations

from scipy import constants

BOLTZMANN_V_PER_K: float = constants.k / constants.e
"""k / q [V/K]; exact in the SI of 2019, as all of these but the last two."""
FARADAY_C_PER_MOL: float = constants.N_A * constants.e
GAS_J_PER_MOL_K: float = constants.R
GRAVITY_M_PER_S2: float = constants.g
ATMOSPHERE_PA: float = constants.atm
KELVIN_AT_0_C: float = constants.zero_Celsius
STC_W_M2 = 1000.0
"""Irradiance of the standard test conditions [W/m2], IEC 60904-3."""
STC_C = 25.0
"""Cell temperature of the standard test conditions [degC], IEC 60904-3."""
