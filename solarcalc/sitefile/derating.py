"""What thin and hot air leaves of a generator's power."""

from __future__ import annotations

from solarcalc.basis.sourced import constant
from solarcalc.sitefile.generator import Generator

REFERENCE_KPA = float(constant("generator.reference_kpa"))
REFERENCE_C = float(constant("generator.reference_c"))
FRICTION_FRAC = float(constant("generator.friction_frac"))
_SEA_LEVEL_KPA, _KELVIN, _M_PER_KM = 101.325, 273.15, 1000.0
LEAST_LEFT_FRAC = 0.05
"""A guard: a line of a sheet that is drawn on for kilometres would end below nothing."""


def air_kpa(elevation_m: float) -> float:
    """Pressure of the standard atmosphere (ISO 2533) at a height [kPa].

    Examples
    --------
    >>> round(air_kpa(0.0), 1), round(air_kpa(1000.0), 1)
    (101.3, 89.9)
    """
    return _SEA_LEVEL_KPA * float((1.0 - 2.25577e-5 * elevation_m) ** 5.25588)


def power_left_frac(generator: Generator, *, pressure_kpa: float, air_c: float) -> float:
    """Share of the plate's power that thin and hot air leaves, [0 to 1].

    Power is the plate's over 1.175 (p_r / p)^m (T / T_r)^n - 0.175, with the engine's exponents
    m and n, from 100 kPa and 25 °C. Figures of the set's own sheet go before it; see
    `derated_w`. Denser and cooler air than the reference gives no more than the plate.

    Parameters
    ----------
    generator : Generator
    pressure_kpa : float
        [kPa].
    air_c : float
        [degC].

    References
    ----------
    ISO 3046-1 with ISO 8528-1, as a set maker's manual prints it (appendix on correction of
    power); its reference air is 29.2 inHg, dry, and 77 F.
    """
    kind = generator.kind
    thin = (REFERENCE_KPA / pressure_kpa) ** kind.pressure_exponent
    hot = ((air_c + _KELVIN) / (REFERENCE_C + _KELVIN)) ** kind.heat_exponent
    return min(1.0, 1.0 / float((1.0 + FRICTION_FRAC) * thin * hot - FRICTION_FRAC))


def left_frac(generator: Generator, *, elevation_m: float) -> float:
    """Share of the plate's power that is left on the hottest day at the site's height, [0 to 1].

    Both factors of the set's sheet multiply; the one it does not give is by ISO 3046-1.

    Parameters
    ----------
    generator : Generator
    elevation_m : float
        [m].
    """
    left, pressure_kpa, air_c = 1.0, air_kpa(elevation_m), generator.hottest_air_c
    if generator.derate_per_km_frac is not None:
        above_km = max(elevation_m - generator.derate_from_m, 0.0) / _M_PER_KM
        left, pressure_kpa = left - generator.derate_per_km_frac * above_km, REFERENCE_KPA
    if generator.derate_per_k_frac is not None:
        above_k = max(air_c - generator.derate_from_c, 0.0)
        left, air_c = left * (1.0 - generator.derate_per_k_frac * above_k), REFERENCE_C
    rest = power_left_frac(generator, pressure_kpa=pressure_kpa, air_c=air_c)
    return min(max(left * rest, LEAST_LEFT_FRAC), 1.0)
