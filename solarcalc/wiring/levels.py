"""Voltages and currents that the runs of a system are designed for, each with its source."""

from __future__ import annotations

from solarcalc.basis.physics import STC_C
from solarcalc.basis.sourced import constant
from solarcalc.battery.chemistry import REFERENCE_C, set_points
from solarcalc.loads.days import minutes_in_use
from solarcalc.loads.peaks import running_va
from solarcalc.loads.year import Board, appliances_of
from solarcalc.sitefile.battery import Battery
from solarcalc.sitefile.loads import Loads
from solarcalc.sitefile.site import Site

ROOF_ABOVE_AIR_K = constant("wiring.roof_above_air_k")
COLDER_THAN_YEAR_K = constant("wiring.colder_than_year_k")


def hottest_string_v(site: Site, hottest_cell_c: float) -> float:
    """Working voltage of a string at the hottest cell [V]; `cables.hottest_cell_c` goes before.

    Parameters
    ----------
    site : Site
    hottest_cell_c : float
        Hottest hour of the cells [degC].

    Notes
    -----
    Vmp (1 + (gamma - alpha) (T - 25) / 100): power falls with gamma while current rises with
    alpha, what is left is the voltage; alpha is that of the short-circuit current.
    """
    module, given = site.module, site.cables.hottest_cell_c
    warmer_k = (hottest_cell_c if given is None else given) - STC_C
    per_k = (module.gamma_pmax_pct_per_k - module.alpha_isc_pct_per_k) / 100.0
    return site.array.modules_in_series * module.vmp_v * (1.0 + per_k * warmer_k)


def coldest_string_v(site: Site, coldest_c: float) -> float:
    """Open-circuit voltage of a string at the record low [V]; `cables.coldest_c` goes before.

    Parameters
    ----------
    site : Site
    coldest_c : float
        Coldest hour of the air in the year [degC].

    Notes
    -----
    Voc (1 + beta (T - 25) / 100), the cell as cold as the air (IEC 62548).
    """
    module = site.module
    colder_k = record_low_c(site, coldest_c) - STC_C
    per_k = module.beta_voc_pct_per_k / 100.0
    return site.array.modules_in_series * module.voc_v * (1.0 + per_k * colder_k)


def bank_lowest_v(battery: Battery) -> float:
    """Voltage of the bank at the end of discharge [V]."""
    return battery.cells_in_series * battery.traits.empty.cell_v


def bank_highest_v(battery: Battery, coldest_c: float) -> float:
    """Voltage of the bank at equalising, or absorption where it never equalises [V].

    Parameters
    ----------
    battery : Battery
    coldest_c : float
        A cold lead-acid bank is charged at more; taken no warmer than 25 [degC].
    """
    points = set_points(battery, battery_c=min(coldest_c, REFERENCE_C))
    return points.absorption_v if points.equalise_v is None else points.equalise_v


def record_low_c(site: Site, coldest_c: float) -> float:
    """Record low of the place [degC]: `cables.coldest_c`, or 5 K below the year's coldest hour.

    Parameters
    ----------
    site : Site
    coldest_c : float
        Coldest hour of the air in the year [degC].
    """
    given = site.cables.coldest_c
    return coldest_c - float(COLDER_THAN_YEAR_K) if given is None else given


def charger_a(site: Site) -> float:
    """Largest current that grid or generator charge the bank with [A]."""
    grid = site.grid.there and site.grid.charge_below_frac > 0.0
    source_w = max(site.grid.limit_w if grid else 0.0, site.generator.power_w)
    current_a = source_w * site.supply.charger_efficiency_frac / site.battery.nominal_voltage_v
    return min(current_a, site.battery.max_charge_c_rate * site.battery.rated_ah)


def mean_power_factor(loads: Loads, board: Board) -> float:
    """Power factor of a board's energy, [0 to 1]; 1 where it was measured, or has no load.

    Notes
    -----
    W over VA, each appliance weighed by count, duty, hours in use and months; which days of the
    week it is used on is left out.
    """
    watts = volt_amperes = 0.0
    if not (loads.critical_profile if board == "critical" else loads.heavy_profile):
        for item in appliances_of(loads, board):
            used = item.count * item.duty_frac * float(minutes_in_use(item.use).sum())
            watts += used * item.power_w * len(item.months)
            volt_amperes += used * running_va(item) * len(item.months)
    return watts / volt_amperes if watts > 0.0 else 1.0
